"""Photographs: taken in, put in their place, and the smaller sizes made from them."""

import hashlib
import logging
import random
import re
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import IO

import celery
from django.core.files.base import ContentFile, File
from django.db import IntegrityError, transaction
from django.db.models import Count, F, Max
from django.utils.translation import gettext as _

from assessments import imaging
from assessments.exceptions import (
    DecodersBusy,
    NotAPhotograph,
    PhotoAlreadyThere,
    PhotoIsEvidence,
    PhotoTakenBack,
    TakesNoPhotograph,
)
from assessments.models import Board, Joint, Photo, Rendition
from assessments.models.photos import original_path
from assessments.queries import photo_room, photo_use, written_down
from assessments.queries.removed_files import removed_file
from people.models import User
from records.services import trail

from .board_lock import lock_board
from .photo_lock import lock_photo, refuse_removed

log = logging.getLogger(__name__)

LONGEST_NAME = 200
CHUNK_BYTES = 1 << 16
CONTROL_CHARACTERS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
MAKE_RENDITIONS = "photographs.make_renditions"


def add_photo(
    *,
    board: Board,
    file: IO[bytes],
    name: str,
    actor: User,
    at: datetime,
    joint: Joint | None = None,
    stage: str = "",
    sending: str = "",
) -> Photo:
    """Keep a photograph as it came; make its smaller sizes in the background.

    The file is looked at to its end before anything is stored, and leaves the storage again
    if its row cannot be written, so that nothing stays half stored. A large one waits for its
    turn: have no transaction open.

    Parameters
    ----------
    sending : str, optional
        What the browser calls the act by which this comes with others; whoever sent them can take
        them back together.

    Raises
    ------
    NotAPhotograph
        If the file cannot be taken in.
    DecodersBusy
        If too many large ones wait already.
    PhotoAlreadyThere
        If the very same file is on this board.
    TakesNoPhotograph
        If the board is signed, it or the actor has had as many as may be, or what was sent with
        it was taken back.
    """
    name = plain_name(name)
    photo_room.refuse_if_no_room(board, actor, at)  # Once more when it is written.
    facts = imaging.inspect(file, name)
    digest = sha256_of(file)
    _refuse_if_there(board, digest, name)
    photo = Photo(
        board=board,
        joint=joint,
        stage=stage,
        original_name=name,
        media_type=facts.media_type,
        size_bytes=facts.size_bytes,
        sha256=digest,
        is_incomplete=facts.is_incomplete,
        upright_width=facts.width,
        upright_height=facts.height,
        added_by=actor,
        recorded_at=at,
        sending=sending,
    )
    storage = photo.original.storage
    photo.original = storage.save(original_path(photo, name), File(file))
    try:
        _write(photo, actor, at)
    except IntegrityError:
        storage.delete(photo.original.name)
        _refuse_if_there(board, digest, name)
        raise
    except BaseException:
        storage.delete(photo.original.name)
        raise
    return photo


@transaction.atomic
def _write(photo: Photo, actor: User, at: datetime) -> None:
    # Of two at once, by one person or on one board, the second counts the first.
    User.objects.select_for_update(no_key=True).get(pk=actor.pk)
    photo_room.refuse_if_no_room(lock_board(photo.board), actor, at)
    _refuse_if_sending_is_back(photo)
    last = Photo.every.filter(board=photo.board_id).aggregate(last=Max("order"))["last"]
    photo.order = (last or 0) + 1
    photo.save(force_insert=True)
    trail.record(
        actor=actor,
        act=written_down.ADDED,
        about=photo,
        payload=written_down.photo_content(photo),
        at=at,
    )
    transaction.on_commit(lambda: wake_a_worker(photo.pk), robust=True)


def _refuse_if_sending_is_back(photo: Photo) -> None:
    """Refuse what was still on its way when the rest of its sending was taken back."""
    back = Photo.every.filter(
        board=photo.board_id, sending=photo.sending, taken_back_at__isnull=False
    )
    if photo.sending and back.exists():
        raise TakesNoPhotograph(
            _(
                "What was sent with %(name)s was taken back, so it was not added. Choose it again"
                " if it belongs here."
            )
            % {"name": photo.original_name}
        )


def _refuse_if_there(board: Board, digest: str, name: str) -> None:
    known = board.photos.filter(sha256=digest).select_related("joint__position").first()
    if known is not None:
        raise PhotoAlreadyThere(already_there(name, known))


