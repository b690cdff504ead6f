"""Scopes and operations: made, changed, corrected, retired; and what was signed under a title."""

import pytest
from django.db import connection

from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import Operation, Scope
from certification.queries.scope_use import in_force_for, standing_for, use_of
from certification.services import proposals, routing_operations, schemes, scopes
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.routing_operations import Routed
from certification.services.scopes import scope_state
from records.models import TrailEntry, append_only
from records.queries.verification import verify_records
from tests import factories
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_user,
)
from training.models import Position, PracticeRecord

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def scope(quality):
    return schemes.create_scope(
        code="TERM",
        title="Terminals",
        level="operator",
        joint_types=["turret"],
        actor=quality,
        at=NOW,
    )


def change(scope, actor, **fields):
    given = {"shown": scope_state(scope), "actor": actor, "at": NOW}
    return scopes.change_scope(scope=scope, **given | fields)


def fits():
    return [str(fault) for fault in verify_records().faults]


def test_a_scope_that_nothing_uses_is_changed_whole(scope, quality):
    change(scope, quality, code="TERMINALS", level="inspector", joint_types=["hook"])
    scope.refresh_from_db()
    assert (scope.code, scope.level, scope.joint_types) == ("TERMINALS", "inspector", ["hook"])
    assert fits() == []


USES = {
    "a certificate": lambda scope: make_certificate(scope=scope),
    "a published scheme": lambda scope: make_revision(scope),
    "an operation": lambda scope: Operation.objects.create(code="0110", scope=scope),
    "practice": lambda scope: PracticeRecord.objects.create(
        person=make_person(), scope_code=scope.code, performed_on=TODAY
    ),
    "a board": lambda scope: make_board(exercise=credited(scope)),
}


def credited(scope):
    exercise = make_exercise()
    with factories.unprotected():
        Position.objects.filter(exercise=exercise).update(scope_code=scope.code)
    return exercise


@pytest.mark.parametrize("use", USES)
def test_a_scope_that_is_used_keeps_all_but_its_title(scope, quality, use):
    USES[use](scope)
    assert use_of(scope).is_used
    for fields in ({"code": "T"}, {"level": "inspector"}, {"joint_types": ["hook"]}):
        with pytest.raises(CertificationError, match="TERM is used"):
            change(scope, quality, reason="Why not.", **fields)
    with pytest.raises(CertificationError, match="Say why the title"):
        change(scope, quality, title="Terminals of all kinds")
    change(scope, quality, title="Terminals of all kinds", reason="A slip.")
    entry = TrailEntry.objects.get(act="scope title corrected")
    assert "A slip." in entry.payload.body


def test_exercises_and_drafts_are_told_and_do_not_keep_a_code(scope, quality):
    exercise = credited(scope)
    draft = make_revision(scope, published=False)
    use = use_of(scope)
    assert (use.exercises, use.drafts, use.is_used) == ((exercise.code,), (draft,), False)


def test_use_is_read_in_few_queries(scope, django_assert_num_queries):
    with django_assert_num_queries(8):
        use_of(scope)


def test_what_was_signed_under_a_title_still_fits_once_it_is_corrected(scope, quality):
    exercise = make_exercise()
    revision = make_revision(scope, exercise=exercise, grader_needs_standing=False)
    person, instructor = make_person(), make_user("instructor")
    make_passed_board(person, exercise, grader=instructor)
    proposal = proposals.propose(
        person=person, scope=scope, revision=revision, act=Act(instructor, NOW, "password")
    )
    issue_certificate(proposal=proposal, act=Act(quality, NOW, "password"))
    make_certificate(scope=scope, revision=revision)
    factories.write_down()
    assert fits() == []

    change(scope, quality, title="Terminals, all", reason="A slip.")
    scope.refresh_from_db()
    change(scope, quality, title="Terminals, every kind", reason="Another.")
    assert fits() == []

    # A title that nobody corrected in good order does not fit.
    Scope.objects.filter(pk=scope.pk).update(title="Everything")
    assert any("certification_scope" in fault for fault in fits())


@pytest.mark.parametrize(
    "altered",
    [
        "title = 'Everything'",
        "level = 'instructor'",
        "retired_at = NULL",
        "source_note = 'A standard'",
    ],
)
def test_a_scope_altered_by_hand_is_named(scope, quality, altered):
    scopes.retire_scope(
        scope=scope, reason="Gone.", actor=quality, at=NOW, shown=scope_state(scope)
    )
    assert fits() == []
    with connection.cursor() as cursor:
        cursor.execute(f"UPDATE certification_scope SET {altered} WHERE id = %s", [scope.pk])
    [fault] = fits()
    assert fault.startswith(f"certification_scope {scope.pk} is not what trail entry")


