"""A draft of criteria is changed by several people, and nothing of anybody's is lost."""

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal
from threading import Barrier

import pytest
from django.db import connection, connections

from assessments.exceptions import CannotChangeCriteria, CriterionChangedMeanwhile
from assessments.models import CriteriaSet
from assessments.presenters.criteria_files import criteria_file
from assessments.queries import criteria_sets
from assessments.services import criteria as services
from assessments.services import criteria_drafts, criteria_files
from people.models import Site
from records.exceptions import ShownOtherwise
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.factories import NOW, make_criteria_set, make_exercise, make_site, make_user

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)
TEXTS = {"en": {"title": "Drawn back", "text": "It covers.", "reject": "It drew back."}}
FIELDS = {
    "stage": "soldered",
    "of": "joint",
    "joint_types": ["turret"],
    "how": "eye",
    "severity": "major",
    "demerits": 20,
}


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def published():
    made = make_criteria_set(
        {
            "code": "F-1",
            "stage": "formed",
            "how": "measured",
            "quantity": "wrap",
            "low": 180,
            "high": 270,
            "unit": "deg",
            "document": "WI-204",
            "source_note": "From memory: check in the document. Two cracked in 2025.",
        },
        {"code": "S-1", "document": "WI-204"},
        {"code": "S-2"},
        {"code": "S-9", "of": "board"},
        published=False,
    )
    services.publish_criteria_set(
        criteria_set=confirmed(made), actor=make_user("quality"), at=NOW, reason="First."
    )
    return made


@pytest.fixture
def draft(published, quality):
    return services.draft_next_revision(criteria_set=published, actor=quality, at=NOW)


def confirmed(made):
    made.criteria.update(confirmed_at=NOW, confirmed_by=make_user("quality"))
    return made


def add(made, actor, code="S-10", texts=TEXTS, **fields):
    return criteria_drafts.add_criterion(
        criteria_set=made, code=code, actor=actor, at=NOW, texts=texts, **(FIELDS | fields)
    )


def change(criterion, actor, **fields):
    return criteria_drafts.change_criterion(
        criterion=criterion, actor=actor, at=LATER, **({"texts": {}} | fields)
    )


def drop(made, actor, code):
    criterion = made.criteria.get(code=code)
    return criteria_drafts.remove_criterion(criterion=criterion, why="Old.", actor=actor, at=NOW)


def codes(made):
    return [one.code for one in made.criteria.all()]


def test_a_new_criterion_stands_last_of_its_stage(draft, quality):
    add(draft, quality)
    add(draft, quality, "F-2", stage="formed")
    add(draft, quality, "P-1", stage="prepared")
    add(draft, quality, "S-99", of="board")
    add(draft, quality, "C-1", stage="cleaned")

    assert codes(draft) == ["P-1", "F-1", "F-2", "S-1", "S-2", "S-10", "S-9", "S-99", "C-1"]
    assert [one.order for one in draft.criteria.all()] == list(range(1, 10))


def test_a_criterion_that_changes_its_stage_moves_there(draft, quality):
    change(draft.criteria.get(code="S-2"), quality, stage="formed")

    assert codes(draft) == ["F-1", "S-2", "S-1", "S-9"]


def test_a_code_means_one_thing_for_ever(draft, quality):
    for code in ("S-1", "F-1"):
        with pytest.raises(CannotChangeCriteria, match="A code means one thing"):
            add(draft, quality, code)
    drop(draft, quality, "S-2")
    draft.refresh_from_db()
    with pytest.raises(CannotChangeCriteria, match="was taken out of this draft"):
        add(draft, quality, "S-2")
    services.publish_criteria_set(criteria_set=confirmed(draft), actor=quality, at=NOW)
    later = services.draft_next_revision(criteria_set=draft, actor=quality, at=NOW)
    with pytest.raises(CannotChangeCriteria, match="A code means one thing"):
        add(later, quality, "S-2")


def test_what_was_dropped_is_taken_up_again_as_it_was(draft, quality):
    add(draft, quality)
    drop(draft, quality, "S-1")
    made = drop(draft, quality, "S-10")
    assert made.dropped == {"S-1": "Old.", "S-10": "Old."}

    restored = criteria_drafts.restore_criterion(
        criteria_set=draft, code="S-1", actor=quality, at=NOW
    )

    assert restored.is_verified
    assert codes(draft) == ["F-1", "S-1", "S-2", "S-9"]
    draft.refresh_from_db()
    assert draft.dropped == {"S-10": "Old."}
    with pytest.raises(CannotChangeCriteria, match="in no earlier revision"):
        criteria_drafts.restore_criterion(criteria_set=draft, code="S-10", actor=quality, at=NOW)


