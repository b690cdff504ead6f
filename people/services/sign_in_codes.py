"""Codes printed for people whom no mail reaches, and what they lead to.

A code rests on who holds the paper: whoever reads it before its owner can choose the password in
their place. So the trail says who printed it and from where it was used, its owner reads both
among their own sign-ins, and finds it used. It opens nothing by itself and proves nothing.
"""

import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256

from django.db import transaction
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from people.domain import pins, printed_codes
from people.exceptions import PeopleError
from people.models import FormerEmployeeNumber, Person, SignInCode, User, WrongTries
from people.queries.reach import may_reset_sign_in
from people.queries.sign_in_codes import LetterLine, letter_lines
from records.services import trail

from .people import lock_people
from .sign_in_trail import record_bounded
from .sign_ins import new_sign_in
from .tries import count_try, forget_tries, letter_tries, unknown_login_tries

LASTS = timedelta(days=14)
LENGTH = 20  # letters and digits of 31: 99 bits
PIN_LENGTH = 6
MOST_AT_ONCE = 200

PRINTED = "sign-in code printed"
USED = "password chosen by a printed code"
PIN_USED = "PIN chosen after a printed one"
REFUSED = "printed code refused"


@dataclass(frozen=True)
class Draft:
    """What is printed for one person, before it is kept: as hashes, in the same instant."""

    person: Person
    code: str = field(repr=False)
    pin: str = field(repr=False)
    expires_at: datetime


def draft_codes(people: Sequence[Person], *, with_pins: bool, at: datetime) -> list[Draft]:
    """Codes that lead to nothing until `keep_codes` has kept them."""
    return [
        Draft(person, _code(), _first_pin(person) if with_pins else "", at + LASTS)
        for person in people
    ]


def _code() -> str:
    letters = "".join(secrets.choice(printed_codes.LETTERS) for _letter in range(LENGTH))
    return printed_codes.in_groups(letters)


def _first_pin(person: Person) -> str:
    while True:
        pin = f"{secrets.randbelow(10**PIN_LENGTH):0{PIN_LENGTH}d}"
        if pins.pin_fault(pin, (person.employee_number,)) is None:
            return pin


@transaction.atomic
def keep_codes(
    *, drafts: Sequence[Draft], seen: Collection[str], actor: User, proof: str, at: datetime
) -> None:
    """Have drafted codes lead to a password, all or none; those printed before are void.

    Whoever has no sign-in gets one without roles, and a one-time password ends. A password of
    their own stays until a code is used.

    Parameters
    ----------
    seen : collection of str
        `LetterLine.seen` of each as the page showed it.

    Raises
    ------
    PeopleError
        If somebody may not be given one, or was printed one since the page was shown.
    """
    ids = [draft.person.pk for draft in drafts]
    lock_people(ids)
    people = Person.objects.select_related("site").in_bulk(ids)
    locked = User.objects.select_for_update(of=("self",), no_key=True).filter(person__in=ids)
    list(locked.order_by("pk").values_list("pk", flat=True))
    lines = letter_lines([people[pk] for pk in ids], actor, at)
    refusals = [said for line in lines if (said := _refusal(line, seen))]
    if refusals:
        raise PeopleError(" ".join(refusals))
    users = [line.user or new_sign_in(person=line.person, actor=actor, at=at) for line in lines]
    by_person = dict(zip(ids, users, strict=True))
    SignInCode.objects.void(users, at)
    for user in users:
        if user.password_is_one_time:
            user.set_password(None)
            user.password_is_one_time = False
            user.save(update_fields=["password", "password_is_one_time"])
    SignInCode.objects.bulk_create(
        SignInCode(
            user=by_person[draft.person.pk],
            code_hash=_code_hash(draft.code),
            pin_hash=_pin_hash(by_person[draft.person.pk], draft.pin) if draft.pin else "",
            made_by=actor,
            expires_at=draft.expires_at,
            recorded_at=at,
        )
        for draft in drafts
    )
    renewed = [f"pin:{by_person[draft.person.pk].pk}" for draft in drafts if draft.pin]
    WrongTries.objects.filter(key__in=renewed).delete()
    trail.record_many(
        actor=actor,
        act=PRINTED,
        items=[
            (
                by_person[draft.person.pk],
                {
                    "person": people[draft.person.pk].employee_number,
                    "expires_at": draft.expires_at.isoformat(),
                    "first_pin": bool(draft.pin),
                    "from": actor.from_address,
                    "proof": proof,
                },
            )
            for draft in drafts
        ],
        at=at,
    )


def _refusal(line: LetterLine, seen: Collection[str]) -> str:
    if line.refusal or line.seen in seen:
        return line.refusal
    return _(
        "A code for %(name)s was printed by %(by)s since this page was shown. Show it again."
    ) % {"name": line.person.full_name, "by": line.code.made_by if line.code else ""}


def _code_hash(code: str) -> str:
    """Enough for what nobody can go through: a code has 99 bits."""
    return sha256(printed_codes.plain(code).encode()).hexdigest()


