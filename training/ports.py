"""News that this app gives to the apps above it, and what it asks of them.

Standing rests on facts that are written down here: vision tests and practice. Whoever
works standing out registers a function at start, and it is called in the transaction that
writes such a fact. With nobody listening nothing may be written, since what stands in the
register would then silently stop being true.

Work is done within scopes, which this app does not know; whoever does registers their list.
"""

from collections.abc import Callable, Sequence

from django.utils.translation import gettext as _

from people.models import Person

from .exceptions import TrainingError

FactsChanged = Callable[[Person, str | None], None]


ScopeNames = Callable[[], Sequence[tuple[str, str]]]

_listeners: list[FactsChanged] = []
_scopes: ScopeNames | None = None


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
