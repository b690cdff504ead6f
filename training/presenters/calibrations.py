"""A calibration as its tool's page shows it: as found, as left, and what was read."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from people.presenters.days import format_day
from people.presenters.quantities import format_decimal, with_unit
from records.domain.shown import Line, Shown, digest_of
from training.domain.tool_fitness import Reading, reading_in
from training.models import Calibration
from training.queries import written_down


@dataclass(frozen=True, slots=True)
class ReadingShown:
    """One reading with its values as people read them; empty where there is none."""

    what: str
    limits: str
    found: str
    left: str
    found_within: bool
    left_within: bool


@dataclass(frozen=True, slots=True)
class CalibrationShown:
    calibration: Calibration
    readings: tuple[ReadingShown, ...]


def calibration_shown(calibration: Calibration) -> CalibrationShown:
    readings = tuple(_reading(reading_in(stored)) for stored in calibration.readings)
    return CalibrationShown(calibration, readings)


def calibration_to_withdraw(calibration: Calibration, at: datetime) -> Shown:
    """A calibration, to whoever withdraws it."""
    passed = {True: _("passed"), False: _("not passed"), None: "–"}
    lines = {
        _("Tool"): Line(f"{calibration.tool.code} {calibration.tool.name}".strip()),
        _("Calibrated on"): Line(format_day(calibration.calibrated_on)),
        _("Good through"): Line(format_day(calibration.valid_through)),
        _("As found"): Line(passed[calibration.passed_as_found]),
        _("As left"): Line(passed[calibration.passed]),
        _("Report"): Line(calibration.reference),
    }
    return Shown(digest_of(written_down.calibration_content(calibration)), at, lines)


def _reading(reading: Reading) -> ReadingShown:
    return ReadingShown(
        reading.what,
        _limits(reading),
        _value(reading.found, reading.unit),
        _value(reading.left, reading.unit),
        reading.found_within,
        reading.left_within,
    )


def _limits(reading: Reading) -> str:
    low, high = (_value(limit, reading.unit) for limit in (reading.low, reading.high))
    if low and high:
        return _("%(low)s to %(high)s") % {"low": low, "high": high}
    if low:
        return _("at least %(low)s") % {"low": low}
    return _("at most %(high)s") % {"high": high} if high else ""


def _value(value: Decimal | None, unit: str) -> str:
    return "" if value is None else with_unit(format_decimal(value), unit)