def test_order_is_changed_within_a_stage(draft, quality):
    def move(code, earlier):
        return criteria_drafts.move_criterion(
            criterion=draft.criteria.get(code=code), earlier=earlier, actor=quality, at=NOW
        )

    assert move("S-2", earlier=True)
    assert codes(draft) == ["F-1", "S-2", "S-1", "S-9"]
    assert not move("S-2", earlier=True)
    assert not move("F-1", earlier=True)
    assert not move("S-9", earlier=False)
    assert move("S-2", earlier=False)
    assert codes(draft) == ["F-1", "S-1", "S-2", "S-9"]


def test_every_field_is_changed_and_each_unconfirms(draft, quality):
    criterion = draft.criteria.get(code="S-1")
    changes = {
        "stage": "cleaned",
        "of": "board",
        "joint_types": ["hook"],
        "alloys": ["Sn63Pb37"],
        "severity": "critical",
        "demerits": 3,
        "document": "WI-205",
        "edition": "rev. C",
        "clause": "7.1",
        "source_note": "Table 2.",
        "accept_drawing": "tail-accept",
        "reject_drawing": "tail-reject",
        "more_reject_drawings": ["lead-nicked"],
        "texts": {"de": {"title": "Sauber", "text": "Rein.", "reject": "Unrein."}},
    }
    for name, value in changes.items():
        draft.criteria.update(confirmed_at=NOW, also_confirmed_at=NOW)
        changed = change(criterion, quality, **{name: value})
        assert (changed.confirmed_at, changed.also_confirmed_at) == (None, None), name
        assert (changed.changed_at, changed.changed_by) == (LATER, quality)
    draft.criteria.filter(code="F-1").update(how="eye")
    limits = {"how": "measured", "quantity": "clearance", "low": Decimal(0), "unit": "D"}
    changed = change(criterion, quality, **limits | {"high": Decimal(2)})
    state = criteria_sets.state_of(changed)
    texts = changes.pop("texts")["de"]
    assert {name: state[name] for name in changes} == changes
    assert {name: state[f"{name}_de"] for name in texts} == texts
    assert (state["low"], state["high"], state["title_en"]) == ("0", "2", "Title 2")


def test_what_somebody_else_changed_is_shown_and_not_overwritten(draft, quality):
    criterion = draft.criteria.get(code="F-1")
    shown = criteria_sets.state_of(criterion)
    other = make_user("instructor")
    change(criterion, other, high=Decimal(200), shown=shown)

    with pytest.raises(CriterionChangedMeanwhile, match=f"{other} changed F-1") as refused:
        change(criterion, quality, demerits=1, shown=shown)

    assert refused.value.now == {"high": "200"}
    kept = draft.criteria.get(code="F-1")
    assert (kept.high, kept.demerits) == (200, 20)
    change(criterion, quality, demerits=1, shown=criteria_sets.state_of(kept))
    assert draft.criteria.get(code="F-1").demerits == 1


def test_what_was_taken_out_meanwhile_is_not_changed(draft, quality):
    criterion = draft.criteria.get(code="S-1")
    drop(draft, quality, "S-1")

    for act in (
        lambda: change(criterion, quality, demerits=1),
        lambda: criteria_drafts.remove_criterion(
            criterion=criterion, why="", actor=quality, at=NOW
        ),
        lambda: criteria_drafts.move_criterion(
            criterion=criterion, earlier=True, actor=quality, at=NOW
        ),
    ):
        with pytest.raises(CannotChangeCriteria, match="was taken out"):
            act()


def test_a_published_set_takes_no_criterion_and_loses_none(published, quality):
    criterion = published.criteria.get(code="S-1")
    for act in (
        lambda: add(published, quality),
        lambda: drop(published, quality, "S-1"),
        lambda: criteria_drafts.restore_criterion(
            criteria_set=published, code="S-1", actor=quality, at=NOW
        ),
        lambda: criteria_drafts.move_criterion(
            criterion=criterion, earlier=False, actor=quality, at=NOW
        ),
        lambda: services.describe_draft(
            criteria_set=published, actor=quality, at=NOW, shown={}, document="X"
        ),
    ):
        with pytest.raises(CannotChangeCriteria, match="published and never changes"):
            act()


# Confirming


def confirm(made, actor, *which, **more):
    return services.confirm_criteria(criteria_set=made, codes=which, actor=actor, at=LATER, **more)


