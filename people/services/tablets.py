"""Shared tablets: declared and revoked; badge and PIN, set and tried; the password that unlocks."""

import secrets
from collections.abc import Callable
from datetime import datetime, timedelta
from hashlib import sha256

from django.contrib.auth.hashers import check_password, make_password
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.domain import pins
from people.domain.employee_numbers import meant_by
from people.exceptions import (
    PeopleError,
    PrintedPinGiven,
    ProofRefused,
    TabletRefused,
    TriedTooOften,
)
from people.models import (
    BadgePin,
    FormerEmployeeNumber,
    Person,
    SharedTablet,
    Site,
    User,
    WrongTries,
)
from records.services import trail

from . import sign_in_codes
from .proof import Given, is_own_password, prove_second_factor
from .tries import delete_oldest, lock_rows, refuse_while_waiting

UNKNOWN_BADGE_PREFIX = "badge:"
MAX_UNKNOWN_BADGES = 1000
FREE_BADGES_AT_A_TABLET = 10
OPENED = "tablet opened by badge and PIN"
FIRST_PIN_GIVEN = "printed PIN given at a tablet"

PIN_FAULT_MESSAGES = {
    pins.PinFault.LENGTH: gettext_lazy("A PIN is four to eight digits. Choose another."),
    pins.PinFault.REPEATED: gettext_lazy(
        "A PIN that repeats itself is guessed at once. Choose another."
    ),
    pins.PinFault.RUN: gettext_lazy(
        "A PIN that counts up or down is guessed at once. Choose another."
    ),
    pins.PinFault.YEAR: gettext_lazy("A year is guessed at once. Choose another PIN."),
    pins.PinFault.KNOWN: gettext_lazy(
        "Others read that off your number or badge. Choose another PIN."
    ),
}


# Tablets


@transaction.atomic
def declare_tablet(*, site: Site, name: str, actor: User, at: datetime) -> tuple[SharedTablet, str]:
    """Declare a browser a shared tablet; return it and the token, which is kept nowhere else.

    Raises
    ------
    PeopleError
        If the site has a shared tablet of that name.
    """
    token = secrets.token_urlsafe(32)
    try:
        with transaction.atomic():
            tablet = SharedTablet.objects.create(
                site=site,
                name=name,
                token_hash=hash_token(token),
                declared_by=actor,
                recorded_at=at,
            )
    except IntegrityError as error:
        raise PeopleError(
            _("%(site)s has a shared tablet %(name)s. Give another name, or end that one.")
            % {"site": site, "name": name}
        ) from error
    payload = {"name": name, "site": site.prefix}
    trail.record(actor=actor, act="tablet declared shared", about=tablet, payload=payload, at=at)
    return tablet, token


@transaction.atomic
def revoke_tablet(*, tablet: SharedTablet, actor: User, at: datetime) -> None:
    """End a tablet's being shared: whoever is signed in there by PIN is signed out."""
    if SharedTablet.objects.in_use().filter(pk=tablet.pk).update(revoked_at=at):
        payload = {"name": tablet.name, "site": tablet.site.prefix}
        trail.record(
            actor=actor, act="tablet no longer shared", about=tablet, payload=payload, at=at
        )


def hash_token(token: str) -> str:
    return sha256(token.encode()).hexdigest()


# Badge and PIN


@transaction.atomic
def set_pin(*, user: User, pin: str, badge: str, proof: str, at: datetime) -> BadgePin:
    """Set one's own PIN, and the badge that goes with it; what was stopped is open again.

    Parameters
    ----------
    badge : str
        What a scanner types; empty where the employee number is all there is.
    proof : str
        What `people.services.proof.prove_identity` returned for this act.

    Raises
    ------
    PeopleError
        If the PIN is too easily guessed, or the badge is or names somebody else's.
    """
    badge = badge.strip()
    fault = pins.pin_fault(pin, (user.employee_number, badge))
    if fault is not None:
        raise PeopleError(_fault_message(fault))
    taken = PeopleError(_("That badge belongs to somebody else. Scan your own, or leave it empty."))
    if badge and _identifies_others(badge, user):
        raise taken
    try:
        with transaction.atomic():
            badge_pin, _created = BadgePin.objects.update_or_create(
                user=user, defaults={"pin_hash": make_password(pin), "badge": badge, "set_at": at}
            )
    except IntegrityError as error:
        raise taken from error
    WrongTries.objects.filter(key=_user_key(user)).delete()
    trail.record(
        actor=user,
        act="badge and PIN set",
        about=user,
        payload={"badge": badge, "proof": proof},
        at=at,
    )
    return badge_pin


