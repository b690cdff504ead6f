"""Which letters the faces on this machine can print, and of what they can not.

Faces are named ones, looked for by file in `FONT_FOLDERS`; whatever else a machine has is not
used, so that paper looks alike wherever it is made.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils.translation import gettext_lazy as _
from fontTools.ttLib import TTFont, TTLibError

from people.content import embedded_face

LATIN_CORE = "fonts-noto-core"
CJK = "fonts-noto-cjk"
WEIGHTS = ("Regular", "Bold")


@dataclass(frozen=True, slots=True)
class Face:
    """A family of type: its files, with ``{}`` for the weight, and Debian's package of them."""

    family: str
    file: str
    package: str


# In the order in which a letter is looked for; the embedded face goes before them.
FACES = (
    Face("Noto Serif", "NotoSerif-{}.ttf", LATIN_CORE),
    Face("Noto Naskh Arabic", "NotoNaskhArabic-{}.ttf", LATIN_CORE),
    Face("Noto Serif Hebrew", "NotoSerifHebrew-{}.ttf", LATIN_CORE),
    Face("Noto Serif Thai", "NotoSerifThai-{}.ttf", LATIN_CORE),
    Face("Noto Serif Devanagari", "NotoSerifDevanagari-{}.ttf", LATIN_CORE),
    Face("Noto Serif CJK SC", "NotoSerifCJK-{}.ttc", CJK),
)
# Where one character is written in several ways, it is written as at the site.
HAN_BY_ZONE = {
    "Asia/Tokyo": "Noto Serif CJK JP",
    "Asia/Seoul": "Noto Serif CJK KR",
    "Asia/Taipei": "Noto Serif CJK TC",
    "Asia/Hong_Kong": "Noto Serif CJK HK",
    "Asia/Macau": "Noto Serif CJK HK",
}


@dataclass(frozen=True, slots=True)
class Script:
    """A way of writing names: words in it that are tried, and the package that brings it.

    `prefixes` are how Unicode begins the names of its letters.
    """

    name: Any
    prefixes: tuple[str, ...]
    sample: str
    package: str


SCRIPTS = (
    Script(_("Latin"), ("LATIN",), "Zoë Łukasiewicz Ðorđe Åse Şahin", LATIN_CORE),
    Script(_("Greek"), ("GREEK",), "Ελένη Παπαδοπούλου", LATIN_CORE),
    Script(_("Cyrillic"), ("CYRILLIC",), "Дмитро Ґудзь Қасымов Ђорђе", LATIN_CORE),
    Script(_("Vietnamese"), (), "Nguyễn Thị Ánh Đỗ Hữu Phước", LATIN_CORE),
    Script(
        _("Chinese, Japanese, Korean"),
        ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "IDEOGRAPHIC", "FULLWIDTH", "BOPOMOFO"),
        "王小明 山田たろう ヤマダ 김민수",
        CJK,
    ),
    Script(_("Thai"), ("THAI",), "สมชาย ใจดี", LATIN_CORE),
    Script(_("Arabic"), ("ARABIC",), "محمد علی‌زاده", LATIN_CORE),
    Script(_("Hebrew"), ("HEBREW",), "משה כהן", LATIN_CORE),
    Script(_("Devanagari"), ("DEVANAGARI",), "प्रिया शर्मा", LATIN_CORE),
)


@dataclass(frozen=True, slots=True)
class Coverage:
    """Which scripts can be printed here, and what to install for those that can not."""

    printed: tuple[Script, ...]
    missing: tuple[Script, ...]

    @property
    def packages(self) -> tuple[str, ...]:
        return packages_of(self.missing)


def coverage() -> Coverage:
    """Try every script that names are to be printed in."""
    printed = tuple(script for script in SCRIPTS if can_print(script.sample))
    return Coverage(printed, tuple(script for script in SCRIPTS if script not in printed))


def can_print(text: str) -> bool:
    """Whether a face here has every letter of a text, each with its marks in one face."""
    return not any(True for _cluster in _lacking(text))


def scripts_lacking(text: str) -> tuple[Script | None, ...]:
    """The scripts of those letters that no face here has; None for one that is not listed."""
    return tuple(
        dict.fromkeys(_script_of(character) for cluster in _lacking(text) for character in cluster)
    )


def packages_of(scripts: Iterable[Script | None]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(script.package for script in scripts if script))


def families(zone: str = "") -> tuple[str, ...]:
    """The families in the order in which a letter is looked for, at a site in a time zone."""
    han = HAN_BY_ZONE.get(zone, FACES[-1].family)
    names = (embedded_face.NAME, *(face.family for face in FACES[:-1] if files_of(face)))
    return (*names, han) if files_of(FACES[-1]) else names


# Letters and their marks


def _lacking(text: str) -> Iterator[str]:
    embedded = embedded_letters()
    letters_by_face: dict[Face, frozenset[int]] = {}  # A large file is read only at need.
    for cluster in _clusters(unicodedata.normalize("NFC", text)):
        letters = {ord(character) for character in cluster}
        if letters <= embedded:
            continue
        for face in FACES:
            if face not in letters_by_face:
                letters_by_face[face] = letters_of(face)
            if letters <= letters_by_face[face]:
                break
        else:
            yield cluster


def _clusters(text: str) -> Iterator[str]:
    """Each letter with the marks that sit on it; what is never drawn is left out."""
    cluster = ""
    for character in text:
        category = unicodedata.category(character)
        if category == "Cf" or character in "\n\t" or _chooses_a_variant(character):
            continue
        if cluster and category[0] != "M":
            yield cluster
            cluster = ""
        cluster += character
    if cluster:
        yield cluster


def _chooses_a_variant(character: str) -> bool:
    return "\ufe00" <= character <= "\ufe0f" or "\U000e0100" <= character <= "\U000e01ef"


def _script_of(character: str) -> Script | None:
    name = unicodedata.name(character, "")
    return next((script for script in SCRIPTS if name.startswith(script.prefixes)), None)


@lru_cache(maxsize=1)
def embedded_letters() -> frozenset[int]:
    letters: set[int] = set()
    for first, last in re.findall(r"([0-9a-f]+)(?:-([0-9a-f]+))?", embedded_face.LETTERS):
        letters.update(range(int(first, 16), int(last or first, 16) + 1))
    return frozenset(letters)


# Files


def letters_of(face: Face) -> frozenset[int]:
    """The code points that both weights of a face draw; none if a file is missing."""
    return _letters_in_all(files_of(face))


def files_of(face: Face) -> tuple[tuple[Path, int], ...]:
    """A face's files with when each was last changed, all or none."""
    found = []
    for weight in WEIGHTS:
        name = face.file.format(weight)
        path = next((path for folder in folders() if (path := folder / name).is_file()), None)
        if path is None:
            return ()
        found.append((path, path.stat().st_mtime_ns))
    return tuple(found)


def folders() -> tuple[Path, ...]:
    return tuple(Path(folder) for folder in settings.FONT_FOLDERS)


@lru_cache(maxsize=32)
def _letters_in_all(files: tuple[tuple[Path, int], ...]) -> frozenset[int]:
    """What each of them draws; kept, for a large face has tens of thousands of letters."""
    if not files:
        return frozenset()
    return frozenset.intersection(*(_letters_in(path, changed) for path, changed in files))


@lru_cache(maxsize=32)
def _letters_in(path: Path, _changed: int) -> frozenset[int]:
    try:
        with TTFont(path, fontNumber=0, lazy=True) as font:
            return frozenset(font["cmap"].getBestCmap() or ())
    except (TTLibError, OSError, KeyError):
        return frozenset()
