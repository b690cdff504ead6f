"""The sweep: what is due is written into the ledger, and the ledger into messages.

A sweep may stop anywhere and start again: each step leaves rows that the next sweep finds
as they are. Nothing is sent here; `reminders.services.mail` sends what waits.
"""

import logging
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import DatabaseError, IntegrityError, transaction
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _

from people.models import Person, Site
from people.services.moves import carry_out_moves
from reminders.domain.reminders import Ending
from reminders.models import Message, Reminder, SiteSweep
from reminders.queries.ends import WEEK_LIST
from reminders.queries.pending import PendingReminders, check_pending
from reminders.queries.readers import usable_address
from reminders.queries.sites import sites_to_sweep

from .ledger import PEOPLE_AT_A_TIME, write_rows
from .letters import ComposedMail, SiteDay, sites_listed, write_letter

log = logging.getLogger(__name__)

CLOCK_IS_AHEAD = timedelta(days=1)


@dataclass(frozen=True)
class SweptSite:
    """What one sweep did at one site."""

    site: Site
    day: date
    rows: int
    messages: int


def sweep(*, now: datetime, on: date | None = None) -> list[SweptSite]:
    """Write everything that is due into messages; what beat runs hourly.

    Parameters
    ----------
    now : datetime
    on : date or None
        Sweep as if it were this day, whatever the hour.

    Raises
    ------
    Exception
        What went wrong at a site, once the other sites are swept.
    """
    carry_out_moves(now)
    swept, failed = [], []
    for site, day in sites_to_sweep(now, on):
        try:
            swept.append(sweep_site(site, day, now))
        except Exception as error:
            log.exception("The sweep of %s on %s did not come to its end.", site, day)
            failed.append(error)
    if failed:
        raise failed[0]
    return swept


def sweep_site(site: Site, day: date, now: datetime) -> SweptSite:
    delete_rows_from_the_future(site, now)
    rows = write_rows(site, day, now)
    withdraw_stale_messages(site, day, now)
    queue_for_new_addresses(site, day)
    messages = write_messages(site, day, now)
    SiteSweep.objects.update_or_create(site=site, defaults={"day": day, "finished_at": now})
    return SweptSite(site, day, rows, messages)


@transaction.atomic
def delete_rows_from_the_future(site: Site, now: datetime) -> int:
    """Drop what was written while the clock was ahead and has not gone out; count it.

    Otherwise steps whose day has not come would stand in the ledger as done with.
    """
    ahead = Reminder.objects.filter(recipient__site=site, recorded_at__gt=now + CLOCK_IS_AHEAD)
    unsent = ahead.filter(Q(message__isnull=True) | Q(message__sent_at__isnull=True))
    messages = Message.objects.of_reminders().unsent().unclaimed(now)
    messages = messages.filter(site=site, recorded_at__gt=now + CLOCK_IS_AHEAD)
    for pk in list(messages.values_list("pk", flat=True)):
        withdraw_message(pk, now, _("It was written while the clock was ahead."))
    deleted, _of_each = unsent.exclude(message__in=Message.objects.unsent()).delete()
    if deleted:
        log.warning("The clock was ahead: %s reminders at %s are worked out anew.", deleted, site)
    return deleted


# Messages


def withdraw_stale_messages(site: Site, day: date, now: datetime) -> int:
    """Withdraw what is of another day, so that its reminders go into the day's message.

    What the mail server refused for good stays as it is, for an administrator to see.
    """
    stale = Message.objects.of_reminders().unsent().unclaimed(now).filter(site=site, refused=False)
    taken = 0
    for pk in list(stale.exclude(day=day).values_list("pk", flat=True)):
        taken += withdraw_message(pk, now, _("What it held goes into a later message."))
    return taken


@transaction.atomic
def withdraw_message(message_id: int, now: datetime, why: str) -> bool:
    """Withdraw one message that nobody is sending; its reminders wait again."""
    free = Message.objects.unsent().unclaimed(now).filter(pk=message_id)
    if not free.update(withdrawn_at=now, why_withdrawn=why):
        return False
    let_wait_again(Reminder.objects.filter(message=message_id))
    return True


def queue_for_new_addresses(site: Site, day: date) -> int:
    """Let what is on the printed list wait for a message where there is an address by now."""
    listed = Reminder.objects.filter(
        recipient__site=site,
        recipient=F("person"),
        state=Reminder.State.LISTED,
        ends_on__gte=day - timedelta(days=1),
    ).exclude(recipient__email="")
    reachable = [
        pk
        for pk, email in listed.order_by().values_list("pk", "recipient__email")
        if usable_address(email)
    ]
    return Reminder.objects.filter(pk__in=reachable, state=Reminder.State.LISTED).update(
        state=Reminder.State.WAITING
    )


