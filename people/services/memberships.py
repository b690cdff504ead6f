"""Where people are from which day on: rows written, and the present that is read off them."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from people import ports
from people.exceptions import PeopleError
from people.models import Person, Site, SiteMembership, User
from people.models.memberships import FROM_THE_BEGINNING
from people.queries import memberships, written_down
from records.services import trail

from .change_rows import write_line_lead

AHEAD = timedelta(days=366)
LOOK_EVERY = timedelta(minutes=1)


def add_membership(
    *, person: Person, site: Site, from_day: date, reason: str, actor: User | str | None,
    at: datetime,
) -> SiteMembership:  # fmt: skip
    """Enter a move of somebody who is locked, whoever may; `move_person` says what is refused."""
    if not FROM_THE_BEGINNING < from_day <= site.today(at) + AHEAD:
        raise PeopleError(
            _("%(day)s is no day to move on. Give one that is past, or at most a year ahead.")
            % {"day": from_day}
        )
    rows = rows_of(person)
    if any(row.from_day == from_day for row in rows):
        raise PeopleError(
            _("%(name)s moves on %(day)s already. Withdraw that move first, or give another day.")
            % {"name": person.full_name, "day": from_day}
        )
    before = [row for row in rows if row.from_day < from_day]
    if (before[-1].site if before else person.site) == site:
        raise PeopleError(
            _("%(name)s is at %(site)s already on %(day)s.")
            % {"name": person.full_name, "site": site, "day": from_day}
        )
    if not rows:
        write_membership(
            person, person.site, FROM_THE_BEGINNING, "", actor, at, written_down.WAS_THERE
        )
    row = write_membership(person, site, from_day, reason.strip(), actor, at, written_down.MOVES)
    carry_out(person, at)
    return row


def rows_of(person: Person) -> list[SiteMembership]:
    rows = person.site_memberships.not_withdrawn().select_related("site", "person")
    return list(rows.order_by("from_day", "pk"))


def write_membership(
    person: Person,
    site: Site,
    from_day: date,
    reason: str,
    actor: User | str | None,
    at: datetime,
    act: str,
) -> SiteMembership:
    row = SiteMembership.objects.create(
        person=person,
        site=site,
        from_day=from_day,
        reason=reason,
        entered_by=actor if isinstance(actor, User) else None,
        recorded_at=at,
    )
    trail.record(
        actor=actor, act=act, about=row, payload=written_down.membership_content(row), at=at
    )
    return row


class _NextLook:
    """When this process has to look whether a move has begun: at once after one was entered."""

    def __init__(self) -> None:
        self.at: datetime | None = None
        self.looked_at: datetime | None = None

    def is_due(self, now: datetime) -> bool:
        if self.looked_at is None or not timedelta(0) <= now - self.looked_at < LOOK_EVERY:
            return True
        return self.at is not None and now >= self.at

    def forget(self) -> None:
        self.at = self.looked_at = None


next_look = _NextLook()


def carry_out(person: Person, now: datetime) -> None:
    """Write down where somebody who is locked is at present."""
    # Now, and once others can see the rows: somebody may look in between.
    next_look.forget()
    transaction.on_commit(next_look.forget)
    site = memberships.site_at(rows_of(person), now)
    if site is None or site == person.site:
        return
    before, person.site = person.site, site
    changed = ["site"]
    if person.line_lead is not None and person.line_lead.site_id != site.pk:
        write_line_lead(
            person,
            before=person.line_lead,
            after=None,
            from_day=site.today(now),
            reason="",
            actor=None,
            at=now,
        )
        person.line_lead = None
        changed.append("line_lead")
    person.save(update_fields=changed)
    ports.whereabouts_changed(person)
    trail.record(
        actor=None,
        act="site changed",
        about=person,
        payload={"before": before.prefix, "after": site.prefix},
        at=now,
    )
