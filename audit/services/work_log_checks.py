"""Work-log checks that people ask for on a page and a worker runs.

The row is the truth; a message only wakes the worker. Whoever runs a check claims it first,
keeps the claim fresh while it goes on, and writes the result only while the claim is still
theirs; the claim of a worker that died lapses, and the check is taken up again.
"""

import hashlib
import logging
import secrets
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial
from io import BytesIO
from typing import IO, Any
from zoneinfo import ZoneInfo

import celery
import polars as pl
from celery.exceptions import SoftTimeLimitExceeded
from django.core.files.base import ContentFile, File
from django.db import transaction
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from audit.domain.work_log_check import DAY, PERSON, STANDING, CheckOptions, Findings, check_log
from audit.exceptions import CannotCheck
from audit.models import WorkLogCheck
from audit.models.work_log import MOST_ATTEMPTS, log_path
from audit.queries.work_log_register import StoredRegister
from audit.register_files.work_log import read_log
from people.models import Role, Site, User
from records.exceptions import CannotRead, FilesOutOfReach
from records.services import trail

log = logging.getLogger(__name__)

MOST_BYTES = 128 * 1024 * 1024
MOST_PROBLEMS = 1000
MOST_PEOPLE = 50
LONGEST_NAME = 200
SECONDS_BETWEEN = 0.5
LONGEST_CHECK = timedelta(minutes=20)
ROUND = timedelta(minutes=1)
"""After it a round begins no further check, so that each has all of its own time."""
CHUNK_BYTES = 1 << 20
RUN_CHECK = "work_logs.check"
Clock = Callable[[], datetime]


class ClaimLost(Exception):
    """Somebody else has the check now."""


class TookTooLong(Exception):
    """The check has had all the time that one gets."""


