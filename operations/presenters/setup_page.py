"""The set-up page: the steps in order, what works today, what runs by itself, what can wait."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from interfaces.models import ApiToken
from operations.domain.setting_up import DONE, StepName, StepState
from operations.queries import health
from operations.queries.health import State
from operations.queries.setting_up import SettingUp, setting_up
from people.models import Role, SharedTablet, SiteRole, User

from .setup_steps import steps
from .setup_words import Link, Step, page_link

RUNS_BY_ITSELF = ("worker", "clock", "sweep", "records", "back_up")
SHAPES = {
    State.GOOD: ("accept", "is-accept"),
    State.NOT_YET: ("open", "is-none"),
    State.ATTENTION: ("unsaved", "is-caution"),
    State.BAD: ("reject", "is-reject"),
}


@dataclass(frozen=True)
class Line:
    """One thing beside the steps, with its shape."""

    shape: str
    tone: str
    what: Any
    says: str
    due_at: datetime | None = None


@dataclass(frozen=True)
class Later:
    """Something that can wait, and where it is done."""

    what: str
    says: str
    link: Link | None


@dataclass(frozen=True)
class SettingUpPage:
    """All that the page shows.

    Attributes
    ----------
    next : Step or None
        None once every step is done.
    """

    day: date
    truth: SettingUp
    steps: tuple[Step, ...]
    works: tuple[Line, ...]
    by_itself: tuple[Line, ...]
    later: tuple[Later, ...]

    @property
    def next(self) -> Step | None:
        return next((step for step in self.steps if step.place.state is StepState.NEXT), None)


def set_up_page(user: User, now: datetime) -> SettingUpPage:
    truth = setting_up(user, now)
    person = user.person
    return SettingUpPage(
        person.site.today(now) if person else now.date(),
        truth,
        tuple(steps(truth, user, now)),
        tuple(_works(truth)),
        tuple(_by_itself(now)),
        tuple(_later(truth, user)),
    )


def leads_home(user: User, now: datetime) -> bool:
    """Whether somebody begins at the set-up page: an administrator, while anything is missing.

    Whoever teaches or audits beside it has a page of every day, which mail does not keep from
    them: not every site has a mail server. A back-up, which nobody makes on a page, keeps nobody.
    """
    if not user.has_role(Role.ADMINISTRATOR):
        return False
    states = {name: place.state for name, place in setting_up(user, now).places.items()}
    states.pop(StepName.BACK_UP)
    if user.has_role(Role.INSTRUCTOR, Role.QUALITY):
        states.pop(StepName.MAIL)
    return any(state not in DONE for state in states.values())


def _works(truth: SettingUp) -> list[Line]:
    """What could be done today, and until which step what cannot."""
    signing_in = truth.people_signing_in
    return [
        _line(
            signing_in > 0,
            ngettext("%(n)d person can sign in", "%(n)d people can sign in", signing_in)
            % {"n": signing_in},
            _("and find their own page"),
        ),
        _line(
            truth.places[StepName.MAIL].state in DONE,
            _("Mail goes out")
            if truth.places[StepName.MAIL].state in DONE
            else _("Nobody has seen a mail arrive"),
            _("reminders begin with the first certificate"),
        ),
        _line(
            truth.can_judge,
            _("Boards can be judged") if truth.can_judge else _("No board can be judged"),
            "" if truth.can_judge else _until(truth, _FOR_JUDGING),
        ),
        _line(
            truth.can_certify,
            _("People can be certified") if truth.can_certify else _("Nobody can be certified"),
            "" if truth.can_certify else _until(truth, _FOR_CERTIFYING),
        ),
        _bench_check(truth.certified_people),
    ]


_FOR_JUDGING = (StepName.CRITERIA, StepName.EXERCISES, StepName.INSTRUCTORS)
_FOR_CERTIFYING = (StepName.PEOPLE, StepName.SCHEMES, *_FOR_JUDGING)


def _line(works: bool, what: str, says: str) -> Line:
    shape, tone = ("accept", "is-accept") if works else ("never", "is-none")
    return Line(shape, tone, what, says)


def _until(truth: SettingUp, needed: tuple[StepName, ...]) -> str:
    left = [name for name in StepName if name in needed and truth.places[name].state not in DONE]
    numbers = [str(name.number) for name in left]
    return ngettext("until step %(numbers)s", "until steps %(numbers)s", len(numbers)) % {
        "numbers": ", ".join(numbers)
    }


def _bench_check(certified: int) -> Line:
    if not certified:
        return _line(False, _("The bench check answers no"), _("for everybody, and rightly so"))
    who = ngettext("for %(n)d person", "for %(n)d people", certified) % {"n": certified}
    return _line(True, _("The bench check answers yes"), who)


def _by_itself(now: datetime) -> list[Line]:
    return [
        Line(*SHAPES[component.state], component.title, component.says[0], component.due_at)
        for component in health.component_health(now)
        if component.part in RUNS_BY_ITSELF
    ]


def _later(truth: SettingUp, user: User) -> list[Later]:
    sites = [one.site for one in truth.sites]
    tablets = SharedTablet.objects.in_use().filter(site__in=sites).count()
    kiosks = SiteRole.objects.filter(site__in=sites, role=Role.KIOSK).count()
    tokens = ApiToken.objects.in_use().filter(site__in=sites).count()
    administers = user.has_role(Role.ADMINISTRATOR)
    provider = settings.OIDC_NAME if settings.OIDC_ISSUER else ""
    return [
        Later(
            _("Sign-in at a provider"),
            _("people may sign in at %(name)s") % {"name": provider}
            if provider
            else _("passwords are in use; the OIDC_ settings connect one"),
            None,
        ),
        Later(
            _("Shared tablets"),
            _in_use(tablets),
            page_link(_("Declare one"), "people:tablet_list")
            if user.has_role(Role.ADMINISTRATOR, Role.INSTRUCTOR)
            else None,
        ),
        Later(
            _("Bench-check kiosks"),
            _in_use(kiosks),
            page_link(_("Make one"), "people:kiosk_list") if administers else None,
        ),
        Later(
            _("Programs that ask here"),
            _in_use(tokens),
            page_link(_("Give a token"), "interfaces:api_token_list") if administers else None,
        ),
        Later(
            _("Records from before"),
            _("an earlier register is brought over by import_register"),
            None,
        ),
    ]


def _in_use(number: int) -> str:
    return (
        ngettext("%(n)d in use", "%(n)d in use", number) % {"n": number}
        if number
        else _("none in use yet")
    )