def _fault_message(fault: pins.PinFault) -> str:
    return str(PIN_FAULT_MESSAGES[fault])


def _identifies_others(badge: str, user: User) -> bool:
    people = Person.objects.exclude(pk=user.person_id or 0)
    users = User.objects.exclude(pk=user.pk)
    former = FormerEmployeeNumber.objects.exclude(person=user.person_id or 0)
    return any(
        queryset.filter(employee_number__iexact=badge).exists()
        for queryset in (people, users, former)
    )


@transaction.atomic
def remove_pin(*, user: User, at: datetime) -> bool:
    """Give up one's PIN; return whether there was one."""
    removed, _rows = BadgePin.objects.filter(user=user).delete()
    if removed:
        trail.record(actor=user, act="badge and PIN removed", about=user, at=at)
    return bool(removed)


def open_by_badge(*, tablet: SharedTablet, badge: str, pin: str, at: datetime) -> User:
    """Who a badge and PIN let look on a shared tablet.

    Unknown badges, people without a PIN and wrong PINs are answered alike, and wait alike on
    every tablet: the wrong tries of the latest thousand unknown badges are kept, each under a
    keyed hash. What was typed is in the trail where it is somebody's, and nowhere otherwise:
    it may have been a password.

    Raises
    ------
    TabletRefused
        If they do not go together, or too many tries were wrong.
    PrintedPinGiven
        If the PIN is the one of a letter, which only leads to choosing one (`choose_pin`).
    """
    badge = badge.strip()
    user = _user_with_badge(badge, at)
    badge_pin = BadgePin.objects.filter(user=user).first() if user else None
    key = _user_key(user) if user else _unknown_badge_key(badge)

    first = sign_in_codes.first_pin_code(user, pin, at) if user else None

    def matches() -> bool:
        if badge_pin is None:
            make_password(pin)  # So that the time an answer takes tells nothing.
            return first is not None
        return check_password(pin, badge_pin.pin_hash) or first is not None

    matched = _attempt(
        tablet=tablet,
        key=key,
        matches=matches,
        at=at,
        act=FIRST_PIN_GIVEN if first else OPENED,
        actor=user,
        payload={"badge": badge if _identifies_somebody(badge) else "", "tablet": tablet.name},
    )
    if user is None:
        _delete_oldest_unknown()
    if not matched or user is None:
        raise TabletRefused(
            _("Badge and PIN do not go together. Try again, or sign in fully with your password.")
        )
    if first is not None:
        raise PrintedPinGiven(first.pk)
    return user


@transaction.atomic
def choose_pin(*, code_id: int, pin: str, at: datetime) -> User:
    """Set one's own PIN after a printed one was given, once; the badge stays as it was.

    Raises
    ------
    PeopleError
        If the printed one leads nowhere any more, or the PIN is too easily guessed or the
        printed one, which others have seen.
    """
    row = sign_in_codes.lock_first_pin(code_id, at)
    user = row.user
    kept = BadgePin.objects.filter(user=user).first()
    fault = pins.pin_fault(pin, (user.employee_number, kept.badge if kept else ""))
    if fault is not None:
        raise PeopleError(_fault_message(fault))
    if sign_in_codes.is_first_pin(row, pin):
        raise PeopleError(_("This is the PIN you were given. Choose another."))
    BadgePin.objects.update_or_create(
        user=user, defaults={"pin_hash": make_password(pin), "set_at": at}
    )
    row.pin_used_at = at
    row.save(update_fields=["pin_used_at"])
    payload = {"printed_by": row.made_by.get_username()}
    trail.record(actor=user, act=sign_in_codes.PIN_USED, about=user, payload=payload, at=at)
    return user


def _user_with_badge(badge: str, at: datetime) -> User | None:
    """Whose employee number or badge it is, among those who may sign in; numbers come first."""
    people = User.objects.filter(person__isnull=False, password_is_one_time=False).select_related(
        "person__site"
    )
    if not badge:
        return None
    by_number = people.filter(employee_number__iexact=badge)
    by_badge = people.filter(badge_pin__badge__iexact=badge).select_related("badge_pin")
    return meant_by(
        badge, ((user.employee_number, user) for user in by_number if user.may_sign_in(at))
    ) or meant_by(
        badge, ((user.badge_pin.badge, user) for user in by_badge if user.may_sign_in(at))
    )


