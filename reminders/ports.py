"""News that this app gives to the app above it: that its work goes on."""

from collections.abc import Callable
from datetime import datetime

SweepDone = Callable[[datetime], None]
Clock = Callable[[], datetime]
SendingWatch = Callable[[Clock], Callable[[], None]]

_listeners: list[SweepDone] = []
_watch: SendingWatch | None = None


def on_sweep_done(listener: SweepDone) -> SweepDone:
    """Have ``listener(at)`` called when a sweep has ended.

    Registering the same function twice calls it once.
    """
    if listener not in _listeners:
        _listeners.append(listener)
    return listener


def sweep_done(at: datetime) -> None:
    """Tell whoever watches over background work."""
    for listener in _listeners:
        listener(at)


def register_sending_watch(watch: SendingWatch | None) -> SendingWatch | None:
    """Set who gives, for a clock, the function called again and again while messages are sent.

    Return who did before.
    """
    global _watch
    before, _watch = _watch, watch
    return before


def sending_watch(clock: Clock) -> Callable[[], None]:
    """The function to call while messages are sent; it does nothing where nobody watches."""
    return _watch(clock) if _watch is not None else lambda: None