def write_messages(site: Site, day: date, now: datetime) -> int:
    """Write the day's message to everybody at a site for whom reminders wait; count them.

    What goes wrong with one of them is raised when all the others are written.
    """
    readers = Person.objects.filter(
        site=site, reminders_read__state=Reminder.State.WAITING
    ).distinct()
    by_address: dict[str, list[int]] = defaultdict(list)
    for reader_id, email in readers.order_by("pk").values_list("pk", "email"):
        by_address[usable_address(email)].append(reader_id)
    _list_without_address(by_address.pop("", []))
    already_written_to = set(
        Message.objects.of_reminders().filter(day=day).values_list("recipient", flat=True)
    )
    addresses = [address for address in by_address if address not in already_written_to]
    site_day = SiteDay(site, day)
    message_count, failed = 0, []
    for start in range(0, len(addresses), PEOPLE_AT_A_TIME):
        batch = addresses[start : start + PEOPLE_AT_A_TIME]
        rows = _waiting_reminders(pk for address in batch for pk in by_address[address])
        pending = check_pending(rows, now, day)
        close_obsolete(pending)
        for address in batch:
            mine = [pair for pair in pending.valid if pair[0].recipient_id in by_address[address]]
            try:
                message_count += bool(mine) and _write_message(site_day, address, mine, now)
            except DatabaseError:
                raise
            except Exception as error:
                log.exception("The message to %s was not written; its reminders wait.", address)
                failed.append(error)
    if failed:
        raise failed[0]
    return message_count


def _list_without_address(reader_ids: Collection[int]) -> None:
    """Somebody whose address was taken away is reached on paper; a copy for them is dropped."""
    reminders = Reminder.objects.filter(recipient__in=reader_ids, state=Reminder.State.WAITING)
    own = [
        row.pk for row in reminders if row.person_id == row.recipient_id and row.kind != WEEK_LIST
    ]
    reminders.filter(pk__in=own).update(state=Reminder.State.LISTED)
    reminders.exclude(pk__in=own).update(
        state=Reminder.State.DROPPED, why=_("There is no address to write to.")
    )


def _waiting_reminders(reader_ids: Iterable[int]) -> list[Reminder]:
    return list(
        Reminder.objects.filter(recipient__in=list(reader_ids), state=Reminder.State.WAITING)
        .select_related("person__site", "recipient__site")
        .order_by("ends_on", "pk")
    )


def close_obsolete(pending: PendingReminders) -> None:
    """Record why reminders that have not gone out never will."""
    for row, state, why in pending.obsolete:
        Reminder.objects.unsent().filter(pk=row.pk).update(state=state, why=why[:200])


@transaction.atomic
def _write_message(
    site_day: SiteDay, address: str, valid: list[tuple[Reminder, Ending | None]], now: datetime
) -> bool:
    """Fix one message with its reminders; False if another sweep was first."""
    pks = [row.pk for row, _ending in valid]
    still = set(
        Reminder.objects.select_for_update()
        .filter(pk__in=pks, state=Reminder.State.WAITING)
        .values_list("pk", flat=True)
    )
    mine = [pair for pair in valid if pair[0].pk in still]
    if not mine or _has_nothing_to_list(site_day, mine):
        return False
    letter = write_letter(site_day, address, mine, now)
    try:
        with transaction.atomic():
            message = Message.objects.create(
                message_id=letter.message_id,
                site=site_day.site,
                person=letter.reader,
                recipient=address,
                day=site_day.day,
                subject=letter.subject,
                raw=letter.raw,
                due_at=now,
                recorded_at=now,
            )
    except IntegrityError:
        return False
    Reminder.objects.filter(pk__in=still).update(state=Reminder.State.WRITTEN, message=message)
    return True


def _has_nothing_to_list(site_day: SiteDay, valid: list[tuple[Reminder, Ending | None]]) -> bool:
    """Whether all there is to send are lists with nothing on them."""
    rows = [row for row, _ending in valid]
    if any(row.kind != WEEK_LIST for row in rows):
        return False
    return not any(there.upcoming() for there in sites_listed(site_day, rows))


def rewrite_message(
    message: Message,
    pending: PendingReminders,
    elsewhere: Collection[Reminder],
    now: datetime,
    day: date,
) -> ComposedMail | None:
    """Write a message anew with the reminders that still hold, before it is tried again.

    What was fixed would no longer be true, so this is another message with another
    Message-ID, in the same row. None where nothing is left to say: then it is withdrawn.
    Those whose readers have another address by now, ``elsewhere``, wait for the next sweep.
    """
    with transaction.atomic():
        close_obsolete(pending)
        mine = Message.objects.unsent().filter(pk=message.pk, claimed_at=message.claimed_at)
        let_wait_again(message.reminders.filter(pk__in=[row.pk for row in elsewhere]))
        if not pending.valid:
            why = _("Nothing in it was needed any more.")
            if elsewhere:
                why = _("What it held goes into a later message.")
            mine.update(withdrawn_at=now, claimed_at=None, why_withdrawn=why)
            return None
        letter = write_letter(SiteDay(message.site, day), message.recipient, pending.valid, now)
        mine.update(
            message_id=letter.message_id,
            person=letter.reader,
            subject=letter.subject,
            raw=letter.raw,
        )
        return letter


def let_wait_again(reminders: QuerySet[Reminder]) -> None:
    """Have the next sweep write reminders anew that stood in a message which does not go out."""
    written = reminders.filter(state=Reminder.State.WRITTEN)
    written.update(state=Reminder.State.WAITING, message=None)
