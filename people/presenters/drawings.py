"""Drawings that are no file of the project: each app says how those of its names are shown."""

from collections.abc import Callable

from django.utils.safestring import SafeString

Shown = Callable[[str, str, bool], SafeString | None]
"""Given a name, a label (or empty) and whether it only decorates: the element, or None."""

_shown: dict[str, Shown] = {}


def register(prefix: str, shown: Shown) -> None:
    """Say how drawings are shown whose names begin so; done when the site starts."""
    _shown[prefix] = shown


def find(name: str, label: str, *, decorative: bool) -> SafeString | None:
    """The element for a name that an app has registered for; None for any other."""
    for prefix, shown in _shown.items():
        if name.startswith(prefix):
            return shown(name, label, decorative)
    return None
