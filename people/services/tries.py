"""Wrong tries, counted in the database for every process, and the waits that follow them.

A try is counted before it is looked at and forgotten once it was right: what is refused
afterwards, and rolled back, leaves the count as it is, and tries at once do not pass each other.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from people.domain import pins
from people.exceptions import TriedTooOften
from people.models import User, WrongTries

FORGOTTEN_AFTER = timedelta(hours=1)
MAX_ROWS = 5000  # of what strangers choose: the latest
FROM_ADDRESS = "from:"
UNKNOWN_LOGIN = "login:"


@dataclass(frozen=True)
class Counted:
    """What tries are counted under: how many are free, and how long a wait becomes at most."""

    key: str
    free: int = pins.FREE_FAILURES
    most_s: int = 300


def _hash(text: str) -> str:
    """Tells one address or login from another, and nobody which it is."""
    return salted_hmac("people.tries", text.casefold()).hexdigest()[:24]


def password_tries(user: User) -> list[Counted]:
    """What somebody's password is counted under: from one address, and from all together.

    Whoever tries it elsewhere stops its owner for a minute at most, after many tries.
    """
    return [
        Counted(f"{FROM_ADDRESS}{user.pk}:{_hash(user.from_address)}"[:40]),
        Counted(f"password:{user.pk}", free=20, most_s=60),
    ]


def code_tries(user: User) -> list[Counted]:
    """What codes beside somebody's password are counted under.

    Whoever gets as far knows the password, so its owner is held up sooner than strangers are let
    go on: 300 tries a day find one of three codes in a million once in three years.
    """
    return [
        Counted(f"{FROM_ADDRESS}code:{user.pk}:{_hash(user.from_address)}"[:40]),
        Counted(f"code:{user.pk}", free=10),
    ]


def letter_tries(user: User) -> list[Counted]:
    """What codes typed from a letter are counted under: apart from the password's."""
    return [
        Counted(f"{FROM_ADDRESS}letter:{user.pk}:{_hash(user.from_address)}"[:40]),
        Counted(f"letter:{user.pk}", free=20, most_s=60),
    ]


def unknown_login_tries(login: str, address: str) -> list[Counted]:
    """The same for a login that is nobody's, so that it waits like everybody's."""
    return [Counted(f"{UNKNOWN_LOGIN}{_hash(f'{login.strip()} {address}')}")]


def public_code_tries(address: str) -> list[Counted]:
    """What codes of certificates are counted under, on the page that is open to everybody.

    A plant behind one address reads many papers, and a code cannot be guessed, so ten are free.
    """
    return [Counted(f"{FROM_ADDRESS}paper:{_hash(address)}", free=10)]


def count_try(counted: Sequence[Counted], at: datetime) -> None:
    """Count a try as wrong until `forget_tries` says otherwise.

    Raises
    ------
    TriedTooOften
        If too many were wrong and the wait is not over; this try then does not count.
    """
    with transaction.atomic():
        rows = lock_rows([each.key for each in counted])
        refuse_while_waiting(rows.values(), at)
        for each in counted:
            row = rows[each.key]
            if row.wait_until is not None and row.wait_until + FORGOTTEN_AFTER < at:
                row.failures = 0
            row.failures += 1
            extra = each.free - pins.FREE_FAILURES
            wait_s = min(pins.wait_after_s(row.failures - extra), each.most_s)
            row.wait_until = at + timedelta(seconds=wait_s) if wait_s else None
            row.save(update_fields=["failures", "wait_until"])
    # By themselves, so that nobody holds a row and waits for another of the same kind.
    for prefix in (FROM_ADDRESS, UNKNOWN_LOGIN):
        if any(key.startswith(prefix) and row.failures == 1 for key, row in rows.items()):
            delete_oldest(prefix, MAX_ROWS)


def forget_tries(counted: Sequence[Counted]) -> None:
    """The try was right: what was wrong before it counts no more."""
    keys = [each.key for each in counted]
    with transaction.atomic():
        # In the order that a try takes them in, or each of two would wait for the other.
        locked = WrongTries.objects.select_for_update().filter(key__in=keys).order_by("key")
        ids = list(locked.values_list("pk", flat=True))
        WrongTries.objects.filter(pk__in=ids).update(failures=0, wait_until=None)


def take_back_try(counted: Sequence[Counted], at: datetime) -> None:
    """The try was right, and what was wrong before it counts all the same.

    For what strangers ask: whoever holds one right answer must not buy more wrong ones with it.
    """
    with transaction.atomic():
        for row in lock_rows([each.key for each in counted]).values():
            row.failures = max(row.failures - 1, 0)
            row.wait_until = at if row.failures else None
            row.save(update_fields=["failures", "wait_until"])


def lock_rows(keys: Collection[str]) -> dict[str, WrongTries]:
    """The counts by their keys, made where there are none, until the transaction ends."""
    rows: dict[str, WrongTries] = {}
    while len(rows) < len(set(keys)):  # Again where one was thrown away as old in between.
        WrongTries.objects.bulk_create([WrongTries(key=key) for key in keys], ignore_conflicts=True)
        locked = WrongTries.objects.select_for_update().filter(key__in=keys).order_by("key")
        rows = {row.key: row for row in locked}
    return rows


def refuse_while_waiting(rows: Iterable[WrongTries], at: datetime) -> None:
    until = max((row.wait_until for row in rows if row.wait_until), default=None)
    if until is not None and until > at:
        raise TriedTooOften(wait_message(until - at))


def delete_oldest(prefix: str, most: int) -> None:
    """Keep the latest rows of a kind."""
    rows = WrongTries.objects.filter(key__startswith=prefix).order_by("-pk")
    for oldest in rows.values_list("pk", flat=True)[most : most + 1]:
        WrongTries.objects.filter(key__startswith=prefix, pk__lte=oldest).delete()


def wait_message(wait: timedelta) -> str:
    seconds = int(wait.total_seconds()) + 1
    if seconds < 100:
        return _("Too many wrong tries. Wait %(n)d seconds, then try again.") % {"n": seconds}
    return _("Too many wrong tries. Wait %(n)d minutes, then try again.") % {"n": -(-seconds // 60)}
