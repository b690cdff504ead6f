"""Each booking, change and cancellation goes out once, as one entry that a calendar keeps up."""

import smtplib
from datetime import date, time, timedelta
from email import message_from_bytes
from email.policy import SMTP

import pytest
from django.core import mail as django_mail
from django.db import connection
from django.urls import reverse
from icalendar import Calendar

from people.models import Person
from people.services.people import change_person
from reminders.exceptions import CannotSendAgain
from reminders.models import Message
from reminders.services import mail, sweep
from tests.assessments.together import at_once
from tests.factories import NOW, TODAY, make_person, make_session, make_site, make_user
from tests.paper import pages_of
from training.models import ClassLetter, ClassSession, Enrolment
from training.services import booking, cancelling, courses, waiting

pytestmark = pytest.mark.django_db

LATER = TODAY + timedelta(days=7)
Kind = ClassLetter.Kind


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def person():
    return make_person(full_name="Bo Arvid", email="bo@example.org")


def planned(instructor, **fields):
    return make_session(
        **{
            "instructor": instructor,
            "starts_on": LATER,
            "ends_on": LATER + timedelta(days=1),
            "places": 2,
            **fields,
        }
    )


def enrol(session, *people):
    return courses.enrol_people(session=session, people=people, actor=session.instructor, at=NOW)


def change(session, **fields):
    session = ClassSession.objects.get(pk=session.pk)
    kept = ("instructor", "starts_on", "ends_on", "places", "room")
    return courses.change_class(
        session=session,
        **{name: getattr(session, name) for name in kept} | fields,
        actor=session.instructor,
        at=NOW,
    )


def send(now=NOW):
    return mail.send_due_messages(clock=lambda: now)


def subjects():
    """What went out, in its order: what each subject says before the class."""
    return [one.subject.split(":")[0] for one in django_mail.outbox]


def refused_for_now():
    return smtplib.SMTPRecipientsRefused({"bo@example.org": (450, b"try later")})


def put_right(person, **details):
    change_person(person=person, actor=make_user("administrator"), at=NOW, **details)


def letters_to(address):
    """What waits for an address, the first first: its text and its calendar entry."""
    found = []
    for message in Message.objects.filter(recipient=address).order_by("pk"):
        parsed = message_from_bytes(bytes(message.raw), policy=SMTP)
        part = parsed.get_body(("plain",))
        entries = [one for one in parsed.walk() if one.get_content_type() == "text/calendar"]
        found.append((message, part.get_content(), entries))
    return found


def entry_of(parts):
    [part] = parts
    read = Calendar.from_ical(part.get_payload(decode=True))
    [event] = read.walk("VEVENT")
    assert part.get_param("method") == read["METHOD"]
    return read["METHOD"], event


def test_one_entry_is_made_changed_and_taken_away(instructor, person):
    session = planned(instructor)
    [enrolment] = enrol(session, person)
    enrol(session, person)
    change(session, room="Bench room 2", starts_on=LATER + timedelta(days=1))
    change(session, places=4)
    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)
    enrol(session, person)

    entries = [entry_of(parts) for _message, _text, parts in letters_to("bo@example.org")]

    assert [method for method, _event in entries] == ["REQUEST", "REQUEST", "CANCEL", "REQUEST"]
    assert [event["SEQUENCE"] for _method, event in entries] == [0, 1, 2, 3]
    assert len({event["UID"] for _method, event in entries}) == 1
    assert len({event["ORGANIZER"] for _method, event in entries}) == 1
    first, second = entries[0][1], entries[1][1]
    assert (first["DTSTART"].dt.date(), second["DTSTART"].dt.date()) == (
        LATER,
        LATER + timedelta(days=1),
    )
    assert first["DTSTART"].dt.time() == time(7)
    assert "Bench room 2" in second["LOCATION"]
    assert first["ATTENDEE"] == "mailto:bo@example.org"


