"""Whether reminders get out by themselves: each component's health, read off the heartbeats."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum
from socket import gethostname
from typing import Any, TypeVar

from celery import current_app
from django.conf import settings
from django.db.models import Max
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from kombu.exceptions import ChannelError, OperationalError
from kombu.utils.json import loads

from operations.backends.folder_queue import FolderChannel
from operations.models import BackUp, Heartbeat, Verification
from people.queries import printing
from records.exceptions import FilesOutOfReach
from records.models import TrailEntry
from reminders.models import Message, SiteSweep
from reminders.queries.sites import sites_to_sweep

from .back_ups import BUCKET, are_made_at_night, back_up_truth
from .shared_marks import differences
from .time_stamps import last_stamped

PROCESS_IS_SILENT_AFTER = timedelta(minutes=3)
SENDING_IS_SILENT_AFTER = timedelta(minutes=15)
SWEEP_IS_LATE_AFTER = timedelta(hours=2, minutes=15)
MAIL_IS_LATE_AFTER = timedelta(hours=2)
VERIFYING_IS_LATE_AFTER = timedelta(days=2)
STAMPING_IS_LATE_AFTER = timedelta(days=2)
BACK_UP_IS_LATE_AFTER = timedelta(days=2)
BUCKET_IS_SILENT_AFTER = timedelta(minutes=15)
FAULTS_SHOWN = 5
SWEEP_MINUTE, SWEEP_TAKES = 7, timedelta(minutes=15)
"""When in the hour the clock asks for a sweep, and how long the first may take."""
VERIFYING_AT = time(3, 10)
"""When at night, in UTC, the clock asks for the records to be verified."""
BACK_UP_AT = time(1, 40)
"""When at night, in UTC, the clock asks for a back-up."""
RECORDS = "records"
BACK_UP = "back_up"
MACHINES = "machines"
STAMPS = "stamps"
FILES = "files"

PUBLISHED_AT = "published_at"
"""The header of a job that says when it was put into its queue, in seconds since 1970."""
Answer = TypeVar("Answer")

MAIL_FOLDER_BACKEND = "operations.backends.mail_folder.FolderBackend"


class State(StrEnum):
    GOOD = "good"
    NOT_YET = "not_yet"
    """It has not been its time since the site was started."""
    ATTENTION = "attention"
    BAD = "bad"


@dataclass(frozen=True)
class ComponentHealth:
    """One component on the way that a reminder takes, or the records, and how it is.

    Attributes
    ----------
    part : str
        Its name in the answer to a monitoring program.
    state : State
        Only `BAD` makes the whole not well.
    says : tuple of str
        Sentences for an administrator.
    last_at : datetime or None
        When it was last seen to work.
    is_seen : bool
        Whether it is seen to work at all; what is there or not has no last time.
    due_at : datetime or None
        When it is to be seen for the first time, where that has not been yet.
    """

    part: str
    title: str
    state: State
    says: tuple[str, ...]
    last_at: datetime | None = None
    is_seen: bool = True
    due_at: datetime | None = None

    @property
    def ok(self) -> bool:
        return self.state != State.BAD


def component_health(now: datetime) -> list[ComponentHealth]:
    """How every component is: from the database, and from the faces for paper."""
    seen: dict[str, dict[str, datetime]] = {kind: {} for kind in Heartbeat.Kind.values}
    for kind, name, at in Heartbeat.objects.values_list("kind", "name", "at"):
        seen[kind][name] = at
    start = Start(seen[Heartbeat.Kind.WEB].get(""), now)
    return [
        start.not_before(_worker(seen[Heartbeat.Kind.WORKER], now), PROCESS_IS_SILENT_AFTER),
        start.not_before(_clock(seen[Heartbeat.Kind.CLOCK], now), PROCESS_IS_SILENT_AFTER),
        start.not_before_sweep(_sweep(seen[Heartbeat.Kind.SWEEP].get(""), now)),
        start.not_before(
            _sending(seen[Heartbeat.Kind.SENDING].get(""), now), SENDING_IS_SILENT_AFTER
        ),
        _mail(now),
        _records(now),
        *([_stamps(now)] if settings.TIME_STAMP_URL else ()),
        _with_bucket(_back_up(now), seen[Heartbeat.Kind.BACK_UPS].get(""), start),
        *(
            [
                start.not_before(
                    _files(seen[Heartbeat.Kind.FILES].get(""), now), BUCKET_IS_SILENT_AFTER
                )
            ]
            if settings.SEVERAL_MACHINES
            else ()
        ),
        *([_machines()] if settings.SEVERAL_MACHINES else ()),
        _paper(),
    ]


@dataclass(frozen=True)
class Start:
    """When the site was last started, before which nothing of it can have been seen.

    A site that is minutes old, or was stopped over the weekend, is no alarm; one whose parts
    stay away for longer than they may be silent is.
    """

    at: datetime | None
    now: datetime

    def not_before(self, component: ComponentHealth, within: timedelta) -> ComponentHealth:
        """The component, or that it is not its time yet so soon after the start."""
        return component if self.at is None else self._awaited(component, self.at + within)

    def not_before_sweep(self, component: ComponentHealth) -> ComponentHealth:
        """The same of the sweep, which the clock asks for at its minute of the hour."""
        if self.at is None:
            return component
        return self._awaited(component, _next_sweep(self.at) + SWEEP_TAKES, _next_sweep(self.at))

    def _awaited(
        self, component: ComponentHealth, until: datetime, due_at: datetime | None = None
    ) -> ComponentHealth:
        if component.ok or self.at is None or not self.at <= self.now <= until:
            return component
        says = _("Not seen yet since the site was started.")
        due = due_at or until
        return replace(component, state=State.NOT_YET, says=(says,), due_at=due)


def _next_sweep(after: datetime) -> datetime:
    """The first sweep that the clock asks for after an instant."""
    due = after.astimezone(UTC).replace(minute=SWEEP_MINUTE, second=0, microsecond=0)
    return due if due > after else due + timedelta(hours=1)


def _next_night(after: datetime, at: time) -> datetime:
    utc = after.astimezone(UTC)
    due = datetime.combine(utc.date(), at, tzinfo=UTC)
    return due if due > utc else due + timedelta(days=1)


def _stamps(now: datetime) -> ComponentHealth:
    """Whether what was recorded two days ago is under a stamp by now."""
    title, entries = _("Time stamps"), TrailEntry.objects.order_by("-number")
    try:
        number = last_stamped()
    except FilesOutOfReach as error:
        return ComponentHealth(STAMPS, title, State.BAD, (str(error),), is_seen=False)
    before = entries.filter(recorded_at__lte=now - STAMPING_IS_LATE_AFTER).first()
    if before is not None and before.number > number:
        says = _(
            "The end of the records has had no time stamp for over two days: see what the worker "
            "says of records.stamp_head."
        )
        return ComponentHealth(STAMPS, title, State.BAD, (says,), is_seen=False)
    says = _("The end of the records is stamped every day, last with entry %(number)d.") % {
        "number": number
    }
    return ComponentHealth(STAMPS, title, State.GOOD, (says,), is_seen=False)


def _is_near(at: datetime | None, now: datetime, limit: timedelta) -> bool:
    """Whether an instant is no further off than that; one in the future proves nothing either."""
    return at is not None and abs(now - at) <= limit


def _living(seen: dict[str, datetime], now: datetime) -> list[str]:
    return [name for name, at in seen.items() if _is_near(at, now, PROCESS_IS_SILENT_AFTER)]


def _silent(seen: dict[str, datetime], living: list[str]) -> tuple[str, ...]:
    return tuple(
        _("%(name)s has been silent for some time.") % {"name": name}
        for name in sorted(seen)
        if name not in living
    )


def _worker(seen: dict[str, datetime], now: datetime) -> ComponentHealth:
    living = _living(seen, now)
    says = (
        ngettext("%(n)d worker is alive.", "%(n)d workers are alive.", len(living))
        % {"n": len(living)}
        if living
        else _("No worker is alive: start one, or start `manage.py serve` again."),
        *_silent(seen, living),
    )
    state = State.BAD if not living else State.ATTENTION if len(seen) > len(living) else State.GOOD
    return ComponentHealth("worker", _("Worker"), state, says, max(seen.values(), default=None))


def _clock(seen: dict[str, datetime], now: datetime) -> ComponentHealth:
    living = _living(seen, now)
    last = max(seen.values(), default=None)
    if not living:
        says = _("The clock asks for nothing: start Celery beat, and see that the queue answers.")
        return ComponentHealth("clock", _("Clock"), State.BAD, (says,), last)
    if len(living) > 1:
        says = _("More than one clock runs. Nothing is sent twice, but one is enough.")
        return ComponentHealth("clock", _("Clock"), State.ATTENTION, (says,), last)
    return ComponentHealth(
        "clock", _("Clock"), State.GOOD, (_("The clock asks for work every minute."),), last
    )


def _sweep(at: datetime | None, now: datetime) -> ComponentHealth:
    if _is_near(at, now, SWEEP_IS_LATE_AFTER):
        says = [_("What is due is written every hour.")]
        return ComponentHealth("sweep", _("Sweep"), State.GOOD, tuple(says), at)
    says = [_("No sweep has come to its end at every site for over two hours.")]
    behind = _sites_behind(now)
    if behind:
        says.append(_("Not swept today: %(sites)s.") % {"sites": ", ".join(behind)})
    return ComponentHealth("sweep", _("Sweep"), State.BAD, tuple(says), at)


def _sites_behind(now: datetime) -> list[str]:
    """Names of the sites whose hour is past and that no sweep came to the end of today."""
    swept = dict(SiteSweep.objects.values_list("site", "day"))
    return [
        site.name
        for site, day in sites_to_sweep(now)
        if site.pk not in swept or swept[site.pk] < day
    ]


def _sending(at: datetime | None, now: datetime) -> ComponentHealth:
    if not _is_near(at, now, SENDING_IS_SILENT_AFTER):
        says = _("Nothing has come out of the queue to be sent for a quarter of an hour.")
        return ComponentHealth("sending", _("Queue"), State.BAD, (says,), at)
    says = _("What the clock asks for reaches a worker.")
    return ComponentHealth("sending", _("Queue"), State.GOOD, (says,), at)


def _mail(now: datetime) -> ComponentHealth:
    unsent = Message.objects.unsent()
    late = unsent.filter(failed_at__isnull=True, recorded_at__lt=now - MAIL_IS_LATE_AFTER).count()
    unsent_count = unsent.filter(failed_at__isnull=True).count()
    refused = unsent.filter(refused=True).count()
    given_up = unsent.filter(refused=False, failed_at__isnull=False).count()
    says = [
        ngettext("%(n)d message waits.", "%(n)d messages wait.", unsent_count) % {"n": unsent_count}
    ]
    if late:
        says.append(_("%(n)d of them for over two hours.") % {"n": late})
    if given_up:
        says.append(
            ngettext(
                "%(n)d was given up after many attempts.",
                "%(n)d were given up after many attempts.",
                given_up,
            )
            % {"n": given_up}
        )
    if refused:
        says.append(
            ngettext(
                "The mail server refused %(n)d for good: see the outbox.",
                "The mail server refused %(n)d for good: see the outbox.",
                refused,
            )
            % {"n": refused}
        )
    to_folder = settings.EMAIL_BACKEND == MAIL_FOLDER_BACKEND
    if to_folder:
        says.append(_("Mails become files in a folder, since EMAIL_URL is not set."))
    state = State.BAD if late or given_up else State.ATTENTION if refused else State.GOOD
    if to_folder and state == State.GOOD:
        state = State.ATTENTION
    last = Message.objects.aggregate(last=Max("sent_at"))["last"]
    return ComponentHealth("mail", _("Mail"), state, tuple(says), last)


def _records(now: datetime) -> ComponentHealth:
    """Whether what was written down was verified of late, and fits."""
    title = _("Records")
    last = Verification.objects.ended().first()
    seen = last.ended_at if last else None
    if last is not None and last.failure:
        says = _("The last verification broke down: %(why)s") % {"why": last.failure}
        return ComponentHealth(RECORDS, title, State.BAD, (says,), seen)
    if last is not None and last.fault_count:
        counted = ngettext(
            "%(n)d thing does not fit what was signed and written down. Keep the database as it "
            "is, and look with `manage.py verify_trail`.",
            "%(n)d things do not fit what was signed and written down. Keep the database as it "
            "is, and look with `manage.py verify_trail`.",
            last.fault_count,
        ) % {"n": last.fault_count}
        return ComponentHealth(
            RECORDS, title, State.BAD, (counted, *last.faults[:FAULTS_SHOWN]), seen
        )
    if last is None:
        first_entry = TrailEntry.objects.order_by("number").first()
        if first_entry is None or now - first_entry.recorded_at <= VERIFYING_IS_LATE_AFTER:
            says = _("They are verified for the first time at night.")
            due_at = _next_night(now, VERIFYING_AT)
            return ComponentHealth(RECORDS, title, State.NOT_YET, (says,), due_at=due_at)
    if last is None or not _is_near(last.begun_at, now, VERIFYING_IS_LATE_AFTER):
        says = _("Not verified for two days: see that clock and worker run at night.")
        return ComponentHealth(RECORDS, title, State.BAD, (says,), seen)
    says = _(
        "%(entries)d trail entries, %(signatures)d signatures and %(files)d files fit, and the "
        "rows say what was written down."
    ) % {"entries": last.entries, "signatures": last.signatures, "files": last.files}
    return ComponentHealth(RECORDS, title, State.GOOD, (says,), seen)


def _back_up(now: datetime) -> ComponentHealth:
    """How old the last back-up is and how large, and whether the nights still bring one."""
    title, truth = _("Back-up"), back_up_truth()
    last = truth.last
    seen = last.begun_at if last else None
    says = [] if last is None else [_back_up_in_words(last)]
    if not are_made_at_night():
        says.append(
            _(
                "None is made at night: name a folder on another disk or machine in BACK_UP_DIR, "
                "or a bucket in BACK_UP_URL, and restart."
            )
        )
        return ComponentHealth(BACK_UP, title, State.ATTENTION, tuple(says), seen)
    if truth.failed is not None:
        failed = _("The last back-up was not made: %(why)s") % {"why": truth.failed.failure}
        return ComponentHealth(BACK_UP, title, State.BAD, (failed, *says), seen)
    if last is None:
        first_entry = TrailEntry.objects.order_by("number").first()
        if first_entry is None or now - first_entry.recorded_at <= BACK_UP_IS_LATE_AFTER:
            says = [_("The first is made at night.")]
            due_at = _next_night(now, BACK_UP_AT)
            return ComponentHealth(BACK_UP, title, State.NOT_YET, tuple(says), due_at=due_at)
    if last is None or not _is_near(last.begun_at, now, BACK_UP_IS_LATE_AFTER):
        late = _(
            "No back-up has been made for two days: see that clock and worker run at night, and "
            "that the worker may write into BACK_UP_DIR or the bucket of BACK_UP_URL. By hand: "
            "`manage.py back_up`."
        )
        return ComponentHealth(BACK_UP, title, State.BAD, (late, *says), seen)
    if last.missing_files:
        missing = ngettext(
            "%(n)d file that a row names was gone.",
            "%(n)d files that rows name were gone.",
            last.missing_files,
        )
        says.append(missing % {"n": last.missing_files})
    if not last.is_encrypted:
        says.append(
            _("It is not encrypted, so whoever has it can read it: set BACK_UP_KEY for the next.")
        )
    state = State.ATTENTION if last.missing_files else State.GOOD
    return ComponentHealth(BACK_UP, title, state, tuple(says), seen)


def _with_bucket(back_up: ComponentHealth, at: datetime | None, start: Start) -> ComponentHealth:
    """The back-up's health, with whether its bucket answers now; the nights alone make it bad."""
    if BUCKET not in settings.STORAGES or _is_near(at, start.now, BUCKET_IS_SILENT_AFTER):
        return back_up
    if start.at is not None and start.at <= start.now <= start.at + BUCKET_IS_SILENT_AFTER:
        return back_up
    silent = _(
        "The bucket of BACK_UP_URL has not answered for a quarter of an hour: see what the worker "
        "says of it, that its server runs, and that the key is the right one."
    )
    state = State.ATTENTION if back_up.ok else back_up.state
    return replace(back_up, state=state, says=(*back_up.says, silent))


