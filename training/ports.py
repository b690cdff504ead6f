"""News that this app gives to the apps above it, and what it asks of them.

Standing rests on facts that are written down here: vision tests and practice. Whoever
works standing out registers a function at start, and it is called in the transaction that
writes such a fact. With nobody listening nothing may be written, since what stands in the
register would then silently stop being true.

Work is done within scopes, which this app does not know; whoever does registers their list,
when vision tests and practice end, and who is certified for what.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import DateField, Value
from django.utils.translation import gettext as _

from people.models import Person
from people.models.people import PersonQuerySet
from people.queries.site_days import Days

from .exceptions import TrainingError
from .models import ClassLetter, ToolOutOfService

FactsChanged = Callable[[Person, str | None], None]


@dataclass(frozen=True)
class Need:
    """What somebody needs a class for: a scope, the exercises asked for it, and until when.

    ``by`` is the last day of what they have; None where it is over already or never was.
    """

    scope_code: str
    title: str
    by: date | None
    exercise_codes: frozenset[str] = frozenset()


ScopeNames = Callable[[], Sequence[tuple[str, str]]]
OwnDrawings = Callable[[], Sequence[tuple[str, str]]]
WithVisionEnds = Callable[[PersonQuerySet, Days], PersonQuerySet]
PracticeEnds = Callable[[Collection[int], str, Days], dict[int, date]]
Certified = Callable[[Collection[int], Days], set[tuple[int, str]]]
Needs = Callable[[Person, date], Sequence[Need]]
SendToolNote = Callable[[ToolOutOfService], bool]
SendLetters = Callable[[Sequence[ClassLetter]], set[int]]
NotEntitled = Callable[[Collection[int], Collection[str], Sequence[date]], dict[int, date]]

_listeners: list[FactsChanged] = []
_scopes: ScopeNames | None = None
_own_drawings: OwnDrawings | None = None
_vision_ends: WithVisionEnds | None = None
_practice_ends: PracticeEnds | None = None
_certified: Certified | None = None
_not_entitled: NotEntitled | None = None
_needs: Needs | None = None
_send_class_letters: SendLetters | None = None
_send_tool_note: SendToolNote | None = None


def on_facts_changed(listener: FactsChanged) -> FactsChanged:
    """Have ``listener(person, scope_code)`` called when a fact about somebody was written.

    ``scope_code`` is None where the fact bears on every scope, as a vision test does.
    Registering the same function twice calls it once.
    """
    if listener not in _listeners:
        _listeners.append(listener)
    return listener


def facts_changed(person: Person, scope_code: str | None = None) -> None:
    """Tell whoever listens, in the current transaction.

    Raises
    ------
    TrainingError
        If nobody listens.
    """
    if not _listeners:
        raise TrainingError(
            _("Nothing here keeps the register up to date, so the fact was not written.")
        )
    for listener in _listeners:
        listener(person, scope_code)


def register_scopes(provider: ScopeNames | None) -> ScopeNames | None:
    """Set who lists the scopes as (code, title); return who did before."""
    global _scopes
    previous, _scopes = _scopes, provider
    return previous


def scopes() -> list[tuple[str, str]]:
    """Every scope as (code, title); empty where nobody knows them, so none can be chosen."""
    return list(_scopes()) if _scopes is not None else []


def register_own_drawings(provider: OwnDrawings | None) -> OwnDrawings | None:
    """Set who lists the organisation's own drawings as (name, title); return who did before."""
    global _own_drawings
    previous, _own_drawings = _own_drawings, provider
    return previous


def own_drawings() -> list[tuple[str, str]]:
    """Every drawing of the organisation's own as (name, title); none where nobody keeps any."""
    return list(_own_drawings()) if _own_drawings is not None else []


def register_vision_ends(provider: WithVisionEnds | None) -> WithVisionEnds | None:
    """Set who says when the vision test of each of many people ends; return who did before."""
    global _vision_ends
    previous, _vision_ends = _vision_ends, provider
    return previous


def with_vision_ends(people: PersonQuerySet, days: Days) -> PersonQuerySet:
    """People with the last good day of their vision test, and since when it is over where it is.

    They are ``vision_ends_on`` and ``vision_over_since``; None where no standing rests on it, or
    nobody knows.
    """
    if _vision_ends is None:
        unknown = Value(None, output_field=DateField(null=True))
        return people.annotate(vision_ends_on=unknown, vision_over_since=unknown)
    return _vision_ends(people, days)


def register_practice_ends(provider: PracticeEnds | None) -> PracticeEnds | None:
    """Set who says when a scope lapses for want of practice; return who did before."""
    global _practice_ends
    previous, _practice_ends = _practice_ends, provider
    return previous


def practice_ends(person_ids: Collection[int], scope_code: str, days: Days) -> dict[int, date]:
    """The last good day of those certified in a scope, if they do no more work in it."""
    return _practice_ends(person_ids, scope_code, days) if _practice_ends is not None else {}


def register_certified(provider: Certified | None) -> Certified | None:
    """Set who says which people are certified for what; return who did before."""
    global _certified
    previous, _certified = _certified, provider
    return previous


def certified(person_ids: Collection[int], days: Days) -> set[tuple[int, str]]:
    """Pairs of person and scope code that are certified on the day; none where nobody knows."""
    return _certified(person_ids, days) if _certified is not None else set()


def register_not_entitled(provider: NotEntitled | None) -> NotEntitled | None:
    """Set who says which instructors are not certified to teach; return who did before."""
    global _not_entitled
    previous, _not_entitled = _not_entitled, provider
    return previous


def not_entitled(
    person_ids: Collection[int], joint_types: Collection[str], days: Sequence[date]
) -> dict[int, date]:
    """Who is not certified to teach all of these joint types, each with the first such day.

    Nobody where no scheme in force certifies instructors, or nobody knows.
    """
    if _not_entitled is None:
        return {}
    return _not_entitled(person_ids, joint_types, days)


def register_needs(provider: Needs | None) -> Needs | None:
    """Set who says what somebody needs a class for; return who did before."""
    global _needs
    previous, _needs = _needs, provider
    return previous


def needs(person: Person, day: date) -> list[Need]:
    """What somebody needs next, the most urgent first; nothing where nobody knows."""
    return list(_needs(person, day)) if _needs is not None else []


def register_send_class_letters(provider: SendLetters | None) -> SendLetters | None:
    """Set who sends letters about classes by mail; return who did before."""
    global _send_class_letters
    previous, _send_class_letters = _send_class_letters, provider
    return previous


def send_class_letters(letters: Sequence[ClassLetter]) -> set[int]:
    """Have the letters of one act go out by mail, in the current transaction.

    Returns
    -------
    set of int
        The people whom a mail reaches, by their keys; all others get theirs on paper.
    """
    return _send_class_letters(letters) if _send_class_letters is not None else set()


def register_send_tool_note(provider: SendToolNote | None) -> SendToolNote | None:
    """Set who tells somebody by mail that a tool is out of service; return who did before."""
    global _send_tool_note
    previous, _send_tool_note = _send_tool_note, provider
    return previous


def send_tool_note(out: ToolOutOfService) -> bool:
    """Have whoever is told of a tool out of service told by mail; whether a mail reaches them."""
    return _send_tool_note is not None and _send_tool_note(out)