def test_cancelled_class_tells_everybody_why_and_who_waits_too(instructor, person):
    waits = make_person(email="wren@example.org")
    session = planned(instructor, places=1)
    enrol(session, person)
    waiting.wait_for_place(session=session, people=[waits], actor=instructor, at=NOW)

    cancelling.cancel_class(
        session=session, reason="The extraction is broken", actor=instructor, at=NOW
    )

    _message, text, parts = letters_to("bo@example.org")[-1]
    assert "Reason: The extraction is broken" in text
    assert entry_of(parts)[0] == "CANCEL"
    [(_message, text, parts)] = letters_to("wren@example.org")
    assert "is cancelled" in text
    assert parts == []
    assert not session.enrolments.exists()
    assert not session.waiting_places.exists()
    assert not ClassSession.objects.running_on(LATER).exists()
    for refused in (
        lambda: enrol(session, person),
        lambda: change(session, places=3),
        lambda: cancelling.cancel_class(session=session, reason="x", actor=instructor, at=NOW),
    ):
        with pytest.raises(courses.TrainingError, match="is cancelled"):
            refused()


def test_who_moves_up_is_told_in_their_language(instructor, person):
    session = planned(instructor, places=1)
    [enrolment] = enrol(session, make_person())
    Person.objects.filter(pk=person.pk).update(language="de")
    person.refresh_from_db()
    waiting.wait_for_place(session=session, people=[person], actor=instructor, at=NOW)
    assert letters_to("bo@example.org") == []

    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)

    [(message, _text, parts)] = letters_to("bo@example.org")
    assert entry_of(parts)[0] == "REQUEST"
    assert b"Content-Language: de" in bytes(message.raw)
    assert ClassLetter.objects.get(person=person).says["moved_up"] is True


def test_line_lead_is_told_once_an_act(instructor):
    lead = make_person(full_name="Tove Lind", email="tove@example.org")
    people = [make_person(full_name=name, line_lead=lead) for name in ("Ada Berg", "Cai Dahl")]

    enrol(planned(instructor), *people)

    [(_message, text, parts)] = letters_to("tove@example.org")
    assert "Ada Berg" in text
    assert "Cai Dahl" in text
    assert parts == []


def test_class_that_is_over_writes_to_nobody(instructor, person):
    yesterday = TODAY - timedelta(days=1)
    enrol(planned(instructor, starts_on=yesterday, ends_on=yesterday), person)

    assert not Message.objects.exists()
    assert not ClassLetter.objects.exists()


def test_whoever_has_left_is_written_to_no_more(instructor, person):
    session, stays = planned(instructor), make_person(email="cy@example.org")
    enrol(session, person, stays)
    Person.objects.filter(pk=person.pk).update(left_on=TODAY - timedelta(days=1))
    change(session, room="Bench room 2")

    assert len(letters_to("bo@example.org")) == 1
    assert len(letters_to("cy@example.org")) == 2
    assert ClassLetter.objects.filter(person=person).count() == 1


def test_letter_goes_out_once_beside_the_reminders_and_outlives_the_day(instructor, person):
    session = planned(instructor)
    next_day = NOW + timedelta(days=1)
    for act in (lambda: enrol(session, person), lambda: change(session, room="Bench room 2")):
        act()
        sweep.withdraw_stale_messages(session.site, session.site.today(next_day), next_day)
        for _round in range(2):
            send(next_day)

    assert [one.to for one in django_mail.outbox] == [["bo@example.org"]] * 2
    assert subjects() == ["You have a place", "Changed"]


def test_of_letters_that_wait_the_latest_alone_goes_out(instructor, person):
    session = planned(instructor)
    other = planned(instructor, starts_on=LATER + timedelta(days=9), ends_on=LATER + timedelta(9))
    [enrolment] = enrol(session, person)
    enrol(other, person)
    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)

    send()

    assert sorted(subjects()) == ["Place given free", "You have a place"]
    first = Message.objects.order_by("pk").first()
    assert (first.state, first.why_withdrawn) == (
        "withdrawn",
        "A later letter about the class takes its place.",
    )