def _files(at: datetime | None, now: datetime) -> ComponentHealth:
    """Whether the bucket in which several machines keep their files takes and gives one."""
    title = _("Files")
    if _is_near(at, now, BUCKET_IS_SILENT_AFTER):
        says = _("The bucket takes files, and gives them back.")
        return ComponentHealth(FILES, title, State.GOOD, (says,), at)
    says = _(
        "The bucket of FILES_URL has taken and given back no file for a quarter of an hour: see "
        "what the worker says of it, that its server runs, and that the key may list, get, put and "
        "delete."
    )
    return ComponentHealth(FILES, title, State.BAD, (says,), at)


def _machines() -> ComponentHealth:
    """Whether the machine that answers has what the others have."""
    title, says = _("Machines"), tuple(differences())
    if says:
        return ComponentHealth(MACHINES, title, State.BAD, says, is_seen=False)
    same = _("%(name)s, which answers, has the key and the folders that the others have.")
    says = (same % {"name": gethostname()},)
    return ComponentHealth(MACHINES, title, State.GOOD, says, is_seen=False)


def _back_up_in_words(made: BackUp) -> str:
    words = {
        "path": made.path,
        "size": filesizeformat(made.size_bytes),
        "rows": made.rows,
        "files": made.files,
        "files_size": filesizeformat(made.files_bytes),
    }
    says = _(
        "The last is %(path)s: %(size)s, with %(rows)d rows and %(files)d files of %(files_size)s."
    )
    return says % words


