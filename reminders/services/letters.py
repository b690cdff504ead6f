"""What a message about endings says, to whom, and the bytes that carry it.

Nobody but the person reads that it is a vision test that ends; instructors, who arrange
for it, see it in their list. All others read of every end in the same words, so that the
words do not tell which it is.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification.models import Scope
from people.models import Installation, Person, Site
from people.presenters.days import format_letter_day, format_short_letter_day
from people.queries.languages import in_language, language_of
from reminders.domain.reminders import Ending
from reminders.models import Reminder
from reminders.queries.ends import (
    CALIBRATION,
    LIST_REACHES,
    WEEK_LIST,
    ends_of,
    upcoming_people,
)
from reminders.queries.pending import site_of_list
from reminders.queries.proposals import proposals_in
from reminders.queries.readers import address_of, instructors_at, people_of

NAMES_TO_ASK = 3
LONGEST_SUBJECT = 160


@dataclass(frozen=True)
class ComposedMail:
    """A mail as it goes out; ``reader`` is nobody where several people read the mailbox."""

    message_id: str
    reader: Person | None
    subject: str
    raw: bytes


@dataclass(frozen=True)
class EndingText:
    """One end as it is written about: what it is, what holds, and what to do."""

    title: str
    says: str
    to_do: str


@dataclass(frozen=True)
class PersonEndings:
    """What the line lead reads of somebody."""

    name: str
    number: str
    passes_on: bool
    lines: list[str]


class SiteDay:
    """What many letters of one site and day share, read once."""

    def __init__(self, site: Site, day: date) -> None:
        self.site = site
        self.day = day
        self.scopes = dict(Scope.objects.values_list("pk", "title"))
        self.organisation = Installation.current().organisation
        self.instructors = [person.full_name for person in instructors_at(site, day)][:NAMES_TO_ASK]
        self.to_ask = ", ".join(filter(None, [site.contact, *self.instructors]))
        self._upcoming: list[tuple[Person, Ending]] | None = None
        self._elsewhere: dict[str, SiteDay] = {}

    def at(self, prefix: str) -> "SiteDay":
        """The same day at the site with a prefix, for those of this one who teach there."""
        if prefix == self.site.prefix:
            return self
        if prefix not in self._elsewhere:
            self._elsewhere[prefix] = SiteDay(Site.objects.get(prefix=prefix), self.day)
        return self._elsewhere[prefix]

    def upcoming(self) -> list[tuple[Person, Ending]]:
        """What ends for anybody at the site within the reach of the week's list."""
        if self._upcoming is None:
            self._upcoming = upcoming(self.site, self.day)
        return self._upcoming

    def what(self, ending: Ending) -> str:
        """What an end stops: the scopes, or the tool."""
        if ending.kind == CALIBRATION:
            return ending.source.split(":")[1]
        return "; ".join(sorted(self.scopes[pk] for pk in ending.scope_ids))


def upcoming(site: Site, day: date) -> list[tuple[Person, Ending]]:
    people = {person.pk: person for person in people_of(upcoming_people(site, day))}
    endings = [
        ending
        for ending in ends_of(people).on(day)
        if day <= ending.ends_on <= day + LIST_REACHES and ending.person_id in people
    ]
    return sorted(
        ((people[ending.person_id], ending) for ending in endings),
        key=lambda pair: (pair[1].ends_on, pair[0].full_name, pair[1].source),
    )


def sites_listed(site_day: SiteDay, rows: Iterable[Reminder]) -> list[SiteDay]:
    """The day at each site of whose people the lists among some reminders are to tell."""
    prefixes = {site_of_list(row) for row in rows if row.kind == WEEK_LIST}
    return [site_day.at(prefix) for prefix in sorted(prefixes)]


def write_letter(
    site_day: SiteDay,
    address: str,
    valid: Sequence[tuple[Reminder, Ending | None]],
    now: datetime,
) -> ComposedMail:
    """Write the mail that carries some reminders to one address.

    Parameters
    ----------
    site_day : SiteDay
    address : str
    valid : sequence of (Reminder, Ending or None)
        Reminders that hold, all for readers of this address, with person and recipient.
    now : datetime
        The instant the mail is dated.
    """
    reader = _only_reader(address)
    language = language_of(reader or valid[0][0].recipient)
    with in_language(language):
        own = [
            (row, ending)
            for row, ending in valid
            if ending is not None and reader is not None and row.person_id == reader.pk
        ]
        others = [pair for pair in valid if pair[1] is not None and pair not in own]
        context = _mail_context(site_day, reader, own, others, valid)
        subject = _subject(site_day, own, others, context)
        bodies = [
            render_to_string(f"reminders/email/reminders.{kind}", context | {"subject": subject})
            for kind in ("txt", "html")
        ]
    message_id = f"{uuid4().hex}@{urlsplit(settings.PUBLIC_URL).hostname}"
    mail = EmailMessage(policy=SMTP)
    mail["Message-ID"] = f"<{message_id}>"
    mail["Date"] = format_datetime(now.astimezone(site_day.site.zone))
    mail["From"] = settings.DEFAULT_FROM_EMAIL
    mail["To"] = Address(_one_line(reader.full_name) if reader else "", addr_spec=address)
    mail["Subject"] = subject
    mail["Auto-Submitted"] = "auto-generated"
    # Bytes that every mail server passes on unchanged.
    mail.set_content(bodies[0], cte="quoted-printable")
    mail.add_alternative(bodies[1], subtype="html", cte="quoted-printable")
    mail["Content-Language"] = language
    return ComposedMail(message_id, reader, subject, mail.as_bytes())


