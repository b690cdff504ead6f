"""Marks proposed near a click: by whom they are asked for, where they lie, what is kept of them."""

import io

import pytest
from django.urls import reverse

from assessments.models import Measurement
from assessments.presenters import measuring_page
from assessments.services import photos
from assessments.services.found_marks import FINDERS
from demo.drawn import draw_joint
from tests import factories
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def drawn():
    return draw_joint("wire", seed=2, size=(2400, 1800), view="top")


@pytest.fixture
def photo(drawn):
    """A photograph that is larger than the copy that is looked at."""
    board = factories.make_board()
    file = io.BytesIO()
    drawn.image.save(file, "JPEG", quality=90)
    file.seek(0)
    added = photos.add_photo(
        board=board, joint=board.joints.first(), file=file, name="E01.jpg",
        actor=factories.make_user("instructor", site=board.site), at=NOW,
    )  # fmt: skip
    return factories.on_a_stand(added)


@pytest.fixture
def instructor(client, photo):
    client.force_login(photo.added_by)
    return photo.added_by


def ask(client, photo, *clicks, quantity="clearance", kind="insulation"):
    return client.post(
        reverse("assessments:photo_find_marks", args=[photo.key]),
        {
            "quantity": quantity,
            "kind": kind,
            "x": [x for x, _y in clicks],
            "y": [y for _x, y in clicks],
        },
    )


def on_insulation(truth):
    (x0, y0), (x1, y1) = truth["across_wire_px"]
    return (x0 + x1) / 2, (y0 + y1) / 2


def test_one_click_proposes_end_and_edges_in_pixels_of_the_original(
    client, photo, instructor, drawn
):
    answer = ask(client, photo, on_insulation(drawn.truth))

    assert answer.status_code == 200
    marks = answer.json()["marks"]
    assert set(marks) == {"insulation", "across"}
    assert marks["insulation"][0] == pytest.approx(drawn.truth["insulation_end_px"], abs=14)
    for found, true in zip(
        sorted(marks["across"]), sorted(drawn.truth["across_wire_px"]), strict=True
    ):
        assert found == pytest.approx(true, abs=14)
    assert not Measurement.objects.exists()


def test_nothing_clear_is_a_sentence_and_no_marks(client, photo, instructor):
    answer = ask(client, photo, (1200, 40))

    assert answer.status_code == 422
    assert "No clear edge near there" in answer.json()["says"]
    assert "marks" not in answer.json()


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"quantity": "fill", "kind": "level"}, "not looked for"),
        (
            {"quantity": "fillet", "kind": "edge"},
            "not looked for",
        ),  # One click, and two are needed.
        ({"quantity": "nonsense"}, "not one of the available choices"),
    ],
)
def test_what_is_not_looked_for_is_refused(client, photo, instructor, changed, says):
    answer = ask(client, photo, (100, 100), **changed)

    assert answer.status_code == 422
    assert says in answer.json()["says"]


@pytest.mark.parametrize("click", [(-5, 100), (100, 4000), ("nan", 100), ("x", 100), ("inf", 3)])
def test_a_click_beside_the_photograph_is_refused(client, photo, instructor, click):
    answer = ask(client, photo, click)

    assert answer.status_code == 422
    assert answer.json()["says"]


def test_another_sites_instructor_finds_no_photograph(client, photo):
    client.force_login(
        factories.make_user("instructor", site=factories.make_site("Brandholm", "BR"))
    )

    assert ask(client, photo, (100, 100)).status_code == 404


def test_a_file_that_is_gone_is_said_and_no_error(client, photo, instructor):
    photo.renditions.all().delete()
    photo.original.delete(save=False)

    answer = ask(client, photo, (100, 100))

    assert answer.status_code == 422
    assert answer.json()["says"]


def test_what_was_found_and_left_as_it_lay_is_kept_with_the_measurement(client, photo, instructor):
    url = reverse("assessments:photo_measure", args=[photo.key])
    sent = {
        "quantity": "scale", "ends_x": ["100", "300"], "ends_y": ["100", "100"],
        "size_mm": "2", "size_half_mm": "0.01", "size_kind": "pad", "found": ["ends"],
    }  # fmt: skip

    assert client.post(url, sent).status_code == 302
    assert Measurement.objects.get().options["found"] == ["ends"]

    del sent["found"]
    assert client.post(url, sent).status_code == 302
    assert "found" not in Measurement.objects.latest("pk").options


def test_the_page_says_what_to_click_for_every_kind_that_can_be_found():
    for (quantity, kind), finder in FINDERS.items():
        assert len(measuring_page.finders(quantity)[kind]) == finder.clicks
    assert measuring_page.finders("fill") == {}
