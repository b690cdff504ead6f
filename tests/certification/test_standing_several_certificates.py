"""Of several certificates for one scope, the newest that can answer does."""

import pytest

from certification.domain.standing import Facts, timeline
from tests.certification.standing_facts import certificate, day, event, figures, spans_of, vision


def found(*certificates, events=(), tests=()):
    return timeline(Facts(certificates, events, tests))


def answer(timeline_, text):
    got = timeline_.on(day(text))
    return got.standing, got.certificate_number


def test_never_certified_before_the_first_and_without_any():
    assert answer(found(certificate("C1", "2024-04-01")), "2024-03-31") == ("never_certified", "")
    assert answer(found(), "2024-03-31") == ("never_certified", "")
    assert found().spans == ()


def test_newest_certified_answers():
    both = found(certificate("C1", "2023-04-01"), certificate("C2", "2024-04-01"))
    assert answer(both, "2024-03-31") == ("certified", "C1")
    assert answer(both, "2024-04-01") == ("certified", "C2")


def test_of_one_day_the_greatest_number_as_text_answers():
    both = found(certificate("C9", "2024-04-01"), certificate("C20", "2024-04-01"))
    assert answer(both, "2024-04-01") == ("certified", "C9")


@pytest.mark.parametrize("kind", ["suspended", "revoked"])
def test_an_older_one_never_stands_in_for_a_newer_that_is_stopped(kind):
    both = found(
        certificate("C1", "2023-04-01"),
        certificate("C2", "2024-04-01"),
        events=[event("V1", kind, "2024-05-01", of="C2")],
    )
    assert answer(both, "2024-05-01") == (kind, "C2")


def test_an_older_one_answers_where_the_newer_has_ended():
    both = found(
        certificate("C1", "2023-04-01"),
        certificate("C2", "2024-04-01", figures(1)),
    )
    assert answer(both, "2024-05-02") == ("certified", "C1")


@pytest.mark.parametrize("kind", ["suspended", "revoked"])
def test_an_older_one_that_is_stopped_answers_where_the_newer_has_ended(kind):
    both = found(
        certificate("C1", "2023-04-01"),
        certificate("C2", "2024-04-01", figures(1)),
        events=[event("V1", kind, "2023-05-01", of="C1")],
    )
    assert answer(both, "2024-05-01") == ("certified", "C2")
    assert answer(both, "2024-05-02") == (kind, "C1")


def test_where_none_is_certified_the_newest_says_why():
    both = found(
        certificate("C1", "2021-04-01", figures(12)),
        certificate("C2", "2024-04-01", figures(24, vision=12)),
    )
    assert answer(both, "2024-03-31") == ("expired", "C1")
    assert answer(both, "2024-04-01") == ("vision_not_current", "C2")


def test_an_older_one_without_the_condition_stands_in_for_a_while():
    both = found(
        certificate("C1", "2024-01-01", figures(24)),
        certificate("C2", "2024-04-01", figures(24, vision=12)),
        tests=[vision("T1", "2024-06-01")],
    )
    assert spans_of(both)[:3] == [
        "2024-01-01 2024-05-31 certified C1",
        "2024-06-01 2025-06-01 certified C2",
        "2025-06-02 2026-01-01 certified C1",
    ]


def test_a_withdrawn_certificate_never_was():
    only = found(certificate("C1", "2024-02-01", withdrawn="2024-03-05"))
    assert answer(only, "2024-02-20") == ("never_certified", "")