def _only_reader(address: str) -> Person | None:
    """The one person who reads mail at an address; nobody where several do."""
    name = address.rpartition("@")[0]
    # A domain may be stored in letters that no mail's head may hold, so it is compared as used.
    alike = Person.objects.filter(email__istartswith=f"{name}@").select_related("line_lead")
    people = [person for person in alike if address_of(person) == address]
    return people[0] if len(people) == 1 else None


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _days_left(ends_on: date, day: date) -> str:
    left = (ends_on - day).days
    if left <= 0:
        return _("That is today.")
    return ngettext("That is in %(n)d day.", "That is in %(n)d days.", left) % {"n": left}


# Words


def _mail_context(
    site_day: SiteDay,
    reader: Person | None,
    own: Sequence[tuple[Reminder, Ending | None]],
    others: Sequence[tuple[Reminder, Ending | None]],
    valid: Sequence[tuple[Reminder, Ending | None]],
) -> dict[str, Any]:
    site = site_day.site
    listed = sites_listed(site_day, (row for row, _ending in valid))
    mine = [ending for _row, ending in own if ending is not None]
    return {
        "reader": reader,
        "items": [
            _ending_text(site_day, ending)
            for ending in sorted(mine, key=lambda ending: ending.ends_on)
        ],
        "people": _person_endings(site_day, others, shared=reader is None),
        "shared": reader is None,
        "lists": [
            (there.site.name, [_list_line(there, *pair) for pair in there.upcoming()])
            for there in listed
        ],
        "through": format_letter_day(site_day.day + LIST_REACHES),
        "proposals": _proposal_lines(row for row, _ending in valid),
        "decide_url": settings.PUBLIC_URL + reverse("certification:proposals_decide"),
        "day": format_letter_day(site_day.day),
        "site": site,
        "to_ask": site_day.to_ask,
        "lead": reader.line_lead if reader and reader.line_lead_id else None,
        "organisation": site_day.organisation,
        "card_url": settings.PUBLIC_URL + reverse("certification:my_card"),
        "choices_url": settings.PUBLIC_URL + reverse("reminders:mail_choices"),
        "register_url": settings.PUBLIC_URL + reverse("certification:register"),
        "to_book": any(ending.kind != CALIBRATION for ending in mine),
        "language": translation.get_language(),
    }


def _ending_text(site_day: SiteDay, ending: Ending) -> EndingText:
    what = site_day.what(ending)
    words = {
        "what": what,
        "day": format_letter_day(ending.ends_on),
        "left": _days_left(ending.ends_on, site_day.day),
        "number": ending.source.split(":")[1],
    }
    past = ending.ends_on < site_day.day
    match ending.kind, past:
        case "vision", False:
            return EndingText(
                _("Your vision test is good through %(day)s") % words,
                _("%(left)s Without a new one you are not certified after it for: %(what)s.")
                % words,
                _("Take a vision test before that day and have the result entered."),
            )
        case "vision", True:
            return EndingText(
                _("Your vision test was good through %(day)s") % words,
                _("Since then you are not certified for: %(what)s.") % words,
                _("Do not do this work until you have passed a new vision test and it is entered."),
            )
        case "practice", False:
            return EndingText(
                _("%(what)s: work of this kind is needed by %(day)s") % words,
                _("%(left)s If none is entered, certificate %(number)s ends then.") % words,
                _("Do such work by that day and have it entered and confirmed."),
            )
        case "practice", True:
            return EndingText(
                _("%(what)s: no qualifying work recorded for too long") % words,
                _("Certificate %(number)s ended with %(day)s.") % words,
                _("Do not do this work until you are certified again; later work does not count."),
            )
        case "calibration", False:
            return EndingText(
                _("Tool %(what)s: calibration is good through %(day)s") % words,
                _("%(left)s You are responsible for this tool.") % words,
                _("Have it calibrated before that day, or take it out of use."),
            )
        case "calibration", True:
            return EndingText(
                _("Tool %(what)s: calibration was good through %(day)s") % words,
                _("You are responsible for this tool."),
                _("Take it out of use until it is calibrated."),
            )
        case _, False:
            return EndingText(
                _("%(what)s: your certificate %(number)s expires") % words,
                _("The last good day is %(day)s. %(left)s") % words,
                _(
                    "To go on without a break, certify again by that day: "
                    "an instructor gives you the boards."
                ),
            )
    return EndingText(
        _("%(what)s: your certificate %(number)s has expired") % words,
        _("The last good day was %(day)s.") % words,
        _("Do not do this work until you are certified again."),
    )


