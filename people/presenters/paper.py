"""What is set on paper by the site itself: PDFs whose letters come from named faces alone.

A word that no face here can print is never set as boxes: in its place stands a written-out
notice, and beside a name its number. What a page says of that before printing is read here too.
"""

import json
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any

import typst
from django.utils.translation import get_language, pgettext
from django.utils.translation import gettext as _

from people.queries import printing

PRELUDE = Path(__file__).parent / "print" / "paper.typ"
MOST_NAMED = 8


@dataclass(frozen=True, slots=True)
class NotPrinted:
    """What stands on paper as a notice, since no face here has its letters.

    Attributes
    ----------
    texts : tuple of str
        The first of them, as they would be read.
    more : int
        How many there are beyond those.
    """

    texts: tuple[str, ...]
    more: int
    scripts: str
    packages: str


def not_printed(texts: Iterable[str]) -> NotPrinted | None:
    """What of these texts cannot be printed here; None if everything can."""
    lacking = [text for text in dict.fromkeys(texts) if not printing.can_print(text)]
    if not lacking:
        return None
    scripts = tuple(dict.fromkeys(s for text in lacking for s in printing.scripts_lacking(text)))
    return NotPrinted(
        texts=tuple(lacking[:MOST_NAMED]),
        more=max(len(lacking) - MOST_NAMED, 0),
        scripts=", ".join(map(_named, scripts)),
        packages=", ".join(printing.packages_of(scripts)),
    )


def texts_in(data: Any) -> Iterable[str]:
    """Every text of nested lists and mappings."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for value in data.values():
            yield from texts_in(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from texts_in(value)


def is_printed(text: str) -> bool:
    return printing.can_print(text)


def name_or_notice(name: str) -> str:
    """A name as it is, or whole as a notice; its number is to stand beside it."""
    if printing.can_print(name):
        return isolated(name)
    return _("[name in %(scripts)s letters: no font here]") % {"scripts": _scripts_of(name)}


def name_on_its_own(name: str, number: str) -> str:
    """A name that stands without its number; with it where it cannot be printed itself."""
    if printing.can_print(name) or not number:
        return isolated(name)
    return f"{isolated(name)} ({number})"


def printable(text: str) -> str:
    """A text with each run of words that cannot be printed as a notice."""
    if printing.can_print(text):
        return unicodedata.normalize("NFC", text)
    parts: list[str] = []
    run: list[str] = []
    for word in text.split(" "):
        if printing.can_print(word):
            parts += [*_notice(run), word]
            run = []
        else:
            run.append(word)
    return " ".join(parts + _notice(run))


def _notice(words: list[str]) -> list[str]:
    if not words:
        return []
    return [_("[%(scripts)s letters: no font here]") % {"scripts": _scripts_of(" ".join(words))}]


def _scripts_of(text: str) -> str:
    return ", ".join(map(_named, printing.scripts_lacking(text)))


def _named(script: printing.Script | None) -> str:
    return str(script.name) if script else pgettext("letters", "other")


def isolated(text: str) -> str:
    """A text that is read from the right, closed in so that what stands around it stays in place.

    FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE of the Unicode Bidirectional Algorithm.
    """
    if any(unicodedata.bidirectional(character) in {"R", "AL"} for character in text):
        return f"\u2068{text}\u2069"
    return text


def on_paper(data: Any) -> Any:
    """Nested lists and mappings with every text as it can be printed."""
    if isinstance(data, str):
        return printable(data)
    if isinstance(data, dict):
        return {key: on_paper(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [on_paper(value) for value in data]
    return data


def typeset(
    source: Path, data: dict[str, Any], *, zone: str = "", folder: Path | None = None
) -> bytes:
    """Set a page description with its data as a tagged PDF (PDF/UA-1).

    Parameters
    ----------
    source
        Typst, after `paper.typ`; it reads the data as ``data``.
    data
        Texts, numbers, lists and mappings, said as `printable` says them.
    zone
        Time zone of the site, for Chinese characters that are written differently there.
    folder
        Where the pictures are that it names; none without.
    """
    faces = ", ".join(f'"{family}"' for family in printing.families(zone))
    content = {"language": (get_language() or "en")[:2], **data}
    main = f"#let faces = ({faces},)\n{PRELUDE.read_text('utf-8')}{source.read_text('utf-8')}"
    given: dict[str, Any] = {
        "font_paths": _fonts(tuple((str(at), _changed(at)) for at in printing.folders())),
        "ignore_system_fonts": True,
        "pdf_standards": ["ua-1"],
        "sys_inputs": {"data": json.dumps(on_paper(content))},
    }
    if folder is None:
        return typst.compile(main.encode(), **given)
    path = folder / "main.typ"
    path.write_text(main, "utf-8")
    return typst.compile(str(path), root=str(folder), **given)


def _changed(folder: Path) -> int:
    return folder.stat().st_mtime_ns if folder.is_dir() else 0


@lru_cache(maxsize=2)
def _fonts(folders: tuple[tuple[str, int], ...]) -> typst.Fonts:
    """The faces in these folders, looked through once until one of them changes."""
    return typst.Fonts(
        include_system_fonts=False, font_paths=[path for path, changed in folders if changed]
    )


def qr(text: str) -> str:
    """A QR code as an SVG picture, dark on white."""
    import segno  # Where no code is drawn, in most processes, it only delays the start.

    file = BytesIO()
    segno.make(text, error="m", micro=False).save(
        file, kind="svg", border=2, dark="#1d2124", light="#ffffff", xmldecl=False
    )
    return file.getvalue().decode()
