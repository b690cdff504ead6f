"""Drafts of exercises in the browser: typed as a grid, saved, published under one proof."""

import re

import pytest
from django.urls import reverse

from tests.factories import NOW, PASSWORD, make_exercise, make_scope, make_user
from tests.signing import shown_on
from training.models import Exercise, Position
from training.queries import exercises as queries
from training.services import content, exercise_drafts

pytestmark = pytest.mark.django_db

NEW = reverse("training:exercise_new")
PUBLISH = reverse("training:exercise_publish")


@pytest.fixture
def quality(client):
    user = make_user("quality", password=PASSWORD)
    client.force_login(user)
    return user


@pytest.fixture
def draft():
    return exercise_drafts.begin_exercise(
        code="EX-1", title="Turrets", actor=make_user("instructor"), at=NOW
    )


def page_of(part, code="EX-1"):
    return reverse(f"training:exercise_{part}", args=[code])


def hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}"[^>]*value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def head_as_shown(client, **changed):
    """What a browser would send of the page as it stands."""
    page = client.get(page_of("edit")).content.decode()
    return {
        "title": "Turrets",
        "purpose": "To wrap alike.",
        "stages": ["formed", "soldered"],
        "pass_mark": "90",
        "allowed_rejects": "1",
        "rework_allowed": "1",
        "graders": "1",
        "seen": hidden(page, "seen"),
        **changed,
    }


def rows(client, part, prefix, *typed, do="save", seen=None, **more):
    page = client.get(page_of(part)).content.decode()
    data = {
        "seen": hidden(page, "seen") if seen is None else seen,
        f"{prefix}-rows": len(typed),
        "do": do,
        **more,
    }
    for index, row in enumerate(typed):
        data |= {f"{prefix}-{index}-{name}": value for name, value in row.items()}
    return client.post(page_of(part), data)


RUN = {
    "names": "E01–E20",
    "joint_type": "turret",
    "required": "on",
    "wires": "1",
    "wire_awg": "22",
    "stranding": "19/34",
}


def test_an_exercise_of_twenty_positions_from_nothing_to_published(client, quality):
    assert client.post(NEW, {"code": "EX-1", "title": "Turrets"}).url == page_of("edit")
    head = head_as_shown(client, tools="Iron\nSmooth pliers", cautions=["hot"])
    assert client.post(page_of("edit"), head).url == page_of("positions")
    assert rows(client, "positions", "position", RUN).url == page_of("steps")
    step = {"stage": "soldered", "text": "Heat both.", "source": "", "cautions": ["hot", "fume"]}
    refused = rows(client, "steps", "step", step | {"shows": "accept"})
    assert (refused.status_code, "Choose the drawing" in refused.content.decode()) == (422, True)
    step |= {"drawing": "fillet-concave", "shows": "accept"}
    assert rows(client, "steps", "step", step).url == reverse(
        "training:exercise_detail", args=["EX-1"]
    )
    exercise = Exercise.objects.get(code="EX-1")
    names = list(exercise.positions.values_list("name", flat=True))
    assert (names[0], names[-1], len(names)) == ("E01", "E20", 20)
    assert str(exercise.positions.first().conductor_mm) == "0.801"
    kept = exercise.steps.get()
    assert kept.source == "common practice"
    assert (kept.drawing, kept.shows, kept.cautions) == (
        "fillet-concave",
        "accept",
        ["hot", "fume"],
    )
    page = client.get(page_of("detail")).content.decode()
    assert "Fillet in section: hollow" in page
    assert "Caution: Hot tip, hot work." in page
    assert exercise.tools[1] == {"kind": "bench", "name": "Smooth pliers"}
    assert exercise.is_draft

    page = client.get(PUBLISH)
    key = str(exercise.pk)
    sent = {
        "sign": [key],
        f"shown-{key}": shown_on(page)[f"shown-{key}"],
        "reason": "Tried at the bench.",
        "password": PASSWORD,
    }
    assert client.post(PUBLISH, sent | {"password": "wrong"}).status_code == 422
    assert client.post(PUBLISH, sent).status_code == 302

    exercise.refresh_from_db()
    assert exercise.published_by == quality
    assert exercise.publishing_reason == "Tried at the bench."
    assert b"E01 to E20" in b" ".join(
        client.get(reverse("training:exercise_detail", args=["EX-1"])).content.split()
    )


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({**RUN, "names": "E05–E01"}, "goes backwards"),
        ({**RUN, "names": ""}, "Give the position a name"),
        ({**RUN, "wires": "0"}, "greater than or equal to 1"),
        ({**RUN, "conductor_mm": "2", "overall_mm": "1"}, "not below d"),
        ({**RUN, "names": "9" * 500}, "Shorten it"),
        ({**RUN, "wire_awg": "9" * 4400}, "row 1"),
    ],
)
def test_what_does_not_fit_is_told_and_what_was_typed_is_kept(client, quality, draft, row, message):
    good = {**RUN, "names": "T1", "forming": "half a turn"}
    answer = rows(client, "positions", "position", row, good)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert message in page
    assert "Nothing is saved yet" in page
    assert 'value="half a turn"' in page
    assert not Position.objects.exists()


