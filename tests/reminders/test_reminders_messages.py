"""What a message says: enough to act on, and no health detail to anyone but the person."""

from email import message_from_bytes
from email.policy import SMTP

import pytest
from django.utils import translation

from people.models import Installation
from reminders.models import Message, Reminder
from reminders.services import mail
from tests.factories import (
    make_certificate,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.reminders.reminder_scenes import (
    DAY,
    days,
    ends_in,
    messages,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def castelmar():
    Installation.objects.create(id=1, organisation="Skarnfell Instruments")
    return make_site(address="Bench room 2, Thursdays from 14:00")


def vision_scene(left=7, **person):
    """Somebody whose vision test ends, with two scopes that stop, and their line lead."""
    someone = somebody("Marta Ruiz", lead=somebody("Lena Voss"), **person)
    for title in ("Turrets", "Cups"):
        scope = make_scope(title=title)
        revision = make_revision(scope, vision_months=12)
        make_certificate(someone, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(left, someone)
    return someone


def mail_to(name):
    return Message.objects.filter(recipient=f"{name}@skarnfell.example").latest("day")


def parts(message):
    mime = message_from_bytes(bytes(message.raw), policy=SMTP)
    return [mime.get_body((kind,)).get_content() for kind in ("plain", "html")]


def everything(message):
    return "\n".join([message.subject, *parts(message)]).lower()


def test_message_says_what_ends_when_what_to_do_where_and_whom_to_ask(castelmar):
    make_user("instructor", person=somebody("Ines Aldecoa", email=""))
    certificate = ends_in(7, somebody(lead=somebody("Lena Voss")))
    sweep()
    for text in parts(mail_to("marta")):
        assert f"Turrets: your certificate {certificate.number} expires" in text
        assert "The last good day is Wednesday 2 December 2026. That is in 7 days." in text
        assert "certify again by that day" in text
        assert "Bench room 2, Thursdays from 14:00" in text
        assert "Ines Aldecoa, or your line lead, Lena Voss" in text
        assert "http://127.0.0.1:8000/my-card/" in text
        assert "Skarnfell Instruments, Castelmar" in text
    assert mail_to("marta").subject == "Certified through Wed 2 Dec 2026: Turrets"


@pytest.mark.parametrize("host", ["müller-elektronik.example", "MÜLLER-Elektronik.example"])
def test_whoever_has_an_umlaut_in_their_address_reads_their_own_mail(host):
    person = vision_scene(email=f"Marta@{host}")
    sweep()
    message = Message.objects.get(recipient__startswith="marta@")
    assert message.recipient == "marta@xn--mller-elektronik-jzb.example"
    assert message.person == person
    for text in parts(message):
        assert "Dear Marta Ruiz" in text
        assert "Your vision test is good through" in text


def test_one_mailbox_in_two_spellings_is_read_by_two():
    vision_scene(email="bench@müller-elektronik.example")
    somebody("Ada Brink", email="bench@xn--mller-elektronik-jzb.example")
    sweep()
    message = Message.objects.get(recipient__startswith="bench@")
    assert message.person is None
    assert "vision" not in everything(message)


def test_headers_name_the_message_and_say_that_a_program_wrote_it(castelmar):
    ends_in(7)
    sweep()
    message = mail_to("marta")
    mime = message_from_bytes(bytes(message.raw), policy=SMTP)
    assert mime["Message-ID"] == f"<{message.message_id}>"
    assert mime["To"] == "Marta Ruiz <marta@skarnfell.example>"
    assert mime["From"] == "Jointworthy <no-reply@127.0.0.1>"
    assert mime["Date"] == "Wed, 25 Nov 2026 06:07:00 +0100"
    assert mime["Auto-Submitted"] == "auto-generated"
    assert mime["Content-Language"] == "en"
    assert mime.get_content_type() == "multipart/alternative"


def test_bytes_are_plain_ascii_in_short_lines():
    ends_in(
        7,
        somebody("Žofie Černá, \r\nBcc: x@y.example", email="z@skarnfell.example"),
        make_scope(title=("Türme " * 20).strip()),
    )
    sweep()
    raw = bytes(messages()[0].raw)
    assert raw.isascii()
    assert max(map(len, raw.split(b"\r\n"))) <= 998
    assert b"\nBcc" not in raw.partition(b"\r\n\r\n")[0]
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert len(messages()[0].subject) <= 160


@pytest.mark.parametrize(
    ("left", "title", "to_do"),
    [
        pytest.param(
            7,
            "Your vision test is good through Wednesday 2 December 2026",
            "Take a vision test before that day",
            id="to come",
        ),
        pytest.param(
            -1,
            "Your vision test was good through Tuesday 24 November 2026",
            "Do not do this work until you have passed a new vision test",
            id="over",
        ),
    ],
)
def test_person_reads_that_the_vision_test_ends_and_what_stops(left, title, to_do):
    vision_scene(left)
    sweep_and_send(DAY - days(3))
    sweep()
    for text in parts(mail_to("marta")):
        assert title in text
        assert "Cups; Turrets" in text
        assert to_do in text


@pytest.mark.parametrize("left", [7, -1])
def test_line_lead_reads_nothing_of_vision(left):
    vision_scene(left)
    sweep_and_send(DAY - days(3))
    sweep()
    copy = mail_to("lena")
    assert "see your instructor" in everything(copy)
    assert "Cups; Turrets" in parts(copy)[0]
    assert not {word for word in ("vision", "test", "eye", "health") if word in everything(copy)}


def test_line_lead_reads_of_every_end_in_the_same_words():
    lead = somebody("Lena Voss")
    person = vision_scene()
    person.line_lead = lead
    person.save()
    ends_in(7, somebody("Ada Brink", lead=lead), make_scope(title="Cups; Turrets"))
    sweep()
    lines = [line for line in parts(mail_to("lena"))[0].splitlines() if line.startswith("- ")]
    assert len(lines) == 2
    assert len(set(lines)) == 1


def test_shared_mailbox_is_told_nothing_of_vision():
    vision_scene(email="bench3@skarnfell.example")
    somebody("Ben Carlow", email="BENCH3@skarnfell.example")
    sweep()
    text = everything(mail_to("bench3"))
    assert "marta ruiz (" in text
    assert "vision" not in text


def test_subject_says_nothing_of_vision_even_to_the_person():
    vision_scene()
    sweep()
    assert mail_to("marta").subject == "Certified through Wed 2 Dec 2026: Cups; Turrets"


def test_line_lead_is_asked_to_pass_on_to_who_has_no_address():
    ends_in(60, somebody("Ada Brink", lead=somebody("Lena Voss"), email=""))
    sweep()
    for text in parts(mail_to("lena")):
        assert "There is no address for them here: please pass this on." in text


def test_what_has_ended_says_not_to_work():
    ends_in(-1)
    sweep_and_send(DAY - days(2))
    sweep()
    text = parts(mail_to("marta"))[0]
    assert "The last good day was Tuesday 24 November 2026." in text
    assert "Do not do this work until you are certified again." in text
    assert mail_to("marta").subject == "Not certified since Wed 25 Nov 2026: Turrets"


def test_names_are_text_and_not_markup():
    ends_in(7, somebody("Ada <b>Brink"), make_scope(title="Turrets & hooks"))
    sweep()
    plain, html = parts(mail_to("ada"))
    assert "Dear Ada <b>Brink," in plain
    assert "Turrets & hooks" in plain
    assert "Dear Ada &lt;b&gt;Brink," in html


def test_message_is_in_the_readers_language_with_dates_as_written_there():
    ends_in(7, somebody("Marta Ruiz", language="de"))
    ends_in(7, somebody("Ada Brink", language="xx"))
    with translation.override("en"):
        sweep()
        assert translation.get_language() == "en"
    for text in parts(mail_to("marta")):
        assert "Guten Tag Marta Ruiz," in text
        assert "Der letzte gültige Tag ist Mittwoch, 2. Dezember 2026. Das ist in 7 Tagen." in text
    assert mail_to("marta").subject == "Zertifiziert bis Mi, 02.12.2026: Turrets"
    assert 'lang="de"' in parts(mail_to("marta"))[1]
    assert "Wednesday 2 December 2026" in parts(mail_to("ada"))[0]


def test_message_names_the_sites_office_before_the_instructors(castelmar):
    castelmar.contact = "Training office, ext. 4410"
    castelmar.save()
    make_user("instructor", person=somebody("Ines Aldecoa", email=""))
    ends_in(7)
    sweep()
    for text in parts(mail_to("marta")):
        assert "Training office, ext. 4410, Ines Aldecoa" in text


# The instructor's list of the week


def test_instructor_gets_the_list_of_the_week_once():
    make_user("instructor", person=somebody("Ines Aldecoa"))
    ends_in(40)
    monday = DAY - days(2)
    for shift in range(9):
        sweep_and_send(monday + days(shift))
    to_ines = Message.objects.filter(recipient="ines@skarnfell.example").order_by("day")
    assert [message.day for message in to_ines] == [monday, monday + days(7)]
    text = mail.text_of(to_ines[0])
    assert "What ends at Castelmar through Friday 22 January 2027" in text
    assert "- Mon 4 Jan 2027: Marta Ruiz" in text
    assert "certificate: Turrets" in text


def test_list_of_the_week_says_that_it_is_a_vision_test():
    make_user("instructor", person=somebody("Ines Aldecoa"))
    vision_scene()
    sweep()
    assert "vision test: Cups; Turrets" in mail.text_of(mail_to("ines"))


def test_instructor_who_is_reminded_too_gets_one_message():
    ines = somebody("Ines Aldecoa")
    make_user("instructor", person=ines)
    ends_in(7, ines, make_scope(title="Turrets, instructor"))
    sweep()
    text = mail.text_of(mail_to("ines"))
    assert Message.objects.count() == 1
    assert "Turrets, instructor: your certificate" in text
    assert "What ends at Castelmar" in text


def test_list_is_not_sent_where_nothing_ends_soon():
    make_user("instructor", person=somebody("Ines Aldecoa"))
    ends_in(61, steps=[])
    sweep()
    assert not Reminder.objects.exists()


def test_instructor_of_another_site_gets_no_list():
    make_user("instructor", person=somebody("Ines Aldecoa", site=make_site("Aldergate", "AL")))
    ends_in(40)
    sweep()
    assert not Message.objects.filter(recipient="ines@skarnfell.example").exists()
