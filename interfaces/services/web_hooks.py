"""Web hooks: made and stopped by administrators, and what is news to them.

News is a difference between how people stand today and what a web hook was told last, and
a reminder in the ledger that it has not been told of. So nothing depends on a worker having
been awake when something happened, and nothing is told twice: the row comes first.
"""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from django.conf import settings
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils.translation import gettext as _

from certification.domain.answers import Standing
from certification.domain.disclosure import NOT_CURRENT, Reader, may_know
from certification.models import Scope, StandingEnd, StandingSpan
from interfaces.domain import addresses
from interfaces.exceptions import CannotSendAgain, InterfaceError
from interfaces.models import HookEvent, ReportedStanding, WebHook, WebHookDelivery
from people.models import Person, Role, Site, User
from records.domain.canonical import canonical_text
from records.services import trail
from reminders.domain.reminders import DAY_AFTER
from reminders.models import Reminder
from reminders.queries.ends import ends_of
from reminders.queries.pending import key_of

PEOPLE_AT_A_TIME = 200
CHANGES_AT_A_TIME = 500
ROWS_AT_A_TIME = 1000
CERTIFIED = Standing.CERTIFIED.value
NOTED = ("standing", "certificate_id", "restriction", "number")
ENDS_OF_STANDING = [str(kind) for kind in StandingEnd.Kind.values]


# Making and stopping


@transaction.atomic
def make_hook(
    *, site: Site, name: str, address: str, events: Iterable[str], actor: User, at: datetime
) -> WebHook:
    """Make a web hook, which hears of what happens from now on.

    Raises
    ------
    InterfaceError
        If the actor does not administer the site, or the address cannot be one.
    """
    if not actor.has_role(Role.ADMINISTRATOR, site=site.pk):
        raise InterfaceError(_("Web hooks are made by whoever administers the site."))
    refuse_address(address)
    chosen = [str(event) for event in HookEvent.values if event in set(events)]
    if not chosen:
        raise InterfaceError(_("Choose at least one event."))
    hook = WebHook.objects.create(
        site=site, name=name, address=address, events=chosen, made_by=actor, recorded_at=at
    )
    _report_everybody(hook, site.today(at))
    trail.record(
        actor=actor,
        act="web hook made",
        about=hook,
        payload={"site": site.prefix, "name": name, "address": address, "events": chosen},
        at=at,
    )
    return hook


@transaction.atomic
def stop_hook(*, hook: WebHook, actor: User, at: datetime) -> None:
    """Send nothing more to a web hook, also not what waits."""
    if not WebHook.objects.in_use().filter(pk=hook.pk).update(stopped_at=at):
        raise InterfaceError(_("It was stopped already."))
    trail.record(actor=actor, act="web hook stopped", about=hook, at=at)


def refuse_address(address: str) -> None:
    """Refuse what is no address of another system; the connection is looked at once more."""
    parts = urlsplit(address)
    odd = not address.isascii() or not address.isprintable() or " " in address
    if odd or parts.username or parts.password or parts.fragment or not parts.hostname:
        raise InterfaceError(_("Give an address such as https://plant.example.org/events."))
    try:
        parts.port  # noqa: B018 - read for its check
    except ValueError as error:
        raise InterfaceError(_("The port in the address is no number.")) from error
    if parts.scheme == "https" and not is_this_machine(parts.hostname):
        return
    if settings.WEB_HOOKS_TO_LOOPBACK and is_this_machine(parts.hostname):
        return
    raise InterfaceError(_("The address must begin with https:// and lead to another machine."))


def is_this_machine(host: str) -> bool:
    """Say whether a host, by name or IP address, is this machine for whoever calls from it."""
    if host.lower().rstrip(".") == "localhost":
        return True
    try:
        ip = addresses.parse(host)
    except ValueError:
        return False
    return (getattr(ip, "ipv4_mapped", None) or ip).is_loopback


@transaction.atomic
def send_again(*, delivery: WebHookDelivery, actor: User, at: datetime) -> None:
    """Send one again that was given up, or taken and lost: the same id and bytes."""
    done = Q(failed_at__isnull=False) | Q(accepted_at__isnull=False)
    again = WebHookDelivery.objects.filter(done, pk=delivery.pk)
    if delivery.hook.stopped_at is not None or not again.update(
        accepted_at=None, failed_at=None, claimed_at=None, attempts=0, due_at=at
    ):
        raise CannotSendAgain(_("Only what was taken or given up can be sent again."))
    trail.record(actor=actor, act="web hook delivery sent again", about=delivery, at=at)


# What is news


def _spans_on(hook: WebHook, day: date) -> Any:
    """How they stand whom the bench check of the web hook's site knows on a day."""
    here = Person.objects.at_work_on(day)
    return StandingSpan.objects.on(day).filter(person__site=hook.site_id, person__in=here)


