"""Mails, card and calendar in German: whole, with the dates as Germans write them."""

import re
from email import message_from_bytes
from email.policy import SMTP

import pytest
from django.urls import reverse
from django.utils.html import strip_tags
from icalendar import Calendar

from certification.services import standing
from reminders.models import Message
from reminders.services import calendars
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    days,
    ends_in,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)
from training.models import Calibration, Tool

pytestmark = pytest.mark.django_db

ENGLISH = re.compile(
    r"\b(the|your|you|is|are|with|through|certified|vision|days?|ask|where|of|and|not|until|"
    r"this|ends?|test|today)\b",
    re.IGNORECASE,
)


@pytest.fixture(autouse=True)
def werk():
    return make_site("Castelmar", "CA", address="Raum 2")


def german(name="Marta Ruiz", **fields):
    return somebody(name, language="de", **fields)


def texts_to(name):
    message = Message.objects.filter(recipient=f"{name}@skarnfell.example").latest("day")
    mime = message_from_bytes(bytes(message.raw), policy=SMTP)
    bodies = [mime.get_body((kind,)).get_content() for kind in ("plain", "html")]
    return [message.subject, bodies[0], strip_tags(bodies[1].partition("<body>")[2])]


def no_english_in(text):
    without_addresses = re.sub(r"https?://\S+|\S+@\S+", "", text)
    return ENGLISH.findall(without_addresses)


def practice_scene(person, left):
    """Somebody whose certificate ends for want of practice so many days from now."""
    scope = make_scope(title="Gabeln")
    revision = make_revision(scope, max_absence_months=6)
    issued = (DAY + days(left)).replace(month=5)
    make_certificate(person, scope, revision=revision, issued_on=issued)
    standing.rebuild_person(person)


def vision_scene(person, left):
    scope = make_scope(title="Gabeln")
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(left, person)


def tool_scene(person, left):
    tool = Tool.objects.create(code="IR-7", kind="iron", site=person.site, answers_for=person)
    Calibration.objects.create(
        tool=tool, calibrated_on=DAY - days(300), valid_through=DAY + days(left), passed=True
    )


def certificate_scene(person, left):
    ends_in(left, person, make_scope(title="Gabeln"))


@pytest.mark.parametrize("left", [3, 0, -1])
@pytest.mark.parametrize("scene", [certificate_scene, vision_scene, practice_scene, tool_scene])
def test_every_letter_is_german_throughout(scene, left):
    lead = german("Lena Voss")
    scene(german(lead=lead), left)
    make_user("instructor", person=german("Ines Aldecoa"))
    sweep_and_send(DAY - days(4))
    sweep()
    readers = {message.recipient.partition("@")[0] for message in Message.objects.all()}
    assert "marta" in readers
    for name in readers:
        for text in texts_to(name):
            assert no_english_in(text) == [], text


def test_several_ends_in_one_letter_are_german_throughout():
    lead = german("Lena Voss")
    person = german(lead=lead)
    certificate_scene(person, 3)
    vision_scene(person, 5)
    tool_scene(person, 6)
    certificate_scene(german("Ada Brink", lead=lead), 3)
    certificate_scene(german("Per Holm", lead=lead, email=""), 3)
    sweep()
    for name in ("marta", "lena"):
        for text in texts_to(name):
            assert no_english_in(text) == [], text
    assert texts_to("lena")[0] == "Zertifizierung von 3 Personen in Ihrer Linie"


def test_letter_says_what_when_what_to_do_where_and_whom_to_ask():
    make_user("instructor", person=somebody("Ines Aldecoa"))
    vision_scene(german(lead=somebody("Lena Voss")), 7)
    sweep()
    text = texts_to("marta")[1]
    assert "Ihr Sehtest gilt bis Mittwoch, 2. Dezember 2026" in text
    assert "Machen Sie bis dahin einen Sehtest und lassen Sie das Ergebnis eintragen." in text
    assert "Anmeldung und Ort: Raum 2" in text
    assert "Ines Aldecoa, oder Ihre Linienleitung, Lena Voss" in text


def test_line_lead_reads_nothing_of_vision_in_german_either():
    vision_scene(german(lead=german("Lena Voss")), 7)
    sweep()
    text = "\n".join(texts_to("lena")).lower()
    assert "in der ausbildung melden" in text
    assert not {word for word in ("seh", "auge", "vision", "gesund") if word in text}


def test_may_is_written_out():
    ends_in((DAY.replace(year=2027, month=5, day=3) - DAY).days, german(), steps=[365])
    sweep()
    assert "Montag, 3. Mai 2027" in texts_to("marta")[1]


# Pages


def words(answer):
    body = bytes(answer.content).decode().partition("<body")[2].partition(">")[2]
    return " ".join(strip_tags(body).split())


@pytest.fixture
def signed_in(client):
    person = german()
    client.force_login(make_user(person=person))
    return person


def test_card_is_german_for_its_reader(client, signed_in):
    today = signed_in.site.today()
    ends_in(10, signed_in, make_scope(title="Gabeln"), today=today)
    ends_in(-3, signed_in, make_scope(title="Kelche"), today=today)
    vision_scene(signed_in, 3)
    answer = client.get("/my-card/")
    assert '<html lang="de">' in answer.content.decode()
    assert answer["Content-Language"] == "de"
    assert "Wofür ich zertifiziert bin" in words(answer)
    assert no_english_in(words(answer)) == []


def test_pages_of_calendar_and_mails_are_german_too(client, signed_in):
    for name in ("calendar_address", "mail_choices"):
        answer = client.get(reverse(f"reminders:{name}"))
        assert no_english_in(words(answer)) == []
    made = client.post(reverse("reminders:calendar_address"))
    assert no_english_in(re.sub(r"/calendar/\S+", "", words(made))) == []


def test_page_is_in_its_readers_language_whatever_the_browser_asks_for(client, signed_in):
    answer = client.get(reverse("assessments:board_list"), headers={"accept-language": "en"})
    assert '<html lang="de">' in answer.content.decode()
    assert answer["Content-Language"] == "de"
    assert no_english_in(words(answer)) == []


def test_calendar_is_german(client, signed_in):
    ends_in(40, signed_in, make_scope(title="Gabeln"), today=signed_in.site.today())
    secret = calendars.make_address(person=signed_in, in_full=False, actor=signed_in.user, at=NOW)
    answer = client.get(reverse("reminders:calendar_feed", args=[secret]))
    [event] = Calendar.from_ical(answer.content).walk("VEVENT")
    assert str(event["summary"]) == "Zertifiziert bis zu diesem Tag: Gabeln"
    assert "Anmeldung und Ort: Raum 2" in str(event["description"])
    assert answer["Content-Language"] == "de"


def test_language_that_the_site_does_not_have_is_english(client):
    client.force_login(make_user(person=make_person(language="xx")))
    assert '<html lang="en">' in client.get("/my-card/").content.decode()
