"""What a restriction by an event says wherever somebody's standing is read."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from certification.presenters.wallet_card import wallet_card
from certification.services import events, known_registers
from certification.services.acts import Act
from certification.services.standing import rebuild_person
from interfaces.services import api_tokens
from people.models import Stamp
from people.presenters.days import format_page_day
from tests.certification.restricted_before import restrict_as_before
from tests.factories import (
    make_certificate,
    make_kiosk,
    make_person,
    make_scope,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
WORDS = "cups for AWG 20 and less"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead():
    return make_user("line_lead", person=make_person(full_name="Lia Lead"))


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP", title="Terminals, operator")


@pytest.fixture
def certificate(scope, lead, quality, today):
    """Issued 100 days ago; restricted 5 days ago, until the restriction is lifted in 10 days."""
    person = make_person(
        employee_number="10377", full_name="Bruno Castellane", line_lead=lead.person
    )
    Stamp.objects.create(mark="47", person=person, issued_on=today - 90 * DAY)
    certificate = make_certificate(person, scope, issued_on=today - 100 * DAY)
    on = {"person": person, "scope": scope}
    for day, service, said in (
        (today - 5 * DAY, events.restrict_certificates, {"restriction": WORDS}),
        (today + 10 * DAY, events.lift_restriction, {}),
    ):
        act = Act(quality, timezone.now(), "password", "Cups were rejected twice.", day)
        service(**on, **said, act=act)
    return certificate


def page_of(client, reader, address, **query):
    client.force_login(reader)
    response = client.get(address, query)
    assert response.status_code == 200
    return response


def words_of(response):
    page = re.sub(r"(?s)<svg.*?</svg>|<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", page.replace("\u00a0", " "))


def test_register_says_it_and_the_day_that_changes_it(client, quality, certificate, today):
    assert f"only: {WORDS}" in words_of(page_of(client, quality, "/register/"))

    sheet = client.get("/register/export.csv", {"q": "Bruno"})
    [row] = csv.DictReader(io.StringIO(b"".join(sheet.streaming_content).decode("utf-8-sig")))

    assert (row["standing"], row["restriction"]) == ("certified", WORDS)
    assert row["through"] == certificate.valid_through.isoformat()
    assert row["changes_on"] == (today + 10 * DAY).isoformat()


def test_register_of_another_day_says_what_held_then(client, quality, certificate, today):
    before = page_of(client, quality, "/register/", day=today - 6 * DAY)
    after = client.get("/register/", {"day": today + 10 * DAY})

    assert WORDS not in words_of(before)
    assert WORDS not in words_of(after)


def test_register_as_known_before_it_was_recorded_does_not_say_it(certificate, quality, today):
    now = timezone.now()
    told = {}
    for known_at in (now - DAY, now):
        known = known_registers.ask(day=today, known_at=known_at, actor=quality, at=now)
        known_registers.work_out(known, clock=timezone.now)
        span = known.spans.get(certificate=certificate)
        told[known_at] = (span.restriction, span.standing)

    assert list(told.values()) == [("", "certified"), (WORDS, "certified")]


def test_line_lead_reads_it_in_the_register_and_on_the_page_of_the_standing(
    client, lead, certificate, scope, today
):
    assert f"only: {WORDS}" in words_of(page_of(client, lead, "/register/"))
    standing = reverse("certification:standing_detail", args=[certificate.person_id, scope.pk])

    page = words_of(page_of(client, lead, standing))

    assert WORDS in page
    assert "without a restriction" in page
    assert "Cups were rejected twice." not in page


def test_wall_list_says_it_until_the_day_it_ends(client, lead, certificate, today):
    response = page_of(client, lead, "/wall-list/")

    [work] = response.context["works"]
    [entry] = work.entries
    assert (entry.restriction, entry.until) == (WORDS, today + 9 * DAY)
    assert f"only: {WORDS}" in words_of(response)


def test_wallet_card_says_it(certificate, today):
    pages = PdfReader(io.BytesIO(wallet_card(certificate, at=timezone.now()))).pages
    said = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))

    assert f"Only: {WORDS}" in said


@pytest.mark.parametrize("reader", ["lead", "kiosk"])
def test_bench_check_and_kiosk_say_yes_only(client, lead, certificate, reader):
    user = lead if reader == "lead" else make_kiosk()
    address = reverse("certification:bench_check")

    said = words_of(page_of(client, user, address, number="10377", scope="TERM-OP"))

    assert "Yes, only:" in said
    assert WORDS in said


def test_api_has_it_as_only_and_polling_is_told_when_it_begins_and_ends(
    client, certificate, scope, quality, today
):
    cache.clear()
    since = timezone.now()
    administrator = make_user("administrator")
    _token, secret = api_tokens.make_token(
        site=make_site(), name="Line", actor=administrator, at=since
    )
    headers = {"Authorization": f"Bearer {secret}"}
    ask = {"employee_number": "10377", "scope": "TERM-OP"}

    def only_on(day):
        answer = client.get("/api/v1/standing", {**ask, "day": day}, headers=headers).json()
        assert answer["standing"] == "certified"
        return answer["only"], answer["through"]

    assert only_on(today - 6 * DAY) == (None, (today - 6 * DAY).isoformat())
    assert only_on(today) == (WORDS, (today + 9 * DAY).isoformat())
    assert only_on(today + 10 * DAY) == (None, certificate.valid_through.isoformat())

    events.restrict_certificates(
        person=certificate.person,
        scope=scope,
        restriction="turrets",
        act=Act(quality, timezone.now(), "password", "Rejects.", today),
    )
    polled = client.get("/api/v1/changes", {"since": since.isoformat()}, headers=headers).json()
    [change] = polled["changes"]
    assert (change["may_work"], change["only"]) == (True, "turrets")


def test_who_was_that_says_it(client, quality, certificate, today):
    then, before = (
        words_of(page_of(client, quality, "/register/who-was-that/", q=f"47 {day}"))
        for day in (today - DAY, today - 6 * DAY)
    )

    assert WORDS in then
    assert "Bruno Castellane" in before
    assert WORDS not in before


def test_page_of_the_standing_has_its_days_its_event_and_its_mark(
    client, quality, certificate, scope, today
):
    address = reverse("certification:standing_detail", args=[certificate.person_id, scope.pk])

    response = page_of(client, quality, address)

    screen = response.context["screen"]
    event = certificate.events.get(kind="restricted")
    assert f"event:{event.event_id}" in [line.key for line in screen.used]
    assert [line.span.restriction for line in screen.spans] == ["", "", WORDS, ""]
    assert screen.answer.changes_on == today + 10 * DAY
    assert f"restricted, only: {WORDS}" in words_of(response)
    drawn = dict(screen.pictures)["wide"]
    assert "certified, restricted" in drawn
    assert "m-remarks" in drawn


def test_page_of_another_instant_says_that_it_was_not_known_then(
    client, quality, certificate, scope, today
):
    address = reverse("certification:standing_detail", args=[certificate.person_id, scope.pk])

    response = page_of(client, quality, address, known_at=(today - DAY).isoformat())

    screen = response.context["screen"]
    assert (screen.answer.restriction, screen.now.restriction) == ("", WORDS)
    assert "the answer for" in words_of(response)


def test_certificate_says_since_when_and_stays_as_it_was_issued(client, quality, certificate):
    address = reverse("certification:certificate_detail", args=[certificate.number])

    page = words_of(page_of(client, quality, address))

    assert "Only, since" in page
    assert WORDS in page
    assert "Good through, after what happened since" not in page


def test_certificate_restricted_in_the_former_way_names_what_it_restricts(
    client, quality, scope, today
):
    first = make_certificate(make_person(), scope, issued_on=today - 100 * DAY)
    act = Act(quality, timezone.now(), "password", "Cups were rejected twice.", today - 5 * DAY)
    made = restrict_as_before(first, restriction=WORDS, act=act)

    response = page_of(
        client, quality, reverse("certification:certificate_detail", args=[made.number])
    )

    assert f'href="{reverse("certification:certificate_detail", args=[first.number])}"' in (
        response.content.decode()
    )
    assert "Cups were rejected twice." in words_of(response)


def test_lapse_tells_a_line_lead_nothing_of_it(client, lead, certificate, scope, quality, today):
    act = Act(quality, timezone.now(), "password", "Changed work.", today - 6 * DAY)
    events.end_certificates(person=certificate.person, scope=scope, act=act)
    standing = reverse("certification:standing_detail", args=[certificate.person_id, scope.pk])

    register = page_of(client, lead, "/register/")
    page = page_of(client, lead, standing)

    assert "not current" in words_of(register)
    assert WORDS not in words_of(register)
    assert WORDS not in words_of(page)
    shown = [(line.said, line.span.first_day) for line in page.context["screen"].spans]
    assert shown[0] == ("not_current", today - 5 * DAY)
    assert len(shown) == 2


def test_restriction_makes_no_suspension_and_no_lapse_any_younger(
    client, quality, certificate, scope, today
):
    on = {"person": certificate.person, "scope": scope}
    act = Act(quality, timezone.now(), "password", "Rejects.", today - 30 * DAY)
    events.suspend_certificates(**on, act=act)
    lapsed = make_certificate(make_person(), scope, issued_on=today - 900 * DAY)
    make_certificate(
        lapsed.person, make_scope(code="CUP-OP"), issued_on=today - 900 * DAY
    ).events.create(
        event_id="OLD-1",
        kind="restricted",
        effective_on=today - DAY,
        recorded_at=timezone.now(),
        restriction=WORDS,
    )
    rebuild_person(lapsed.person)
    client.force_login(make_user("instructor"))

    stopped = client.get("/bench/").context["bench"].stopped

    client.force_login(quality)
    (line,) = next(
        lines
        for person, lines in client.get("/register/").context["groups"]
        if person == certificate.person
    )
    since = line.span.stands_since
    assert stopped == []
    assert (line.standing, since) == ("suspended", today - 30 * DAY)
    assert line.span.first_day == today - 5 * DAY
    assert f"since {format_page_day(since)}".replace("\u00a0", " ") in words_of(
        client.get("/register/")
    )
