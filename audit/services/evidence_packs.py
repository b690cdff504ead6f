"""Evidence packs that people ask for and a worker puts together, round by round.

The row is the truth; a message only wakes the worker. Whoever works on a pack claims it first and
keeps the claim fresh. What is written lies in a folder of this machine: the worker that takes it
up next goes on from there, one on another machine begins anew, and either gives the same bytes.
"""

import errno
import logging
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import IO, Any

import celery
from django.conf import settings
from django.core.files.base import File
from django.db import transaction
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from assessments.exceptions import DecodersBusy
from assessments.models import Board
from audit.domain.bag import TAG_MANIFEST
from audit.domain.pack_parts import Contents, NothingToWrite
from audit.exceptions import CannotPack
from audit.models import EvidencePack
from audit.models.evidence_packs import MOST_ATTEMPTS, STORED_IN, pack_path
from audit.queries.pack_rows import PackRows
from certification.models import Certificate, Scope
from people.models import Person, Role, Site, User
from records.domain.kinds import kind_of
from records.exceptions import FilesOutOfReach
from records.models import TrailEntry
from records.queries.trail_acts import ERASED, REMOVED
from records.services import trail
from records.services.numbers import next_number

from .pack_file import DoesNotFit, InUse, PackFile

log = logging.getLogger(__name__)

ROUND = timedelta(minutes=5)
"""After it a pack is let go between two files, so that others get their turn."""
SECONDS_BETWEEN = 0.5
WORK_FOLDER = "packs"
LEFT_AFTER = timedelta(days=1)
"""After which a stored file that no pack names is nobody's: it was stored just before its end."""
NUMBER_KIND = "P"
PACK = kind_of(EvidencePack.__name__)
BUILD = "evidence_packs.build"
ASKED, ANEW, MADE, NOT_MADE = (
    "evidence pack asked for",
    "evidence pack begun anew",
    "evidence pack made",
    "evidence pack could not be made",
)
MOST_ANEW = 3
"""How often a pack is begun anew because of what came after its head; then it is given up."""
Clock = Callable[[], datetime]
ContentsOf = Callable[[EvidencePack], Contents]


class _ClaimLost(Exception):
    """Somebody else has the pack now."""


class _RoundOver(Exception):
    """It is another job's turn."""


class _Overtaken(Exception):
    """What came after the pack's head is seen in some of its files: it would not verify."""


# Asking


@transaction.atomic
def request_pack(
    *,
    actor: User,
    site: Site,
    at: datetime,
    certificate: Certificate | None = None,
    person: Person | None = None,
    board: Board | None = None,
    scopes: Iterable[Scope] = (),
    first_day: date | None = None,
    last_day: date | None = None,
    known_at: datetime | None = None,
) -> EvidencePack:
    """Have everything put together that stands behind one thing, or answers one question.

    While the same is under way for the same person, that one is returned.

    Parameters
    ----------
    site : Site
        Gives the number its letters and the pages their clock; the actor is quality there.
    certificate, person, board
        One of them, which the caller has made sure the actor may read; or a question:
    scopes, first_day, last_day
        Who was certified for these scopes, or for any, between two days, both included.
    known_at : datetime, optional
        An instant that is past: how it was known then is told beside how it is known now.

    Raises
    ------
    CannotPack
        If the actor is not quality at the site, the question says nothing that can be asked, or
        the board has been removed.
    """
    sites = list(Site.objects.filter(pk__in=actor.sites_as(Role.QUALITY)))
    if site not in sites:
        raise CannotPack(_("Quality alone has evidence packs made, at its own sites."))
    if known_at is not None and known_at > at:
        raise CannotPack(_("What is still to be recorded is not known yet: give an earlier time."))
    about = next(
        (
            kind
            for kind, thing in (
                (EvidencePack.About.CERTIFICATE, certificate),
                (EvidencePack.About.PERSON, person),
                (EvidencePack.About.BOARD, board),
            )
            if thing is not None
        ),
        EvidencePack.About.QUESTION,
    )
    if about == EvidencePack.About.QUESTION:
        if first_day is None or last_day is None:
            raise CannotPack(_("Say from which day through which day is asked about."))
        if last_day < first_day:
            raise CannotPack(_("The last day lies before the first: swap them."))
    if board is not None:
        _lock_board_to_pack(board)
    trail.lock_trail()
    scopes = list(scopes)
    asked = EvidencePack(
        asked_by=actor,
        language=(get_language() or "en")[:8],
        site=site,
        about=about,
        certificate=certificate,
        person=person,
        board=board,
        first_day=first_day,
        last_day=last_day,
        known_at=known_at,
        recorded_at=at,
    )
    if (under_way := _same_under_way(asked, scopes)) is not None:
        return under_way
    pack = asked
    pack.number = next_number(site.prefix, NUMBER_KIND)
    pack.save(force_insert=True)
    pack.sites.set(sites)
    pack.scopes.set(scopes)
    pack.head = trail.record(
        actor=actor, act=ASKED, about=pack, payload=question_content(pack), at=at
    )
    pack.save(update_fields=["head"])
    transaction.on_commit(lambda: _wake_worker(pack.pk), robust=True)
    return pack


