"""Drawings of the organisation's own, for its criteria and its exercises."""

import hashlib
from datetime import datetime
from typing import IO

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.exceptions import NotADrawing
from assessments.imaging import drawings
from assessments.models import CriterionDrawing
from assessments.queries import written_down
from people.models import User
from records.services import trail


def add_drawing(*, file: IO[bytes], title: str, actor: User, at: datetime) -> CriterionDrawing:
    """Keep a drawing, made anew from what is allowed; the same one again is the one there is.

    Have no transaction open: a picture may wait for its turn to be decoded.

    Raises
    ------
    NotADrawing
        If the file is neither an SVG nor a picture that can be shown safely.
    DecodersBusy
        If too many pictures wait to be decoded.
    """
    data = file.read(drawings.MOST_PICTURE_BYTES + 1)
    return keep_drawing(prepared_drawing(data, title), title=title, actor=actor, at=at)


def prepared_drawing(data: bytes, title: str) -> tuple[str, bytes]:
    """The kind and the bytes that are kept of a file; raise NotADrawing for anything else."""
    if not data:
        raise NotADrawing(_("The file is empty. Choose the drawing again."))
    kept = CriterionDrawing.objects.filter(sha256=hashlib.sha256(data).hexdigest()).first()
    if kept is not None:
        # A JPEG made anew from one that was made here would be another picture each time.
        return kept.kind, data
    kind = drawings.picture_kind(data)
    if kind:
        return kind, drawings.plain_picture(data)
    return CriterionDrawing.Kind.SVG, drawings.clean_svg(data, title)


@transaction.atomic
def keep_drawing(
    prepared: tuple[str, bytes], *, title: str, actor: User, at: datetime
) -> CriterionDrawing:
    """Write down a drawing that was prepared."""
    kind, data = prepared
    sha256 = hashlib.sha256(data).hexdigest()
    # Whoever takes in a file has written to the trail before its drawings come: one who added the
    # same drawing first and came to the trail after would wait for it, and it for them.
    trail.lock_trail()
    known = CriterionDrawing.objects.filter(sha256=sha256).first()
    if known is not None:
        return known
    drawing = CriterionDrawing.objects.create(
        sha256=sha256, kind=kind, title=title, data=data, added_by=actor, recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.DRAWN,
        about=drawing,
        payload=written_down.drawing_content(drawing),
        at=at,
    )
    return drawing
