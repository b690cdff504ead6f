"""Who may be sent a letter with a code, and what became of the last one."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from people.models import Person, Role, SignInCode, SiteRole, User
from people.models.people import PersonQuerySet

NO_OWN_PASSWORD = (
    Q(user=None)
    | Q(user__password_is_one_time=True)
    | Q(user__password="")
    | Q(user__password__startswith=UNUSABLE_PASSWORD_PREFIX)
)
"""People of whom no password of their own is known: nobody's, or one that somebody else knows."""


@dataclass(frozen=True, slots=True)
class LetterLine:
    """Somebody, how they sign in, and why no letter can be printed for them; empty if it can."""

    person: Person
    user: User | None
    code: SignInCode | None
    refusal: str

    @property
    def seen(self) -> str:
        """What the page saw of them: a code that is printed meanwhile makes it another."""
        return f"{self.person.pk}.{self.code.pk if self.code else 0}"

    def awaits_use(self, at: datetime) -> bool:
        """Whether a letter of theirs still leads to a password."""
        return self.code is not None and self.code.used_at is None and self.code.expires_at > at

    @property
    def has_own_password(self) -> bool:
        user = self.user
        return user is not None and user.has_usable_password() and not user.password_is_one_time


def within_reach(actor: User) -> PersonQuerySet:
    """People at the sites that somebody administers."""
    return Person.objects.filter(site__in=actor.sites_as(Role.ADMINISTRATOR))


def letter_lines(people: Collection[Person], actor: User, at: datetime) -> list[LetterLine]:
    """What a page of the list says of each, in three queries however many they are."""
    administered = actor.sites_as(Role.ADMINISTRATOR)
    elsewhere = SiteRole.objects.filter(user=OuterRef("pk")).exclude(site__in=administered)
    users = User.objects.filter(person__in=people).annotate(has_roles_elsewhere=Exists(elsewhere))
    by_person = {user.person_id: user for user in users}
    codes = SignInCode.objects.filter(user__in=users, voided_at__isnull=True)
    by_user = {code.user_id: code for code in codes.select_related("made_by__person")}
    lines = []
    for person in people:
        user = by_person.get(person.pk)
        code = by_user.get(user.pk) if user else None
        lines.append(LetterLine(person, user, code, _refusal(person, user, actor, at)))
    return lines


def _refusal(person: Person, user: User | None, actor: User, at: datetime) -> str:
    """Why no letter can be printed for somebody; empty if one can.

    Whoever has an address is sent a link there instead, so that nobody else can come by it.
    """
    names = {"name": person.full_name, "email": person.email}
    if person.pk == actor.person_id:
        return _("Nobody prints a letter for themselves: another administrator does.")
    if not actor.has_role(Role.ADMINISTRATOR, site=person.site_id):
        return _("%(name)s is at another site, whose administrators have to do this.") % names
    if person.has_left(at):
        return _("%(name)s has left, so nobody signs in as them.") % names
    if person.email:
        return (
            _("%(name)s is reached at %(email)s: have a link sent from their sign-in page.") % names
        )
    if user is None:
        return ""
    if not user.is_active:
        return _("The sign-in of %(name)s is closed. Open it again first.") % names
    if getattr(user, "has_roles_elsewhere", False) or (
        user.is_superuser and not actor.is_superuser
    ):
        return (
            _("%(name)s holds roles at another site, whose administrators have to do this.") % names
        )
    return ""
