"""What alone a certificate allows: by itself, by an event, or both; worked by hand."""

import pytest

from certification.domain.periods import certificate_histories
from certification.domain.standing import Facts, History, timeline
from tests.certification.standing_facts import at, certificate, day, event, figures, spans_of, work


def allowed(found):
    """A timeline as lines of text: first day, what alone is allowed."""
    return [f"{span.first_day} {span.restriction or '-'}" for span in found.spans]


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        pytest.param(
            [event("V1", "restricted", "2024-06-01", only="turrets")],
            ["2024-04-01 -", "2024-06-01 turrets", "2026-04-02 turrets"],
            id="from its day on",
        ),
        pytest.param(
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "restricted", "2024-07-01", only="cups"),
            ],
            ["2024-04-01 -", "2024-06-01 turrets", "2024-07-01 cups", "2026-04-02 cups"],
            id="replaced",
        ),
        pytest.param(
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "restricted", "2024-07-01", only="cups"),
                event("V3", "unrestricted", "2024-08-01"),
            ],
            [
                *("2024-04-01 -", "2024-06-01 turrets", "2024-07-01 cups"),
                *("2024-08-01 -", "2026-04-02 -"),
            ],
            id="lifted, and not back to the one before",
        ),
        pytest.param(
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "restricted", "2024-07-01", only="turrets"),
            ],
            ["2024-04-01 -", "2024-06-01 turrets", "2026-04-02 turrets"],
            id="said again",
        ),
        pytest.param(
            [event("V1", "restricted", "2024-03-01", only="turrets")],
            ["2024-04-01 turrets", "2026-04-02 turrets"],
            id="before issue, from issue",
        ),
        pytest.param(
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "voided", "2025-01-01", voids="V1"),
            ],
            ["2024-04-01 -", "2026-04-02 -"],
            id="voided, as if never entered",
        ),
        pytest.param(
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "unrestricted", "2024-07-01"),
                event("V3", "voided", "2025-01-01", voids="V2"),
            ],
            ["2024-04-01 -", "2024-06-01 turrets", "2026-04-02 turrets"],
            id="lifting voided",
        ),
        pytest.param(
            [event("V1", "unrestricted", "2024-06-01")],
            ["2024-04-01 -", "2026-04-02 -"],
            id="nothing to lift",
        ),
        pytest.param(
            [
                event("V1", "unrestricted", "2024-06-01", recorded="2024-06-02"),
                event("V2", "restricted", "2024-06-01", only="turrets", recorded="2024-06-01"),
            ],
            ["2024-04-01 -", "2026-04-02 -"],
            id="of one day the one recorded last",
        ),
        pytest.param(
            [
                event("V10", "restricted", "2024-06-01", only="turrets"),
                event("V9", "unrestricted", "2024-06-01"),
            ],
            ["2024-04-01 -", "2026-04-02 -"],
            id="of one day and instant the greatest id, as text",
        ),
    ],
)
def test_restriction_holds_until_another_replaces_or_lifts_it(events, expected):
    assert allowed(timeline(Facts([certificate("C1", "2024-04-01")], events))) == expected


def test_restriction_of_the_certificate_itself_holds_from_issue_and_an_event_adds_to_it():
    facts = Facts(
        [certificate("C1", "2024-04-01", restriction="cups")],
        [
            event("V1", "restricted", "2024-06-01", only="leaded solder"),
            event("V2", "unrestricted", "2024-08-01"),
        ],
    )
    assert allowed(timeline(facts)) == [
        "2024-04-01 cups",
        "2024-06-01 cups; leaded solder",
        "2024-08-01 cups",
        "2026-04-02 cups",
    ]


def test_what_both_say_is_said_once():
    [history] = certificate_histories(
        [certificate("C1", "2024-04-01", restriction="cups")],
        [event("V1", "restricted", "2024-06-01", only="cups")],
    )
    assert history.restriction_on(day("2024-07-01")) == "cups"


def test_answer_carries_the_restriction_of_the_certificate_that_answers():
    found = timeline(
        Facts(
            [certificate("C1", "2024-04-01"), certificate("C2", "2026-03-01", renews="C1")],
            [event("V1", "restricted", "2024-06-01", only="turrets")],
        )
    )
    assert found.on(day("2026-02-28")).restriction == "turrets"
    assert found.on(day("2026-03-01")).restriction == ""


def test_answer_names_the_event_that_restricts_it_and_the_day_that_changes():
    found = timeline(
        Facts(
            [certificate("C1", "2024-04-01")],
            [
                event("V1", "restricted", "2024-06-01", only="turrets"),
                event("V2", "restricted", "2024-07-01", only="cups"),
                event("V3", "unrestricted", "2024-08-01"),
            ],
        )
    )
    told = [found.on(day(text)) for text in ("2024-05-31", "2024-06-01", "2024-07-31")]
    assert [answer.facts_used[1:] for answer in told] == [(), ("event:V1",), ("event:V2",)]
    assert [answer.changes_on for answer in told] == [
        day("2024-06-01"),
        day("2024-07-01"),
        day("2024-08-01"),
    ]
    assert found.on(day("2024-08-01")).facts_used == ("certificate:C1",)


def test_event_counts_from_the_instant_it_was_recorded():
    history = History(
        Facts(
            [certificate("C1", "2024-04-01")],
            [
                event("V1", "restricted", "2024-06-01", only="turrets", recorded="2024-06-20"),
                event("V2", "voided", "2024-06-20", voids="V1", recorded="2024-07-20"),
            ],
        )
    )
    for known_at, expected in (
        ("2024-06-20T08:59", ""),
        ("2024-06-20T09:00", "turrets"),
        ("2024-07-20T08:59", "turrets"),
        ("2024-07-20T09:00", ""),
    ):
        told = history.as_known_at(at(known_at)).on(day("2024-06-10"))
        assert (told.standing, told.restriction) == ("certified", expected)


def test_days_stand_since_before_the_restriction_alone_changed():
    found = timeline(
        Facts(
            [certificate("C1", "2024-04-01")],
            [
                event("V1", "suspended", "2024-05-01"),
                event("V2", "restricted", "2024-06-01", only="turrets"),
                event("V3", "reinstated", "2024-07-01"),
            ],
        )
    )
    assert [(str(span.first_day), str(span.stands_since)) for span in found.spans] == [
        ("2024-04-01", "2024-04-01"),
        ("2024-05-01", "2024-05-01"),
        ("2024-06-01", "2024-05-01"),
        ("2024-07-01", "2024-07-01"),
        ("2026-04-02", "2026-04-02"),
    ]


def test_neither_period_nor_practice_nor_extension_move():
    certificates = [certificate("C1", "2024-04-01", figures(24, absence=6))]
    practice = [work("2024-09-15"), work("2025-03-01")]
    restricted = event("V1", "restricted", "2024-09-20", only="turrets")
    extended = event("V2", "extended", "2024-09-10", until="2026-06-01")
    without = timeline(Facts(certificates, [extended], (), practice))
    found = timeline(Facts(certificates, [extended, restricted], (), practice))

    assert spans_of(without) == [
        "2024-04-01 2025-09-01 certified C1",
        "2025-09-02 2026-06-01 practice_lapsed C1",
        "2026-06-02 ... expired C1",
    ]
    assert spans_of(found) == [
        "2024-04-01 2024-09-19 certified C1",
        "2024-09-20 2025-09-01 certified C1",
        "2025-09-02 2026-06-01 practice_lapsed C1",
        "2026-06-02 ... expired C1",
    ]
    for asked in ("2024-09-20", "2025-09-01"):
        assert found.ends_after(day(asked)) == without.ends_after(day(asked))
