"""The rows of a register bundle, typed; ``line`` is where each begins in its file."""

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True, slots=True)
class PersonRow:
    line: int
    employee_number: str
    full_name: str
    email: str
    site: str
    line_lead: str
    started_on: date | None
    left_on: date | None


@dataclass(frozen=True, slots=True)
class SchemeRow:
    line: int
    scheme: str
    validity_months: int
    expiry_rule: str
    renewal_window_days: int
    vision_months: int
    max_absence_months: int


@dataclass(frozen=True, slots=True)
class CertificateRow:
    line: int
    certificate_number: str
    employee_number: str
    scheme: str
    scope: str
    issued_on: date
    renews: str
    recorded_at: datetime
    withdrawn_at: datetime | None
    restriction: str
    issued_by: str


@dataclass(frozen=True, slots=True)
class EventRow:
    line: int
    event_id: str
    certificate_number: str
    event: str
    effective_on: date
    recorded_at: datetime
    voids: str
    reason: str
    until: date | None
    authority: str
    restriction: str


@dataclass(frozen=True, slots=True)
class VisionTestRow:
    line: int
    test_id: str
    employee_number: str
    tested_on: date
    result: str
    recorded_at: datetime
    withdrawn_at: datetime | None


@dataclass(frozen=True, slots=True)
class PracticeRow:
    line: int
    employee_number: str
    scope: str
    performed_on: date
    recorded_at: datetime
    withdrawn_at: datetime | None


@dataclass(frozen=True, slots=True)
class StampRow:
    line: int
    stamp: str
    employee_number: str
    issued_on: date
    returned_on: date | None


@dataclass(frozen=True, slots=True)
class OperationRow:
    line: int
    operation: str
    scope: str