def _report_everybody(hook: WebHook, day: date) -> None:
    """Write down how everybody stands, so that only what comes later is news."""
    spans = _spans_on(hook, day).values_list(
        "person", "scope", "standing", "certificate", "restriction"
    )
    ReportedStanding.objects.bulk_create(
        (
            ReportedStanding(
                hook=hook,
                person_id=person,
                scope_id=scope,
                standing=standing,
                certificate_id=certificate,
                restriction=restriction if standing == CERTIFIED else "",
            )
            for person, scope, standing, certificate, restriction in spans.iterator(ROWS_AT_A_TIME)
        ),
        batch_size=ROWS_AT_A_TIME,
    )


def write_due_deliveries(now: datetime) -> int:
    """Write what every web hook has not been told of yet into the ledger; count the rows.

    Some hundred standings in a transaction, so that an import of thousands holds nobody up.
    """
    row_count = 0
    for hook_id in list(WebHook.objects.in_use().order_by("pk").values_list("pk", flat=True)):
        looked_at = CHANGES_AT_A_TIME
        while looked_at == CHANGES_AT_A_TIME:
            looked_at, rows = _write_deliveries_for(hook_id, now)
            row_count += rows
    return row_count


@transaction.atomic
def _write_deliveries_for(hook_id: int, now: datetime) -> tuple[int, int]:
    """Write one batch of deliveries; return how many standings were looked at, and the rows."""
    hook = (
        WebHook.objects.in_use()
        .select_for_update(of=("self",))
        .select_related("site")
        .filter(pk=hook_id)
        .first()
    )
    if hook is None:
        return 0, 0
    news = list(_changed_spans(hook, hook.site.today(now))[:CHANGES_AT_A_TIME])
    rows = (
        _deliveries_for_changes(hook, news, now)
        + _deliveries_for_gone(hook, news, now)
        + _deliveries_for_coming_ends(hook, now)
    )
    WebHookDelivery.objects.bulk_create(rows, batch_size=ROWS_AT_A_TIME)
    return len(news), len(rows)


def _changed_spans(hook: WebHook, day: date) -> Any:
    """How people stand on a day where that is not what the web hook took note of."""
    reported = ReportedStanding.objects.filter(
        hook=hook, person=OuterRef("person"), scope=OuterRef("scope")
    )
    holds = Q(standing=CERTIFIED)
    same = reported.filter(standing=OuterRef("standing"))
    same_yes = same.filter(
        certificate_id=OuterRef("certificate"), restriction=OuterRef("restriction")
    )
    return (
        _spans_on(hook, day)
        .filter((holds & ~Exists(same_yes)) | (~holds & Exists(reported) & ~Exists(same)))
        .select_related("person__site", "scope", "certificate")
        .prefetch_related("ends")
        .order_by("person", "scope")
    )


def _deliveries_for_changes(
    hook: WebHook, news: list[StandingSpan], now: datetime
) -> list[WebHookDelivery]:
    """Take note of changed standings; return the events that the web hook wants to hear of."""
    people = {span.person_id for span in news}
    before = {
        (reported.person_id, reported.scope_id): reported
        for reported in ReportedStanding.objects.filter(hook=hook, person__in=people)
    }
    rows, changed, new = [], [], []
    for span in news:
        reported = before.get((span.person_id, span.scope_id))
        if reported is None:
            reported = ReportedStanding(
                hook=hook, person=span.person, scope=span.scope, standing=""
            )
            new.append(reported)
        else:
            changed.append(reported)
        event = _event_between(reported, span)
        reported.standing, reported.certificate_id = span.standing, span.certificate_id
        reported.restriction = span.restriction if span.standing == CERTIFIED else ""
        reported.number += 1
        if event in hook.events:
            key = f"{event}:{span.person_id}:{span.scope_id}:{reported.number}"
            rows.append(_delivery(hook, key, event, span.person, now, **_span_facts(span)))
    ReportedStanding.objects.bulk_create(new)
    ReportedStanding.objects.bulk_update(changed, NOTED)
    return rows