def test_a_retired_scope_is_told_by_what_uses_it_and_restored(scope, quality):
    person, day = make_person(), TODAY
    make_certificate(person, scope)
    assert standing_for(scope, day) == 1
    assert len(in_force_for(scope)) == 1
    shown = scope_state(scope)
    with pytest.raises(CertificationError, match="Say why"):
        scopes.retire_scope(scope=scope, reason="", actor=quality, at=NOW, shown=shown)
    scopes.retire_scope(scope=scope, reason="No such work.", actor=quality, at=NOW, shown=shown)
    with pytest.raises(CertificationError, match="retired already"):
        scopes.retire_scope(scope=scope, reason="x", actor=quality, at=NOW, shown=shown)
    assert standing_for(scope, day) == 1
    scopes.restore_scope(scope=scope, reason="It came back.", actor=quality, at=NOW)
    with pytest.raises(CertificationError, match="is not retired"):
        scopes.restore_scope(scope=scope, reason="x", actor=quality, at=NOW)


def test_nothing_is_issued_for_a_retired_scope(scope, quality):
    exercise, person = make_exercise(), make_person()
    revision = make_revision(scope, exercise=exercise, grader_needs_standing=False)
    make_passed_board(person, exercise)
    scopes.retire_scope(
        scope=scope, reason="Gone.", actor=quality, at=NOW, shown=scope_state(scope)
    )
    with pytest.raises(CertificationError, match="retired: nothing new is issued"):
        proposals.propose(
            person=person,
            scope=scope,
            revision=revision,
            act=Act(make_user("instructor"), NOW, "password"),
        )


def test_whoever_changes_second_is_told(scope, quality):
    shown = scope_state(scope)
    change(scope, quality, title="Posts")
    with pytest.raises(ChangedMeanwhile):
        change(scope, quality, title="Turrets", shown=shown)
    with pytest.raises(ChangedMeanwhile):
        scopes.retire_scope(scope=scope, reason="x", actor=quality, at=NOW, shown=shown)


def test_scopes_are_one_in_whatever_capitals_and_kept_by_quality(scope, quality):
    with pytest.raises(CertificationError, match="There is a scope TERM already"):
        schemes.create_scope(
            code="term",
            title="x",
            level="operator",
            joint_types=["hook"],
            actor=quality,
            at=NOW,
        )
    for refused in (
        lambda: change(scope, make_user("instructor"), title="x"),
        lambda: routing_operations.add_operations(
            rows=[Routed("0110", scope)], actor=make_user("administrator"), at=NOW
        ),
    ):
        with pytest.raises(CertificationError, match="kept by quality"):
            refused()


# Operations


def add(quality, *rows):
    return routing_operations.add_operations(
        rows=[Routed(code, scope) for code, scope in rows], actor=quality, at=NOW
    )


def test_operations_are_taken_in_together_or_not_at_all(scope, quality):
    other = factories.make_scope()
    assert add(quality, ("0110", scope), ("0120", other)) == (2, 0)
    assert add(quality, ("0110", scope), ("0130", scope)) == (1, 1)
    with pytest.raises(CertificationError, match="0110 asks for TERM already"):
        add(quality, ("0140", scope), ("0110", other))
    with pytest.raises(CertificationError, match="given twice"):
        add(quality, ("0140", scope), ("0140", other))
    assert Operation.objects.count() == 3
    assert fits() == []


def test_an_operation_is_changed_and_removed_with_the_trail(scope, quality):
    add(quality, ("0110", scope), ("0120", scope))
    operation, other = Operation.objects.get(code="0110"), factories.make_scope()
    shown = Routed("0110", scope)
    given = {"operation": operation, "shown": shown, "actor": quality, "at": NOW}
    with pytest.raises(CertificationError, match="There is an operation 0120 already"):
        routing_operations.change_operation(code="0120", scope=scope, **given)
    routing_operations.change_operation(code="0111", scope=other, **given)
    with pytest.raises(ChangedMeanwhile):
        routing_operations.remove_operation(**given)
    assert fits() == []
    shown = Routed("0111", other)
    routing_operations.remove_operation(operation=operation, shown=shown, actor=quality, at=NOW)
    with pytest.raises(ChangedMeanwhile, match="removed meanwhile"):
        routing_operations.remove_operation(operation=operation, shown=shown, actor=quality, at=NOW)
    assert list(Operation.objects.values_list("code", flat=True)) == ["0120"]
    assert fits() == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE certification_operation SET code = '9999' WHERE code = '0110'",
        "DELETE FROM certification_operation WHERE code = '0110'",
    ],
)
def test_an_operation_altered_by_hand_is_named(scope, quality, statement):
    add(quality, ("0110", scope))
    with append_only.lifted(connection), connection.cursor() as cursor:
        cursor.execute(statement)
    [fault] = fits()
    assert "certification_operation" in fault


def test_no_operation_asks_for_a_retired_scope(scope, quality):
    scopes.retire_scope(
        scope=scope, reason="Gone.", actor=quality, at=NOW, shown=scope_state(scope)
    )
    with pytest.raises(CertificationError, match="TERM is retired"):
        add(quality, ("0110", scope))
