"""Scopes and schemes begun, changed, published and retired in the same instant."""

from dataclasses import replace

import pytest
from django.db import connection

from certification.exceptions import CertificationError
from certification.models import Operation, Scheme, SchemeRevision, Scope
from certification.queries import scheme_drafts as queries
from certification.services import routing_operations, scheme_drafts, schemes, scopes, starter
from certification.services.routing_operations import Routed
from certification.services.scopes import scope_state
from records.domain.shown import digest_of
from records.exceptions import ShownOtherwise
from tests.assessments.together import wait_behind
from tests.factories import NOW, make_revision, make_scope, make_user

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]


@pytest.fixture
def quality():
    return make_user("quality")


def second_after(act, other):
    """What the second act comes to, which has to wait for the first: its refusal in words."""

    def in_words():
        try:
            other()
        except (CertificationError, ShownOtherwise) as error:
            return str(error)
        return "done"

    return wait_behind(act, in_words)


def publishing(revision, quality, *, shown=False):
    digest = digest_of(queries.content_to_publish(revision)) if shown else None
    return lambda: schemes.publish_scheme_revision(
        revision=revision, actor=quality, at=NOW, shown=digest
    )


def changing(revision, quality, **rules):
    said, seen = scheme_drafts.draft_of(revision), queries.draft_digest(revision)
    return lambda: scheme_drafts.change_draft(
        revision=revision,
        draft=replace(said, rules={**said.rules, **rules}),
        seen=seen,
        actor=quality,
        at=NOW,
    )


def retiring(scope, quality):
    shown = scope_state(scope)
    return lambda: scopes.retire_scope(
        scope=scope, reason="Gone.", actor=quality, at=NOW, shown=shown
    )


def draft_for(scope):
    return make_revision(scope, published=False)


def test_of_two_who_publish_one_draft_the_second_is_told(quality):
    draft = draft_for(make_scope())
    told = second_after(publishing(draft, quality), publishing(draft, quality))
    assert "is published already" in told


def test_of_two_schemes_for_one_scope_the_second_is_shown_the_first(quality):
    scope = make_scope()
    one, other = draft_for(scope), draft_for(scope)
    told = second_after(
        publishing(one, quality, shown=True), publishing(other, quality, shown=True)
    )
    assert "nothing was signed" in told
    assert list(SchemeRevision.objects.in_force()) == [one]


def test_whoever_saves_behind_a_publishing_is_told_and_the_other_way_round(quality):
    draft = draft_for(make_scope())
    told = second_after(
        changing(draft, quality, validity_months=6), publishing(draft, quality, shown=True)
    )
    assert "nothing was signed" in told
    draft.refresh_from_db()
    assert (draft.validity_months, draft.is_draft) == (6, True)
    told = second_after(publishing(draft, quality), changing(draft, quality, validity_months=9))
    assert "published and never changes" in told


def test_of_two_who_save_the_second_is_told(quality):
    draft = draft_for(make_scope())
    told = second_after(
        changing(draft, quality, validity_months=6), changing(draft, quality, vision_months=6)
    )
    assert "changed the draft since you opened it" in told


def test_a_draft_discarded_while_somebody_saves_it(quality):
    draft = draft_for(make_scope())
    seen = queries.draft_digest(draft)
    told = second_after(
        lambda: scheme_drafts.discard_draft(
            revision=draft, why="Twice.", seen=seen, actor=quality, at=NOW
        ),
        changing(draft, quality, validity_months=6),
    )
    assert "discarded meanwhile" in told


def test_no_scheme_is_published_for_a_scope_that_is_being_retired(quality):
    scope = make_scope()
    draft = draft_for(scope)
    told = second_after(retiring(scope, quality), publishing(draft, quality))
    assert f"{scope.code} is retired" in told
    assert not SchemeRevision.objects.in_force().exists()


def test_a_scope_that_begins_to_be_used_keeps_its_code(quality):
    scope = make_scope()
    shown = scope_state(scope)
    told = second_after(
        lambda: routing_operations.add_operations(
            rows=[Routed("0110", scope)], actor=quality, at=NOW
        ),
        lambda: scopes.change_scope(scope=scope, code="OTHER", shown=shown, actor=quality, at=NOW),
    )
    assert "is used" in told
    assert Operation.objects.get().scope.code == scope.code


def test_of_two_who_begin_a_scheme_or_a_scope_of_one_code_the_second_is_told(quality):
    said = starter.usual_figures("Hand soldering")
    told = second_after(
        lambda: scheme_drafts.begin_scheme(code="HS", draft=said, actor=quality, at=NOW),
        lambda: scheme_drafts.begin_scheme(code="hs", draft=said, actor=quality, at=NOW),
    )
    assert "There is a scheme HS already" in told
    given = {"title": "x", "level": "operator", "joint_types": ["hook"], "actor": quality}
    told = second_after(
        lambda: schemes.create_scope(code="HOOK", at=NOW, **given),
        lambda: schemes.create_scope(code="Hook", at=NOW, **given),
    )
    assert "There is a scope HOOK already" in told


def test_the_starter_loaded_twice_at_once_is_there_once(quality):
    told = second_after(
        lambda: starter.load_starter(actor=quality, at=NOW),
        lambda: starter.load_starter(actor=quality, at=NOW),
    )
    assert told == "done"
    assert (Scheme.objects.count(), Scope.objects.count()) == (3, 12)


def test_a_draft_is_drawn_up_once_of_two_who_do(quality):
    published = make_revision(make_scope())

    def draft():
        return scheme_drafts.draft_next_revision(revision=published, actor=quality, at=NOW)

    assert "There is a draft already" in second_after(draft, draft)


def test_operation_changed_twice_at_once_was_changed_and_not_removed(quality):
    first, second = make_scope(code="TERM-OP"), make_scope(code="WIRE-OP")
    routing_operations.add_operations(rows=[Routed("OP-1", first)], actor=quality, at=NOW)

    def change(code, scope):
        return lambda: routing_operations.change_operation(
            operation=Operation.objects.get(),
            code=code,
            scope=scope,
            shown=Routed("OP-1", first),
            actor=quality,
            at=NOW,
        )

    said = second_after(change("OP-1", second), change("OP-2", first))
    assert "changed this meanwhile" in said
