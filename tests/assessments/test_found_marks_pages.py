"""Marks proposed near a click: by whom they are asked for, where they lie, what is kept of them."""

import io
import threading

import pytest
from django.urls import reverse

from assessments.exceptions import EdgesBusy
from assessments.imaging import edge_finding
from assessments.models import Measurement
from assessments.presenters import measuring_page
from assessments.services import found_marks, photos
from assessments.services.found_marks import FINDERS
from demo.drawn import draw_joint
from tests import factories
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture(scope="module")
def drawn():
    return draw_joint("wire", seed=2, size=(2400, 1800), view="top")


@pytest.fixture(scope="module")
def jpeg(drawn):
    file = io.BytesIO()
    drawn.image.save(file, "JPEG", quality=90)
    return file.getvalue()


@pytest.fixture
def photo(jpeg):
    """A photograph that is larger than the copy that is looked at."""
    board = factories.make_board()
    added = photos.add_photo(
        board=board, joint=board.joints.first(), file=io.BytesIO(jpeg), name="E01.jpg",
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


def test_a_fault_of_ours_is_not_taken_for_an_unclear_edge(client, photo, instructor, monkeypatch):
    def broken(*_given):
        raise ValueError("operands could not be broadcast together")

    monkeypatch.setattr(edge_finding, "find_insulation_end", broken)

    with pytest.raises(ValueError, match="broadcast"):
        ask(client, photo, (100, 100))


def test_one_looks_and_four_wait_whoever_comes_then_is_told_so(monkeypatch):
    """Sixteen at once would each hold a picture of 170 MB."""
    looking, most, answers = [], [], []
    enough = threading.Event()

    def look():
        try:
            with found_marks._one_at_a_time():
                looking.append(1)
                most.append(len(looking))
                enough.wait(120)
                looking.pop()
            answers.append("found")
        except EdgesBusy as error:
            answers.append(str(error))
            if len(answers) == 11:
                enough.set()  # All that are turned away have been.

    people = [threading.Thread(target=look) for _one in range(16)]
    for one in people:
        one.start()
    for one in people:
        one.join()

    assert max(most) == 1
    assert answers.count("found") == 5
    turned_away = [answer for answer in answers if answer != "found"]
    assert len(turned_away) == 11
    assert set(turned_away) == {str(EdgesBusy())}


def test_whoever_waits_too_long_is_told_so_on_the_page(client, photo, instructor, monkeypatch):
    monkeypatch.setattr(found_marks, "WAITS_S", 0.01)
    with found_marks._one_at_a_time():
        answer = ask(client, photo, (100, 100))

    assert answer.status_code == 422
    assert answer.json()["says"] == (
        "The site is looking for edges for others. Click again soon, or set them by hand."
    )
    assert "for others" not in ask(client, photo, (100, 100)).text


def test_every_finder_names_a_function_there_is():
    for finder in FINDERS.values():
        assert callable(getattr(edge_finding, finder.function))


def test_the_page_says_what_to_click_for_every_kind_that_can_be_found():
    for (quantity, kind), finder in FINDERS.items():
        assert len(measuring_page.finders(quantity)[kind]) == finder.clicks
    assert measuring_page.finders("fill") == {}