def test_buttons_of_rows_change_what_is_typed_and_store_nothing(client, quality, draft):
    first, second = {**RUN, "names": "A1"}, {**RUN, "names": "B1–B3"}

    def names_after(do):
        page = rows(client, "positions", "position", first, second, do=do).content.decode()
        return [name for name in re.findall(r'-names" value="([^"]*)"', page) if name]

    assert names_after("up:1") == ["B1–B3", "A1"]
    assert names_after("down:0") == ["B1–B3", "A1"]
    assert names_after("drop:0") == ["B1–B3"]
    assert names_after("like:1") == ["A1", "B1–B3", "B4–B6"]
    assert names_after("more:") == ["A1", "B1–B3"]
    assert names_after("up:9") == names_after("else") == ["A1", "B1–B3"]
    assert not Position.objects.exists()


def test_rows_from_a_spreadsheet_come_into_the_grid(client, quality, draft):
    pasted = (
        "Positions\tJoint\tRequired\tForming\n"
        "E01-E09\tturret\tyes\ta turn\n"
        "E10\thook terminal\tno\t"
    )
    page = rows(
        client, "positions", "position", {**RUN, "names": "A1"}, do="paste", paste=pasted
    ).content.decode()
    assert re.findall(r'-names" value="([^"]*)"', page)[:3] == ["A1", "E01-E09", "E10"]
    assert 'value="a turn"' in page
    assert '<option value="hook" selected>' in page

    wrong = rows(client, "positions", "position", do="paste", paste="E01\tteapot")
    assert wrong.status_code == 422
    assert "there is no joint type “teapot”" in wrong.content.decode()
    assert "E01\tteapot" in wrong.content.decode()
    assert not Position.objects.exists()


def test_the_second_of_two_sees_both_and_saves_again(client, quality, draft):
    page = client.get(page_of("positions")).content.decode()
    seen = hidden(page, "seen")
    position = dict.fromkeys(queries.POSITION) | {
        "name": "X1",
        "joint_type": "hook",
        "required": True,
        "wires": 1,
        **dict.fromkeys(["stranding", "insulation", "forming", "clearance", "scope_code"], ""),
    }
    other = make_user("instructor")
    exercise_drafts.change_positions(
        exercise=draft, positions=[position], seen=seen, actor=other, at=NOW
    )

    answer = rows(client, "positions", "position", {**RUN, "names": "A1"}, seen=seen)

    text = answer.content.decode()
    assert answer.status_code == 422
    assert f"{other} changed this since you opened it" in text
    assert "Position X1" in text
    assert 'value="A1"' in text
    again = rows(client, "positions", "position", {**RUN, "names": "A1"}, seen=hidden(text, "seen"))
    assert again.status_code == 302
    assert [position.name for position in draft.positions.all()] == ["A1"]


def test_the_head_keeps_what_was_typed_beside_what_somebody_else_saved(client, quality, draft):
    sent = head_as_shown(client, alloy="Sn96Ag4")
    exercise_drafts.change_head(
        exercise=draft, alloy="Sn60Pb40", seen=None, actor=make_user("instructor"), at=NOW
    )
    answer = client.post(page_of("edit"), sent)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Sn60Pb40" in text
    assert 'value="Sn96Ag4"' in text
    assert client.post(page_of("edit"), sent | {"seen": hidden(text, "seen")}).status_code == 302
    draft.refresh_from_db()
    assert draft.alloy == "Sn96Ag4"


