"""The page for measuring on a photograph: shown, kept, refused, with and without a script."""

import io
import json
import re
from dataclasses import fields

import pytest
from django.urls import reverse
from PIL import Image

from assessments import access
from assessments.domain.geometry import Quantity, View, measure
from assessments.models import Measurement
from assessments.services import grading, judgements, measuring, photos
from assessments.services.judgements import Circumstances
from tests import factories
from tests.assessments.marks_placed import hollow, wrap
from tests.factories import NOW
from training.models import Position

VIEW = {field.name for field in fields(View)}

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return factories.make_criteria_set(
        {
            "code": "W",
            "how": "measured",
            "quantity": "wrap",
            "low": 180,
            "high": 270,
            "unit": "deg",
        },
        {"code": "E"},
        {
            "code": "C",
            "how": "measured",
            "quantity": "fill",
            "low": 75,
            "unit": "percent",
            "joint_types": ["cup"],
        },
    )


@pytest.fixture
def photo(criteria):
    board = factories.make_board()
    return factories.on_a_stand(factories.make_photo(board, board.joints.first()))


@pytest.fixture
def instructor(client, photo):
    user = factories.make_user("instructor", site=photo.board.site)
    client.force_login(user)
    return user


def address(photo, **query):
    base = reverse("assessments:photo_measure", args=[photo.key])
    return base + ("?" + "&".join(f"{name}={value}" for name, value in query.items()))


def sent(one, **more):
    data = {"quantity": str(one.quantity), "mark_uncertainty_px": "1"}
    for name, points in one.marks.items():
        data[f"{name}_x"] = [f"{x:.2f}" for x, _y in points] + [""]
        data[f"{name}_y"] = [f"{y:.2f}" for _x, y in points] + [""]
    return data | more


def test_the_page_shows_the_criterions_quantity_with_a_field_for_every_coordinate(
    client, instructor, photo
):
    answer = client.get(address(photo, criterion="W", joint="E01"))
    page = answer.content.decode()
    assert answer.status_code == 200
    for name in ("centre", "start", "end"):
        assert page.count(f'name="{name}_x"') == page.count(f'name="{name}_y"') == 1
    told = json.loads(re.search(r'<script id="measuring"[^>]*>(.*?)</script>', page)[1])
    assert (told["quantity"], told["limits"], told["judges"]) == ("wrap", [180, 270], True)
    assert "180° to 270°" in page


@pytest.mark.parametrize("quantity", Measurement.Quantity.values)
def test_every_quantity_has_its_page(client, instructor, photo, quantity):
    with factories.unprotected():
        Position.objects.update(conductor_mm="0.801", overall_mm="1.27")
    answer = client.get(address(photo, quantity=quantity))
    assert answer.status_code == 200
    assert f'name="quantity" value="{quantity}"' in answer.content.decode()


def test_written_marks_are_kept_and_lead_back_to_judging(client, instructor, photo):
    answer = client.post(address(photo), sent(wrap(213.5), criterion="W", joint="E01"))
    kept = Measurement.objects.get()
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("assessments:board_grade", args=[photo.board]))
    assert "criterion=W" in answer["Location"]
    assert kept.value == pytest.approx(213.5, abs=0.01)
    assert (kept.verdict, kept.joint, kept.measured_by) == ("within", photo.joint, instructor)


def test_the_script_is_told_what_was_kept(client, instructor, photo):
    answer = client.post(
        address(photo),
        sent(wrap(120), criterion="W", joint="E01"),
        headers={"Accept": "application/json"},
    )
    told, kept = answer.json(), Measurement.objects.get()
    assert told["saved"]
    assert (told["value"], told["u"]) == (kept.value, kept.standard_uncertainty)
    assert told["verdict"] == "outside"
    assert "/grade/" in told["go"]


