"""What the page of a photo set-up shows of its qualifications."""

from dataclasses import dataclass

from assessments.models import PhotoSetup, SetupQualification
from assessments.queries.photo_setups import bounds_of


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading of a graticule beside what the bounds allow."""

    tilt_deg: float
    true_mm: float
    read_mm: float
    off_mm: float
    allowed_mm: float | None


@dataclass(frozen=True, slots=True)
class QualificationRows:
    qualification: SetupQualification
    readings: tuple[ReadingRow, ...]


def qualification_rows(setup: PhotoSetup) -> list[QualificationRows]:
    """Each qualification of a set-up, newest first, with its readings.

    What leans farther than is declared is shown without what the bounds allow.
    """
    bounds = bounds_of(setup)
    rows = []
    for qualification in setup.qualifications.select_related("qualified_by__person"):
        readings = [
            ReadingRow(
                tilt_deg=reading["tilt_deg"],
                true_mm=reading["true_mm"],
                read_mm=reading["read_mm"],
                off_mm=reading["read_mm"] - reading["true_mm"],
                allowed_mm=(
                    bounds.length_bound_mm(reading["true_mm"])
                    if reading["tilt_deg"] <= bounds.tilt_deg
                    else None
                ),
            )
            for reading in qualification.readings
        ]
        rows.append(QualificationRows(qualification, tuple(readings)))
    return rows