def test_letter_on_paper_takes_the_place_of_a_mail_that_waits(instructor, person):
    [enrolment] = enrol(planned(instructor), person)
    put_right(person, email="")
    enrolment = Enrolment.objects.get(pk=enrolment.pk)
    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)

    send()

    assert django_mail.outbox == []
    assert Message.objects.get().state == "withdrawn"


def test_word_of_a_cancelled_class_leaves_a_lost_place_to_be_told_of(instructor, person):
    """Whoever only waited is sent no calendar entry, which an earlier letter is to take back."""
    session = planned(instructor, places=1)
    [enrolment] = enrol(session, person)
    send()
    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)
    enrol(session, make_person())
    waiting.wait_for_place(session=session, people=[person], actor=instructor, at=NOW)
    cancelling.cancel_class(session=session, reason="No tin", actor=instructor, at=NOW)

    send()

    assert subjects() == ["You have a place", "Place given free", "Cancelled"]


@pytest.mark.parametrize("answer", ["250 queued", refused_for_now()], ids=["taken", "refused"])
def test_letter_waits_while_an_earlier_one_is_being_sent(instructor, person, monkeypatch, answer):
    """By whichever worker: one sends the invitation as the place is taken back."""
    [enrolment] = enrol(planned(instructor), person)
    taken = []

    def deliver(_post, _recipient, raw):
        taken.append(message_from_bytes(raw, policy=SMTP)["Subject"].partition(":")[0])
        if len(taken) > 1:
            return "250 queued"
        courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)
        assert send().sent == 0
        if isinstance(answer, BaseException):
            raise answer
        return answer

    monkeypatch.setattr(mail.MailConnection, "deliver", deliver)
    send()
    for hours in range(3):
        send(NOW + timedelta(hours=hours))

    assert taken == ["You have a place", "Place given free"]
    states = Message.objects.order_by("pk")
    first = "sent" if isinstance(answer, str) else "withdrawn"
    assert [message.state for message in states] == [first, "sent"]


def test_letter_given_up_is_not_sent_again_after_a_later_one(instructor, person):
    [enrolment] = enrol(planned(instructor), person)
    Message.objects.update(failed_at=NOW, refused=True)
    courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)
    send()

    with pytest.raises(CannotSendAgain, match="A later letter"):
        mail.send_again(message=Message.objects.earliest("pk"), actor=instructor, at=NOW)
    assert subjects() == ["Place given free"]


def test_letter_given_up_is_sent_again_as_it_was_unless_the_address_changed(instructor, person):
    enrol(planned(instructor), person)
    message = Message.objects.get()
    Message.objects.update(failed_at=NOW, refused=True, attempts=10)
    later = NOW + timedelta(days=3)

    mail.send_again(message=message, actor=instructor, at=later)
    message.refresh_from_db()
    assert (message.failed_at, message.withdrawn_at, message.due_at) == (None, None, later)

    Message.objects.update(failed_at=NOW)
    Person.objects.filter(pk=person.pk).update(email="bo@example.net")
    with pytest.raises(CannotSendAgain, match="address has changed"):
        mail.send_again(
            message=Message.objects.select_related("person").get(), actor=instructor, at=later
        )


def test_letter_that_waits_goes_to_the_address_put_right_meanwhile(instructor):
    lead = make_person(full_name="Tove Lind", email="tove.wrong@other.example")
    person = make_person(full_name="Bo Arvid", email="bo.wrong@other.example", line_lead=lead)
    enrol(planned(instructor), person)
    ids = set(Message.objects.values_list("message_id", flat=True))
    put_right(person, email="bo@example.net")
    put_right(lead, email="tove@example.net")

    for _round in range(2):
        send()

    own, to_lead = sorted(django_mail.outbox, key=lambda one: one.to)
    assert [one.to for one in (own, to_lead)] == [["bo@example.net"], ["tove@example.net"]]
    assert str(own.message()["To"]) == "Bo Arvid <bo@example.net>"
    assert str(to_lead.message()["To"]) == "Tove Lind <tove@example.net>"
    assert "Bo Arvid" in to_lead.message().get_body(("plain",)).get_content()
    for message in Message.objects.all():
        assert (message.state, message.person.email) == ("sent", message.recipient)
    assert set(Message.objects.values_list("message_id", flat=True)) == ids
    [(_message, text, parts)] = letters_to("bo@example.net")
    assert "You have a place in" in text
    assert entry_of(parts)[1]["ATTENDEE"] == "mailto:bo@example.net"