def _lock_board_to_pack(board: Board) -> None:
    """Hold a board before the trail, as whoever removes one does; refuse if it is gone by then.

    A cancelled one may be asked about.
    """
    if not Board.objects.select_for_update(no_key=True).filter(pk=board.pk).values("pk").first():
        raise CannotPack(
            _("Board %(number)s was removed: it is kept no longer, and no pack can be made of it.")
            % {"number": board.number}
        )


def _same_under_way(asked: EvidencePack, scopes: list[Scope]) -> EvidencePack | None:
    """A pack that answers this already and is not finished: somebody pressed twice."""
    same = EvidencePack.objects.filter(
        asked_by=asked.asked_by,
        about=asked.about,
        certificate=asked.certificate,
        person=asked.person,
        board=asked.board,
        first_day=asked.first_day,
        last_day=asked.last_day,
        known_at=asked.known_at,
        finished_at__isnull=True,
    )
    wanted = {scope.pk for scope in scopes}
    for pack in same.order_by("pk"):
        if set(pack.scopes.values_list("pk", flat=True)) == wanted:
            return pack
    return None


def question_content(pack: EvidencePack) -> dict[str, Any]:
    """What is asked, as the trail keeps it and the pack repeats it."""
    return {
        "number": pack.number,
        "about": str(pack.about),
        "certificate": pack.certificate.number if pack.certificate else None,
        "person": pack.person.employee_number if pack.person else None,
        "board": pack.board.number if pack.board else None,
        "scopes": sorted(pack.scopes.values_list("code", flat=True)),
        "first_day": pack.first_day,
        "last_day": pack.last_day,
        "known_at": pack.known_at,
        "sites": sorted(pack.sites.values_list("prefix", flat=True)),
    }


def _wake_worker(pack_id: int) -> None:
    """Ask for a pack to be built; a worker that does not hear it finds the row by itself."""
    try:
        celery.current_app.send_task(BUILD, (pack_id,))
    except (OperationalError, OSError) as error:
        log.info("The next round finds the evidence pack by itself: %s", error)


# Putting together


def build_due_packs(*, clock: Clock, contents_of: ContentsOf) -> int:
    """Work on the packs that are nobody's yet, for one round; return how many came to their end."""
    begun = clock()
    for pack in EvidencePack.objects.due(begun).filter(attempts__gte=MOST_ATTEMPTS):
        _close(pack, pack.claim, clock(), failure=_("It was tried several times and never ended."))
    due = EvidencePack.objects.due(begun).order_by("pk").values_list("pk", flat=True)
    number = 0
    for pk in list(due):
        if clock() - begun > ROUND:
            break
        number += build_pack(pack_id=pk, clock=clock, contents_of=contents_of)
    return number


def build_pack(
    *, pack_id: int, clock: Clock, contents_of: ContentsOf, round_lasts: timedelta | None = ROUND
) -> bool:
    """Work one round on a pack unless somebody else does; return whether it came to its end.

    Where something was removed from the records since its head, or one of its boards was judged, it
    is begun anew from what stands now, under a new head.

    Parameters
    ----------
    contents_of : callable
        Gives what goes into a pack.
    round_lasts : timedelta or None
        After which the pack is let go, to be taken up again; None works to the end.
    """
    token = secrets.token_urlsafe(16)
    pack = EvidencePack.objects.filter(pk=pack_id).first()
    if pack is None:
        return False
    progress, rows = _Progress(pack_id, token, clock, round_lasts), PackRows(pack)
    try:
        # Whoever has the folder open works on it, even where the claim has lapsed meanwhile.
        file = PackFile(work_folder(pack), pack.number, progress.beat)
    except InUse:
        return False
    with file:
        if not EvidencePack.objects.claim(pack_id, token, clock()):
            if EvidencePack.objects.filter(pk=pack_id, finished_at__isnull=False).exists():
                file.remove()
            return False
        try:
            _refuse_if_overtaken(rows)
            _write(file, contents_of(pack), progress)
            return _keep(rows, token, file, clock)
        except _Overtaken:
            file.remove()
        except (_RoundOver, DecodersBusy):
            file.save()
            EvidencePack.objects.held(pack_id, token).update(claimed_at=None)
            return False
        except FilesOutOfReach as error:
            log.info("The evidence pack is gone on with in the next round: %s", error)
            file.save()
            held = EvidencePack.objects.held(pack_id, token)
            held.update(claimed_at=None, attempts=pack.attempts)
            return False
        except _ClaimLost:
            return False
        except DoesNotFit:
            file.remove()
            EvidencePack.objects.held(pack_id, token).update(claimed_at=None, done=0)
            return False
        except OSError as error:
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            file.remove()
            failure = _("There is no room for it: make some, then ask for it again.")
            return _close(pack, token, clock(), failure=failure)
    if not _begin_anew(pack, token, clock()):
        return EvidencePack.objects.filter(pk=pack_id, finished_at__isnull=False).exists()
    return build_pack(
        pack_id=pack_id, clock=clock, contents_of=contents_of, round_lasts=round_lasts
    )