def already_there(name: str, known: Photo) -> str:
    return _("%(name)s is here already, %(place)s as %(known)s, so it was not added again.") % {
        "name": name,
        "place": place_in_words(known.joint),
        "known": known.original_name,
    }


def place_in_words(joint: Joint | None) -> str:
    if joint is None:
        return _("with the whole board")
    return _("at joint %(joint)s") % {"joint": joint}


def plain_name(name: str) -> str:
    """The last part of a file's name, without what could upset a screen or a header."""
    last = CONTROL_CHARACTERS.sub("", name).replace("\\", "/").rsplit("/", 1)[-1].strip()
    if len(last) > LONGEST_NAME:
        stem, dot, ending = last.rpartition(".")
        ending = dot + ending if dot and len(ending) <= 10 else ""
        last = (stem or last)[: LONGEST_NAME - len(ending)] + ending
    return last or _("photograph")


def sha256_of(file: IO[bytes]) -> str:
    file.seek(0)
    digest = hashlib.sha256()
    while chunk := file.read(CHUNK_BYTES):
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()


# Putting in place


@transaction.atomic
def place_photo(
    *, photo: Photo, joint: Joint | None, stage: str, note: str, actor: User, at: datetime
) -> bool:
    """Say what a photograph shows; return whether that changed anything.

    Raises
    ------
    PhotoIsEvidence
        If it would leave the joint or stage at which a signed judgement names it.
    PhotoTakenBack
        If whoever sent it took it back.
    CannotChangeBoard
        If its board was cancelled.
    """
    lock_board(photo.board)  # Whoever signs for the board holds it, and looks at its photographs.
    photo = lock_photo(photo, "board", "joint__position", "setup")
    before = written_down.placing_content(photo)
    moves = (photo.joint_id, photo.stage) != (joint.pk if joint else None, stage)
    if moves and is_evidence(photo):
        raise PhotoIsEvidence(
            _(
                "A signed judgement rests on %(name)s, so it stays %(place)s."
                " Add the photograph that belongs elsewhere as a new one."
            )
            % {"name": photo.original_name, "place": place_in_words(photo.joint)}
        )
    photo.joint, photo.stage, photo.note = joint, stage, note
    after = written_down.placing_content(photo)
    if before == after:
        return False
    photo.save(update_fields=["joint", "stage", "note"])
    trail.record(
        actor=actor,
        act="photograph placed" if moves else "photograph described",
        about=photo,
        payload={"board": photo.board.number, "before": before, "after": after},
        at=at,
    )
    return True


def is_evidence(photo: Photo) -> bool:
    return photo.judgements.filter(grading__signings__stage=F("stage")).exists()


@transaction.atomic
def move_photo(*, photo: Photo, earlier: bool, actor: User, at: datetime) -> bool:
    """Change places with the photograph before or after it at the same joint.

    Returns False where there is none, or the photograph was taken back or moved meanwhile.
    """
    row = list(
        Photo.objects.select_for_update(no_key=True)
        .filter(board=photo.board_id, joint=photo.joint_id)
        .order_by("order", "id")
    )
    here = next((index for index, other in enumerate(row) if other.pk == photo.pk), None)
    if here is None:
        return False
    there = here - 1 if earlier else here + 1
    if not 0 <= there < len(row):
        return False
    row[here], row[there] = row[there], row[here]
    # Two photographs that came in at one instant may share a number.
    first = min(other.order for other in row)
    for order, other in enumerate(row, start=first):
        if other.order != order:
            other.order = order
            other.save(update_fields=["order"])
    trail.record(
        actor=actor,
        act="photograph order changed",
        about=photo,
        payload={"board": photo.board.number, "order": [other.key for other in row]},
        at=at,
    )
    return True


# Taking back


@dataclass(frozen=True, slots=True)
class TakenBack:
    """What of a sending was taken back, and what stays because somebody has gone by it."""

    photos: list[Photo]
    stay: list[Photo]


