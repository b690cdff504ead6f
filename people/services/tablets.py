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
from people.exceptions import PeopleError, TabletRefused
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

UNKNOWN_BADGE_PREFIX = "badge:"
MAX_UNKNOWN_BADGES = 1000

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
    """
    badge = badge.strip()
    user = _user_with_badge(badge, at)
    badge_pin = BadgePin.objects.filter(user=user).first() if user else None
    key = _user_key(user) if user else _unknown_badge_key(badge)

    def matches() -> bool:
        if badge_pin is None:
            make_password(pin)  # So that the time an answer takes tells nothing.
            return False
        return check_password(pin, badge_pin.pin_hash)

    matched = _attempt(
        keys=[f"tablet:{tablet.pk}", key],
        limited_key=key,
        matches=matches,
        at=at,
        actor=user,
        about=tablet,
        act="tablet opened by badge and PIN",
        refused_act="badge and PIN refused",
        payload={"badge": badge if _identifies_somebody(badge) else "", "tablet": tablet.name},
    )
    if user is None:
        _delete_oldest_unknown()
    if not matched or user is None:
        raise TabletRefused(
            _("Badge and PIN do not go together. Try again, or sign in fully with your password.")
        )
    return user


def _user_with_badge(badge: str, at: datetime) -> User | None:
    """Whose employee number or badge it is, among those who may sign in; numbers come first."""
    people = User.objects.filter(person__isnull=False, password_is_one_time=False).select_related(
        "person__site"
    )
    if not badge:
        return None
    for theirs in (Q(employee_number__iexact=badge), Q(badge_pin__badge__iexact=badge)):
        user = people.filter(theirs).first()
        if user is not None and user.may_sign_in(at):
            return user
    return None


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
    unknown = WrongTries.objects.filter(key__startswith=UNKNOWN_BADGE_PREFIX).order_by("-pk")
    for oldest in unknown.values_list("pk", flat=True)[MAX_UNKNOWN_BADGES : MAX_UNKNOWN_BADGES + 1]:
        WrongTries.objects.filter(key__startswith=UNKNOWN_BADGE_PREFIX, pk__lte=oldest).delete()


def prove_password_at_tablet(
    *, user: User, password: str, tablet: SharedTablet | None, at: datetime
) -> None:
    """Check the password of whoever unlocks a tablet or goes on from looking to all they may.

    Raises
    ------
    TabletRefused
        If it is not theirs, or too many tries were wrong.
    """
    about = tablet or user
    matched = _attempt(
        keys=[*([f"tablet:{tablet.pk}"] if tablet else []), f"password:{user.pk}"],
        limited_key="",
        matches=lambda: user.may_sign_in(at) and user.check_password(password),
        at=at,
        actor=user,
        about=about,
        act="tablet opened in full",
        refused_act="password refused at a tablet",
        payload={"person": user.employee_number, "tablet": tablet.name if tablet else ""},
    )
    if not matched:
        raise TabletRefused(_("That is not your password. Type it again."))


@transaction.atomic
def _attempt(
    *,
    keys: list[str],
    limited_key: str,
    matches: Callable[[], bool],
    at: datetime,
    actor: User | None,
    about: SharedTablet | User,
    act: str,
    refused_act: str,
    payload: dict,
) -> bool:
    """Try once, and keep count of what was wrong; tries in the wait are not even looked at.

    The counts are held to the end of the transaction, so that tries at once wait for each
    other. A refused try has no actor: whoever made it has not shown who they are.
    """
    WrongTries.objects.bulk_create([WrongTries(key=key) for key in keys], ignore_conflicts=True)
    rows = list(WrongTries.objects.select_for_update().filter(key__in=keys).order_by("key"))
    until = max((row.wait_until for row in rows if row.wait_until), default=None)
    if until is not None and until > at:
        raise TabletRefused(_wait_message(until - at))
    if any(row.key == limited_key and row.failures >= pins.MAX_FAILURES for row in rows):
        raise TabletRefused(
            _("This PIN was tried wrongly too often. Sign in fully, then set a new one.")
        )
    if matches():
        WrongTries.objects.filter(key__in=keys).update(failures=0, wait_until=None)
        trail.record(actor=actor, act=act, about=about, payload=payload, at=at)
        return True
    for row in rows:
        row.failures += 1
        wait_s = pins.wait_after_s(row.failures)
        row.wait_until = at + timedelta(seconds=wait_s) if wait_s else None
        row.save(update_fields=["failures", "wait_until"])
    trail.record(actor=None, act=refused_act, about=about, payload=payload, at=at)
    return False


def _wait_message(wait: timedelta) -> str:
    seconds = int(wait.total_seconds()) + 1
    if seconds < 100:
        return _("Too many wrong tries. Wait %(n)d seconds, then try again.") % {"n": seconds}
    return _("Too many wrong tries. Wait %(n)d minutes, then try again.") % {"n": -(-seconds // 60)}
