"""What people choose about mails: language and how often lists come; nothing about their own."""

from datetime import date

import pytest
from django.core import mail as django_mail
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from people.domain.working_days import working_days as working_week
from people.models import Person, SiteRole, User
from records.models import TrailEntry
from reminders.domain.reminders import HowOften, list_through
from reminders.models import MailChoice, Message, Reminder
from reminders.services import lists as reminder_lists
from reminders.services import mail
from reminders.services.sweep import withdraw_message
from tests.factories import make_certificate, make_revision, make_scope, make_user
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    aldergate,
    at,
    days,
    ends_in,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)

pytestmark = pytest.mark.django_db

PAGE = reverse("reminders:mail_choices")
MONDAY = DAY - days(2)  # 23 November 2026


@pytest.fixture(autouse=True)
def _it_is_six_past(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def ines():
    return make_user("instructor", person=somebody("Ines Aldecoa"))


def choose(user, lists):
    reminder_lists.choose_lists(person=user.person, lists=lists, actor=user, at=NOW)


def days_of_mail(name="ines"):
    messages = Message.objects.filter(
        recipient=f"{name}@skarnfell.example", sent_at__isnull=False
    ).order_by("day")
    return [message.day for message in messages]


def sweep_days(number, first=MONDAY):
    for shift in range(number):
        sweep_and_send(first + days(shift))


@pytest.mark.parametrize(
    ("lists", "sent"),
    [
        pytest.param(None, [0, 7], id="who chose nothing"),
        pytest.param("weekly", [0, 7], id="every week"),
        pytest.param("daily", [0, 1, 2, 3, 4, 7, 8, 9], id="every working day"),
        pytest.param("monthly", [0, 8], id="every month"),
        pytest.param("never", [], id="never"),
    ],
)
def test_lists_come_as_often_as_chosen(ines, lists, sent):
    """Ten days from Monday 23 November; the eighth day on is Tuesday 1 December."""
    ends_in(58, steps=[])
    if lists:
        choose(ines, lists)
    sweep_days(10)
    assert days_of_mail() == [MONDAY + days(shift) for shift in sent]


def test_each_instructor_has_their_own_choice(ines):
    olaf = make_user("instructor", person=somebody("Olaf Brandt"))
    choose(olaf, "never")
    ends_in(58, steps=[])
    sweep_days(3)
    assert days_of_mail("ines") == [MONDAY]
    assert days_of_mail("olaf") == []


def test_change_takes_effect_with_the_next_sweep(ines):
    ends_in(58, steps=[])
    sweep_days(2)
    choose(ines, "daily")
    sweep_days(2, MONDAY + days(2))
    assert days_of_mail() == [MONDAY, MONDAY + days(2), MONDAY + days(3)]


def test_ones_own_certificate_cannot_be_turned_off(ines):
    """Whoever wants no lists is still written to before their own certificate ends."""
    choose(ines, "never")
    ends_in(7, ines.person, make_scope(title="Turrets, instructor"))
    sweep_days(3)
    assert days_of_mail() == [MONDAY, DAY]  # The step at fourteen days, late, and at seven.
    for message in Message.objects.all():
        assert "Turrets, instructor: your certificate" in mail.text_of(message)
        assert "What ends at" not in mail.text_of(message)
    assert [field.name for field in MailChoice._meta.concrete_fields] == ["person", "lists"]


def test_line_lead_is_copied_whatever_they_chose(ines):
    choose(ines, "never")
    ends_in(7, somebody("Marta Ruiz", lead=ines.person))
    sweep_days(1)
    assert days_of_mail() == [MONDAY]
    assert "Marta Ruiz" in mail.text_of(Message.objects.get(recipient__startswith="ines"))


def test_list_says_where_to_choose(ines):
    ends_in(58, steps=[])
    sweep_days(1)
    text = mail.text_of(Message.objects.get())
    assert f"http://127.0.0.1:8000{PAGE}" in text


def test_daily_list_that_did_not_go_out_is_overtaken(ines, monkeypatch):
    choose(ines, "daily")
    ends_in(58, steps=[])

    def no_server(*_args):
        raise ConnectionRefusedError

    with monkeypatch.context() as patch:
        patch.setattr(mail.MailConnection, "deliver", no_server)
        sweep_days(1)
    sweep_days(1, MONDAY + days(1))
    assert days_of_mail() == [MONDAY + days(1)]
    first = Reminder.objects.get(kind="list", ends_on=MONDAY)
    assert (first.state, first.why) == ("overtaken", "The days it was for are over.")


def test_list_tells_of_the_site_where_its_reader_teaches(ines):
    """Which need not be their own, whose people are none of their business then."""
    other = aldergate()
    ends_in(58, somebody("Marta Ruiz", email=""), steps=[])
    ends_in(50, somebody("Olaf Brandt", site=other, email=""), steps=[])
    Person.objects.filter(pk=ines.person_id).update(site=other)
    sweep(MONDAY, 7)
    [message] = Message.objects.all()
    text = mail.text_of(message)
    assert message.subject == "What ends at Castelmar in the coming weeks, as of Mon 23 Nov 2026"
    assert "What ends at Castelmar through" in text
    assert "Marta Ruiz" in text
    assert "Olaf Brandt" not in text


def test_who_teaches_at_two_sites_reads_of_both_in_one_mail(ines):
    other = aldergate()
    SiteRole.objects.create(user=ines, site=other, role="instructor")
    ends_in(58, somebody("Marta Ruiz", email=""), steps=[])
    ends_in(50, somebody("Olaf Brandt", site=other, email=""), steps=[])
    Person.objects.filter(pk=ines.person_id).update(site=other)
    sweep(MONDAY, 7)
    [message] = Message.objects.all()
    text = mail.text_of(message)
    assert message.subject.startswith("What ends at Aldergate, Castelmar in the coming weeks")
    assert text.index("Aldergate through") < text.index("Olaf Brandt")
    assert text.index("Olaf Brandt") < text.index("Castelmar through") < text.index("Marta Ruiz")


@pytest.mark.parametrize("given_up", ["the role", "the sign-in", "the site"])
@pytest.mark.parametrize("is_written", [True, False])
def test_list_that_waits_goes_to_nobody_who_teaches_there_no_more(ines, given_up, is_written):
    """Whether it is in a message already or waits for the next: it tells of vision tests."""
    marta = somebody("Marta Ruiz", email="")
    scope = make_scope(title="Turrets")
    revision = make_revision(scope, vision_months=12)
    make_certificate(marta, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(20, marta, today=MONDAY)
    sweep(MONDAY)
    if not is_written:
        [message] = Message.objects.all()
        assert withdraw_message(message.pk, at(MONDAY), "")
    match given_up:
        case "the role":
            ines.roles.all().delete()
        case "the sign-in":
            User.objects.filter(pk=ines.pk).update(is_active=False)
        case "the site":
            ines.roles.update(site=aldergate())
            Person.objects.filter(pk=ines.person_id).update(site=aldergate())
    mail.send_due_messages(clock=lambda: at(MONDAY, 5, 8))
    for shift in (1, 2):
        sweep_and_send(MONDAY + days(shift), 7)  # The hour has come in Aldergate too.
    row = Reminder.objects.get(kind="list", source="list:CA")
    assert (row.state, row.why) == (
        "dropped",
        "Ines Aldecoa does not teach at Castelmar any more.",
    )
    assert django_mail.outbox == []


@pytest.mark.parametrize(
    ("how_often", "day", "through"),
    [
        pytest.param("daily", date(2026, 11, 27), date(2026, 11, 27), id="a Friday"),
        pytest.param("daily", date(2026, 11, 28), None, id="a Saturday"),
        pytest.param("weekly", date(2026, 11, 29), date(2026, 11, 29), id="the week's last day"),
        pytest.param("monthly", date(2026, 11, 1), None, id="a month that begins on a Sunday"),
        pytest.param("monthly", date(2026, 11, 2), date(2026, 11, 30), id="its first Monday"),
        pytest.param("monthly", date(2026, 12, 31), date(2026, 12, 31), id="the year's last day"),
        pytest.param("monthly", date(2028, 2, 1), date(2028, 2, 29), id="a leap year"),
        pytest.param("never", date(2026, 11, 27), None, id="never"),
    ],
)
def test_period_of_a_list(how_often, day, through):
    assert list_through(how_often, day, working_week([1, 2, 3, 4, 5])) == through


def test_choices_are_those_of_the_domain():
    assert {value for value, _label in MailChoice.Lists.choices} == {
        str(choice) for choice in HowOften
    }


# The page


def words(answer):
    main = bytes(answer.content).decode().partition("<main")[2].partition("</main>")[0]
    return " ".join(strip_tags(main).split())


def test_instructor_chooses_language_and_lists(client, ines):
    client.force_login(ines)
    page = client.get(PAGE)
    assert "They cannot be turned off." in words(page)
    assert "ines@skarnfell.example" in words(page)
    answer = client.post(PAGE, {"language": "de", "lists": "monthly"}, follow=True)
    ines.person.refresh_from_db()
    assert ines.person.language == "de"
    assert reminder_lists.how_often(ines.person) == "monthly"
    assert "Die Änderungen sind gespeichert." in words(answer)
    acts = [entry.act for entry in TrailEntry.objects.order_by("-pk")[:2]]
    assert acts == ["frequency of lists chosen", "person changed"]


def test_operator_has_no_lists_to_choose(client):
    user = make_user(person=somebody(email=""))
    client.force_login(user)
    page = client.get(PAGE)
    assert 'name="lists"' not in page.content.decode()
    assert "your line lead tells you" in words(page)
    client.post(PAGE, {"language": "de", "lists": "never"})
    user.person.refresh_from_db()
    assert user.person.language == "de"
    assert not MailChoice.objects.exists()


def test_unknown_language_is_refused(client, ines):
    client.force_login(ines)
    assert client.post(PAGE, {"language": "xx", "lists": "weekly"}).status_code == 422
    assert client.post(PAGE, {"language": "de", "lists": "hourly"}).status_code == 422
    ines.person.refresh_from_db()
    assert ines.person.language == "en"


def test_page_is_for_those_signed_in(client):
    assert client.get(PAGE).url.startswith("/account/login/")


def test_every_page_leads_there(client, ines):
    client.force_login(ines)
    assert f'href="{PAGE}"' in client.get("/my-card/").content.decode()
