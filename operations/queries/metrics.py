"""The state of the site as figures for a monitoring program, read from database and queues.

What is here is the same whichever web process is asked. Ages are by this machine's clock, so that
they do not depend on the clock of whoever asks; where nothing has happened yet, there is no age.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime

from django.db import DatabaseError
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from operations.models import Heartbeat, Verification
from reminders.models import Message

from . import health
from .back_ups import back_up_truth

PREFIX = "jointworthy_"


def queues(now: datetime) -> Iterator[Metric]:
    """How many jobs wait in each queue, and for how long the oldest has."""
    depths = health.queue_depths()
    yield _gauge("queues_answer", "Whether the queues' server answers.", depths is not None)
    if depths is None:
        return
    jobs = _by("queue_jobs", "Jobs that wait to be taken up.", "queue", depths)
    oldest = health.oldest_jobs() or {}
    ages = {name: _age_s(at, now) for name, at in oldest.items() if at is not None}
    yield jobs
    yield _by(
        "queue_oldest_job_age_seconds", "For how long the oldest job has waited.", "queue", ages
    )


def sweep(now: datetime) -> Iterator[Metric]:
    """How long ago a sweep last came to its end at every site."""
    last = Heartbeat.objects.filter(kind=Heartbeat.Kind.SWEEP).first()
    if last is not None:
        yield _gauge(
            "sweep_age_seconds", "Time since a sweep came to its end.", _age_s(last.at, now)
        )


def verification(now: datetime) -> Iterator[Metric]:
    """What the last verification of the records found, and how long ago."""
    last = Verification.objects.ended().first()
    if last is not None and last.ended_at is not None:
        yield _gauge("verification_fits", "Whether everything written down fit.", last.fits)
        yield _gauge("verification_faults", "What did not fit, as far as it got.", last.fault_count)
        yield _gauge(
            "verification_age_seconds",
            "Time since the records were last verified.",
            _age_s(last.ended_at, now),
        )


def mails(now: datetime) -> Iterator[Metric]:
    """How many mails are in each state."""
    states = {str(state): Message.objects.in_state(state).count() for state in Message.State}
    yield _by("mails", "Mails to people, by state.", "state", states)


def parts(now: datetime) -> Iterator[Metric]:
    """Whether each part works, as the Health page says it."""
    works = {component.part: component.ok for component in health.component_health(now)}
    yield _by("part_works", "Whether a part works, as on the Health page.", "part", works)


def back_ups(now: datetime) -> Iterator[Metric]:
    """How old what the last back-up holds is, how large it is, and whether one failed since."""
    truth = back_up_truth()
    yield _gauge(
        "back_up_failed", "Whether a back-up failed since one was made.", truth.failed is not None
    )
    if truth.last is not None:
        yield _gauge(
            "back_up_age_seconds",
            "Time since the instant that the last back-up shows.",
            _age_s(truth.last.begun_at, now),
        )
        yield _gauge(
            "back_up_bytes",
            "Size of the last back-up, and of the files that it refers to.",
            (truth.last.size_bytes or 0) + (truth.last.files_bytes or 0),
        )


IN_DATABASE: tuple[Callable[[datetime], Iterable[Metric]], ...] = (
    sweep,
    verification,
    back_ups,
    mails,
    parts,
)
"""What is read from the database; one function a subject."""


class SiteCollector(Collector):
    """The state of the site at one instant, for one answer.

    A database that is away is said as that, and keeps neither the counts of requests nor the
    queues from being told.
    """

    def __init__(self, now: datetime) -> None:
        self.now = now

    def describe(self) -> list[Metric]:
        """Nothing is read when this is registered, only when it is collected."""
        return []

    def collect(self) -> Iterator[Metric]:
        try:
            read = [metric for source in IN_DATABASE for metric in source(self.now)]
        except DatabaseError:
            read = []
            answers = False
        else:
            answers = True
        yield _gauge("database_answers", "Whether the database answers.", answers)
        yield from read
        yield from queues(self.now)


def _gauge(name: str, about: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(PREFIX + name, about, value=float(value))


def _by(name: str, about: str, label: str, values: Mapping[str, float]) -> GaugeMetricFamily:
    family = GaugeMetricFamily(PREFIX + name, about, labels=[label])
    for key, value in values.items():
        family.add_metric([key], float(value))
    return family


def _age_s(at: datetime, now: datetime) -> float:
    """Seconds since an instant; none of a clock that was ahead."""
    return max((now - at).total_seconds(), 0.0)