def _deliveries_for_gone(
    hook: WebHook, news: list[StandingSpan], now: datetime
) -> list[WebHookDelivery]:
    """The end of what no longer holds here: withdrawn, or they left or are at another site."""
    day = hook.site.today(now)
    # Whoever goes just after the changes were read is told of by the next round: two events of
    # one instant would not say which is the later.
    told = {(span.person_id, span.scope_id) for span in news}
    spans = _spans_on(hook, day).filter(person=OuterRef("person"), scope=OuterRef("scope"))
    gone = [
        reported
        for reported in ReportedStanding.objects.filter(
            hook=hook, standing__in=[CERTIFIED, Standing.SUSPENDED.value]
        )
        .filter(~Exists(spans))
        .select_related("person", "scope")
        .order_by("person", "scope")
        if (reported.person_id, reported.scope_id) not in told
    ]
    rows = []
    for reported in gone:
        reported.standing, reported.certificate_id = Standing.NEVER_CERTIFIED.value, None
        reported.restriction = ""
        reported.number += 1
        if HookEvent.ENDED in hook.events:
            key = f"ended:{reported.person_id}:{reported.scope_id}:{reported.number}"
            rows.append(
                _delivery(
                    hook,
                    key,
                    HookEvent.ENDED.value,
                    reported.person,
                    now,
                    occurred_on=day,
                    scopes=[_scope_facts(reported.scope)],
                    standing=NOT_CURRENT,
                    certificate=None,
                    restriction="",
                    certified_through=None,
                )
            )
    ReportedStanding.objects.bulk_update(gone, NOTED, batch_size=CHANGES_AT_A_TIME)
    return rows


def public_standing(standing: str) -> str:
    """A standing as other systems read it; an empty one, of whom none was told yet, is none."""
    return may_know(standing or Standing.NEVER_CERTIFIED, Reader.WEB_HOOK).standing


def _event_between(before: ReportedStanding, span: StandingSpan) -> str:
    """The event that leads from one standing to another; empty where a reader sees none."""
    old, new = public_standing(before.standing), public_standing(span.standing)
    if new == CERTIFIED:
        back = old == Standing.SUSPENDED and before.certificate_id == span.certificate_id
        return HookEvent.REINSTATED.value if back else HookEvent.CERTIFIED.value
    if new == old:
        return ""
    return HookEvent.SUSPENDED.value if new == Standing.SUSPENDED else HookEvent.ENDED.value


def _span_facts(span: StandingSpan) -> dict[str, Any]:
    holds = span.standing == CERTIFIED
    disclosure = may_know(span.standing, Reader.WEB_HOOK)
    return {
        "occurred_on": span.first_day if holds else span.stands_since,
        "scopes": [_scope_facts(span.scope)],
        "standing": disclosure.standing,
        "certificate": span.certificate.number
        if span.certificate and disclosure.certificate
        else None,
        "restriction": span.restriction if holds else "",
        "certified_through": min((end.last_day for end in span.ends.all()), default=None)
        if holds
        else None,
    }


def _scope_facts(scope: Scope) -> dict[str, str]:
    return {"code": scope.code, "title": scope.title}


def _deliveries_for_coming_ends(hook: WebHook, now: datetime) -> list[WebHookDelivery]:
    """What the reminders' ledger holds since the web hook was made: the same steps, once."""
    if HookEvent.ABOUT_TO_END not in hook.events:
        return []
    day = hook.site.today(now)
    delivered = WebHookDelivery.objects.filter(hook=hook, reminder=OuterRef("pk"))
    going = [Reminder.State.WAITING, Reminder.State.WRITTEN, Reminder.State.LISTED]
    news = list(
        Reminder.objects.filter(
            recipient=F("person"),
            person__site=hook.site_id,
            person__in=Person.objects.at_work_on(day),
            kind__in=ENDS_OF_STANDING,
            state__in=going,
            step__gt=DAY_AFTER,
            recorded_at__gte=hook.recorded_at,
            ends_on__gte=day,
        )
        .filter(~Exists(delivered))
        .select_related("person__site")
        .order_by("pk")
    )
    scopes = Scope.objects.in_bulk() if news else {}
    rows = []
    for start in range(0, len(news), PEOPLE_AT_A_TIME):
        batch = news[start : start + PEOPLE_AT_A_TIME]
        endings = ends_of({row.person_id for row in batch}).by_key(day)
        for row in batch:
            ending = endings.get(key_of(row))
            if ending is None or ending.stopped:
                continue
            rows.append(
                _delivery(
                    hook,
                    f"about_to_end:{row.pk}",
                    HookEvent.ABOUT_TO_END.value,
                    row.person,
                    now,
                    reminder=row,
                    occurred_on=day,
                    scopes=[_scope_facts(scopes[pk]) for pk in ending.scope_ids],
                    standing=CERTIFIED,
                    certified_through=row.ends_on,
                )
            )
    return rows


def _delivery(
    hook: WebHook,
    key: str,
    event: str,
    person: Person,
    now: datetime,
    reminder: Reminder | None = None,
    **facts: Any,
) -> WebHookDelivery:
    delivery_id = uuid4().hex
    body = {
        "version": 1,
        "id": delivery_id,
        "event": event,
        "recorded_at": now,
        "site": hook.site.prefix,
        "employee_number": person.employee_number,
        **facts,
    }
    return WebHookDelivery(
        hook=hook,
        event_key=key,
        event=event,
        person=person,
        reminder=reminder,
        delivery_id=delivery_id,
        body=canonical_text(body).encode(),
        due_at=now,
        recorded_at=now,
    )
