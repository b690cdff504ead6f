"""The worked registers beside the tests, read with nothing but the csv module."""

import csv
from collections import defaultdict
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import NamedTuple

from certification.domain.standing import (
    ALWAYS_KNOWN,
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    Facts,
    PracticeFact,
    SchemeFigures,
    VisionFact,
)

FOLDER = Path(__file__).parents[1] / "reference" / "standing"


class Row(NamedTuple):
    """A row of a work log or of its findings."""

    row: str
    employee_number: str
    scope: str
    day: date
    standing: str = ""
    certificate_number: str = ""


def _rows(path):
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _instant(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC) if text else None


def end_of(day):
    return datetime.combine(day, time.max, UTC)


def question_of(path):
    """What a findings file asks: as known at which instant, and with the log as practice."""
    question = path.stem.removeprefix("findings").removeprefix("_")
    if question.startswith("as_known_2"):
        text = question.removeprefix("as_known_")
        if "T" in text:
            day, clock = text.split("T")
            return _instant(f"{day}T{clock.replace('-', ':')}")
        return end_of(date.fromisoformat(text))
    return question or "plain"


class Register:
    """One folder: who there is, their facts by person and scope, and the work log."""

    def __init__(self, folder):
        self.people = {row["employee_number"] for row in _rows(folder / "people.csv")}
        self.operations = {
            row["operation"]: row["scope"] for row in _rows(folder / "operations.csv")
        }
        self.stamps = _rows(folder / "stamps.csv")
        self.work_log = [self._logged(row) for row in _rows(folder / "work_log.csv")]
        self._certificates = defaultdict(list)
        self._events = defaultdict(list)
        self._vision = defaultdict(list)
        self._practice = defaultdict(list)
        self._read(folder)

    def facts(self, person, scope, more_practice=()):
        return Facts(
            self._certificates[person, scope],
            self._events[person, scope],
            self._vision[person],
            [*self._practice[person, scope], *more_practice],
        )

    def log_as_practice(self, person, scope):
        return [
            PracticeFact(row.day, ALWAYS_KNOWN)
            for row in self.work_log
            if (row.employee_number, row.scope) == (person, scope)
        ]

    def _read(self, folder):
        figures = {
            row["scheme"]: SchemeFigures(
                int(row["validity_months"]),
                ExpiryRule(row["expiry_rule"]),
                int(row["renewal_window_days"]),
                int(row["vision_months"]),
                int(row["max_absence_months"]),
            )
            for row in _rows(folder / "schemes.csv")
        }
        key_of = {}
        for row in _rows(folder / "certificates.csv"):
            key = key_of[row["certificate_number"]] = row["employee_number"], row["scope"]
            self._certificates[key].append(
                CertificateFact(
                    row["certificate_number"],
                    figures[row["scheme"]],
                    date.fromisoformat(row["issued_on"]),
                    row["renews"],
                    _instant(row["recorded_at"]),
                    _instant(row.get("withdrawn_at")),
                    row.get("restriction") or "",
                )
            )
        for row in _rows(folder / "certificate_events.csv"):
            self._events[key_of[row["certificate_number"]]].append(
                EventFact(
                    row["event_id"],
                    row["certificate_number"],
                    EventKind(row["event"]),
                    date.fromisoformat(row["effective_on"]),
                    _instant(row["recorded_at"]),
                    row["voids"],
                    date.fromisoformat(row["until"]) if row.get("until") else None,
                    row.get("authority") or "",
                    row["reason"],
                    row.get("restriction") or "",
                )
            )
        for row in _rows(folder / "vision_tests.csv"):
            self._vision[row["employee_number"]].append(
                VisionFact(
                    row["test_id"],
                    date.fromisoformat(row["tested_on"]),
                    row["result"] == "pass",
                    _instant(row["recorded_at"]),
                    _instant(row.get("withdrawn_at")),
                )
            )
        for row in _rows(folder / "practice.csv"):
            self._practice[row["employee_number"], row["scope"]].append(
                PracticeFact(
                    date.fromisoformat(row["performed_on"]),
                    _instant(row["recorded_at"]),
                    _instant(row.get("withdrawn_at")),
                )
            )

    def _logged(self, row):
        day = date.fromisoformat(row["worked_on"])
        person = row["employee_number"] or self._holder(row.get("stamp"), day)
        scope = row["scope"] or self.operations[row["operation"]]
        return Row(row["row"], person, scope, day)

    def _holder(self, stamp, day):
        for held in self.stamps:
            last = date.fromisoformat(held["returned_on"]) if held["returned_on"] else date.max
            if held["stamp"] == stamp and date.fromisoformat(held["issued_on"]) <= day <= last:
                return held["employee_number"]
        return ""


def findings(path):
    """The expected rows of a findings file."""
    return [
        Row(
            row["row"],
            row["employee_number"],
            row["scope"],
            date.fromisoformat(row["worked_on"]),
            row["standing"],
            row["certificate_number"],
        )
        for row in _rows(path)
    ]
