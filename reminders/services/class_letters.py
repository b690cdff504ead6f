"""Letters about classes as mails: each with a calendar entry, into the outbox in the same act."""

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from email import message_from_bytes
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse

from people.models import Installation, Person
from people.queries.languages import in_language, language_of
from reminders.models import Message
from reminders.queries.readers import address_of, reachable_lead
from training.domain.invitation import Invitation, Method, Party, calendar
from training.models import ClassLetter
from training.presenters.class_letter import (
    LetterText,
    days_of,
    hours_of,
    lead_text,
    letter_text,
)


def send_class_letters(letters: Sequence[ClassLetter]) -> set[int]:
    """Put the letters of one act into the outbox, and what line leads are told of them.

    Returns
    -------
    set of int
        The people who have an address.
    """
    mailed = set()
    by_lead: dict[Person, list[ClassLetter]] = defaultdict(list)
    for letter in letters:
        address = address_of(letter.person)
        if address:
            _queue_own(letter, address)
            mailed.add(letter.person_id)
        if not letter.says.get("waiting"):
            day = letter.person.site.today(letter.recorded_at)
            if (lead := reachable_lead(letter.person, day)) is not None:
                by_lead[lead].append(letter)
    for lead, of_their_people in by_lead.items():
        _queue_for_lead(lead, of_their_people)
    return mailed


def uid_of(letter: ClassLetter) -> str:
    """The same in every letter to one person about one class; it names neither."""
    name = f"{letter.session.number} {letter.person_id}"
    host = urlsplit(settings.PUBLIC_URL).hostname
    return f"class-{hashlib.sha256(name.encode()).hexdigest()[:32]}@{host}"


def is_outdated(message: Message) -> bool:
    """Whether a later letter to its reader about the same class takes a letter's place.

    By mail or on paper: whoever was invited and has lost the place since reads one letter, not two.
    """
    letter = _letter_in(message)
    if letter is None:
        return False
    later = ClassLetter.objects.filter(
        session=letter.session, person=letter.person, sequence__gt=letter.sequence
    )
    # A letter about a waiting place has no calendar entry, so it takes none back.
    return any(letter.says.get("waiting") or not one.says.get("waiting") for one in later)


def goes_after_another(message: Message, now: datetime) -> bool:
    """Whether an earlier letter to its reader about the same class is being sent just now."""
    letter = _letter_in(message)
    if letter is None:
        return False
    about_the_class = Message.objects.filter(
        person=message.person_id, message_id__startswith=f"{uid_of(letter).partition('@')[0]}."
    )
    return about_the_class.unsent().in_hands(now).filter(pk__lt=message.pk).exists()


def addressed_anew(message: Message, address: str) -> bytes:
    """The bytes of a letter or note that waits, to the address that its reader has by now.

    It is the same letter, so it keeps its Message-ID; its calendar entry invites the new address.
    """
    letter = _letter_in(message)
    if letter is not None:
        return _own_mail(letter, address)[0].as_bytes()
    mail = message_from_bytes(bytes(message.raw), policy=SMTP)
    mail.replace_header("To", Address(mail["To"].addresses[0].display_name, addr_spec=address))
    return mail.as_bytes()


def _letter_in(message: Message) -> ClassLetter | None:
    """The letter to the reader themselves that a message carries, told by its Message-ID."""
    if message.carries != Message.Carries.CLASS_LETTER:
        return None
    written_then = ClassLetter.objects.filter(
        person=message.person_id, recorded_at=message.recorded_at
    )
    for letter in written_then.select_related("session__site", "person__site"):
        if _message_id(letter) == message.message_id:
            return letter
    return None


def _message_id(letter: ClassLetter, suffix: str = "") -> str:
    name, _at, host = uid_of(letter).partition("@")
    return f"{name}.{letter.sequence}{suffix}@{host}"


def _queue_own(letter: ClassLetter, address: str) -> None:
    mail, text = _own_mail(letter, address)
    _queue(mail, letter.person, address, text, letter.recorded_at)


def _own_mail(letter: ClassLetter, address: str) -> tuple[EmailMessage, LetterText]:
    with in_language(language_of(letter.person)):
        text = letter_text(letter)
        mail = _mail(_message_id(letter), letter.person, address, text, letter)
        if not letter.says.get("waiting"):
            invitation = _invitation(letter, address, text)
            # RFC 6047: the method stands with the type of the part as well as in it.
            mail.add_alternative(
                calendar(invitation).decode(),
                subtype="calendar",
                cte="quoted-printable",
                params={"method": invitation.method.value},
            )
    return _in_language_of(letter.person, mail), text


def _queue_for_lead(lead: Person, letters: Sequence[ClassLetter]) -> None:
    first = letters[0]
    address = address_of(lead)
    with in_language(language_of(lead)):
        text = lead_text(letters)
        mail = _mail(_message_id(first, ".lead"), lead, address, text, first)
    _queue(_in_language_of(lead, mail), lead, address, text, first.recorded_at)


def _mail(
    message_id: str, reader: Person, address: str, text: LetterText, letter: ClassLetter
) -> EmailMessage:
    mail = EmailMessage(policy=SMTP)
    mail["Message-ID"] = f"<{message_id}>"
    mail["Date"] = format_datetime(letter.recorded_at.astimezone(letter.session.site.zone))
    mail["From"] = settings.DEFAULT_FROM_EMAIL
    mail["To"] = Address(" ".join(reader.full_name.split()), addr_spec=address)
    mail["Subject"] = text.subject
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(text.body, cte="quoted-printable")
    return mail


def _in_language_of(reader: Person, mail: EmailMessage) -> EmailMessage:
    # Last: the library takes it for a word about the part that is the content by then.
    mail["Content-Language"] = language_of(reader)
    return mail


def _invitation(letter: ClassLetter, address: str, text: LetterText) -> Invitation:
    cancelled = letter.kind == ClassLetter.Kind.CANCELLATION
    starts, ends = hours_of(letter)
    return Invitation(
        method=Method.CANCEL if cancelled else Method.REQUEST,
        uid=uid_of(letter),
        sequence=letter.sequence,
        summary=f"{letter.says['course']} ({letter.says['number']})",
        description="\n".join(text.paragraphs),
        location=text.place,
        # Always the site's own sender: a calendar takes a change from nobody but who invited.
        organizer=Party(
            Installation.current().organisation, parseaddr(settings.DEFAULT_FROM_EMAIL)[1]
        ),
        attendee=Party(letter.person.full_name, address),
        days=days_of(letter),
        starts=starts,
        ends=ends,
        zone=letter.says["zone"],
        stamp=letter.recorded_at,
        url=settings.PUBLIC_URL + reverse("training:class_offers"),
    )


def _queue(
    mail: EmailMessage, reader: Person, address: str, text: LetterText, at: datetime
) -> Message:
    return Message.objects.create(
        carries=Message.Carries.CLASS_LETTER,
        message_id=str(mail["Message-ID"]).strip("<>"),
        site=reader.site,
        person=reader,
        recipient=address,
        day=reader.site.today(at),
        subject=text.subject,
        raw=mail.as_bytes(),
        due_at=at,
        recorded_at=at,
    )