def _refuse_if_overtaken(rows: PackRows) -> None:
    """Raise _Overtaken if its boards were judged, or anything at all was removed, after the head.

    Whether what was removed was the pack's own nobody can tell any more once its rows are gone.
    """
    acts = [*REMOVED.values(), ERASED]
    later = TrailEntry.objects.filter(number__gt=rows.pack.head_id or 0)
    if later.filter(act__in=acts).exists() or rows.are_judged_since():
        raise _Overtaken


@transaction.atomic
def _begin_anew(pack: EvidencePack, token: str, now: datetime) -> bool:
    """Give a pack a new head and let it go; False if it is somebody else's, or was given up."""
    begun = TrailEntry.objects.filter(act=ANEW, about_type=PACK, about_id=str(pack.pk)).count()
    if begun >= MOST_ANEW:
        failure = _(
            "All the while records were being removed or boards of it judged: ask for it again "
            "when that is over."
        )
        _close(pack, token, now, failure=failure)
        return False
    pack.head = trail.record(
        actor="evidence pack", act=ANEW, about=pack, payload=question_content(pack), at=now
    )
    held = EvidencePack.objects.held(pack.pk, token)
    if not held.update(head=pack.head, claimed_at=None, done=0, attempts=0):
        transaction.set_rollback(True)
        return False
    return True


def work_folder(pack: EvidencePack) -> Path:
    """Where a pack lies while it is put together, on this machine."""
    # By the head too: another database, restored beside the same folder, has rows of its own.
    head = pack.head.entry_hash[:16] if pack.head else ""
    return Path(settings.DATA_DIR) / WORK_FOLDER / f"{pack.pk}-{head}"


class _Progress:
    """Writes down how far a pack is, not too often, and keeps the claim fresh by it."""

    def __init__(
        self, pack_id: int, token: str, clock: Clock, round_lasts: timedelta | None
    ) -> None:
        self._held = EvidencePack.objects.held(pack_id, token)
        self._clock, self._begun, self._written_at = clock, clock(), clock()
        self._round_lasts = round_lasts
        self.done, self.total = 0, 0

    def beat(self) -> None:
        now = self._clock()
        if (now - self._written_at).total_seconds() >= SECONDS_BETWEEN:
            self.write(now)

    def write(self, now: datetime | None = None) -> None:
        now = now or self._clock()
        self._written_at = now
        total = max(self.total, self.done)
        if not self._held.update(claimed_at=now, done=self.done, total=total):
            raise _ClaimLost

    def file_written(self) -> None:
        """One more is there: whoever gets any further has not failed."""
        self.done += 1
        now = self._clock()
        if (now - self._written_at).total_seconds() >= SECONDS_BETWEEN:
            self._held.update(attempts=0)
            self.write(now)
        if self._round_lasts is not None and now - self._begun > self._round_lasts:
            self.write(now)
            self._held.update(attempts=0)
            raise _RoundOver


def _write(file: PackFile, contents: Contents, progress: _Progress) -> None:
    progress.done, progress.total = file.count, contents.expected()
    progress.write()
    for part in contents.parts(file.files):
        if file.passes(part.path, may_be_missing=part.may_be_missing):
            continue
        try:
            file.add(part.path, part.write, is_deflated=part.is_deflated)
        except NothingToWrite:
            if not part.may_be_missing:
                raise
        else:
            progress.file_written()


