"""Exercises are drafted, published and retired; what is published never changes."""

import json
import threading

import pytest
from django.db import IntegrityError, connection, connections, transaction

from assessments.exceptions import CannotMakeBoards
from assessments.services.boards import make_boards
from records.exceptions import ShownOtherwise
from records.models import TrailEntry, append_only
from records.queries.verification import verify_records
from tests.factories import NOW, TODAY, make_exercise, make_person, make_site, make_user
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.models import Course, CourseRevision, Exercise, Lesson, Position
from training.queries import exercises as queries
from training.services import exercise_drafts as drafts
from training.services.exercise_publishing import publish_exercises, retire_exercise

pytestmark = pytest.mark.django_db

TURRET = {
    "joint_type": "turret",
    "required": True,
    "wires": 1,
    "wire_awg": 22,
    "stranding": "19/34",
    "insulation": "ETFE",
    "conductor_mm": None,
    "overall_mm": None,
    "forming": "half a turn",
    "clearance": "",
    "scope_code": "",
}


@pytest.fixture
def instructor():
    return make_user("instructor")


def begin(actor, code="EX-1", **fields):
    made = drafts.begin_exercise(code=code, title="Turrets", actor=actor, at=NOW, **fields)
    if "copied_from" not in fields:
        drafts.change_head(
            exercise=made,
            purpose="To wrap alike.",
            stages=["formed", "soldered"],
            seen=None,
            actor=actor,
            at=NOW,
        )
        drafts.change_positions(
            exercise=made,
            positions=[{**TURRET, "name": name} for name in ("E01", "E02")],
            seen=None,
            actor=actor,
            at=NOW,
        )
        drafts.change_steps(
            exercise=made,
            steps=[
                {"stage": "soldered", "text": "Heat both.", "source": "common practice"},
                {"stage": "formed", "text": "Wrap it.", "source": "common practice"},
            ],
            seen=None,
            actor=actor,
            at=NOW,
        )
    return Exercise.objects.get(pk=made.pk)


def publish(*exercises, actor=None):
    quality = actor or make_user("quality")
    return publish_exercises(
        drafts={one.pk: queries.draft_digest(one) for one in exercises},
        actor=quality,
        at=NOW,
        reason="Tried at the bench.",
        proof="password",
    )


def hand_out(exercise):
    site = make_site()
    return make_boards(
        exercise=exercise,
        people=[make_person(site)],
        purpose="practice",
        site=site,
        handed_out_on=TODAY,
        actor=make_user("instructor", site=site),
        at=NOW,
    )


def test_boards_are_handed_out_once_a_draft_is_published(instructor):
    draft = begin(instructor)
    assert [step.stage for step in draft.steps.all()] == ["formed", "soldered"]
    assert not Exercise.objects.current().filter(code="EX-1").exists()
    with pytest.raises(CannotMakeBoards, match="is a draft"):
        hand_out(draft)

    [published] = publish(draft)

    assert list(Exercise.objects.current()) == [published]
    assert [joint.position.name for joint in hand_out(published)[0].joints.all()] == ["E01", "E02"]


def test_the_next_revision_retires_the_one_before_and_boards_keep_theirs(instructor):
    [first] = publish(begin(instructor))
    [board] = hand_out(first)
    second = drafts.draft_next_revision(exercise=first, actor=instructor, at=NOW)
    assert queries.positions_of(second) == queries.positions_of(first)
    assert queries.steps_of(second) == queries.steps_of(first)
    with pytest.raises(TrainingError, match="a draft of Turrets already"):
        drafts.draft_next_revision(exercise=first, actor=instructor, at=NOW)

    publish(second)

    first.refresh_from_db()
    board.refresh_from_db()
    assert first.retired_at == NOW
    assert board.exercise == first
    assert list(Exercise.objects.current().values_list("revision", flat=True)) == [2]
    with pytest.raises(CannotMakeBoards, match="is retired"):
        hand_out(first)


@pytest.mark.parametrize("act", ["head", "positions", "steps", "discard"])
def test_what_is_published_is_not_drafted_on(instructor, act):
    [published] = publish(begin(instructor))
    common = {"exercise": published, "actor": instructor, "at": NOW}
    with pytest.raises(TrainingError, match="never changes"):
        {
            "head": lambda: drafts.change_head(title="Else", seen=None, **common),
            "positions": lambda: drafts.change_positions(positions=[], seen=None, **common),
            "steps": lambda: drafts.change_steps(steps=[], seen=None, **common),
            "discard": lambda: drafts.discard_draft(why="No.", seen="", **common),
        }[act]()


