"""What the demo's graders read on their gauges, and what they judge by eye instead."""

from decimal import Decimal
from random import Random

from assessments.domain.verdict import Verdict, verdict
from assessments.models import Criterion, Judgement
from training.models import Tool

BY_EYE = 0.04  # of what is measured and sound
FAR_INSIDE = "far inside its limit, seen beside a gauge"
NO_GAUGE = "no photograph shows it and no instrument reaches it"
PLAINLY_OUTSIDE = "plainly outside its limit"


def gauge_of(site: str) -> Tool | None:
    """What a site's graders read on."""
    return Tool.objects.filter(site__prefix=site, kind=Tool.Kind.GAUGE).first()


def read_on_gauge(row: Judgement, tool: Tool | None, truth: Decimal | None) -> None:
    """Have an accepted judgement of what is measured rest on a gauge, or now and then on the eye.

    Parameters
    ----------
    truth : Decimal, optional
        What a drawing shows; without one a sound joint lies well inside the limits.
    """
    criterion = row.criterion
    # By its place, so that nothing else that is drawn by lot comes out otherwise.
    place = f"{row.grading.board.number} {row.joint_id} {criterion.code}"
    rng = Random(place)  # noqa: S311 - a scenario, not a secret
    value = (truth if truth is not None else _well_inside(criterion, rng)).quantize(Decimal("0.01"))
    spread = _spread(criterion)
    said = verdict(value, spread, criterion.low, criterion.high)
    if tool is None or said != Verdict.WITHIN or rng.random() < BY_EYE:
        row.by_eye_because = FAR_INSIDE if said == Verdict.WITHIN else NO_GAUGE
        return
    row.how, row.photo = Judgement.How.INSTRUMENT, None
    row.tool, row.value, row.uncertainty = tool, value, spread


def _width(criterion: Criterion) -> Decimal:
    """How far apart the limits lie; of one limit, as far as it lies from nought."""
    low, high = criterion.low, criterion.high
    if low is not None and high is not None:
        return high - low
    return abs(high if high is not None else low or Decimal(0)) or Decimal(1)


def _well_inside(criterion: Criterion, rng: Random) -> Decimal:
    share = _width(criterion) * Decimal(str(round(rng.uniform(0.3, 0.7), 2)))
    return criterion.low + share if criterion.low is not None else (criterion.high or 0) - share


def _spread(criterion: Criterion) -> Decimal:
    return (_width(criterion) / 20).quantize(Decimal("0.01"))