def test_a_known_size_sets_the_scale_and_stays_on_the_page(client, instructor, photo):
    ends = {"quantity": "scale", "ends_x": ["100", "180"], "ends_y": ["100", "160"]}
    answer = client.post(
        address(photo),
        ends | {"size_mm": "0.8", "size_half_mm": "0.007", "mark_uncertainty_px": "1"},
    )
    photo.refresh_from_db()
    assert answer.status_code == 302
    assert "/measure/" in answer["Location"]
    assert photo.scale_px_per_mm == pytest.approx(125)
    assert "125.0" in client.get(address(photo)).content.decode()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"size_half_mm": ""}, "nothing is known exactly"),
        ({"size_half_mm": "0"}, "nothing is known exactly"),
        ({"size_half_mm": "-0.1"}, "nothing is known exactly"),
        ({"size_half_mm": "0.8"}, "Give the two apart"),
        ({"size_half_mm": "a little"}, "may be off, in millimetres"),
        ({"size_kind": "graticule"}, "graticule’s certificate"),
        ({"size_kind": "wire", "size_half_mm": ""}, "nothing is known exactly"),
        ({"size_mm": ""}, "A size is missing"),
    ],
)
def test_a_scale_without_its_uncertainty_is_refused_in_words(
    client, instructor, photo, change, says
):
    ends = {"quantity": "scale", "ends_x": ["100", "180"], "ends_y": ["100", "160"]}
    size = {"size_mm": "0.8", "size_half_mm": "0.01", "size_kind": "other"}
    answer = client.post(address(photo), ends | size | change)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    photo.refresh_from_db()
    assert photo.scale_px_per_mm is None
    assert not Measurement.objects.exists()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"start_x": [""], "start_y": [""]}, "still missing"),
        ({"start_x": ["900"]}, "outside the photograph"),
        ({"start_x": ["12a"]}, "two numbers"),
        ({"start_x": ["nan"]}, "outside the photograph"),
        ({"mark_uncertainty_px": "0"}, "0.05 pixels at least"),
        ({"quantity": "taste"}, "taste"),
    ],
)
@pytest.mark.parametrize("as_json", [False, True])
def test_marks_that_give_nothing_are_refused_in_words(
    client, instructor, photo, change, says, as_json
):
    headers = {"Accept": "application/json"} if as_json else {}
    answer = client.post(address(photo), sent(wrap(90)) | change, headers=headers)
    assert answer.status_code == 422
    text = answer.json()["says"] if as_json else answer.content.decode()
    assert says in text
    assert not Measurement.objects.exists()


def test_what_was_written_stands_there_again_after_a_refusal(client, instructor, photo):
    answer = client.post(address(photo), sent(wrap(90)) | {"start_x": ["900"]})
    assert 'value="900"' in answer.content.decode()


@pytest.mark.parametrize(
    "query",
    [
        {"criterion": "E", "joint": "E01"},
        {"criterion": "C", "joint": "E01"},
        {"criterion": "W"},
        {"criterion": "W", "joint": "board"},
    ],
)
def test_a_criterion_that_is_not_measured_or_not_asked_of_the_joint_is_not_there(
    client, instructor, photo, query
):
    assert client.get(address(photo, **query)).status_code == 404


def test_somebody_of_another_site_finds_no_such_page(client, photo):
    other = factories.make_site("Aldergate", "AL")
    client.force_login(factories.make_user("instructor", site=other))
    assert client.get(address(photo)).status_code == 404
    assert client.post(address(photo), sent(wrap(90))).status_code == 404


