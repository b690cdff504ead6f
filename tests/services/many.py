"""Many people whose certificates end soon, made in few queries, and what came of them."""

from collections import Counter, defaultdict
from datetime import UTC, datetime, time, timedelta

from django.utils import timezone

from certification.domain.standing import valid_through
from certification.models import Certificate
from certification.queries import standing_on_day
from certification.services import standing
from people.models import Person
from reminders.models import Message, Reminder
from reminders.models.reminders import CLAIM_LAPSES_AFTER
from tests.factories import make_revision, make_scope, make_site

LEFT = 30


def zone_of_the_forenoon() -> str:
    """A zone where no midnight is near, so that the day does not change under a test."""
    east = 10 - datetime.now(UTC).hour
    if east < -12:  # The zones of whole hours go from twelve west to fourteen east.
        east += 24
    return f"Etc/GMT{-east:+d}" if east else "UTC"


def make_many(people: int, scopes: int = 1, **of_site) -> list[str]:
    """People with so many certificates each that end in a month; return their addresses.

    The scheme has a single step, so every certificate is one reminder.
    """
    site = make_site(
        **{
            "send_hour": 0,
            "working_days": list(range(1, 8)),
            "time_zone": zone_of_the_forenoon(),
            **of_site,
        }
    )
    made = Person.objects.bulk_create(
        Person(
            employee_number=f"{40000 + number}",
            full_name=f"Person {number}",
            email=f"p{number}@skarnfell.example",
            site=site,
        )
        for number in range(people)
    )
    issued_on = site.today(timezone.now()) - timedelta(days=365 - LEFT)
    for nth in range(scopes):
        scope = make_scope()
        revision = make_revision(scope, validity_months=12, reminder_steps=[LEFT + 2])
        last = valid_through(standing_on_day.figures_of(revision), issued_on)
        Certificate.objects.bulk_create(
            Certificate(
                number=f"{site.prefix}-C-{nth}-{person.employee_number}",
                person=person,
                scope=scope,
                scheme_revision=revision,
                issued_on=issued_on,
                valid_through=last,
                origin=Certificate.Origin.IMPORTED,
                holder_name=person.full_name,
                recorded_at=datetime.combine(issued_on, time(9), UTC),
            )
            for person in made
        )
    standing.rebuild_people(person.pk for person in made)
    return [person.email for person in made]


def let_claims_lapse() -> None:
    """As if so much time had passed that whoever held a message has surely died."""
    long_ago = timezone.now() - 2 * CLAIM_LAPSES_AFTER
    Message.objects.filter(claimed_at__isnull=False, sent_at__isnull=True).update(
        claimed_at=long_ago
    )


def sent() -> int:
    return Message.objects.filter(sent_at__isnull=False).count()


def every_reminder_went_out_once(readers, reminders):
    """Each was recorded once, and is in one message that was sent."""
    rows = Reminder.objects.select_related("message")
    assert rows.count() == reminders
    assert {(row.state, row.message is not None) for row in rows} == {("written", True)}
    assert all(row.message.sent_at for row in rows)
    assert Counter(Message.objects.values_list("recipient", flat=True)) == Counter(readers)


def twice_at_the_server(server):
    """How many mails the server was given again, each of them recognisably."""
    by_reader = defaultdict(set)
    for (reader, raw), message_id in zip(server.given, server.message_ids, strict=True):
        by_reader[reader].add((message_id, raw))
    assert set(by_reader) == set(Message.objects.values_list("recipient", flat=True))
    fixed = {message.recipient: message for message in Message.objects.all()}
    for reader, mails in by_reader.items():
        message = fixed[reader]
        assert mails == {(f"<{message.message_id}>", bytes(message.raw))}, (
            "the same Message-ID and bytes"
        )
    return len(server.given) - len(by_reader)
