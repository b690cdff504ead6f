"""One table: what each kind of reader may be told of each standing and of each end."""

from datetime import date

import pytest

from certification.domain.answers import EndKind, Rule, Span, Standing
from certification.domain.disclosure import (
    LAPSES,
    NOT_CURRENT,
    SEE_INSTRUCTOR,
    Disclosure,
    Reader,
    end_kind_for,
    may_know,
    spans_for,
)
from certification.presenters import bench_check
from certification.presenters.standing_words import RULES, reason_for
from interfaces.services.web_hooks import public_standing

READERS = (Reader.IN_FULL, Reader.LINE_LEAD, Reader.BENCH_CHECK, Reader.WEB_HOOK)
# Of each standing and reader: its own word or the common one, whether why, whether the number.
OWN, COMMON = "own", NOT_CURRENT
TABLE = {
    Standing.CERTIFIED: ((OWN, 1, 1), (OWN, 1, 1), (OWN, 0, 1), (OWN, 0, 1)),
    Standing.SUSPENDED: ((OWN, 1, 1), (OWN, 1, 1), (OWN, 0, 0), (OWN, 0, 1)),
    Standing.REVOKED: ((OWN, 1, 1), (OWN, 1, 1), (OWN, 0, 0), (COMMON, 0, 1)),
    Standing.EXPIRED: ((OWN, 1, 1), (COMMON, 0, 0), (COMMON, 0, 0), (COMMON, 0, 1)),
    Standing.PRACTICE_LAPSED: ((OWN, 1, 1), (COMMON, 0, 0), (COMMON, 0, 0), (COMMON, 0, 1)),
    Standing.VISION_NOT_CURRENT: ((OWN, 1, 1), (COMMON, 0, 0), (COMMON, 0, 0), (COMMON, 0, 1)),
    Standing.NEVER_CERTIFIED: ((OWN, 1, 1), (OWN, 1, 1), (OWN, 0, 0), (COMMON, 0, 1)),
}


@pytest.mark.parametrize("standing", TABLE)
@pytest.mark.parametrize("place", range(len(READERS)), ids=READERS)
def test_reader_is_told_of_a_standing_what_the_table_says(standing, place):
    word, reason, certificate = TABLE[standing][place]
    assert may_know(standing, READERS[place]) == Disclosure(
        standing.value if word == OWN else word, bool(reason), bool(certificate)
    )


def test_the_table_knows_every_reader_and_every_standing_of_somebody():
    assert set(READERS) == set(Reader)
    assert set(TABLE) == set(Standing) - {Standing.UNKNOWN_PERSON}


@pytest.mark.parametrize("reader", [one for one in Reader if one is not Reader.IN_FULL])
def test_no_lapse_differs_from_another_to_whoever_may_not_know_which(reader):
    assert len({may_know(lapse, reader) for lapse in LAPSES}) == 1
    assert len({end_kind_for(kind, reader) for kind in EndKind}) == 1


def test_kinds_of_ends_are_told_in_full_or_as_one():
    for kind in EndKind:
        assert end_kind_for(kind, Reader.IN_FULL) == kind
        assert end_kind_for(kind, Reader.LINE_LEAD) == SEE_INSTRUCTOR


def test_bench_check_web_hooks_and_reasons_say_what_the_rule_says():
    for standing in TABLE:
        assert bench_check.TOLD[standing] == may_know(standing, Reader.BENCH_CHECK).standing
        assert public_standing(standing) == may_know(standing, Reader.WEB_HOOK).standing
    for rule in RULES:
        in_words = reason_for(rule, Reader.LINE_LEAD)
        assert (in_words == RULES[rule]) == may_know(rule.standing, Reader.LINE_LEAD).reason


def test_one_lapse_after_another_is_one_without_a_certificate():
    def span(month, standing, rule):
        first_day, last_day = date(2026, month, 1), date(2026, month, 28)
        return Span(first_day, last_day, standing, f"C{month}", "only", rule, first_day)

    spans = [
        span(1, Standing.CERTIFIED, Rule.WITHIN_PERIOD),
        span(2, Standing.VISION_NOT_CURRENT, Rule.VISION_TOO_OLD),
        span(3, Standing.EXPIRED, Rule.PERIOD_OVER),
        span(4, Standing.REVOKED, Rule.REVOKED),
    ]
    shown = spans_for(spans, Reader.LINE_LEAD)

    assert [(one.first_day.month, one.last_day.month) for one in shown] == [(1, 1), (2, 3), (4, 4)]
    assert [one.certificate_number for one in shown] == ["C1", "", "C4"]
    assert [one.restriction for one in shown] == ["only", "", "only"]
    assert spans_for(spans, Reader.IN_FULL) == spans