def _identifies_somebody(badge: str) -> bool:
    """Whether it is the number or badge of anybody, of those who may not sign in too."""
    theirs = Q(employee_number__iexact=badge) | Q(badge_pin__badge__iexact=badge)
    return bool(badge) and User.objects.filter(theirs).exists()


def _user_key(user: User) -> str:
    return f"pin:{user.pk}"


def _unknown_badge_key(badge: str) -> str:
    """What tells one unknown badge from another, and nobody what was typed."""
    return (
        UNKNOWN_BADGE_PREFIX
        + salted_hmac("training.unknown_badge", badge.casefold()).hexdigest()[:32]
    )


def _delete_oldest_unknown() -> None:
    delete_oldest(UNKNOWN_BADGE_PREFIX, MAX_UNKNOWN_BADGES)


def prove_password_at_tablet(
    *,
    user: User,
    password: Given | str,
    tablet: SharedTablet | None,
    at: datetime,
    was_looking: bool = False,
) -> None:
    """Check the password of whoever unlocks a tablet or goes on from looking to all they may.

    Whoever ``was_looking`` has signed in by badge and PIN alone, and so gives the second factor,
    if they have one, as at any sign-in.

    Raises
    ------
    TabletRefused
        If it is not theirs, or too many tries were wrong.
    """
    given = Given(password) if isinstance(password, str) else password
    payload = {"person": user.employee_number, "tablet": tablet.name if tablet else ""}
    try:
        is_own = is_own_password(user, given.password, at)
    except TriedTooOften as error:
        raise TabletRefused(str(error)) from error
    if is_own and was_looking:
        try:
            prove_second_factor(user, given, at)
        except ProofRefused as error:
            raise TabletRefused(str(error)) from error
    with transaction.atomic():
        trail.record(
            actor=user if is_own else None,
            act="tablet opened in full" if is_own else "password refused at a tablet",
            about=tablet or user,
            payload=payload,
            at=at,
        )
    if not is_own:
        raise TabletRefused(_("That is not your password. Type it again."))


@transaction.atomic
def _attempt(
    *,
    tablet: SharedTablet,
    key: str,
    matches: Callable[[], bool],
    at: datetime,
    act: str,
    actor: User | None,
    payload: dict,
) -> bool:
    """Try a PIN once, and keep count of what was wrong; tries in the wait are not even looked at.

    The counts are held to the end of the transaction, so that tries at once wait for each
    other. A refused try has no actor: whoever made it has not shown who they are.

    Each badge that is tried wrongly counts once at the tablet, however often it is: whoever goes
    through many badges stops it, and nobody stops it for all with one.
    """
    tablet_key = f"tablet:{tablet.pk}"
    rows = lock_rows([tablet_key, key])
    own, of_tablet = rows[key], rows[tablet_key]
    try:
        refuse_while_waiting(rows.values(), at)
    except TriedTooOften as error:
        raise TabletRefused(str(error)) from error
    if own.failures >= pins.MAX_FAILURES:
        raise TabletRefused(
            _("This PIN was tried wrongly too often. Sign in fully, then set a new one.")
        )
    had_failed = own.failures > 0
    if matches():
        own.failures, own.wait_until = 0, None
        of_tablet.failures -= had_failed and of_tablet.failures > 0
        for row in rows.values():
            row.save(update_fields=["failures", "wait_until"])
        trail.record(actor=actor, act=act, about=tablet, payload=payload, at=at)
        return True
    own.failures += 1
    own.wait_until = _wait_until(own.failures, at)
    if not had_failed:
        of_tablet.failures += 1
        of_tablet.wait_until = _wait_until(of_tablet.failures - FREE_BADGES_AT_A_TABLET, at)
    for row in rows.values():
        row.save(update_fields=["failures", "wait_until"])
    trail.record(actor=None, act="badge and PIN refused", about=tablet, payload=payload, at=at)
    return False


def _wait_until(failures: int, at: datetime) -> datetime | None:
    wait_s = pins.wait_after_s(failures)
    return at + timedelta(seconds=wait_s) if wait_s else None