def _paper() -> ComponentHealth:
    """Whether names can be printed in every script that they are to be printed in."""
    title, covered = _("Paper"), printing.coverage()
    printed = ", ".join(str(script.name) for script in covered.printed)
    says = [_("Names are printed in: %(scripts)s.") % {"scripts": printed or "–"}]
    if not covered.missing:
        return ComponentHealth("paper", title, State.GOOD, tuple(says), is_seen=False)
    says.append(
        _(
            "Not in: %(scripts)s. Their numbers are printed instead. Install %(packages)s "
            "(Debian), or name the folders of these faces in FONT_FOLDERS."
        )
        % {
            "scripts": ", ".join(str(script.name) for script in covered.missing),
            "packages": ", ".join(covered.packages),
        }
    )
    return ComponentHealth("paper", title, State.ATTENTION, tuple(says), is_seen=False)


def queue_depth(queues: Iterable[str] | None = None) -> int | None:
    """How many jobs wait in these queues, or in all; None where they do not answer."""
    depths = queue_depths(queues)
    return None if depths is None else sum(depths.values())


def queue_depths(queues: Iterable[str] | None = None) -> dict[str, int] | None:
    """How many jobs wait in each queue; None where the queues' server does not answer."""

    def depth(channel: Any, name: str) -> int:
        return int(channel.queue_declare(queue=name, passive=True).message_count)

    return _ask_queues(depth, 0, queues)