def _pin_hash(user: User, pin: str) -> str:
    """Keyed, since whoever read the table could go through a million."""
    return salted_hmac("people.first_pin", f"{user.pk}:{pin}", algorithm="sha256").hexdigest()


# Used


def code_for(*, number: str, code: str, address: str, at: datetime) -> SignInCode:
    """The code of a number and a code typed from paper, if it still leads to a password.

    Raises
    ------
    TriedTooOften
        If too many tries were wrong just now.
    PeopleError
        If they do not go together, or the code is used, void or over.
    """
    user = _user_with_number(number.strip())
    if user is not None:
        user.from_address = address
    tries = letter_tries(user) if user else unknown_login_tries(number, address)
    count_try(tries, at)
    codes = SignInCode.objects.select_related("user__person__site", "made_by__person")
    row = codes.filter(user=user, code_hash=_code_hash(code)).first() if user else None
    if user is None or row is None:
        record_bounded(REFUSED, user, address=address, at=at)
        raise PeopleError(_("Number and code do not go together. Read both off the letter again."))
    forget_tries(tries)
    _refuse_spent(row, at)
    return row


def _user_with_number(number: str) -> User | None:
    """Whose employee number it is, or was when the letter was printed."""
    users = User.objects.filter(person__isnull=False)
    former = FormerEmployeeNumber.objects.filter(employee_number__iexact=number)
    return (
        users.filter(employee_number__iexact=number).first()
        or users.filter(person__in=former.values("person")).first()
        if number
        else None
    )


def _refuse_spent(row: SignInCode, at: datetime) -> None:
    site = row.user.person.site if row.user.person else None
    ask = site.contact if site else ""
    whom = _("Whom to ask: %(contact)s.") % {"contact": ask} if ask else ""
    said = ""
    if not row.user.may_sign_in(at):
        said = _("This sign-in is closed. Ask an administrator of your site.")
    elif row.used_at is not None:
        said = _(
            "This code was used on %(instant)s, from %(address)s. If that was not you, tell an "
            "administrator of your site today: somebody else chose the password."
        ) % {"instant": _instant(row, row.used_at), "address": row.used_from or "–"}
    elif row.voided_at is not None:
        said = _("This code is void: a later letter or a password took its place.")
    elif row.expires_at <= at:
        said = _(
            "This code was good until %(instant)s. Ask an administrator of your site for "
            "another letter."
        ) % {"instant": _instant(row, row.expires_at)}
    elif not may_reset_sign_in(row.made_by, row.user):
        said = _(
            "Whoever printed this letter could not print it now. Ask an administrator of your "
            "site for another letter."
        )
    if said:
        raise PeopleError(f"{said} {whom}".strip())


def _instant(row: SignInCode, at: datetime) -> str:
    local = at.astimezone(row.user.person.site.zone) if row.user.person else at
    return f"{local:%Y-%m-%d %H:%M}"


@transaction.atomic
def choose_password(*, code: SignInCode, password: str, address: str, at: datetime) -> User:
    """Set the password of who holds a code, once; raise PeopleError if it was used meanwhile."""
    row = _lock(code)
    _refuse_spent(row, at)
    user = row.user
    user.set_password(password)
    user.password_is_one_time = False
    user.save(update_fields=["password", "password_is_one_time"])
    row.used_at, row.used_from = at, address[:64]
    row.save(update_fields=["used_at", "used_from"])
    payload = {"from": address, "printed_by": row.made_by.get_username()}
    trail.record(actor=user, act=USED, about=user, payload=payload, at=at)
    return user


def _lock(code: SignInCode) -> SignInCode:
    """The row as it is once its sign-in is ours; whoever prints another waits, or was first."""
    locked = User.objects.select_for_update(of=("self",), no_key=True)
    user = locked.select_related("person__site").get(pk=code.user_id)
    row = SignInCode.objects.select_related("made_by").get(pk=code.pk)
    row.user = user
    return row


# The first PIN


def first_pin_code(user: User, pin: str, at: datetime) -> SignInCode | None:
    """The code that a first PIN was printed with, if it still leads to choosing one."""
    codes = SignInCode.objects.standing(at).select_related("user")
    row = codes.filter(user=user, pin_used_at=None).first()
    return row if row is not None and is_first_pin(row, pin) else None


def is_first_pin(row: SignInCode, pin: str) -> bool:
    return constant_time_compare(row.pin_hash, _pin_hash(row.user, pin))


def lock_first_pin(code_id: int, at: datetime) -> SignInCode:
    """The same, locked and looked at once more; raise PeopleError if it leads nowhere any more."""
    code = SignInCode.objects.filter(pk=code_id).first()
    row = _lock(code) if code else None
    if (
        row is None
        or row.voided_at is not None
        or row.pin_used_at is not None
        or row.expires_at <= at
        or not row.user.may_sign_in(at)
        or not may_reset_sign_in(row.made_by, row.user)
    ):
        raise PeopleError(_("This first PIN no longer works. Ask for another letter."))
    return row