def test_a_draft_is_read_by_those_who_work_on_it_alone(client, draft):
    published = make_exercise(code="EX-2", title="As published")
    exercise_drafts.draft_next_revision(exercise=published, actor=make_user("quality"), at=NOW)
    Exercise.objects.filter(code="EX-2", revision=2).update(title="As drafted")
    detail = reverse("training:exercise_detail", args=["EX-2"])
    client.force_login(make_user())

    assert "As published" in client.get(detail).content.decode()
    assert client.get(detail, {"revision": "2"}).status_code == 404
    assert client.get(page_of("detail")).status_code == 404
    assert "Turrets" not in client.get(reverse("training:exercise_list")).content.decode()
    criteria = reverse("assessments:exercise_criteria", args=["EX-1"])
    assert client.get(criteria).status_code == 404

    client.force_login(make_user("instructor"))
    assert "As published" in client.get(detail).content.decode()
    page = client.get(detail, {"revision": "2"}).content.decode()
    assert "No board is handed out of it" in page
    assert "<del>As published</del>" in page
    assert "Turrets" in client.get(reverse("training:exercise_list")).content.decode()


def test_a_scope_that_nobody_knows_is_said(client, quality, draft):
    scope = make_scope()
    known = {**RUN, "names": "A1", "scope_code": scope.code}
    rows(client, "positions", "position", known, {**RUN, "scope_code": "GONE"})
    for page in (client.get(page_of("positions")), client.get(PUBLISH)):
        assert "There is no scope GONE" in page.content.decode()


def test_what_came_along_is_looked_through_and_published_with_one_proof(client, quality):
    content.load_exercises(actor="load_content", at=NOW)
    listed = client.get(reverse("training:exercise_list")).content.decode()
    assert "Came along to begin with" in listed
    page = client.get(PUBLISH)
    keys = [str(key) for key in Exercise.objects.values_list("pk", flat=True)]
    sent = {f"shown-{key}": shown_on(page)[f"shown-{key}"] for key in keys}
    kept = keys.pop()

    client.post(PUBLISH, {**sent, "sign": keys, "reason": "Looked through.", "password": PASSWORD})

    assert [str(one.pk) for one in Exercise.objects.drafts()] == [kept]


def test_what_changed_since_it_was_shown_is_shown_anew(client, quality, draft):
    client.post(page_of("edit"), head_as_shown(client))
    rows(client, "positions", "position", RUN)
    key = str(draft.pk)
    shown = shown_on(client.get(PUBLISH))[f"shown-{key}"]
    exercise_drafts.change_head(exercise=draft, alloy="Sn60Pb40", seen=None, actor=quality, at=NOW)
    answer = client.post(
        PUBLISH,
        {"sign": [key], f"shown-{key}": shown, "reason": "Tried.", "password": PASSWORD},
    )
    assert answer.status_code == 422
    assert "Sn60Pb40" in answer.content.decode()
    assert not Exercise.objects.published().exists()


def test_a_revision_goes_out_of_use_with_a_reason_and_a_proof(client, quality):
    exercise = make_exercise(code="EX-1")
    url = reverse("training:exercise_retire", args=["EX-1", 1])
    for sent in ({"password": PASSWORD}, {"reason": "Old.", "password": "wrong"}):
        client.post(url, sent)
        exercise.refresh_from_db()
        assert exercise.retired_at is None
    client.post(url, {"reason": "Old.", "password": PASSWORD})
    exercise.refresh_from_db()
    assert exercise.retired_at is not None
    page = client.get(page_of("detail")).content.decode()
    assert "Out of use." in page


def test_a_draft_is_discarded_with_a_reason(client, quality, draft):
    page = client.get(page_of("edit")).content.decode()
    seen = re.search(r'value="([^"]*)"', re.search(r"<input[^>]*discard-seen[^>]*>", page)[0])[1]
    client.post(page_of("discard"), {"seen": seen})
    assert Exercise.objects.exists()
    client.post(page_of("discard"), {"seen": seen, "why": "Made by mistake."})
    assert not Exercise.objects.exists()
