"""The pages of reminders: what is to come, what went out, and who is reached on paper."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from reminders.models import Message, Reminder
from reminders.services import mail
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
    aldergate,
    at,
    days,
    ends_in,
    messages,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)

pytestmark = pytest.mark.django_db

COMING = reverse("reminders:reminders")
OUTBOX = reverse("reminders:reminders_outbox")
ON_PAPER = reverse("reminders:reminders_printed_list")


@pytest.fixture(autouse=True)
def _it_is_six_past(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def seen_by(client):
    def get(url, *roles, status=200, **user):
        client.force_login(make_user(*roles, **user))
        answer = client.get(url)
        assert answer.status_code == status
        return answer

    return get


def text_of(answer):
    """The words of a page between its top line and its foot."""
    main = bytes(answer.content).decode().partition("<main")[2].partition("</main>")[0]
    return " ".join(strip_tags(main).split())


def vision_scene(left, person):
    for title in ("Turrets", "Cups"):
        scope = make_scope(title=title)
        revision = make_revision(scope, vision_months=12)
        make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(left, person)


def message_url(message, end=""):
    return reverse("reminders:reminder_message", args=[message.pk]) + end


# Who may


@pytest.mark.parametrize(
    ("role", "seen"),
    [
        ("operator", {COMING: 403, OUTBOX: 403, ON_PAPER: 403}),
        ("line_lead", {COMING: 403, OUTBOX: 403, ON_PAPER: 403}),
        ("instructor", {COMING: 200, OUTBOX: 403, ON_PAPER: 200}),
        ("quality", {COMING: 200, OUTBOX: 200, ON_PAPER: 200}),
        ("administrator", {COMING: 200, OUTBOX: 200, ON_PAPER: 200}),
    ],
)
def test_each_role_sees_its_pages(client, role, seen):
    client.force_login(make_user(role))
    assert {url: client.get(url).status_code for url in seen} == seen


@pytest.mark.parametrize("url", [COMING, OUTBOX, ON_PAPER])
def test_pages_ask_for_sign_in(client, url):
    answer = client.get(url)
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("account_login"))


@pytest.mark.parametrize("url", [COMING, OUTBOX, ON_PAPER])
def test_pages_only_show(client, url):
    client.force_login(make_user("quality"))
    assert client.post(url).status_code == 405


def test_message_of_another_site_is_not_there(seen_by):
    ends_in(7)
    sweep()
    seen_by(message_url(messages()[0]), "quality", site=aldergate(), status=404)
    answer = seen_by(OUTBOX, "quality", site=aldergate())
    assert "marta@" not in text_of(answer)


def test_reminders_of_another_site_are_not_shown(seen_by):
    ends_in(14, somebody("Ada Brink"))
    ends_in(14, somebody("Ben Carlow", site=aldergate()))
    text = text_of(seen_by(COMING + "?site=AL", "quality"))
    assert "Ada Brink" in text
    assert "Ben Carlow" not in text


def test_somebody_with_two_sites_chooses(client):
    ends_in(14, somebody("Ada Brink"))
    ends_in(14, somebody("Ben Carlow", site=aldergate()))
    user = make_user("quality")
    user.roles.create(site=aldergate(), role="quality")
    client.force_login(user)
    answer = client.get(COMING)
    assert '<option value="CA" selected>' in answer.content.decode()
    own, other = text_of(answer), text_of(client.get(COMING + "?site=AL"))
    assert "Ada Brink" in own
    assert "Ben Carlow" in other
    assert "Ada Brink" not in other


# To come


def test_page_shows_what_would_go_out_by_day_and_person(client, seen_by):
    ends_in(14, somebody("Ada Brink", lead=somebody("Lena Voss")))
    days_shown = seen_by(COMING, "quality").context["days"]
    assert [
        (day.day, [person.full_name for person, _lines in day.people]) for day in days_shown
    ] == [
        (DAY, ["Ada Brink"]),
        (DAY + days(7), ["Ada Brink"]),
        (DAY + days(13), ["Ada Brink"]),
        (DAY + days(15), ["Ada Brink"]),
    ]
    [line] = days_shown[0].people[0][1]
    assert (line.what, line.kind, line.ends_on, line.step, line.readers) == (
        "Turrets",
        "certificate",
        DAY + days(14),
        "14 days before",
        ["ada@skarnfell.example", "copy to Lena Voss"],
    )


def test_page_foretells_what_the_sweeps_then_do(client, monkeypatch):
    lead = somebody("Lena Voss")
    for number, left in enumerate((91, 60, 44, 15, 7, 3, 1, 0, -1)):
        ends_in(left, somebody(f"P{number} Brink", lead=lead))
    vision_scene(20, somebody("Ada Brink", email=""))
    client.force_login(make_user("quality"))
    foretold = {
        (day.day, person.full_name, line.step)
        for day in client.get(COMING).context["days"]
        for person, lines in day.people
        for line in lines
    }
    for shift in range(31):
        now = at(DAY + days(shift))
        monkeypatch.setattr(timezone, "now", lambda now=now: now)
        sweep_and_send(DAY + days(shift))
    rows = Reminder.objects.filter(state__in=["written", "listed"]).select_related("person")
    from reminders.presenters.reminder_pages import step_in_words

    reminded = {
        (row.recorded_at.date(), row.person.full_name, step_in_words(row.step)) for row in rows
    }
    assert foretold == reminded


def test_page_writes_nothing(seen_by):
    ends_in(7)
    seen_by(COMING, "quality")
    assert not Reminder.objects.exists()
    assert not Message.objects.exists()


def test_what_waits_for_tomorrows_message_is_shown_tomorrow(seen_by):
    person = somebody("Ada Brink")
    ends_in(30, person)
    sweep_and_send()
    ends_in(60, person, make_scope(title="Cups"))
    sweep(hour=6)
    first = seen_by(COMING, "quality").context["days"][0]
    assert first.day == DAY + days(1)
    assert [line.what for _person, lines in first.people for line in lines] == ["Cups"]


def test_what_is_written_and_not_yet_sent_is_shown_today(seen_by):
    ends_in(30, somebody("Ada Brink"))
    sweep()
    assert seen_by(COMING, "quality").context["days"][0].day == DAY


def test_name_narrows_the_page(seen_by):
    ends_in(14, somebody("Ada Brink"))
    ends_in(14, somebody("Ben Carlow"))
    text = text_of(seen_by(COMING + "?q=carlow", "quality"))
    assert "Ben Carlow" in text
    assert "Ada Brink" not in text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("", "Nothing goes out in the next 30 days"),
        ("?q=nobody", "Nobody of that name is to be reminded"),
    ],
)
def test_empty_page_says_what_it_lives_on(seen_by, query, said):
    assert said in text_of(seen_by(COMING + query, "quality"))


def test_site_whose_reminders_have_not_begun_says_so(seen_by):
    make_site(reminders_start_on=DAY + days(3))
    ends_in(7)
    answer = seen_by(COMING, "quality")
    assert "Nothing goes out before" in text_of(answer)
    assert answer.context["days"][0].day == DAY + days(3)


@pytest.mark.parametrize(
    ("role", "kind"),
    [
        ("instructor", "vision test"),
        ("quality", "vision test"),
        ("administrator", "certification"),
    ],
)
def test_kind_of_end_is_for_those_whose_business_it_is(seen_by, role, kind):
    vision_scene(7, somebody("Ada Brink"))
    [(_person, [line])] = seen_by(COMING, role).context["days"][0].people
    assert line.kind == kind


def test_page_takes_as_many_queries_for_many_as_for_few(client, django_assert_max_num_queries):
    scope = make_scope()
    revision = make_revision(scope)
    for number in range(12):
        ends_in(14, somebody(f"P{number} Brink"), scope, revision=revision)
    client.force_login(make_user("quality"))
    with django_assert_max_num_queries(32):
        client.get(COMING)


# Outbox


def test_outbox_lists_every_message_with_what_became_of_it(seen_by, monkeypatch):
    ends_in(7, somebody("Ada Brink"))
    sweep_and_send()
    ends_in(7, somebody("Ben Carlow"))
    sweep(hour=6)
    answer = seen_by(OUTBOX, "quality")
    assert [
        (message.person.full_name, message.state)
        for message, _shape, _tone in answer.context["shown"]
    ] == [
        ("Ben Carlow", "waiting"),
        ("Ada Brink", "sent"),
    ]
    assert "Put into the outbox folder." in text_of(answer)


def test_outbox_shows_what_was_given_up_and_narrows_by_state(client, seen_by):
    ends_in(7, somebody("Ada Brink"))
    ends_in(7, somebody("Ben Carlow"))
    sweep_and_send()
    Message.objects.filter(person__full_name="Ada Brink").update(
        sent_at=None, failed_at=NOW, attempts=10, answer="550 no such user"
    )
    text = text_of(seen_by(OUTBOX, "quality"))
    assert "1 message was given up." in text
    assert "550 no such user (10 attempts)" in text
    shown = client.get(OUTBOX + "?state=failed").context["shown"]
    assert [message.person.full_name for message, *_rest in shown] == ["Ada Brink"]
    shown = client.get(OUTBOX + "?q=carlow").context["shown"]
    assert [message.person.full_name for message, *_rest in shown] == ["Ben Carlow"]


@pytest.mark.parametrize("state", Message.State.values)
def test_state_of_a_message_and_the_filter_agree(state):
    changes = {
        "sent": {"sent_at": NOW},
        "withdrawn": {"withdrawn_at": NOW},
        "failed": {"failed_at": NOW, "attempts": 10, "answer": "451"},
        "retried": {"attempts": 1, "answer": "451"},
        "waiting": {"attempts": 1},
    }
    for name in changes:
        ends_in(7, somebody(f"{name.capitalize()} Brink"))
    sweep()
    for name, fields in changes.items():
        Message.objects.filter(recipient=f"{name}@skarnfell.example").update(**fields)
    [message] = Message.objects.in_state(Message.State(state))
    assert (message.recipient, message.state) == (f"{state}@skarnfell.example", state)


@pytest.mark.parametrize(
    ("query", "said"),
    [("", "Nothing has been written yet"), ("?q=nobody", "Nothing has been written yet")],
)
def test_empty_outbox_says_when_messages_come(seen_by, query, said):
    assert said in text_of(seen_by(OUTBOX + query, "quality"))


def test_outbox_without_a_match_leads_back(seen_by):
    ends_in(7)
    sweep()
    assert "No message matches" in text_of(seen_by(OUTBOX + "?q=nobody", "quality"))


def test_outbox_does_not_read_the_bytes(client, django_assert_max_num_queries):
    for number in range(12):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    client.force_login(make_user("quality"))
    with django_assert_max_num_queries(12):
        client.get(OUTBOX)


# One message


def test_message_is_shown_as_it_goes_out(seen_by):
    ends_in(7, somebody("Ada Brink"))
    sweep_and_send()
    [message] = messages()
    answer = seen_by(message_url(message), "quality")
    assert answer.context["text"] == mail.text_of(message)
    assert message.message_id in text_of(answer)
    assert re.search(r"Certificate \S+, 7 days before", text_of(answer))


def test_administrator_reads_no_text_of_any_message(seen_by):
    vision_scene(7, somebody("Ada Brink"))
    ends_in(7, somebody("Ben Carlow"))
    sweep()
    for message in messages():
        answer = seen_by(message_url(message), "administrator")
        assert answer.context["text"] is None
        assert "vision" not in text_of(answer).lower()
        assert "Certification, 7 days before" in text_of(answer)


def test_only_an_administrator_can_send_again(client, seen_by):
    ends_in(7)
    sweep()
    Message.objects.update(failed_at=NOW, refused=True, attempts=1, answer="550 no such user")
    [message] = messages()
    url = message_url(message, "send-again/")
    assert "Send again" not in text_of(seen_by(message_url(message), "quality"))
    assert client.post(url).status_code == 404
    assert "Send again" in text_of(seen_by(message_url(message), "administrator"))
    assert client.get(url).status_code == 405
    answer = client.post(url, follow=True)
    assert "It goes out with the next round" in text_of(answer)
    [message] = messages()
    assert (message.state, message.attempts) == ("waiting", 0)


def test_message_that_was_sent_is_not_sent_again(client):
    ends_in(7)
    sweep_and_send()
    client.force_login(make_user("administrator"))
    answer = client.post(message_url(messages()[0], "send-again/"), follow=True)
    assert "Only a message that was given up can be sent again." in text_of(answer)


# On paper


def test_printed_list_names_who_has_no_address_and_says_nothing_of_vision(seen_by):
    vision_scene(7, somebody("Ada Brink", lead=somebody("Lena Voss"), email=""))
    ends_in(7, somebody("Ben Carlow", email=""))
    sweep()
    answer = seen_by(ON_PAPER, "instructor")
    text = text_of(answer)
    assert [entry.person.full_name for entry in answer.context["people"]] == [
        "Ada Brink",
        "Ben Carlow",
    ]
    assert "Cups; Turrets: certified through Wednesday 2 December 2026" in text
    assert "Line lead: Lena Voss" in text
    assert "No line lead with an address: tell them yourself." in text
    assert "vision" not in text.lower()


def test_printed_list_leaves_out_what_no_longer_holds(seen_by):
    certificate = ends_in(7, somebody("Ada Brink", email=""))
    sweep()
    make_certificate(
        certificate.person,
        certificate.scope,
        revision=certificate.scheme_revision,
        issued_on=DAY,
        renews=certificate,
    )
    assert "Nobody is waiting to be told on paper" in text_of(seen_by(ON_PAPER, "instructor"))


def test_person_who_got_an_address_is_no_longer_listed(seen_by):
    person = ends_in(7, somebody("Ada Brink", email="")).person
    sweep()
    person.email = "ada@skarnfell.example"
    person.save()
    assert seen_by(ON_PAPER, "instructor").context["people"] == []


def test_printed_list_is_shown_to_who_has_no_person_behind_their_sign_in(client):
    user = make_user("administrator", person=make_person())
    user.person = None
    user.save()
    client.force_login(user)
    assert client.get(ON_PAPER).status_code == 200