def _keep(rows: PackRows, token: str, file: PackFile, clock: Clock) -> bool:
    """Keep the finished pack and close the row, unless somebody else has it by now."""
    # Before the trail is locked too, so that the pack's boards are not looked up under the lock.
    _refuse_if_overtaken(rows)
    pack = rows.pack
    size, digest = file.finish()
    seal = next(each.sha256 for each in file.files() if each.path == TAG_MANIFEST)
    storage = pack.file.storage
    with open(file.path, "rb") as stream:
        path = storage.save(pack_path(pack, ""), File(stream))
    try:
        kept = _close(
            pack,
            token,
            clock(),
            rows,
            file=path,
            size_bytes=size,
            sha256=digest,
            seal=seal,
            done=file.count,
            total=file.count,
        )
    except BaseException:
        storage.delete(path)
        raise
    if kept:
        file.remove()
    else:
        storage.delete(path)
    return kept


@transaction.atomic
def _close(
    pack: EvidencePack, token: str, now: datetime, rows: PackRows | None = None, **results: Any
) -> bool:
    """Write the end of a pack and its entry in the trail; False if it is somebody else's.

    Parameters
    ----------
    rows : PackRows, optional
        Of a pack that is made.

    Raises
    ------
    _Overtaken
        If something was removed, or its boards were judged, while it was put together.
    """
    # Whoever removes something, or judges, ends in the trail: from here on nobody does unseen.
    trail.lock_trail()
    if rows is not None:
        _refuse_if_overtaken(rows)
    if not EvidencePack.objects.held(pack.pk, token).update(
        finished_at=now, claimed_at=None, **results
    ):
        return False
    failure = results.get("failure", "")
    trail.record(
        actor="evidence pack",
        act=NOT_MADE if failure else MADE,
        about=pack,
        payload={
            "number": pack.number,
            "failure": failure,
            "files": results.get("done", 0),
            "sha256": results.get("sha256", ""),
            "seal": results.get("seal", ""),
        },
        at=now,
    )
    return True


# Afterwards


def throw_away_old(now: datetime) -> int:
    """Delete the files of packs that were kept long enough; the rows stay. Return how many.

    With them goes what workers that died have left: folders of packs that this machine does not
    work on any more, and files that were stored a day ago and that no pack names.
    """
    number = throw_away(EvidencePack.objects.out_of_date(now))
    _remove_left_folders()
    _remove_left_files(now)
    return number


def throw_away(packs: Iterable[EvidencePack]) -> int:
    """Delete the files of these packs; return of how many."""
    number = 0
    for pack in packs:
        with transaction.atomic():
            gone = EvidencePack.objects.filter(pk=pack.pk, file=pack.file.name).update(file="")
            if gone:
                name = str(pack.file.name)
                transaction.on_commit(partial(pack.file.storage.delete, name))
                number += 1
    return number


def _remove_left_folders() -> None:
    top = Path(settings.DATA_DIR) / WORK_FOLDER
    # Before the packs: a folder is younger than its pack.
    folders = {path for path in top.iterdir() if path.is_dir()} if top.is_dir() else set()
    open_packs = EvidencePack.objects.filter(finished_at__isnull=True).select_related("head")
    for folder in folders - {work_folder(pack) for pack in open_packs}:
        try:
            PackFile(folder, "").remove()
        except InUse:
            log.info("A worker is still at %s.", folder.name)


def _remove_left_files(now: datetime) -> None:
    storage = EvidencePack._meta.get_field("file").storage
    try:
        folders, _files = storage.listdir(STORED_IN)
    except FileNotFoundError:
        return
    stored = [
        f"{STORED_IN}/{folder}/{file}"
        for folder in folders
        for file in storage.listdir(f"{STORED_IN}/{folder}")[1]
    ]
    named = set(EvidencePack.objects.exclude(file="").values_list("file", flat=True))
    for name in stored:
        if name not in named and now - storage.get_modified_time(name) > LEFT_AFTER:
            storage.delete(name)


def files_to_verify() -> Iterator[tuple[str, Any, str]]:
    """Every pack that is kept, for the check of the records' files."""
    for pack in EvidencePack.objects.exclude(file="").order_by("pk").iterator():
        opener = partial(pack.file.storage.open, str(pack.file.name), "rb")
        yield f"evidence pack {pack.number}", opener, pack.sha256


def copy_of(pack: EvidencePack, target: IO[bytes]) -> None:
    """Write a finished pack somewhere else."""
    with pack.file.open("rb") as file:
        shutil.copyfileobj(file, target, 1 << 20)
