"""Pictures that questions ask about: a drawing without what gives the answer, or a photograph.

A drawing of a criterion says by its corner and by a ring what is right about it. On a paper that is
what is asked, so it is taken out before anything leaves the site.
"""

import re

from django.utils.html import format_html
from django.utils.safestring import SafeString

from assessments.models import Question
from assessments.services.photos import open_rendition
from people.presenters import drawings

from .criterion_drawings import file_of

TELLING = re.compile(
    r'<(\w+)\b[^>]*\bclass="d-(?:accept|reject|fault)"[^>]*?(?:/>|>.*?</\1>)', re.S
)
WHOLE = re.compile(r"<svg\b[^>]*>(.*)</svg>", re.S)
NAMED = re.compile(r"<title>.*?</title>", re.S)
BOX = "0 0 160 120"


def picture(question: Question, photo_url: str) -> SafeString:
    """The picture of a question as a page shows it; empty where it has none.

    It is called as the question says, since a drawing's own name would tell what it shows.
    """
    says = question.picture_says
    if question.photo is not None:
        return format_html(
            '<img src="{}" alt="{}" width="{}" height="{}">',
            photo_url,
            says,
            question.photo.upright_width,
            question.photo.upright_height,
        )
    own = drawings.find(question.drawing, says, decorative=False) if question.drawing else None
    if own is not None and own.startswith("<img"):
        return own
    file = file_of(question.drawing) if question.drawing else None
    if file is None:
        return SafeString("")
    # The files are the project's own and hold no text that came from a person.
    return format_html(
        '<svg class="drawing" viewBox="{}" role="img" aria-label="{}">{}</svg>',
        BOX,
        says,
        SafeString(_untold(file[1])),
    )


def _untold(svg: bytes) -> str:
    """What is inside a drawing, without its name and without what gives the answer."""
    whole = WHOLE.search(svg.decode())
    return TELLING.sub("", NAMED.sub("", whole[1] if whole else ""))


def picture_file(question: Question, size: int) -> tuple[str, bytes] | None:
    """The same as a file for paper: its ending and its bytes; None where there is none.

    Raises
    ------
    NotAPhotograph, OSError
        If the photograph can no longer be read.
    """
    if question.drawing:
        file = file_of(question.drawing)
        if file is None or file[0] != "svg":
            return file
        return "svg", (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{BOX}">{_untold(file[1])}</svg>'
        ).encode()
    if question.photo is not None:
        _rendition, opened = open_rendition(question.photo, size)
        with opened:
            return "jpg", opened.read()
    return None
