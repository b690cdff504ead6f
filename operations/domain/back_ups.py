"""What back-ups are called, and which of them are kept."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

NAME = re.compile(r"jointworthy-(\d{8}T\d{6}Z)\.backup")
FORMAT = "%Y%m%dT%H%M%SZ"


@dataclass(frozen=True, slots=True)
class Policy:
    """Of how many days, weeks and months the last back-up is kept; of 0 none is for that."""

    days: int
    weeks: int
    months: int


def name_of(at: datetime) -> str:
    """The name of a back-up that is begun at an instant.

    Examples
    --------
    >>> name_of(datetime(2026, 11, 30, 1, 40, tzinfo=UTC))
    'jointworthy-20261130T014000Z.backup'
    """
    return f"jointworthy-{at.astimezone(UTC).strftime(FORMAT)}.backup"


def instant_of(name: str) -> datetime | None:
    """When the back-up of a name was begun; None for any other name.

    Examples
    --------
    >>> instant_of("jointworthy-20261130T014000Z.backup")
    datetime.datetime(2026, 11, 30, 1, 40, tzinfo=datetime.timezone.utc)
    >>> instant_of("before-the-move.backup") is None
    True
    """
    match = NAME.fullmatch(name)
    if match is None:
        return None
    try:
        return datetime.strptime(match[1], FORMAT).replace(tzinfo=UTC)
    except ValueError:
        return None


def kept(instants: Iterable[datetime], policy: Policy) -> set[datetime]:
    """Which back-ups are kept: the last one of each of the last days, weeks and months.

    Counted are days, weeks (from Monday) and months, in UTC, of which there is a back-up, and not
    those that have gone by: where none has been made for a year, none is thrown away for its age.
    The newest of all is always kept.

    Parameters
    ----------
    instants : iterable of datetime
        When each was made, aware.
    policy : Policy

    Examples
    --------
    >>> made = [datetime(2026, 11, day, 2, tzinfo=UTC) for day in range(1, 31)]
    >>> sorted(at.day for at in kept(made, Policy(days=3, weeks=2, months=1)))
    [28, 29, 30]
    >>> sorted(at.day for at in kept(made, Policy(days=2, weeks=4, months=1)))
    [15, 22, 29, 30]
    """
    newest_first = sorted((at.astimezone(UTC) for at in instants), reverse=True)
    stays = set(newest_first[:1])
    periods: list[tuple[int, Callable[[datetime], tuple[int, ...]]]] = [
        (policy.days, lambda at: (at.year, at.month, at.day)),
        (policy.weeks, lambda at: at.isocalendar()[:2]),
        (policy.months, lambda at: (at.year, at.month)),
    ]
    for count, period_of in periods:
        last: dict[tuple[int, ...], datetime] = {}
        for at in newest_first:
            last.setdefault(period_of(at), at)
        stays.update(list(last.values())[:count])
    return stays
