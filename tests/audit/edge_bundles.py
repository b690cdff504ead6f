"""Random register bundles in which everything falls on the edges, and what the rules say of them.

Limits, events, tests and work fall on the same few days about the end of February in a leap
year; facts are recorded late, at midnight on some clock, withdrawn at the instant they come;
numbers differ by a leading nought or by length alone. `Expected` reads the rules day by day
(`standing_facts.read_day_by_day`) and shares nothing with what it is held against.
"""

import csv
import random
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from certification.domain.standing import (
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    Facts,
    PracticeFact,
    SchemeFigures,
    VisionFact,
)
from tests.certification.standing_facts import read_day_by_day

ALWAYS = datetime(1, 1, 1, tzinfo=UTC)
EDGES = [date(2023, 11, 29), date(2023, 11, 30), date(2023, 12, 31), date(2024, 1, 1)]
EDGES += [date(2024, 1, day) for day in (28, 29, 30, 31)]
EDGES += [date(2024, 2, day) for day in (1, 27, 28, 29)]
EDGES += [date(2024, 3, day) for day in (1, 28, 29, 30, 31)]
EDGES += [date(2024, 4, day) for day in (1, 29, 30)]
CLOCKS = [time(0), time(0, 0, 1), time(9), time(9), time(12), time(23, 59, 59)]
PEOPLE = ["7", "07", "70", "O'Dell 7", "P-10", "P-9"]
SCOPES = ["turret", "Turret", "cup: small, deep"]
KINDS = ["suspended", "reinstated", "ended", "extended", "extended", "voided", "voided", "revoked"]
KINDS += ["restricted", "unrestricted"]


