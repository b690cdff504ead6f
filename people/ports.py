"""News that this app gives to the apps above it, and what it asks of them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from .models import Person


@dataclass(frozen=True)
class OpenMatter:
    """What somebody's last day ends by itself, or leaves for others to see to."""

    label: str
    items: tuple[str, ...]
    ends: bool = False


OpenMatters = Callable[[Person, date], Iterable[OpenMatter]]
PersonChanged = Callable[[Person], None]
PersonRecord = Callable[..., dict[str, Any]]

_listeners: list[PersonChanged] = []
_person_record: PersonRecord | None = None
_open_matters: list[OpenMatters] = []


def on_whereabouts_changed(listener: PersonChanged) -> PersonChanged:
    """Have ``listener(person)`` called when somebody moved, came, left or changed number.

    Registering the same function twice calls it once.
    """
    if listener not in _listeners:
        _listeners.append(listener)
    return listener


def whereabouts_changed(person: Person) -> None:
    """Tell whoever listens, in the current transaction; no standing rests on it."""
    for listener in _listeners:
        listener(person)


def register_person_record(provider: PersonRecord | None) -> PersonRecord | None:
    """Set who fills somebody's page with what they did in training; return who did before.

    ``provider(person, every_practice=...)`` returns names for the page's template.
    """
    global _person_record
    previous, _person_record = _person_record, provider
    return previous


def person_record(person: Person, *, every_practice: bool) -> dict[str, Any]:
    """What somebody did in training, for their page; empty where nobody keeps it."""
    if _person_record is None:
        return {}
    return _person_record(person, every_practice=every_practice)


def on_departure(provider: OpenMatters) -> OpenMatters:
    """Have ``provider(person, last_day)`` asked what a last day ends and leaves open.

    Registering the same function twice asks it once.
    """
    if provider not in _open_matters:
        _open_matters.append(provider)
    return provider


def open_matters(person: Person, last_day: date) -> list[OpenMatter]:
    """What the apps above know of it, those without any item left out."""
    matters = (matter for provider in _open_matters for matter in provider(person, last_day))
    return [matter for matter in matters if matter.items]