@pytest.mark.each_database
def test_the_database_refuses_to_change_what_is_published(instructor):
    [published] = publish(begin(instructor))
    position = published.positions.first()
    for change in (
        lambda: Exercise.objects.filter(pk=published.pk).update(pass_mark=1),
        lambda: Position.objects.filter(pk=position.pk).update(forming="otherwise"),
        lambda: Position.objects.filter(pk=position.pk).delete(),
        lambda: Position.objects.create(exercise=published, name="X", order=9, joint_type="hook"),
        lambda: published.steps.all().delete(),
    ):
        with pytest.raises(IntegrityError, match="published"), transaction.atomic():
            change()
    Exercise.objects.filter(pk=published.pk).update(retired_at=NOW)


@pytest.mark.each_database
def test_a_published_exercise_altered_by_hand_is_named(instructor):
    [published] = publish(begin(instructor))
    assert not [fault for fault in verify_records().faults if "exercise" in str(fault)]

    with append_only.lifted(connection):
        published.positions.filter(name="E02").update(forming="not at all")
        Exercise.objects.filter(pk=published.pk).update(retired_at=NOW)

    faults = " ".join(map(str, verify_records().faults))
    assert "E02" in faults
    assert "retired_at" in faults


DRAWN = {"drawing": "fillet-concave", "shows": "accept", "cautions": ["hot"]}
STEP = {"stage": "soldered", "text": "Heat both.", "source": "common practice"}


def change_steps(exercise, actor, *steps):
    drafts.change_steps(exercise=exercise, steps=steps, seen=None, actor=actor, at=NOW)


def test_what_a_step_draws_and_warns_of_is_written_down_and_copied(instructor):
    draft = begin(instructor)
    before = queries.steps_digest(draft)
    change_steps(draft, instructor, STEP | DRAWN)
    assert queries.steps_digest(draft) != before
    [published] = publish(draft)
    second = drafts.draft_next_revision(exercise=published, actor=instructor, at=NOW)
    assert queries.steps_of(second) == [STEP | DRAWN]

    with append_only.lifted(connection):
        published.steps.update(cautions=[])

    faults = " ".join(map(str, verify_records().faults))
    assert "training_exercisestep soldered Heat both." in faults
    assert "cautions" in faults


def test_steps_that_draw_nothing_are_written_down_as_they_always_were(instructor):
    [published] = publish(begin(instructor))
    entry = TrailEntry.objects.get(act="exercise published", about_id=str(published.pk))
    assert {tuple(step) for step in json.loads(entry.payload.body)["steps"]} == {
        ("source", "stage", "text")
    }


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"drawing": "../secret"}, "There is no drawing"),
        ({"drawing": f"site/{'0' * 64}"}, "There is no drawing"),
        ({"shows": "reject"}, "Choose the drawing"),
        ({"cautions": ["dragons"]}, "Choose the cautions"),
    ],
)
def test_a_step_names_what_there_is(instructor, said, message):
    draft = begin(instructor)
    with pytest.raises(TrainingError, match=message):
        change_steps(draft, instructor, STEP | said)
    assert draft.steps.count() == 2


@pytest.mark.parametrize(
    ("without", "message"),
    [
        ({"purpose": ""}, "Say what it is for"),
        ({"stages": []}, "at least one stage"),
    ],
)
def test_a_draft_that_says_too_little_is_not_published(instructor, without, message):
    draft = begin(instructor)
    drafts.change_head(exercise=draft, seen=None, actor=instructor, at=NOW, **without)
    with pytest.raises(TrainingError, match=message):
        publish(Exercise.objects.get(pk=draft.pk))


def test_a_draft_without_a_required_position_is_not_published(instructor):
    draft = begin(instructor)
    spare = [{**TURRET, "name": "E01", "required": False}]
    drafts.change_positions(exercise=draft, positions=spare, seen=None, actor=instructor, at=NOW)
    with pytest.raises(TrainingError, match="at least one position"):
        publish(draft)


def test_of_several_drafts_all_are_published_or_none(instructor):
    good, bare = begin(instructor), begin(instructor, "EX-2")
    drafts.change_positions(exercise=bare, positions=[], seen=None, actor=instructor, at=NOW)
    with pytest.raises(TrainingError, match="at least one position"):
        publish(good, bare)
    assert not Exercise.objects.published().exists()


def test_what_was_changed_since_it_was_shown_is_not_published(instructor):
    draft = begin(instructor)
    shown = queries.draft_digest(draft)
    drafts.change_head(exercise=draft, alloy="Sn60Pb40", seen=None, actor=instructor, at=NOW)
    with pytest.raises(ShownOtherwise):
        publish_exercises(
            drafts={draft.pk: shown}, actor=make_user("quality"), at=NOW, reason="Tried."
        )
    assert not Exercise.objects.published().exists()


def test_pressed_twice_it_is_published_once(instructor):
    draft = begin(instructor)
    publish(draft)
    with pytest.raises(TrainingError, match="published already"):
        publish(draft)
    assert TrailEntry.objects.filter(act="exercise published").count() == 1


