"""Removing photographs' files, and boards with all that was judged of them.

Once a rule of the site says that they are kept no longer. What a certificate rests on is no
business of this app: whoever calls has left it out.
"""

from collections.abc import Collection
from datetime import datetime
from functools import partial
from typing import Any

from django.core.files.storage import Storage
from django.db import transaction
from django.db.models import QuerySet

from assessments.models import (
    Board,
    BoardCancellation,
    BoardOutcome,
    CannotTell,
    DestructiveCheck,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Photo,
    PurposeCorrection,
    ReadingRequest,
    Rendition,
    Rework,
    StageSigning,
    ToolWorkDecision,
    UndoStep,
)
from assessments.queries.removed_files import PHOTOGRAPH
from records.domain.kinds import KIND_OF_MODEL
from records.models import Removal
from records.queries.removals import What
from records.services import removals
from records.services.trail import Actor

from .photo_lock import lock_photos

File = tuple[Storage, str]


def hold_boards(boards: QuerySet[Board]) -> None:
    """Lock boards, cancelled ones too, in one order, for whoever asks next whether they may go."""
    held = Board.objects.select_for_update(no_key=True).filter(pk__in=boards.values("pk"))
    list(held.order_by("pk").values_list("pk", flat=True))


@transaction.atomic
def remove_photo_files(
    *, photos: Collection[Photo], reason: str, actor: Actor, at: datetime
) -> int:
    """Remove originals and smaller sizes; each row stays, with its SHA-256. At most 500 at once.

    The files go once it is written down that they do; what a crash leaves of them then, the next
    run takes away (`delete_left_files`).
    """
    lock_photos([photo.pk for photo in photos])  # Before whoever makes smaller sizes of one.
    things = [(PHOTOGRAPH, str(photo.pk)) for photo in photos]
    removals.remove(things=things, what=What.FILE, reason=reason, actor=actor, at=at)
    keys = [photo.pk for photo in photos]
    _delete_files_once_written(keys)
    Rendition.objects.filter(photo__in=keys).delete()
    return len(keys)


def delete_left_files(since: datetime) -> int:
    """Delete originals that a crash left behind once it was written down that they go.

    Looks at what was removed since an instant; returns how many there were.
    """
    written = Removal.objects.filter(
        about_type=PHOTOGRAPH, what=What.FILE, entry__recorded_at__gte=since
    )
    numbers = [int(number) for number in written.values_list("about_id", flat=True)]
    left = 0
    for photo in Photo.every.filter(pk__in=numbers):
        if photo.original.storage.exists(str(photo.original.name)):
            photo.original.storage.delete(str(photo.original.name))
            left += 1
    return left


@transaction.atomic
def remove_board(*, board: Board, reason: str, actor: Actor, at: datetime) -> bool:
    """Remove a board with its joints, photographs, measurements and all that was judged of it.

    The trail says so of each thing that it spoke of; of each signature stays who signed, when,
    and the hash of what was signed. Photographs that a study or a question shows are not for
    this: whoever calls leaves such a board out. Returns whether it was still there.
    """
    locked = Board.objects.select_for_update().filter(pk=board.pk).first()
    if locked is None:
        return False
    photos = list(Photo.every.filter(board=locked).values_list("pk", flat=True))
    lock_photos(photos)
    parts = _parts_of(locked)
    things = [
        (kind, str(key))
        for rows in parts
        if (kind := KIND_OF_MODEL.get(rows.model.__name__))
        for key in rows.order_by("pk").values_list("pk", flat=True)
    ]
    for start in range(0, len(things), removals.MOST_AT_ONCE):
        batch = things[start : start + removals.MOST_AT_ONCE]
        removals.remove(things=batch, reason=reason, actor=actor, at=at)
    _delete_files_once_written(photos)
    for rows in parts:
        rows._raw_delete(rows.db)
    return True


def _parts_of(board: Board) -> list[QuerySet[Any]]:
    """Every row of a board, each table before those that it names."""
    gradings = Grading.objects.filter(board=board)
    photos = Photo.every.filter(board=board)
    joints = Joint.objects.filter(board=board)
    return [
        UndoStep.objects.filter(grading__in=gradings),
        CannotTell.objects.filter(grading__in=gradings),
        Judgement.objects.filter(grading__in=gradings),
        StageSigning.objects.filter(grading__in=gradings),
        ReadingRequest.objects.filter(board=board),
        gradings,
        Measurement.objects.filter(photo__in=photos),
        Rendition.objects.filter(photo__in=photos),
        photos,
        Rework.objects.filter(joint__in=joints),
        joints,
        BoardCancellation.objects.filter(board=board),
        PurposeCorrection.objects.filter(board=board),
        ToolWorkDecision.objects.filter(board=board),
        DestructiveCheck.objects.filter(board=board),
        BoardOutcome.objects.filter(board=board),
        Board.tools.through.objects.filter(board=board),
        Board.objects.filter(pk=board.pk),
    ]


def _delete_files_once_written(photo_keys: Collection[int]) -> None:
    """Have all files of photographs deleted when the transaction has ended well."""
    photos = Photo.every.filter(pk__in=photo_keys)
    originals = [photo.original for photo in photos]
    smaller = [rendition.file for rendition in Rendition.objects.filter(photo__in=photo_keys)]
    files = [(file.storage, str(file.name)) for file in [*originals, *smaller]]
    transaction.on_commit(partial(_delete, files))


def _delete(files: Collection[File]) -> None:
    for storage, name in files:
        storage.delete(name)