def test_a_note_of_doubt_goes_when_the_document_was_read_and_the_trail_keeps_it(draft, quality):
    change(draft.criteria.get(code="F-1"), quality, high=Decimal(200))

    confirm(draft, quality, "F-1", edition="rev. C")

    criterion = draft.criteria.get(code="F-1")
    assert criterion.source_note == "Two cracked in 2025."
    assert criterion.source == "WI-204, rev. C"
    kept = json.loads(TrailEntry.objects.latest("pk").payload.body)
    assert kept["notes_before"]["F-1"].startswith("From memory")
    assert kept["read"] == {"F-1": ["WI-204", "rev. C", ""]}


def test_where_a_site_asks_for_two_a_second_person_confirms(draft, quality):
    Site.objects.filter(pk=make_site().pk).update(criteria_by_two=True)
    second = make_user("quality")
    change(draft.criteria.get(code="S-1"), quality, demerits=3)
    confirm(draft, quality, "S-1", edition="rev. C")

    with pytest.raises(CannotChangeCriteria, match="A second person has to read"):
        confirm(draft, quality, "S-1")
    with pytest.raises(CannotChangeCriteria, match=r"was confirmed in rev\. C"):
        confirm(draft, second, "S-1", edition="rev. D")
    left = criteria_sets.unconfirmed(draft.criteria.all(), by_two=True)
    assert "S-1" in [one.code for one in left]
    with pytest.raises(CannotChangeCriteria, match="not verified"):
        services.publish_criteria_set(criteria_set=draft, actor=quality, at=LATER)
    confirm(draft, second, *codes(draft), edition="")

    assert criteria_sets.unconfirmed(draft.criteria.all(), by_two=True) == []
    made = services.publish_criteria_set(criteria_set=draft, actor=quality, at=LATER)
    assert made.criteria.get(code="S-1").also_confirmed_by == second


def test_a_set_with_all_that_it_can_say_is_as_it_was_written_down(draft, quality):
    add(draft, quality, edition="rev. C", more_reject_drawings=["lead-nicked"])
    drop(draft, quality, "S-2")
    services.describe_draft(
        criteria_set=draft,
        actor=quality,
        at=NOW,
        shown={},
        document="WI-204",
        product_class="class 3",
    )
    services.publish_criteria_set(
        criteria_set=confirmed(draft), actor=quality, at=LATER, reason="Table 2 is new."
    )

    made = CriteriaSet.objects.get(pk=draft.pk)
    assert (made.publishing_reason, made.published_by) == ("Table 2 is new.", quality)
    assert [
        fault for fault in verify_records(with_files=False).faults if "criteri" in str(fault)
    ] == []


# Which set


def test_a_set_of_its_own_is_for_the_exercises_that_name_it(published, quality):
    exercise, other = make_exercise(), make_exercise()
    made = services.begin_criteria_set(
        title="Tank", actor=quality, at=NOW, document="WI-9", copied_from=published
    )

    def choose(title, shown=""):
        return services.choose_for_exercise(
            exercise=exercise, title=title, shown=shown, actor=quality, at=NOW
        )

    with pytest.raises(CannotChangeCriteria, match="Nothing of “Tank” is published"):
        choose("Tank")
    services.publish_criteria_set(criteria_set=made, actor=quality, at=LATER)
    assert criteria_sets.set_for(exercise.code) == published
    choose("Tank")
    with pytest.raises(CannotChangeCriteria, match="changed this meanwhile"):
        choose("", shown="")

    assert criteria_sets.set_for(exercise.code) == made
    assert criteria_sets.set_for(other.code) == criteria_sets.default_set() == published
    with pytest.raises(CannotChangeCriteria, match="These exercises name Tank"):
        services.retire_criteria_set(criteria_set=made, actor=quality, at=LATER)
    with pytest.raises(CannotChangeCriteria, match="no site could judge"):
        services.retire_criteria_set(criteria_set=published, actor=quality, at=LATER)
    revised = services.draft_next_revision(criteria_set=made, actor=quality, at=LATER)
    services.publish_criteria_set(criteria_set=revised, actor=quality, at=LATER)
    assert criteria_sets.set_for(exercise.code) == revised
    choose("", shown="Tank")
    assert criteria_sets.set_for(exercise.code) == published
    assert [
        fault for fault in verify_records(with_files=False).faults if "criteri" in str(fault)
    ] == []