def test_marks_are_private_until_a_signature_covers_them(photo, instructor, criteria):
    """Neither the maker nor another grader sees marks of a judgement that is not signed."""
    wrapped = criteria.criteria.get(code="W")
    said = {"joint": photo.joint, "criterion": wrapped}
    kept = measuring.keep_measurement(
        photo=photo,
        quantity="wrap",
        marks=wrap(213.5).marks,
        options=measuring.options_for(**said),
        mark_uncertainty_px=1,
        actor=instructor,
        at=NOW,
        **said,
    )
    maker = factories.make_user(person=photo.board.person)
    assert list(access.measurements_readable_by(instructor, photo)) == [kept]
    assert not access.measurements_readable_by(maker, photo)
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)
    for joint in photo.board.joints.all():
        for one in criteria.criteria.exclude(code="C"):
            is_marked = (joint, one) == (photo.joint, wrapped)
            judgements.judge(
                grading=reading,
                criterion=one,
                joint=joint,
                outcome="accept",
                seen=Circumstances(measured=kept.pk)
                if is_marked
                else Circumstances(by_eye_because="far inside its limit"),
                at=NOW,
            )
    assert not access.measurements_readable_by(maker, photo)
    grading.sign_stage(
        grading=reading, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    fresh = type(photo).objects.get(pk=photo.pk)
    assert list(access.measurements_readable_by(maker, fresh)) == [kept]


def test_a_fillet_kept_before_is_there_to_be_moved_on(client, instructor, photo):
    client.post(address(photo), sent(hollow(90)))
    page = client.get(address(photo, quantity="fillet")).content.decode()
    x, _y = hollow(90).marks["edge"][0]
    assert f'value="{round(x, 2)}"' in page
    assert 'class="marks-kept"' in page


# For whoever looks later


@pytest.fixture
def drawn_photo(photo, instructor, files):
    file = io.BytesIO()
    Image.new("RGB", (800, 600), (90, 90, 90)).save(file, "JPEG")
    file.seek(0)
    added = photos.add_photo(
        board=photo.board, file=file, name="E01_2.jpg", actor=instructor, at=NOW, joint=photo.joint
    )
    return factories.on_a_stand(added)


def test_the_photographs_page_draws_the_marks_again_and_lists_what_was_measured(
    client, instructor, drawn_photo
):
    client.post(address(drawn_photo), sent(wrap(213.5), criterion="W", joint="E01"))
    client.post(address(drawn_photo), sent(hollow(20)))
    first = Measurement.objects.earliest("pk")
    page = client.get(reverse("assessments:photo_detail", args=[drawn_photo.key]))
    text = page.content.decode()
    assert text.count('class="marks-kept"') == 1
    assert "with the marks of a measurement: fillet" in text
    assert "under 60°" in text
    other = client.get(f"{page.request['PATH_INFO']}?measured={first.pk}").content.decode()
    assert "with the marks of a measurement: wrap 213.5°" in other


def test_a_picture_with_its_marks_is_taken_away(client, instructor, drawn_photo):
    client.post(address(drawn_photo), sent(wrap(213.5), criterion="W", joint="E01"))
    kept = Measurement.objects.get()
    url = reverse("assessments:photo_measured", args=[drawn_photo.key, kept.pk])
    answer = client.get(url)
    assert answer["Content-Type"] == "image/jpeg"
    with Image.open(io.BytesIO(answer.content)) as picture:
        assert picture.width == 800
        assert picture.height > 600
        x, y = map(round, kept.marks["centre"][0])
        assert min(picture.getpixel((x - 5, y))) > 200  # The white cross on grey.
    client.force_login(factories.make_user(person=drawn_photo.board.person))
    assert client.get(url).status_code == 404


def test_a_row_for_export_can_be_worked_out_again(client, instructor, drawn_photo):
    client.post(address(drawn_photo), sent(hollow(90)))
    row = measuring.as_row(Measurement.objects.get())
    view = json.loads(row["view"])
    again = measure(
        Quantity(row["quantity"]),
        json.loads(row["marks_px"]),
        sigma_px=float(row["mark_uncertainty_px"]),
        view=View(**{name: bound for name, bound in view.items() if name in VIEW}),
    )
    assert view["is_qualified"]
    assert (repr(again.value), repr(again.u)) == (row["value"], row["standard_uncertainty"])


def test_a_rejection_by_marks_is_shown_with_them_and_with_sensible_decimals(
    client, instructor, drawn_photo, criteria
):
    client.post(address(drawn_photo), sent(wrap(121.4), criterion="W", joint="E01"))
    reading = grading.start_grading(board=drawn_photo.board, grader=instructor, at=NOW)
    for joint in drawn_photo.board.joints.all():
        for one in criteria.criteria.exclude(code="C"):
            here = (joint, one.code) == (drawn_photo.joint, "W")
            judgements.judge(
                grading=reading,
                criterion=one,
                joint=joint,
                outcome="reject" if here else "accept",
                seen=Circumstances(measured=Measurement.objects.get().pk)
                if here
                else Circumstances(by_eye_because="far inside its limit"),
                at=NOW,
            )
    grade = reverse("assessments:board_grade", args=[drawn_photo.board])
    screen = client.get(f"{grade}?joint=E01&criterion=W").content.decode()
    assert "121.4°" in screen
    assert "By marks on the photograph." in screen
    grading.sign_stage(
        grading=reading, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    client.force_login(factories.make_user(person=drawn_photo.board.person))
    result = client.get(reverse("assessments:board_result", args=[drawn_photo.board]))
    text = result.content.decode()
    assert 'class="marks-kept"' in text
    assert re.search(r"<b>121\.4°</b> ?± \d\.\d°", text)
    assert "by marks on a photograph" in text