def _person_endings(
    site_day: SiteDay, others: Iterable[tuple[Reminder, Ending | None]], shared: bool
) -> list[PersonEndings]:
    lines: dict[Person, list[Ending]] = defaultdict(list)
    for row, ending in others:
        if ending is not None and ending not in lines[row.person]:
            lines[row.person].append(ending)
    return [
        PersonEndings(
            name=person.full_name,
            number=person.employee_number,
            passes_on=not person.email and not shared,
            lines=[
                plain_words(site_day, ending)
                for ending in sorted(endings, key=lambda ending: ending.ends_on)
            ],
        )
        for person, endings in sorted(lines.items(), key=lambda pair: pair[0].full_name)
    ]


def plain_words(site_day: SiteDay, ending: Ending) -> str:
    """What anybody but the person reads of an end, whatever its kind."""
    words = {
        "what": site_day.what(ending),
        "day": format_letter_day(ending.ends_on),
        "since": format_letter_day(ending.ends_on + timedelta(days=1)),
    }
    if ending.kind == CALIBRATION:
        return _("Tool %(what)s: calibration good through %(day)s.") % words
    if ending.ends_on < site_day.day:
        return _("%(what)s: not current since %(since)s: see your instructor.") % words
    return _("%(what)s: certified through %(day)s, then not current: see your instructor.") % words


def _list_line(site_day: SiteDay, person: Person, ending: Ending) -> dict[str, str]:
    return {
        "day": format_short_letter_day(ending.ends_on),
        "name": person.full_name,
        "number": person.employee_number,
        "what": site_day.what(ending),
        "kind": kind_in_words(ending.kind),
    }


def _proposal_lines(rows: Iterable[Reminder]) -> list[str]:
    """Each proposal that waits: for whom and what, by whom, and since when; the oldest first."""
    proposals = sorted(
        proposals_in(rows).values(), key=lambda proposal: (proposal.recorded_at, proposal.pk)
    )
    return [
        _("%(name)s (%(number)s), %(scope)s: proposed by %(by)s on %(day)s")
        % {
            "name": proposal.person.full_name,
            "number": proposal.person.employee_number,
            "scope": proposal.scope.title,
            "by": proposal.signature.printed_name,
            "day": format_short_letter_day(proposal.person.site.today(proposal.recorded_at)),
        }
        for proposal in proposals
    ]


def kind_in_words(kind: str) -> str:
    match kind:
        case "proposal":
            return _("proposal that waits")
        case "vision":
            return _("vision test")
        case "practice":
            return _("practice gap")
        case "calibration":
            return _("calibration")
        case "list":
            return _("list of what ends")
    return _("certificate")


def _subject(
    site_day: SiteDay,
    own: Sequence[tuple[Reminder, Ending | None]],
    others: Sequence[tuple[Reminder, Ending | None]],
    context: dict[str, Any],
) -> str:
    """A subject that anybody may see on a locked phone: it does not say what kind of end."""
    mine = sorted((ending for _row, ending in own if ending), key=lambda ending: ending.ends_on)
    names = sorted({row.person.full_name for row, _ending in others})
    if len(mine) == 1:
        words = {
            "what": site_day.what(mine[0]),
            "day": format_short_letter_day(mine[0].ends_on),
            "since": format_short_letter_day(mine[0].ends_on + timedelta(days=1)),
        }
        past = mine[0].ends_on < site_day.day
        if mine[0].kind == CALIBRATION:
            text = _("Tool %(what)s: calibration through %(day)s") % words
        elif past:
            text = _("Not certified since %(since)s: %(what)s") % words
        else:
            text = _("Certified through %(day)s: %(what)s") % words
    elif mine:
        words = {"n": str(len(mine)), "day": format_short_letter_day(mine[0].ends_on)}
        tools = [ending.kind == CALIBRATION for ending in mine]
        if all(tools):
            text = _("Calibration of %(n)s tools of yours, the first through %(day)s") % words
        elif any(tools):
            text = _("%(n)s things end that concern you, the first on %(day)s") % words
        else:
            text = _("%(n)s of your certifications end, the first on %(day)s") % words
    elif len(names) == 1:
        text = _("Certification of %(name)s") % {"name": names[0]}
    elif names:
        text = _("Certification of %(n)s people in your line") % {"n": str(len(names))}
    elif proposals := context["proposals"]:
        text = ngettext(
            "%(n)s proposal waits for your decision",
            "%(n)s proposals wait for your decision",
            len(proposals),
        ) % {"n": str(len(proposals))}
    else:
        places = ", ".join(place for place, _lines in context["lists"])
        words = {"site": places, "day": format_short_letter_day(site_day.day)}
        text = _("What ends at %(site)s in the coming weeks, as of %(day)s") % words
    text = _one_line(text)
    return text if len(text) <= LONGEST_SUBJECT else text[: LONGEST_SUBJECT - 1] + "…"
