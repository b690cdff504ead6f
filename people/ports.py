"""News that this app gives to the apps above it, and what it asks of them."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from .models import Person


@dataclass(frozen=True)
class OpenMatter:
    """What somebody's last day ends by itself, or leaves for others to see to."""

    label: str
    items: tuple[str, ...]
    ends: bool = False


@dataclass(frozen=True)
class DataTable:
    """Rows about one person, as a file of what is kept about them holds them.

    Attributes
    ----------
    name : str
        The file's name, without its ending.
    about : str
        What its rows are, in words.
    columns : mapping of str to (str, str)
        By its name, where a column is read from in ``rows`` and what it means.
    rows : QuerySet
        Read piece by piece, however many there are.
    is_result : bool
        Whether it tells how somebody did or stands: not for whoever keeps people alone.
    """

    name: str
    about: Any
    columns: Mapping[str, tuple[str, Any]]
    rows: QuerySet[Any]
    is_result: bool = False


@dataclass
class Erasure:
    """That somebody who has left is to be known by their number alone.

    Attributes
    ----------
    person : Person
        Their row, locked; it bears their number as name already.
    texts : frozenset of str
        Names and addresses that are taken out of what was signed and written down of them, those
        that `on_names` found among them.
    reason : str
    at : datetime
    """

    person: Person
    texts: frozenset[str]
    reason: str
    at: datetime


Names = Callable[[Person], Iterable[str]]
Erased = Callable[[Erasure], None]
PersonalData = Callable[[Person], Iterable[DataTable]]
OpenMatters = Callable[[Person, date], Iterable[OpenMatter]]
PersonChanged = Callable[[Person], None]
PersonRecord = Callable[..., dict[str, Any]]

_listeners: list[PersonChanged] = []
_person_record: PersonRecord | None = None
_open_matters: list[OpenMatters] = []
_returns: list[OpenMatters] = []
_personal_data: list[PersonalData] = []
_names: list[Names] = []
_erased: list[Erased] = []


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


def on_return(provider: OpenMatters) -> OpenMatters:
    """Have ``provider(person, day)`` asked how somebody who had left stands on being back.

    Registering the same function twice asks it once.
    """
    if provider not in _returns:
        _returns.append(provider)
    return provider


def matters_on_return(person: Person, day: date) -> list[OpenMatter]:
    """What the apps above know of it, those without any item left out."""
    matters = (matter for provider in _returns for matter in provider(person, day))
    return [matter for matter in matters if matter.items]


def on_personal_data(provider: PersonalData) -> PersonalData:
    """Have ``provider(person)`` asked what an app keeps about somebody.

    Registering the same function twice asks it once.
    """
    if provider not in _personal_data:
        _personal_data.append(provider)
    return provider


def personal_data(person: Person) -> list[DataTable]:
    """What every app keeps about somebody, this one and those above."""
    return [table for provider in _personal_data for table in provider(person)]


def on_names(provider: Names) -> Names:
    """Have ``provider(person)`` asked under which names an app's tables know somebody.

    Registering the same function twice asks it once.
    """
    if provider not in _names:
        _names.append(provider)
    return provider


def names(person: Person) -> set[str]:
    """Under which names the apps above know somebody."""
    return {name for provider in _names for name in provider(person)}


def on_erasure(listener: Erased) -> Erased:
    """Have an app take somebody's name and addresses out of its tables, in the transaction."""
    if listener not in _erased:
        _erased.append(listener)
    return listener


def erase(erasure: Erasure) -> None:
    for listener in _erased:
        listener(erasure)