@dataclass
class EdgeBundle:
    """A bundle of a seed, with its facts as the engine's and the day-by-day reading take them."""

    seed: int
    zone: ZoneInfo
    schemes: dict[str, SchemeFigures] = field(default_factory=dict)
    scheme_of: dict[str, str] = field(default_factory=dict)
    facts: dict[tuple[str, str], Facts] = field(default_factory=dict)
    stamps: list[tuple[str, str, date, date | None]] = field(default_factory=list)
    log: list[tuple[str, str, str, str, date]] = field(default_factory=list)

    def __post_init__(self):
        self.draw = random.Random(self.seed)
        for number in range(6):
            self.schemes[f"S{number}"] = SchemeFigures(
                self.draw.choice([1, 1, 2, 3, 12]),
                self.draw.choice(list(ExpiryRule)),
                self.draw.choice([0, 1, 28, 31, 90]),
                self.draw.choice([0, 0, 1, 2]),
                self.draw.choice([0, 0, 1, 2]),
            )
        vision = {person: self._tests(place) for place, person in enumerate(PEOPLE[:-1])}
        for place, person in enumerate(PEOPLE[:-1]):  # The last is a person without anything.
            for scope in SCOPES[: self.draw.randint(1, 3)]:
                self.facts[person, scope] = self._facts(place, scope, vision[person])
        self._hand_out_stamps()
        self._work()

    def _day(self):
        if self.draw.random() < 0.8:
            return self.draw.choice(EDGES)
        return EDGES[0] + timedelta(days=self.draw.randrange(160))

    def _instant(self, day=None):
        """Mostly near the day, by the register's clock."""
        day = day if day and self.draw.random() < 0.6 else self._day()
        local = datetime.combine(day, self.draw.choice(CLOCKS), self.zone)
        return local.astimezone(UTC)

    def _withdrawn(self, recorded_at):
        if self.draw.random() < 0.8:
            return None
        later = self.draw.choice([0, 0, 1, 86400, 86400 * 30])
        return recorded_at + timedelta(seconds=later)

    def _tests(self, place):
        tests = []
        for number in self.draw.sample(range(5, 13), self.draw.randint(0, 5)):
            day = self._day()
            at = self._instant(day)
            passed = self.draw.random() < 0.75
            tests.append(VisionFact(f"T{place}{number}", day, passed, at, self._withdrawn(at)))
        return tests

    def _facts(self, place, scope, vision):
        numbers = [
            f"C{place}{SCOPES.index(scope)}{number}"
            for number in self.draw.sample([1, 2, 9, 10, 11], self.draw.randint(1, 4))
        ]
        issued = sorted(self._day() for _number in numbers)
        if self.draw.random() < 0.3:
            self.draw.shuffle(issued)
        certificates = []
        for number, day, before in zip(numbers, issued, ["", *numbers[:-1]], strict=True):
            at = self._instant(day)
            scheme = self.draw.choice(list(self.schemes))
            self.scheme_of[number] = scheme
            certificates.append(
                CertificateFact(
                    number,
                    self.schemes[scheme],
                    day,
                    self.draw.choice([before, before, before, ""]),
                    at,
                    self._withdrawn(at),
                    self.draw.choice(["", "", "leaded, only"]),
                )
            )
        return Facts(certificates, self._events(numbers), vision, self._practice())

    def _events(self, numbers):
        events: list[EventFact] = []
        for place in range(self.draw.randint(0, 8)):
            of = self.draw.choice(numbers)
            kind = self.draw.choice(KINDS)
            own = [event.event_id for event in events if event.certificate_number == of]
            if kind == "voided" and not own:
                kind = "suspended"
            day = self._day()
            until = self._day() + timedelta(days=self.draw.choice([0, 1, 60]))
            events.append(
                EventFact(
                    f"E{self.draw.choice([9, 10])}-{of}-{place}",
                    of,
                    EventKind(kind),
                    day,
                    self._instant(day),
                    self.draw.choice(own) if kind == "voided" else "",
                    until if kind == "extended" else None,
                    "QM-02" if kind == "extended" else "",
                    "so",
                    self.draw.choice(["small, only", "leaded, only"])
                    if kind == "restricted"
                    else "",
                )
            )
        return events

    def _practice(self):
        """Work on days that are often exactly a limit apart, some of it twice."""
        practice = []
        for _number in range(self.draw.randint(0, 5)):
            day = self._day()
            at = self._instant(day)
            practice.append(PracticeFact(day, at, self._withdrawn(at)))
        return list({(fact.performed_on, fact.recorded_at): fact for fact in practice}.values())

    def _hand_out_stamps(self):
        """From hand to hand and back, the next day at the earliest, sometimes in nobody's."""
        for mark in ("47", "047", "A/1 "):
            day = EDGES[0] - timedelta(days=3)
            for person in self.draw.sample(PEOPLE, 4):
                last = day + timedelta(days=self.draw.choice([0, 0, 1, 30, 45]))
                self.stamps.append((mark.strip(), person, day, last))
                day = last + timedelta(days=self.draw.choice([1, 1, 2, 20]))
            self.stamps.append((mark.strip(), self.draw.choice(PEOPLE), day, None))

    def _work(self):
        for number in range(250):
            day = self._day() + timedelta(days=self.draw.choice([-1, 0, 0, 0, 1]))
            who, stamp = self.draw.choice([*PEOPLE, "nobody", "", "", ""]), ""
            if not who:
                stamp = self.draw.choice(["47", "047", "A/1"])
            self.log.append((f"{number}", who, stamp, self.draw.choice(SCOPES), day))

    # Writing

    def _at(self, instant):
        if instant is None:
            return ""
        if self.draw.random() < 0.2:
            return instant.astimezone(ZoneInfo("Asia/Kolkata")).isoformat()
        return instant.astimezone(self.zone).replace(tzinfo=None).isoformat()

    def write(self, folder: Path) -> Path:
        folder.mkdir()
        facts = self.facts.items()
        vision = {who: facts_of_pair.vision_tests for (who, _scope), facts_of_pair in facts}
        tables: dict[str, list[tuple]] = {
            "people": [
                ("employee_number", "full_name", "email", "site"),
                *((who, f"Person {who}", "", "Castelmar") for who in PEOPLE),
            ],
            "schemes": [
                (
                    "scheme",
                    "validity_months",
                    "expiry_rule",
                    "renewal_window_days",
                    "vision_months",
                    "max_absence_months",
                ),
                *(
                    (
                        name,
                        figures.validity_months,
                        figures.expiry_rule.value,
                        figures.renewal_window_days,
                        figures.vision_months,
                        figures.max_absence_months,
                    )
                    for name, figures in self.schemes.items()
                ),
            ],
            "certificates": [
                (
                    "certificate_number",
                    "employee_number",
                    "scheme",
                    "scope",
                    "issued_on",
                    "renews",
                    "recorded_at",
                    "withdrawn_at",
                    "restriction",
                ),
                *(
                    (
                        certificate.number,
                        who,
                        self.scheme_of[certificate.number],
                        scope,
                        certificate.issued_on,
                        certificate.renews,
                        self._at(certificate.recorded_at),
                        self._at(certificate.withdrawn_at),
                        certificate.restriction,
                    )
                    for (who, scope), facts_of_pair in facts
                    for certificate in facts_of_pair.certificates
                ),
            ],
            "certificate_events": [
                (
                    "event_id",
                    "certificate_number",
                    "event",
                    "effective_on",
                    "recorded_at",
                    "voids",
                    "reason",
                    "until",
                    "authority",
                    "restriction",
                ),
                *(
                    (
                        event.event_id,
                        event.certificate_number,
                        event.kind.value,
                        event.effective_on,
                        self._at(event.recorded_at),
                        event.voids,
                        event.reason,
                        event.until or "",
                        event.authority,
                        event.restriction,
                    )
                    for _pair, facts_of_pair in facts
                    for event in facts_of_pair.events
                ),
            ],
            "vision_tests": [
                (
                    "test_id",
                    "employee_number",
                    "tested_on",
                    "result",
                    "recorded_at",
                    "withdrawn_at",
                ),
                *(
                    (
                        test.test_id,
                        who,
                        test.tested_on,
                        "pass" if test.passed else "fail",
                        self._at(test.recorded_at),
                        self._at(test.withdrawn_at),
                    )
                    for who, tests in vision.items()
                    for test in tests
                ),
            ],
            "practice": [
                ("employee_number", "scope", "performed_on", "recorded_at", "withdrawn_at"),
                *(
                    (
                        who,
                        scope,
                        practice.performed_on,
                        self._at(practice.recorded_at),
                        self._at(practice.withdrawn_at),
                    )
                    for (who, scope), facts_of_pair in facts
                    for practice in facts_of_pair.practice
                ),
            ],
            "stamps": [
                ("stamp", "employee_number", "issued_on", "returned_on"),
                *((mark, who, first, last or "") for mark, who, first, last in self.stamps),
            ],
            "operations": [("operation", "scope"), *((f"OP {scope}", scope) for scope in SCOPES)],
            "work_log": [
                ("row", "employee_number", "stamp", "scope", "worked_on"),
                *self.log,
            ],
        }
        for stem, rows in tables.items():
            self.draw.shuffle(body := list(rows[1:]))
            with (folder / f"{stem}.csv").open("w", newline="", encoding="utf-8") as file:
                csv.writer(file).writerows([rows[0], *(body if stem != "work_log" else rows[1:])])
        return folder

    # What the rules say

    def holder(self, stamp, day):
        holders = [who for mark, who, first, last in self.stamps
                if mark == stamp and first <= day <= (last or date.max)]  # fmt: skip
        return holders[0] if holders else ""

    def expected(self, known_at=None, known_then=False, counts=False, without_renewals=()):
        """Row, standing and certificate number for every row of the log."""
        logged = defaultdict(list)
        rows = [
            (row, who or self.holder(stamp, day), scope, day)
            for row, who, stamp, scope, day in self.log
        ]
        for _row, who, scope, day in rows:
            logged[who, scope].append(PracticeFact(day, ALWAYS))
        findings = []
        for row, who, scope, day in rows:
            if who not in PEOPLE:
                findings.append((row, "unknown_person", ""))
                continue
            facts = self.facts.get((who, scope), Facts())
            certificates = [
                certificate
                if certificate.number not in without_renewals
                else _without_renewal(certificate)
                for certificate in facts.certificates
            ]
            practice = [*facts.practice, *(logged[who, scope] if counts else ())]
            of_day = Facts(certificates, facts.events, facts.vision_tests, practice)
            instant = known_at
            if known_then:
                instant = datetime.combine(day, time.max, self.zone)
            standing, number, _restriction = read_day_by_day(of_day, day, instant)
            findings.append((row, standing, number))
        return findings


def _without_renewal(one):
    return CertificateFact(
        one.number,
        one.figures,
        one.issued_on,
        "",
        one.recorded_at,
        one.withdrawn_at,
        one.restriction,
    )
