"""What a grader has measured of a place, several times or once, and what of it counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from math import isclose
from typing import Self

from assessments.domain import repeats
from assessments.domain.marks import is_by_scale, is_proven
from assessments.domain.verdict import Verdict
from assessments.models import Criterion, Judgement, Measurement
from assessments.models.measuring import as_decimal


def is_by_former_scale(measurement: Measurement) -> bool:
    """Whether it was read by a scale that its photograph has no more, or was surer of than now.

    A slip in the known size would else count for good, as the worst of what is measured of the
    place. The measurement is kept as it was, and so is what was signed by it.
    """
    then, photo = measurement.mm_per_px, measurement.photo
    if then is None or not photo.scale_px_per_mm:
        return False
    if not is_by_scale(measurement.quantity, measurement.unit):
        return False
    u_then, u_now = measurement.scale_uncertainty, photo.scale_uncertainty
    is_less_sure = u_then is not None and u_now is not None and u_now > u_then * (1 + 1e-9)
    return is_less_sure or not isclose(then * photo.scale_px_per_mm, 1)


@dataclass(frozen=True)
class MeasuredPlace:
    """Every measurement of a place by one grader under a criterion that may count.

    Attributes
    ----------
    criterion : Criterion
    measurements : sequence of Measurement
        Newest first; at least one.
    """

    criterion: Criterion
    measurements: Sequence[Measurement]

    @classmethod
    def of(cls, criterion: Criterion, measurements: Sequence[Measurement]) -> Self | None:
        """The place by what was measured of it; None where nothing of that may count.

        Parameters
        ----------
        measurements : sequence of Measurement
            All of them, newest first. What was read by a former scale is left out.
        """
        counting = [each for each in measurements if not is_by_former_scale(each)]
        return cls(criterion, counting) if counting else None

    @cached_property
    def counted(self) -> repeats.Counted:
        return repeats.count(
            [
                repeats.Repeat(
                    measurement.value,
                    measurement.budget or {"marks": measurement.standard_uncertainty},
                    picture=measurement.photo_id,
                    proven=is_proven(measurement.remarks),
                )
                for measurement in self.measurements
            ],
            self.criterion.low,
            self.criterion.high,
        )

    @property
    def latest(self) -> Measurement:
        """By which a page says that it has seen them all."""
        return self.measurements[0]

    @property
    def pk(self) -> int:
        return self.latest.pk

    @property
    def shown(self) -> Measurement:
        """The one whose marks stand for them: the worst, or the latest of those combined."""
        return self.measurements[self.counted.used[0]]

    @property
    def value(self) -> float:
        return self.shown.value if self.is_single else self.counted.value

    @property
    def standard_uncertainty(self) -> float:
        return self.shown.standard_uncertainty if self.is_single else self.counted.u

    @property
    def unit(self) -> str:
        return self.latest.unit

    @property
    def is_single(self) -> bool:
        """Whether there is one alone, which counts as it was kept."""
        return len(self.measurements) == 1

    @property
    def verdict(self) -> str:
        if self.is_single:
            return self.latest.verdict
        return self.counted.verdict(self.criterion.low, self.criterion.high).value

    @property
    def value_kept(self) -> Decimal:
        """The value as a judgement keeps it."""
        return as_decimal(self.value)

    @property
    def expanded_kept(self) -> Decimal:
        return as_decimal(2 * self.standard_uncertainty)

    @property
    def repeats(self) -> dict:
        """What a judgement keeps of them; nothing of one alone."""
        if self.is_single:
            return {}
        return {
            "measurements": sorted(measurement.pk for measurement in self.measurements),
            "used": sorted(self.measurements[n].pk for n in self.counted.used),
            "how": self.counted.how.value,
            "verdict": self.verdict,
        }


def measurements_used(judgement: Judgement) -> set[int]:
    """Those that a judgement's value comes of."""
    if judgement.measurement_id is None:
        return set()
    return set(judgement.repeats.get("used") or [judgement.measurement_id])


def judged_verdict(measurement: Measurement, repeated: dict) -> Verdict | None:
    """What the measurements that a judgement rests on say of the limits."""
    text = repeated.get("verdict") or measurement.verdict
    return Verdict(text) if text else None
