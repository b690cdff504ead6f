"""Drawings by their names: those that come along as files, and those that an app keeps or makes."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

Shown = Callable[[str, str, bool], SafeString | None]
"""Given a name, a label (or empty) and whether it only decorates: the element, or None."""
Titled = Callable[[str], str]
"""Given a name: what the drawing shows, in words; empty where there is no such drawing."""

_shown: dict[str, Shown] = {}
_titled: dict[str, Titled] = {}


@dataclass(frozen=True, slots=True)
class DrawingFile:
    """A drawing that comes along: its frame, what it shows in English, and its lines."""

    box: str
    label: str
    content: SafeString


def register(prefix: str, shown: Shown, titled: Titled | None = None) -> None:
    """Say how drawings are shown whose names begin so; done when the site starts."""
    _shown[prefix] = shown
    if titled is not None:
        _titled[prefix] = titled


def find(name: str, label: str, *, decorative: bool) -> SafeString | None:
    """The element for a name that an app has registered for; None for any other."""
    for prefix, shown in _shown.items():
        if name.startswith(prefix):
            return shown(name, label, decorative)
    return None


def title_of(name: str) -> str:
    """What a drawing shows, in words; empty where there is no such drawing."""
    for prefix, titled in _titled.items():
        if name.startswith(prefix):
            return titled(name)
    file = file_named(name)
    return _(file.label) if file else ""


def file_named(name: str) -> DrawingFile | None:
    """The drawing of that name that comes along."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]*", name):
        return None
    path = finders.find(f"img/drawings/{name}.svg")
    if not path:
        return None
    return _read(str(path), Path(str(path)).stat().st_mtime_ns)


@lru_cache(maxsize=256)
def _read(path: str, changed_ns: int) -> DrawingFile | None:
    text = Path(path).read_text(encoding="utf-8")
    svg = re.search(r"<svg\b([^>]*)>(.*)</svg>", text, re.DOTALL)
    if svg is None:
        return None
    attributes = dict(re.findall(r'([\w:-]+)="([^"]*)"', svg[1]))
    title = re.search(r"<title>(.*?)</title>", svg[2], re.DOTALL)
    label = attributes.get("aria-label") or (title[1] if title else Path(path).stem)
    # The files are the project's own and hold no text that came from a person.
    content = SafeString(re.sub(r"<title>.*?</title>", "", svg[2], flags=re.DOTALL))
    return DrawingFile(attributes.get("viewBox", "0 0 160 120"), label, content)