@pytest.mark.parametrize("title", ["Workmanship", "WORKMANSHIP"])
def test_a_title_is_given_once(published, quality, title):
    with pytest.raises(CannotChangeCriteria, match="There is a set"):
        services.begin_criteria_set(title=title, actor=quality, at=NOW)


# Two at once


def both(*acts):
    """Let two acts begin together, each on a connection of its own; return what each came to."""
    together = Barrier(2)

    def run(act):
        together.wait()
        try:
            return act()
        except (CannotChangeCriteria, ShownOtherwise) as error:
            return str(error)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(run, acts))


at_once = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


def marked(test):
    for mark in at_once:
        test = mark(test)
    return test


@marked
def test_two_who_change_a_criterion_at_once_do_not_undo_each_other(draft, quality):
    other = make_user("instructor")
    criterion = draft.criteria.get(code="S-1")
    shown = criteria_sets.state_of(criterion)

    came_to = both(
        lambda: change(criterion, quality, demerits=1, shown=shown).demerits,
        lambda: change(criterion, other, severity="minor", shown=shown).severity,
    )

    assert sum("since you opened it" in str(one) for one in came_to) == 1


@marked
def test_two_who_add_at_once_both_have_their_place_and_no_code_is_given_twice(draft, quality):
    other = make_user("instructor")

    both(lambda: add(draft, quality, "S-20"), lambda: add(draft, other, "S-21"))
    came_to = both(lambda: add(draft, quality, "S-30"), lambda: add(draft, other, "S-30"))

    assert [one.order for one in draft.criteria.all()] == [1, 2, 3, 4, 5, 6, 7]
    assert sum("A code means one thing" in str(one) for one in came_to) == 1


@marked
def test_what_is_published_is_what_was_shown_though_somebody_changes_it(draft, quality):
    other = make_user("instructor")
    confirmed(draft)
    digest = criteria_sets.draft_digest(draft)
    criterion = draft.criteria.get(code="S-2")

    came_to = both(
        lambda: services.publish_criteria_set(
            criteria_set=draft, actor=quality, at=LATER, shown=digest
        ),
        lambda: change(criterion, other, demerits=7),
    )

    assert sum(isinstance(one, str) for one in came_to) == 1
    is_out = CriteriaSet.objects.get(pk=draft.pk).published_at is not None
    assert draft.criteria.get(code="S-2").demerits == (20 if is_out else 7)


@marked
def test_two_who_draft_the_next_revision_at_once_have_one_draft(published, quality):
    came_to = both(
        lambda: services.draft_next_revision(criteria_set=published, actor=quality, at=LATER),
        lambda: services.draft_next_revision(criteria_set=published, actor=quality, at=LATER),
    )

    assert sum("There is a draft already" in str(one) for one in came_to) == 1
    assert CriteriaSet.objects.drafts().count() == 1


@marked
def test_two_who_take_in_a_file_at_once_make_one_draft(published, quality):
    content = criteria_file(published, "csv")

    def take_in():
        return criteria_files.import_criteria(
            name="x.csv", content=content, title=published.title, actor=quality, at=LATER
        )

    came_to = both(take_in, take_in)

    assert sum("There is a draft already" in str(one) for one in came_to) == 1
    assert CriteriaSet.objects.drafts().get().criteria.count() == 4


@marked
def test_two_who_confirm_at_once_are_two_where_two_are_asked_for(draft, quality):
    Site.objects.filter(pk=make_site().pk).update(criteria_by_two=True)
    draft.criteria.update(confirmed_at=None, confirmed_by=None)
    other = make_user("quality")

    both(lambda: confirm(draft, quality, "S-1"), lambda: confirm(draft, other, "S-1"))

    criterion = draft.criteria.get(code="S-1")
    assert {criterion.confirmed_by, criterion.also_confirmed_by} == {quality, other}


@marked
def test_a_set_is_not_retired_from_under_an_exercise(published, quality):
    make_criteria_set()
    tank = services.begin_criteria_set(title="Tank", actor=quality, at=NOW, copied_from=published)
    services.publish_criteria_set(criteria_set=tank, actor=quality, at=LATER)
    exercise = make_exercise()

    came_to = both(
        lambda: services.choose_for_exercise(
            exercise=exercise, title="Tank", shown="", actor=quality, at=LATER
        ),
        lambda: services.retire_criteria_set(criteria_set=tank, actor=quality, at=LATER),
    )

    assert sum(isinstance(one, str) for one in came_to) == 1
    named = criteria_sets.exercises_naming("Tank")
    is_retired = CriteriaSet.objects.get(pk=tank.pk).retired_at is not None
    assert bool(named) != is_retired
