"""Standing of many people and scopes at once, in a shape in which a million days can be looked up.

A *pair* is a person and a scope as one number; an *instant key* is a pair with a day, so that
keys sort by pair and then by day.
"""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

import numpy as np
import polars as pl

from certification.domain.standing import Rule, Span, Standing, Timeline

DAY_BITS = 22  # date.max.toordinal() is less than 2 ** 22
STANDINGS = tuple(standing.value for standing in Standing)
CODE_OF = {standing: code for code, standing in enumerate(Standing)}
CODE_OF_RULE = {rule: CODE_OF[rule.standing] for rule in Rule}
NEVER = CODE_OF[Standing.NEVER_CERTIFIED]
UNKNOWN = CODE_OF[Standing.UNKNOWN_PERSON]


def keys_for(pairs: np.ndarray, days: np.ndarray) -> np.ndarray:
    """Keys of pairs and days, the days as ordinals of the proleptic Gregorian calendar."""
    return (pairs.astype(np.int64) << DAY_BITS) | days.astype(np.int64)


@dataclass
class Spans:
    """From which day on a pair stands how, and by which certificate.

    Attributes
    ----------
    keys : ndarray of int64, shape (N,)
        The pair and the first day of each span, in order.
    standings : ndarray of uint8, shape (N,)
        Places in `STANDINGS`.
    certificates : polars.Series of str, length N
        Numbers; empty where there is none.
    """

    keys: np.ndarray
    standings: np.ndarray
    certificates: pl.Series

    def look_up(self, keys: np.ndarray) -> np.ndarray:
        """The span that each key lies in; -1 before the first of its pair."""
        if not len(self.keys):
            return np.full(len(keys), -1)
        spans = np.searchsorted(self.keys, keys, side="right") - 1
        other = (self.keys[spans] >> DAY_BITS) != (keys >> DAY_BITS)
        spans[other | (spans < 0)] = -1
        return spans


@dataclass
class SpansBuilder:
    """Gathers spans pair by pair."""

    keys: array = field(default_factory=lambda: array("q"))
    standings: bytearray = field(default_factory=bytearray)
    certificates: list[str] = field(default_factory=list)

    def add(self, pair: int, timeline: Timeline) -> None:
        """Add all spans of a pair."""
        above = pair << DAY_BITS
        for day, rule, number in timeline.changes():
            self.keys.append(above | day.toordinal())
            self.standings.append(CODE_OF_RULE[rule])
            self.certificates.append(number)

    def add_day(self, pair: int, day: date, span: Span) -> None:
        """Add the answer for a single day, good for that day alone."""
        self.keys.append(pair << DAY_BITS | day.toordinal())
        self.standings.append(CODE_OF[span.standing])
        self.certificates.append(span.certificate_number)

    def finish(self) -> Spans:
        keys = np.array(self.keys, dtype=np.int64)
        standings = np.frombuffer(bytes(self.standings), dtype=np.uint8)
        certificates = pl.Series(self.certificates, dtype=pl.String)
        if np.any(keys[1:] < keys[:-1]):
            order = np.argsort(keys, kind="stable")
            return Spans(keys[order], standings[order], certificates.gather(order))
        return Spans(keys, standings, certificates)


class LoggedDays:
    """The pairs and days that a log asks about.

    Parameters
    ----------
    keys : ndarray of int64, shape (N,)
        In any order, as often as they come.
    """

    def __init__(self, keys: np.ndarray) -> None:
        self._keys = keys

    @cached_property
    def pairs(self) -> np.ndarray:
        """Each pair once, in order."""
        return _distinct(self._keys >> DAY_BITS)

    def pairs_and_days(self) -> tuple[np.ndarray, np.ndarray]:
        """Each pair with each of its days once, in order; the days as ordinals."""
        keys = _distinct(self._keys)
        return keys >> DAY_BITS, keys & ((1 << DAY_BITS) - 1)

    def days_by_pair(self) -> "DaysByPair":
        return DaysByPair(*self.pairs_and_days())


def _distinct(numbers: np.ndarray) -> np.ndarray:
    return pl.Series(numbers).unique().sort().to_numpy()


class DaysByPair:
    """The days of each pair of a log."""

    def __init__(self, pairs: np.ndarray, days: np.ndarray) -> None:
        self._days = days
        self._pairs = _distinct(pairs)
        self._starts = np.searchsorted(pairs, self._pairs)

    def __getitem__(self, pair: int) -> Sequence[date]:
        index = int(np.searchsorted(self._pairs, pair))
        if index == len(self._pairs) or self._pairs[index] != pair:
            return []
        start = self._starts[index]
        end = self._starts[index + 1] if index + 1 < len(self._starts) else len(self._days)
        return [date.fromordinal(int(day)) for day in self._days[start:end]]
