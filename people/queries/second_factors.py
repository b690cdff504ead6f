"""Which second factors somebody has."""

from collections.abc import Collection
from dataclasses import dataclass

from allauth.mfa.models import Authenticator
from django.db.models import Exists, OuterRef, QuerySet

from people.models import Site, SiteRole, User

TOTP = Authenticator.Type.TOTP
PASSKEY = Authenticator.Type.WEBAUTHN
RECOVERY_CODES = Authenticator.Type.RECOVERY_CODES
FACTORS = (TOTP, PASSKEY)  # Recovery codes stand in for one, and are none.


@dataclass(frozen=True)
class SecondFactors:
    """What somebody has beside the password."""

    app: Authenticator | None
    passkeys: tuple[Authenticator, ...]
    recovery_codes: Authenticator | None

    def __bool__(self) -> bool:
        return self.app is not None or bool(self.passkeys)


def second_factors_of(user: User) -> SecondFactors:
    rows = list(Authenticator.objects.filter(user_id=user.pk).order_by("pk"))
    kinds = {kind: [row for row in rows if row.type == kind] for kind in Authenticator.Type}
    return SecondFactors(
        app=next(iter(kinds[TOTP]), None),
        passkeys=tuple(kinds[PASSKEY]),
        recovery_codes=next(iter(kinds[RECOVERY_CODES]), None),
    )


def _of_factors() -> QuerySet[Authenticator]:
    return Authenticator.objects.filter(type__in=FACTORS)


def with_second_factor(users: QuerySet[User]) -> QuerySet[User]:
    """Sign-ins that say, in the same query, whether they have one, and whether a site asks for any.

    ``second_factor_exists`` is the first; where ``second_factor_asked`` is false, no role of
    theirs needs one, and where it is true, `User.needs_second_factor` says.
    """
    theirs = _of_factors().filter(user_id=OuterRef("pk"))
    asking = SiteRole.objects.filter(user=OuterRef("pk")).exclude(site__second_factor_roles=[])
    return users.annotate(second_factor_exists=Exists(theirs), second_factor_asked=Exists(asking))


def lacks_second_factor(user: User) -> bool:
    """Whether a site of theirs asks them for one and they have none."""
    if not getattr(user, "second_factor_asked", True):
        return False
    return user.needs_second_factor and not has_second_factor(user)


def has_second_factor(user: User) -> bool:
    """Whether somebody has one: as their row was read, or asked now where it does not say."""
    known = getattr(user, "second_factor_exists", None)
    if known is None:
        return _of_factors().filter(user_id=user.pk).exists()
    return bool(known)


def lacking_at(site: Site, roles: Collection[str]) -> int:
    """How many open sign-ins hold one of the roles at a site and have no second factor."""
    holders = User.objects.open_on(site.today()).filter(
        pk__in=SiteRole.objects.filter(site=site, role__in=roles).values("user")
    )
    return holders.exclude(pk__in=_of_factors().values("user")).count()
