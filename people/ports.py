"""News that this app gives to the apps above it, and what it asks of them."""

from collections.abc import Callable
from typing import Any

from .models import Person

PersonChanged = Callable[[Person], None]
PersonRecord = Callable[..., dict[str, Any]]

_listeners: list[PersonChanged] = []
_person_record: PersonRecord | None = None


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