def request_check(
    *,
    actor: User,
    file: IO[bytes],
    name: str,
    at: datetime,
    zone: ZoneInfo,
    known_at: datetime | None = None,
    as_known_then: bool = False,
    counts_as_practice: bool = False,
) -> WorkLogCheck:
    """Keep a log as it came and have it checked against the people of the actor's sites.

    Raises
    ------
    CannotCheck
        If the actor is not quality anywhere, or the file is none that can be a log.
    """
    sites = list(Site.objects.filter(pk__in=actor.sites_as(Role.QUALITY)))
    if not sites:
        raise CannotCheck(_("Quality alone checks work logs."))
    name = "".join(letter for letter in name if letter.isprintable())[-LONGEST_NAME:]
    if not name.lower().endswith((".csv", ".txt", ".xlsx")):
        raise CannotCheck(_("A work log is a CSV or XLSX file: save it as one of these."))
    digest, size = _hash_and_size(file)
    if not size:
        raise CannotCheck(_("%(name)s is empty.") % {"name": name})
    if size > MOST_BYTES:
        raise CannotCheck(
            _("%(name)s has more than %(most)d MB: split it by month.")
            % {"name": name, "most": MOST_BYTES // 1024**2}
        )
    check = WorkLogCheck(
        asked_by=actor,
        file_name=name,
        size_bytes=size,
        sha256=digest,
        known_at=known_at,
        as_known_then=as_known_then,
        counts_as_practice=counts_as_practice,
        zone=zone.key,
        recorded_at=at,
    )
    storage = check.file.storage
    check.file = storage.save(log_path(check, name), File(file))
    try:
        _write(check, sites, actor, at)
    except BaseException:
        storage.delete(check.file.name)
        raise
    return check


@transaction.atomic
def _write(check: WorkLogCheck, sites: Sequence[Site], actor: User, at: datetime) -> None:
    check.save(force_insert=True)
    check.sites.set(sites)
    trail.record(
        actor=actor,
        act="work-log check asked for",
        about=check,
        payload={
            "file_name": check.file_name,
            "size_bytes": check.size_bytes,
            "sha256": check.sha256,
            "sites": [site.prefix for site in sites],
            "known_at": check.known_at.isoformat() if check.known_at else "",
            "as_known_then": check.as_known_then,
            "counts_as_practice": check.counts_as_practice,
        },
        at=at,
    )
    transaction.on_commit(lambda: _wake_worker(check.pk), robust=True)


def _wake_worker(check_id: int) -> None:
    """Ask for a check to be run; a worker that does not hear it finds the row by itself."""
    try:
        celery.current_app.send_task(RUN_CHECK, (check_id,))
    except (OperationalError, OSError) as error:
        log.info("The next round finds the work-log check by itself: %s", error)


def _hash_and_size(file: IO[bytes]) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    file.seek(0)
    while chunk := file.read(CHUNK_BYTES):
        digest.update(chunk)
        size += len(chunk)
    file.seek(0)
    return digest.hexdigest(), size


# Running


def run_due_checks(*, clock: Clock) -> int:
    """Run the checks that are nobody's yet, as many as fit; return how many were."""
    begun = clock()
    _close_given_up(begun)
    due = WorkLogCheck.objects.due(begun).order_by("pk").values_list("pk", flat=True)
    number = 0
    for pk in list(due):
        if clock() - begun > ROUND:
            break
        number += run_check(check_id=pk, clock=clock)
    return number


def _close_given_up(now: datetime) -> None:
    """Close the checks that took down every worker that tried."""
    tried = WorkLogCheck.objects.due(now).filter(attempts__gte=MOST_ATTEMPTS)
    for check in tried:
        _close_check(
            check, check.claim, now, failure=_("It was tried several times and never ended.")
        )


def run_check(*, check_id: int, clock: Clock) -> bool:
    """Run one check unless somebody else does; return whether it was run to an end."""
    token = secrets.token_urlsafe(16)
    if not WorkLogCheck.objects.claim(check_id, token, clock()):
        return False
    check = WorkLogCheck.objects.prefetch_related("sites").get(pk=check_id)
    try:
        findings = _judge(check, _ProgressWriter(check_id, token, clock))
        return _keep_findings(check, token, findings, clock)
    except CannotRead as error:
        return _close_check(check, token, clock(), failure=str(error)[:400])
    except (TookTooLong, SoftTimeLimitExceeded):
        failure = _("It took longer than a check may: split the log by month.")
        return _close_check(check, token, clock(), failure=failure)
    except FilesOutOfReach as error:
        log.info("The work-log check is tried again with the next round: %s", error)
        held = WorkLogCheck.objects.held(check_id, token)
        held.update(claimed_at=None, attempts=check.attempts - 1)
        return False
    except ClaimLost:
        return False


def _judge(check: WorkLogCheck, progress: "_ProgressWriter") -> Findings:
    stages = WorkLogCheck.Stage
    progress(stages.REGISTER, 0, 0)
    register = StoredRegister(list(check.sites.all()))
    progress(stages.LOG, 0, 0)
    with check.file.open("rb") as file:
        work_log = read_log(check.file_name, file.read())
    check_options = CheckOptions(
        check.known_at, check.as_known_then, check.counts_as_practice, ZoneInfo(check.zone)
    )
    findings = check_log(work_log, register, check_options, progress)
    progress(stages.WRITE, findings.frame.height, findings.frame.height)
    return findings


class _ProgressWriter:
    """Writes down how far a check is, not too often, and keeps the claim fresh by it."""

    def __init__(self, check_id: int, token: str, clock: Clock) -> None:
        self._held = WorkLogCheck.objects.held(check_id, token)
        self._clock = clock
        self._stage = ""
        self._written_at: datetime | None = None
        self._begun = clock()

    def __call__(self, stage: str, done: int, total: int) -> None:
        now = self._clock()
        if now - self._begun > LONGEST_CHECK:
            raise TookTooLong
        if (
            stage == self._stage
            and self._written_at is not None
            and (now - self._written_at).total_seconds() < SECONDS_BETWEEN
        ):
            return
        self._stage, self._written_at = stage, now
        if not self._held.update(claimed_at=now, stage=stage, done=done, total=total):
            raise ClaimLost


def _keep_findings(check: WorkLogCheck, token: str, findings: Findings, clock: Clock) -> bool:
    """Keep the findings and close the check, unless somebody else has it by now."""
    content = BytesIO()
    findings.frame.write_parquet(content)
    storage = check.findings.storage
    path = storage.save(log_path(check, ""), ContentFile(content.getvalue()))
    people, days = findings.concerned()
    problems = findings.problems[:MOST_PROBLEMS]
    try:
        kept = _close_check(
            check,
            token,
            clock(),
            rows=findings.frame.height,
            bad_rows=findings.bad_rows,
            counts=findings.counts(),
            people_concerned=people,
            days_concerned=days,
            people=_people(findings),
            problems=[[problem.line, problem.column, problem.reason] for problem in problems],
            headings=findings.headings,
            columns=findings.columns,
            findings=path,
            findings_sha256=hashlib.sha256(content.getbuffer()).hexdigest(),
        )
    except BaseException:
        storage.delete(path)
        raise
    if not kept:
        storage.delete(path)
    return kept


def _people(findings: Findings) -> list[list[Any]]:
    """Who has most rows that were not certified: number, rows, days, first and last of them."""
    number = pl.col(findings.columns[findings.headings.index("employee_number")])
    people = (
        findings.frame.lazy()
        .filter((pl.col(STANDING) != "certified") & pl.col(PERSON).is_not_null())
        .group_by(number.alias("number"))
        .agg(
            pl.len().alias("rows"),
            pl.col(DAY).n_unique().alias("days"),
            pl.col(DAY).min().dt.to_string("%Y-%m-%d").alias("first"),
            pl.col(DAY).max().dt.to_string("%Y-%m-%d").alias("last"),
        )
        .sort(["rows", "number"], descending=[True, False])
        .head(MOST_PEOPLE)
        .collect()
    )
    return [list(row) for row in people.iter_rows()]


@transaction.atomic
def _close_check(check: WorkLogCheck, token: str, now: datetime, **results: Any) -> bool:
    """Write the end of a check and its entry in the trail; False if it is somebody else's."""
    own_check = WorkLogCheck.objects.held(check.pk, token)
    if not own_check.update(finished_at=now, **results):
        return False
    failure = results.get("failure", "")
    trail.record(
        actor="work-log check",
        act="work log could not be checked" if failure else "work log checked",
        about=check,
        payload={
            "sha256": check.sha256,
            "failure": failure,
            "rows": results.get("rows", 0),
            "bad_rows": results.get("bad_rows", 0),
            "counts": results.get("counts", {}),
            "findings_sha256": results.get("findings_sha256", ""),
        },
        at=now,
    )
    return True


def files_to_verify() -> Iterator[tuple[str, Any, str]]:
    """Every log and its findings, for the check of the records' files."""
    for check in WorkLogCheck.objects.order_by("pk").defer("problems", "people").iterator():
        name = f"work log {check.pk} ({check.file_name})"
        yield name, partial(check.file.storage.open, str(check.file.name), "rb"), check.sha256
        if check.findings_sha256:
            opener = partial(check.findings.storage.open, str(check.findings.name), "rb")
            yield f"findings of {name}", opener, check.findings_sha256