def test_the_second_of_two_who_change_the_same_part_is_told(instructor):
    draft = begin(instructor)
    seen = queries.head_digest(draft)
    other = make_user("instructor")
    drafts.change_head(exercise=draft, alloy="Sn60Pb40", seen=seen, actor=other, at=NOW)
    with pytest.raises(DraftChangedMeanwhile, match=f"{other} changed this"):
        drafts.change_head(exercise=draft, alloy="Sn96Ag4", seen=seen, actor=instructor, at=NOW)
    # Another part of it is not in the way.
    drafts.change_steps(
        exercise=draft, steps=[], seen=queries.steps_digest(draft), actor=instructor, at=NOW
    )
    assert Exercise.objects.get(pk=draft.pk).alloy == "Sn60Pb40"


def test_a_name_is_given_once_and_a_code_whatever_its_capitals(instructor):
    draft = begin(instructor)
    twice = [{**TURRET, "name": "E01"}, {**TURRET, "name": "E01"}]
    with pytest.raises(TrainingError, match="Here twice: E01"):
        drafts.change_positions(
            exercise=draft, positions=twice, seen=None, actor=instructor, at=NOW
        )
    assert draft.positions.count() == 2
    with pytest.raises(TrainingError, match="code of another exercise"):
        begin(instructor, "ex-1")


def test_a_copy_says_what_the_other_says_under_its_own_code(instructor):
    like = make_exercise(("turret", "hook"), alloy="Sn60Pb40")
    copied = begin(instructor, "EX-9", copied_from=like)
    assert (copied.code, copied.revision, copied.title) == ("EX-9", 1, "Turrets")
    assert copied.alloy == "Sn60Pb40"
    assert queries.positions_of(copied) == queries.positions_of(like)


def test_a_draft_is_discarded_with_what_it_said_unless_a_course_names_it(instructor):
    draft = begin(instructor)
    course = Course.objects.create(code="C-1", title="Course")
    revision = CourseRevision.objects.create(course=course, revision=1)
    lesson = Lesson.objects.create(
        course_revision=revision, order=1, title="Wrap", minutes=30, exercise=draft
    )
    said = {"why": "Not needed.", "actor": instructor, "at": NOW}
    with pytest.raises(TrainingError, match=r"Course, rev\. 1"):
        drafts.discard_draft(exercise=draft, seen=queries.draft_digest(draft), **said)
    lesson.delete()
    with pytest.raises(DraftChangedMeanwhile):
        drafts.discard_draft(exercise=draft, seen="something else", **said)

    drafts.discard_draft(exercise=draft, seen=queries.draft_digest(draft), **said)

    assert not Exercise.objects.exists()
    entry = TrailEntry.objects.get(act="exercise draft discarded")
    assert json.loads(entry.payload.body)["said"]["positions"][0]["name"] == "E01"
    with pytest.raises(TrainingError, match="not there any more"):
        drafts.change_steps(exercise=draft, steps=[], seen=None, actor=instructor, at=NOW)


def test_what_is_retired_once_is_not_retired_again(instructor):
    [published] = publish(begin(instructor))
    said = {"actor": make_user("quality"), "at": NOW, "reason": "Replaced.", "proof": "password"}
    retire_exercise(exercise=published, **said)
    with pytest.raises(TrainingError, match="out of use already"):
        retire_exercise(exercise=published, **said)


def at_once(*acts):
    """Do acts on connections of their own that begin together; return what each gave or raised."""
    gate = threading.Barrier(len(acts))
    came: list = [None] * len(acts)

    def run(place, act):
        try:
            gate.wait(120)
            came[place] = act()
        except TrainingError as error:
            came[place] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(300)
    return came


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_of_two_drafts_begun_at_once_one_is():
    instructor = make_user("instructor")
    published = make_exercise()
    came = at_once(
        *[
            lambda: drafts.draft_next_revision(exercise=published, actor=instructor, at=NOW),
        ]
        * 2
    )
    assert sorted(type(one).__name__ for one in came) == ["Exercise", "TrainingError"]
    assert Exercise.objects.drafts().count() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_of_two_who_save_at_once_the_second_is_told():
    instructor = make_user("instructor")
    draft = begin(instructor)
    seen = queries.positions_digest(draft)

    def save(name):
        return lambda: drafts.change_positions(
            exercise=draft,
            positions=[{**TURRET, "name": name}],
            seen=seen,
            actor=instructor,
            at=NOW,
        )

    came = at_once(save("A1"), save("B1"))
    assert sorted(type(one).__name__ for one in came) == ["DraftChangedMeanwhile", "Exercise"]
    [position] = draft.positions.all()
    assert position.name == ("A1" if isinstance(came[0], Exercise) else "B1")
