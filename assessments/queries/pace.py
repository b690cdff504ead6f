"""How long judging takes at some sites, as the stages signed there lately show it."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from django.db.models import Count, Max, Min

from assessments.models import Grading, Judgement, StageSigning

LOOKED_AT = timedelta(days=90)
MOST_STAGES = 200
FEWEST_STAGES = 10
ASSUMED_SECONDS = 15.0
# What takes longer was interrupted, and what takes no time was accepted at one stroke.
LONGEST_SECONDS, SHORTEST_SECONDS = 600.0, 1.0


@dataclass(frozen=True, slots=True)
class Pace:
    """Seconds that a joint takes at one stage, and how many stages they are the median of.

    ``stages`` is 0 where too few were timed, and the seconds are assumed.
    """

    seconds_a_joint: float
    stages: int = 0

    @property
    def is_assumed(self) -> bool:
        return self.stages == 0

    def minutes(self, joints: int, stages: int = 1) -> float:
        """What so many joints at so many stages would take."""
        return self.seconds_a_joint * joints * stages / 60


def pace_at(sites: Collection[int], now: datetime) -> Pace:
    """The pace of the stages signed at some sites in the last 90 days, the latest 200 of them.

    A stage's joints are timed from its first judgement to its last, which are one joint short
    of all of them. With fewer than ten stages timed a pace is assumed.
    """
    latest = list(
        StageSigning.objects.filter(
            grading__board__site__in=sites, signed_at__gte=now - LOOKED_AT, signed_at__lte=now
        )
        .exclude(grading__kind=Grading.Kind.OWN)
        .order_by("-signed_at", "-pk")
        .values_list("grading", "stage")[:MOST_STAGES]
    )
    # All of them in one reading of their judgements.
    timed_stages = {
        (grading, stage): (first, last, joints)
        for grading, stage, first, last, joints in Judgement.objects.filter(
            grading__in={grading for grading, _stage in latest}
        )
        .order_by()
        .values_list("grading", "stage")
        .annotate(
            first=Min("judged_at"), last=Max("judged_at"), joints=Count("joint", distinct=True)
        )
    }
    seconds = [
        (last - first).total_seconds() / (joints - 1)
        for first, last, joints in (timed_stages[one] for one in latest if one in timed_stages)
        if joints > 1
    ]
    timed = [one for one in seconds if SHORTEST_SECONDS <= one <= LONGEST_SECONDS]
    if len(timed) < FEWEST_STAGES:
        return Pace(ASSUMED_SECONDS)
    return Pace(median(timed), len(timed))