@transaction.atomic
def take_back_sending(*, board: Board, sending: str, actor: User, at: datetime) -> TakenBack:
    """Take back what the actor sent to a board in one act; what somebody has gone by stays.

    The rows and files are kept, and the same files may be sent again.

    Raises
    ------
    CannotChangeBoard
        If the board is cancelled.
    PhotoTakenBack
        If every stage of the board is signed, or nothing of that sending is there.
    """
    locked = lock_board(board)
    if photo_room.why_closed(locked):
        raise PhotoTakenBack(
            _("Every stage of %(board)s is signed, so its photographs stay.")
            % {"board": locked.number}
        )
    rows = Photo.objects.select_for_update(no_key=True, of=("self",)).select_related("board")
    sent = list(rows.filter(board=locked, sending=sending, added_by=actor).order_by("pk"))
    if not sending or not sent:
        raise PhotoTakenBack(
            _("Nothing is left to take back of that. Open the board anew to see what is there.")
        )
    gone_by = photo_use.gone_by(locked, sent)
    taken = [photo for photo in sent if photo.pk not in gone_by]
    for photo in taken:
        photo.taken_back_at = at
        photo.save(update_fields=["taken_back_at"])
    trail.record_many(
        actor=actor,
        act=written_down.TAKEN_BACK,
        items=[(photo, written_down.taken_back_content(photo)) for photo in taken],
        at=at,
    )
    return TakenBack(taken, [photo for photo in sent if photo.pk in gone_by])


# Smaller sizes


def wake_a_worker(photo_id: int) -> None:
    """Ask a worker to make the smaller sizes; if none hears, the sweep finds the photograph."""
    celery.current_app.send_task(MAKE_RENDITIONS, args=[photo_id], ignore_result=True, retry=False)


def open_rendition(photo: Photo, size: int) -> tuple[Rendition, File]:
    """One smaller size and its file, made now if it is not there.

    Raises
    ------
    NotAPhotograph
        If the original can no longer be read, or is removed meanwhile.
    DecodersBusy
        If it is large and too many others wait to be decoded.
    """
    rendition = photo.renditions.filter(size=size).first()
    if rendition is not None:
        try:
            return rendition, rendition.file.open("rb")
        except FileNotFoundError:
            rendition.delete()
    made = next(_make(photo, [size]))
    return made, made.file.open("rb")


def make_renditions(photo: Photo) -> int:
    """Make the sizes a photograph does not have yet; return how many were made."""
    there = set(photo.renditions.values_list("size", flat=True))
    wanted = [size for size in Rendition.Size.values if size not in there]
    return len(list(_make(photo, wanted))) if wanted else 0


def make_missing_renditions(*, latest: int | None = None, within_s: float | None = None) -> int:
    """Make every size that is missing; return how many were made.

    A photograph whose original cannot be read is passed over and logged.

    Parameters
    ----------
    latest : int, optional
        Look only at so many of the photographs added last; at all of them by default.
    within_s : float, optional
        Begin no further photograph after so many seconds, and leave the others to the next
        sweep; go on to the end by default.
    """
    begun = time.monotonic()
    photos = Photo.objects.exclude(removed_file())
    if latest is not None:
        newest = photos.aggregate(newest=Max("pk"))["newest"] or 0
        photos = photos.filter(pk__gt=newest - latest)
    lacking = photos.alias(sizes=Count("renditions")).filter(sizes__lt=len(Rendition.Size))
    # In no order, so that two sweeps at once seldom meet at the same photograph.
    waiting = list(lacking.order_by().values_list("pk", flat=True))
    random.shuffle(waiting)
    made = 0
    for pk in waiting:
        if within_s is not None and time.monotonic() - begun >= within_s:
            break
        try:
            # One that is taken back meanwhile is there all the same.
            made += make_renditions(Photo.every.get(pk=pk))
        except (NotAPhotograph, DecodersBusy, OSError) as error:
            log.error("No smaller sizes of photograph %s: %s", pk, error)
    return made


def _make(photo: Photo, sizes: Iterable[int]) -> Iterator[Rendition]:
    with photo.original.open("rb") as original:
        for rendered in imaging.renditions(original, sizes):
            yield _keep(photo, rendered)


def _keep(photo: Photo, rendered: imaging.Rendered) -> Rendition:
    rendition = Rendition(
        photo=photo, size=rendered.size, width=rendered.width, height=rendered.height
    )
    rendition.file.save("", ContentFile(rendered.data), save=False)
    try:
        with transaction.atomic():
            refuse_removed(photo)
            rendition.save(force_insert=True)
    except BaseException as error:
        rendition.file.delete(save=False)
        if isinstance(error, IntegrityError):
            # Somebody else made it at the same moment; theirs is as good.
            return photo.renditions.get(size=rendered.size)
        raise
    return rendition


# Checking


def originals() -> Iterator[tuple[str, partial, str]]:
    """Every original with the hash it should have, for the verification of the records."""
    for photo in Photo.every.exclude(removed_file()).order_by("pk").iterator(chunk_size=1000):
        name = str(photo.original.name)
        opener = partial(photo.original.storage.open, name, "rb")
        yield f"photograph {photo.pk} ({name})", opener, photo.sha256