def oldest_jobs() -> dict[str, datetime | None] | None:
    """Since when the oldest job of each queue waits; None where their server does not answer."""
    return _ask_queues(_oldest_job_at, None)


def _oldest_job_at(channel: Any, name: str) -> datetime | None:
    if isinstance(channel, FolderChannel):
        return _instant(channel.oldest_at(name))
    # A site whose queue is a folder has no need of Redis's client, which takes long to import.
    from kombu.transport.redis import Channel as RedisChannel

    if isinstance(channel, RedisChannel):
        # Put in at the left, taken out at the right.
        message = channel.client.lindex(name, -1)
        return _instant(loads(message)["headers"].get(PUBLISHED_AT) if message else None)
    return None


def _instant(at: float | None) -> datetime | None:
    return None if at is None else datetime.fromtimestamp(at, UTC)


def _ask_queues(
    ask: Callable[[Any, str], Answer], empty: Answer, queues: Iterable[str] | None = None
) -> dict[str, Answer] | None:
    names = list(current_app.amqp.queues if queues is None else queues)
    answers: dict[str, Answer] = {}
    with current_app.connection_for_read() as link:
        failures: tuple[type[BaseException], ...] = (
            *link.connection_errors,
            OperationalError,
            OSError,
        )
        for name in names:
            try:
                answers[name] = ask(link.default_channel, name)
            except ChannelError:
                answers[name] = empty  # An empty queue is no queue on some brokers.
            except failures:
                return None
    return answers