def test_letter_that_waits_is_given_up_where_its_address_was_taken_away(instructor, person):
    enrol(planned(instructor), person)
    put_right(person, email="")

    send()

    assert django_mail.outbox == []
    message = Message.objects.get()
    assert (message.state, message.answer) == ("failed", "There is no address to write to.")


def test_who_has_no_mail_gets_a_letter_on_paper_until_it_is_printed(client, faces, instructor):
    today = make_site().today()
    days = {"starts_on": today + timedelta(days=3), "ends_on": today + timedelta(days=3)}
    session = planned(instructor, **days)
    people = [make_person(full_name=name, email="") for name in ("Ada Berg", "Cai Dahl")]
    [first, _second] = enrol(session, *people)
    courses.cancel_enrolment(enrolment=first, actor=instructor, at=NOW)
    client.force_login(instructor)
    page = reverse("training:class_detail", args=[session.number])

    assert "2 people have no mail" in client.get(page).content.decode()
    pdf = client.get(reverse("training:class_letters", args=[session.number])).content
    texts = pages_of(pdf)
    assert len(texts) == 2
    assert "Ada Berg" in texts[0]
    assert "any more" in texts[0]
    assert "You have a place in" in texts[1]

    printed = reverse("training:class_letters_printed", args=[session.number])
    latest = [person.class_letters.order_by("sequence").last().pk for person in people]
    for answer in ("2 letters are noted", "0 letters are noted"):
        assert answer in client.post(printed, {"letter": latest}, follow=True).content.decode()
    assert "have no mail" not in client.get(page).content.decode()
    assert not ClassLetter.objects.filter(printed_at__isnull=True).exists()
    assert client.post(printed, {"letter": "x"}, follow=True).status_code == 200


def test_class_is_cancelled_on_its_page_with_a_reason(client, instructor, person):
    today = make_site().today()
    session = planned(instructor, starts_on=today, ends_on=today + timedelta(days=1))
    enrol(session, person)
    client.force_login(instructor)
    address = reverse("training:class_cancel", args=[session.number])

    assert "Say why." in client.post(address, {"reason": " "}, follow=True).content.decode()
    told = client.post(address, {"reason": "No tin"}, follow=True).content.decode()
    assert "This class is cancelled." in told
    assert "No tin" in told
    again = client.post(address, {"reason": "No tin"}, follow=True).content.decode()
    assert "is cancelled. Plan another class." in again
    listed = client.get(reverse("training:class_list")).content.decode()
    assert session.number not in listed
    everything = client.get(reverse("training:class_list"), {"when": "all"}).content.decode()
    assert session.number in everything


def test_letter_says_the_days_as_they_were_when_it_was_written(instructor, person):
    session = planned(instructor)
    enrol(session, person)
    change(session, ends_on=LATER)

    said = [letter.says["days"] for letter in ClassLetter.objects.order_by("sequence")]
    assert [len(days) for days in said] == [2, 1]
    assert date.fromisoformat(said[1][0]) == LATER


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_place_booked_by_two_presses_at_once_is_one_letter():
    session = planned(make_user("instructor"), open_to="site")
    person = make_person(email="bo@example.org")

    def book():
        return booking.book_place(session=session, person=person, actor="test", at=NOW)

    first, second = at_once(book, book)

    assert first == second
    assert [message.recipient for message in Message.objects.all()] == ["bo@example.org"]
