"""Stored spans and ends: the same as the engine says, whatever wrote them last."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import transaction

from audit.services import importing
from certification.domain.standing import Standing, timeline
from certification.models import Certificate, StandingEnd, StandingSpan
from certification.queries import standing_on_day
from certification.services import standing
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.services import facts

pytestmark = pytest.mark.django_db

CASES = Path(__file__).parent.parent / "reference" / "standing"


def rows(**filters):
    found = StandingSpan.objects.filter(**filters).order_by("person", "scope", "first_day")
    return [
        (
            one.first_day,
            one.last_day,
            one.standing,
            one.certificate.number,
            one.restriction,
            one.rule,
            sorted((end.kind, end.last_day, end.source) for end in one.ends.all()),
        )
        for one in found.select_related("certificate").prefetch_related("ends")
    ]


def assert_spans_agree_around_every_edge(person, scope):
    """Compare query and engine over the days around each edge, as-of-day."""
    line = timeline(standing_on_day.facts_for(person, scope))
    edges = {span.first_day for span in line.spans} | {
        end.last_day for span in line.spans for end in line.ends_after(span.first_day)
    }
    for edge in edges:
        for day in (edge + timedelta(days=shift) for shift in (-1, 0, 1)):
            said = line.on(day)
            found = StandingSpan.objects.on(day).filter(person=person, scope=scope)
            if said.standing is Standing.NEVER_CERTIFIED:
                assert not found.exists()
                continue
            span = found.select_related("certificate").get()
            assert (span.standing, span.certificate.number, span.restriction, span.rule) == (
                said.standing.value,
                said.certificate_number,
                said.restriction,
                said.rule.value,
            )
            ends = {(end.kind, end.last_day, end.source) for end in span.ends.all()}
            assert ends == {(e.kind.value, e.last_day, e.source) for e in line.ends_after(day)}


@pytest.mark.parametrize("name", ["worked", "edges"])
def test_spans_agree_with_the_engine_around_every_edge_of_the_worked_cases(name):
    make_site("North", "NO")
    make_site("South", "SO")
    importing.import_register(path=CASES / name, zone=UTC, at=NOW, actor="test")

    pairs = {(one.person, one.scope) for one in Certificate.objects.all()}

    assert len(pairs) >= 5
    for person, scope in pairs:
        assert_spans_agree_around_every_edge(person, scope)


@pytest.fixture
def certificate():
    """Good from 10 Jan 2026, with yearly vision tests and no longer gap than six months."""
    scope = make_scope()
    revision = make_revision(scope, vision_months=12, max_absence_months=6)
    return make_certificate(scope=scope, revision=revision, issued_on=date(2026, 1, 10))


def test_spans_follow_each_other_without_a_gap_and_the_last_is_open(certificate):
    facts.record_vision_test(
        person=certificate.person,
        tested_on=date(2026, 3, 1),
        passed=True,
        actor=make_user("quality"),
        at=NOW,
    )

    found = rows(person=certificate.person)

    assert [(row[0], row[2]) for row in found] == [
        (date(2026, 1, 10), "vision_not_current"),
        (date(2026, 3, 1), "certified"),
        (date(2026, 7, 11), "practice_lapsed"),
        (date(2027, 3, 2), "vision_not_current"),
        (date(2028, 1, 11), "expired"),
    ]
    assert all(later[0] == row[1] + timedelta(days=1) for row, later in pairwise(found))
    assert found[-1][1] is None


def test_every_fact_rebuilds_the_spans_in_its_own_transaction(certificate):
    quality = make_user("quality")
    person, scope = certificate.person, certificate.scope
    test = facts.record_vision_test(
        person=person, tested_on=date(2026, 1, 10), passed=True, actor=quality, at=NOW
    )
    assert_spans_agree_around_every_edge(person, scope)
    practice = facts.record_practice(
        person=person,
        scope_code=scope.code,
        performed_on=date(2026, 7, 10),
        actor=quality,
        at=NOW,
    )
    assert StandingSpan.objects.on(TODAY).get().standing == "certified"
    assert_spans_agree_around_every_edge(person, scope)
    facts.withdraw_practice(
        practice=practice, reason="Not theirs.", actor=quality, at=NOW, proof="password"
    )
    assert StandingSpan.objects.on(TODAY).get().standing == "practice_lapsed"
    facts.withdraw_vision_test(
        vision_test=test, reason="Not theirs.", actor=quality, at=NOW, proof="password"
    )
    assert StandingSpan.objects.on(TODAY).get().standing == "vision_not_current"
    assert_spans_agree_around_every_edge(person, scope)


def test_spans_go_back_with_the_fact_when_the_transaction_fails(certificate):
    before = rows()
    quality = make_user("quality")

    def write_and_fail():
        with transaction.atomic():
            facts.record_vision_test(
                person=certificate.person, tested_on=TODAY, passed=True, actor=quality, at=NOW
            )
            assert rows() != before
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_and_fail()

    assert rows() == before


def test_practice_in_a_scope_nobody_described_bears_on_nothing(certificate):
    before = rows()

    facts.record_practice(
        person=certificate.person,
        scope_code="some other work",
        performed_on=TODAY,
        actor=make_user("quality"),
        at=NOW,
    )

    assert rows() == before


def test_only_the_person_and_scope_concerned_are_rebuilt(certificate):
    other = make_certificate(certificate.person, make_scope())
    kept = list(other.spans.values_list("pk", flat=True))

    facts.record_practice(
        person=certificate.person,
        scope_code=certificate.scope.code,
        performed_on=TODAY,
        actor=make_user("quality"),
        at=NOW,
    )

    assert list(other.spans.values_list("pk", flat=True)) == kept


def test_rebuilding_everything_restores_what_was_lost_and_clears_what_is_stray(certificate):
    stray = StandingSpan.objects.create(
        person=make_person(),
        scope=certificate.scope,
        first_day=TODAY,
        stands_since=TODAY,
        standing="certified",
        rule="within_period",
    )
    expected = rows(person=certificate.person)
    StandingSpan.objects.filter(person=certificate.person).delete()

    call_command("rebuild_standing", verbosity=0)

    assert rows() == expected
    assert not StandingSpan.objects.filter(pk=stray.pk).exists()


def test_facts_of_many_people_take_as_many_queries_as_of_one(django_assert_num_queries):
    people = [make_certificate().person for _number in range(5)]
    make_certificate(people[0])

    with django_assert_num_queries(5):
        found = standing_on_day.facts_for_many([person.pk for person in people])

    assert len(found.by_person_and_scope) == 6
    with django_assert_num_queries(5):
        standing_on_day.facts_for_many([people[0].pk])


def test_answer_as_known_at_an_instant_uses_what_was_recorded_by_then(certificate):
    facts.record_vision_test(
        person=certificate.person,
        tested_on=date(2026, 1, 9),
        passed=True,
        actor=make_user("quality"),
        at=NOW,
    )
    day = date(2026, 2, 1)

    before = standing_on_day.answer(
        certificate.person, certificate.scope, day, datetime(2026, 11, 1, tzinfo=UTC)
    )
    now = standing_on_day.answer(certificate.person, certificate.scope, day)

    assert (before.standing.value, now.standing.value) == ("vision_not_current", "certified")


def test_nobody_without_a_certificate_has_spans_or_ends():
    person, scope = make_person(), make_scope()

    standing.rebuild_person(person)

    assert not StandingSpan.objects.exists()
    assert not StandingEnd.objects.exists()
    assert standing_on_day.answer(person, scope, TODAY).standing is Standing.NEVER_CERTIFIED
