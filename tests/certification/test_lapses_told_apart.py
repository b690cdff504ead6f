"""Whoever does not read somebody in full cannot find out by comparing that it is their eyes.

The same people are read twice at every address that a line lead can open. Between the two
readings only vision tests differ, and none of them changes on which days anybody may work:
they had lapsed before, or something else ends sooner. So nothing may read differently.
"""

import io
import re
from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta
from urllib.parse import urlencode

import pytest
from django.db import transaction
from django.urls import reverse
from openpyxl import load_workbook

from certification.models import StandingSpan
from certification.services import events, standing
from certification.services.acts import Act
from people.models import Stamp
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.paper import pages_of
from tests.test_access_table import TABLE
from training.models import PracticeRecord, VisionTest

pytestmark = pytest.mark.django_db

STANDINGS = (
    "certified",
    "ending",
    "expired",
    "vision_not_current",
    "not_current",
    "practice_lapsed",
    "suspended",
    "revoked",
    "never_certified",
)
ORDERS = ("name", "number", "end", "scope", "standing", "site", "lead")
KINDS = ("certificate", "vision", "practice", "see_instructor")
# Read elsewhere in this suite, and the same whoever one leads.
OF_NO_PERSON = re.compile(
    r"account_|mfa_|people:(own_|passkey|printed_code|second_factor)|interfaces:api-v1"
    r"|operations:(health_check|metrics|mail_arrived)|reminders:(calendar|mail_choices)"
    r"|assessments:(criteri(a|on)|exercise)|training:(course|exercise|class_offers)"
    r"|certification:(scheme|scope|operation|public)_"
    r"|certification:(signing_keys|issuer_metadata|credential_issuer|status_list)"
)


def days(number):
    return timedelta(days=number)


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead(today):
    return make_user("line_lead", person=make_person(full_name="Goran", employee_number="LEAD"))


@pytest.fixture
def crew(lead, today):
    """One of the lead's people for each way to stand; vision tests come later.

    Each is (issued so many days ago, last worked so many days ago, what was done to them).
    """
    scope = make_scope(code="TERM", title="Terminals")
    other = make_scope(code="CUPS", title="Cups")
    revision = make_revision(scope, vision_months=12, max_absence_months=6, validity_months=24)
    quality = make_user("quality")
    found = {}
    for name, issued, worked, act in (
        ("Certified through a rest", 300, 170, None),
        ("Certified through the period", 715, 5, None),
        ("Rested too long", 400, 260, None),
        ("Period over", 780, 20, None),
        ("Suspended", 300, 20, events.suspend_certificates),
        ("Revoked", 300, 20, events.revoke_certificates),
        ("Ended", 300, 20, events.end_certificates),
    ):
        number = name.upper().replace(" ", "-")
        person = make_person(full_name=name, employee_number=number, line_lead=lead.person)
        found[name] = person
        Stamp.objects.create(mark=number[-8:], person=person, issued_on=today - days(900))
        for one in (scope, other):
            make_certificate(
                person,
                one,
                revision=revision,
                issued_on=today - days(issued),
                restriction="leaded" if one == other else "",
            )
            for ago in range(worked, issued, 60):
                PracticeRecord.objects.create(
                    person=person, scope_code=one.code, performed_on=today - days(ago)
                )
            if act is not None:
                act(
                    person=person,
                    scope=one,
                    act=Act(
                        actor=quality,
                        at=datetime.combine(today - days(60), time(12), UTC),
                        proof="password",
                        reason="So.",
                        effective_on=today - days(60),
                    ),
                )
    found["Never certified"] = make_person(full_name="Never certified", line_lead=lead.person)
    return found


def see(crew, today, *, well):
    """Everybody's eyes as tested: enough up to now, and from then on well or not.

    Those who may work today were tested once in one case and once more in the other, and
    all of it lasts longer than what else ends.
    """
    for person in crew.values():
        may_work = person.full_name.startswith("Certified")
        for number, ago in enumerate([650, 300]):
            _test(person, f"V-{person.pk}-{number}", today - days(ago), passed=True)
        if well or not may_work:
            _test(person, f"V-{person.pk}-2", today - days(10), passed=well)
        standing.rebuild_person(person)


def _test(person, test_id, day, passed):
    at = datetime.combine(day, time(9), UTC)
    VisionTest.objects.create(
        test_id=test_id, person=person, tested_on=day, passed=passed, recorded_at=at
    )


@contextmanager
def undone():
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def addresses(today):
    """Everything a line lead can open that says something of their people, asked every way."""
    query = {
        "certification:register": [{}]
        + [{"standing": one} for one in STANDINGS]
        + [{"order": one} for one in ORDERS]
        + [{"standing": one, "order": "standing"} for one in ("not_current", "expired", "ending")]
        + [{"scope": "TERM"}, {"q": "er"}, {"left": "on"}]
        + [{"day": today + days(shift)} for shift in (-100, -40, -5, 15, 30, 100, 500)]
        + [{"day": today + days(40), "standing": "not_current", "order": "end"}],
        "certification:months_ahead": [{}, {"months": 24}, {"scope": "TERM"}]
        + [{"kind": one} for one in KINDS],
        "certification:wall_list": [{}, {"lead": "LEAD"}],
        "certification:wall_list_pdf": [{}, {"lead": "LEAD"}],
        "certification:work_missing": [{}, {"months": 1}],
        "certification:work_missing_pdf": [{}],
        "certification:home": [{}],
        "certification:my_card": [{}],
        "assessments:board_list": [{}],
        "assessments:written_test_list": [{}],
        "people:person_list": [{}, {"q": "er"}],
        "training:work_grid": [{}, {"scope": "CUPS"}, {"q": "er"}],
        "training:absence_list": [{}],
        "training:work_reported": [{}],
        "training:my_work": [{}],
        "people:person_detail": [{}],
        "people:pin": [{}],
        "certification:person_standing": [{}],
    }
    query["certification:register_csv"] = query["certification:register"]
    query["certification:register_xlsx"] = query["certification:register"][:12]
    query["certification:months_ahead_csv"] = query["certification:months_ahead"]
    known = [f"{today - days(shift)}T12:00" for shift in (9, 200)]
    query["certification:standing_detail"] = [
        *({"day": today + days(shift)} for shift in (-300, -100, -40, -5, 0, 15, 30, 400)),
        *({"known_at": one} for one in known),
    ]
    return query


def readings(client, crew, today):
    """Every answer as text, by address."""
    found = {}
    scopes = set(StandingSpan.objects.values_list("scope", flat=True))
    for name, questions in addresses(today).items():
        of = TABLE[name].of
        people = crew.values() if of else [None]
        for person in people:
            named = [[]]
            if of:
                number = person.employee_number if of == ("person",) else person.pk
                named = [[number]] if len(of) == 1 else [[number, scope] for scope in scopes]
            for args in named:
                for asked in questions:
                    url = reverse(name, args=args) + (f"?{urlencode(asked)}" if asked else "")
                    found[url] = read(client, url)
    for person in crew.values():
        for scope in ("TERM", "CUPS"):
            asked = urlencode({"number": person.employee_number, "scope": scope})
            url = f"{reverse('certification:bench_check')}?{asked}"
            found[url] = read(client, url)
    return found


def read(client, url):
    response = client.get(url, follow=True)
    assert response.status_code in (200, 422), url
    body = b"".join(response.streaming_content) if response.streaming else response.content
    if "spreadsheet" in response["Content-Type"]:
        return "\n".join(str(row) for row in load_workbook(io.BytesIO(body)).active.values)
    is_paper = response["Content-Type"] == "application/pdf"
    text = "\n".join(pages_of(body)) if is_paper else body.decode()
    text = re.sub(r'(name="csrfmiddlewaretoken" value=|"X-CSRFToken": )"[^"]+"', "", text)
    return re.sub(r"T\d\d:[\d:.+]+|\b\d\d:\d\d\b|nonce-\S+", "", text)


def difference(url, one, other):
    """The address and where the two readings part, for whoever has to mend it."""
    at = next((n for n, pair in enumerate(zip(one, other, strict=False)) if len({*pair}) > 1), 0)
    return url, one[max(0, at - 60) : at + 60], other[max(0, at - 60) : at + 60]


def test_every_address_of_people_that_a_lead_can_open_is_read_here(today):
    opened = {name for name, row in TABLE.items() if "lead" in row.may and "GET" in row.method}

    read_here = set(addresses(today)) | {"certification:bench_check"}
    assert {name for name in opened if not OF_NO_PERSON.match(name)} == read_here


def test_the_two_cases_do_differ_for_those_who_read_in_full(client, crew, today):
    """Or the readings below would be the same for want of a difference."""
    quality = make_user("quality")
    told = []
    for well in (True, False):
        with undone():
            see(crew, today, well=well)
            client.force_login(quality)
            told.append(
                {
                    (span.person.full_name, span.standing)
                    for span in StandingSpan.objects.on(today).select_related("person")
                }
            )
            told.append(read(client, "/months-ahead/?months=24").count("have a vision test"))
    well, ends_well, ill, ends_ill = told
    assert ("Rested too long", "practice_lapsed") in well
    assert ("Rested too long", "vision_not_current") in ill
    assert (
        {one for one in well if one[1] == "certified"}
        == {one for one in ill if one[1] == "certified"}
        == {
            ("Certified through a rest", "certified"),
            ("Certified through the period", "certified"),
        }
    )
    assert ends_well != 0 != ends_ill


def test_nothing_a_line_lead_reads_differs_by_the_vision_tests_alone(client, lead, crew, today):
    found = []
    for well in (True, False):
        with undone():
            see(crew, today, well=well)
            client.force_login(lead)
            found.append(readings(client, crew, today))

    well, ill = found
    assert len(well) > 150
    assert [difference(url, well[url], ill[url]) for url in well if well[url] != ill[url]] == []
    assert any("Rested too long" in text for text in well.values())


@pytest.mark.parametrize("order", ORDERS)
def test_a_lapse_reads_the_same_whatever_lapsed(client, lead, crew, today, order):
    """Period, rest, giving up, eyes: one word, no day, no certificate."""
    see(crew, today, well=False)
    client.force_login(lead)

    response = client.get(f"/register/?standing=not_current&order={order}")

    lines = [line for _person, found in response.context["groups"] for line in found]
    assert {line.person.full_name for line in lines} == {"Rested too long", "Period over", "Ended"}
    assert {
        (line.said, line.why, line.through, line.certificate, line.restriction, line.changes_on)
        for line in lines
    } == {("not_current", "Not current: see your instructor.", None, None, "", None)}
    assert len(lines) == 6


def test_a_lead_narrows_to_no_lapse_by_its_name(client, lead, crew, today):
    see(crew, today, well=True)
    client.force_login(lead)

    page = client.get("/register/")

    choices = {one for one, _label in page.context["form"].fields["standing"].choices}
    assert choices == {
        "",
        "certified",
        "ending",
        "not_current",
        "suspended",
        "revoked",
        "never_certified",
    }
    for standing_asked in ("expired", "practice_lapsed"):
        asked = client.get(f"/register/?standing={standing_asked}")
        assert len(asked.context["groups"]) == len(page.context["groups"])


def test_what_ends_soon_to_a_lead_is_the_day_the_answer_becomes_another(client, lead, crew, today):
    see(crew, today, well=True)
    client.force_login(lead)

    soon = client.get("/register/?standing=ending&order=end")

    lines = [line for _person, found in soon.context["groups"] for line in found]
    assert [line.person.full_name for line in lines] == [
        "Certified through a rest",
        "Certified through a rest",
        "Certified through the period",
        "Certified through the period",
    ]
    for line in lines:
        stands = StandingSpan.objects.filter(person=line.person, scope=line.scope)
        assert stands.on(line.through).get().standing == "certified"
        assert stands.on(line.through + days(1)).get().standing != "certified"
        assert (line.next_end.last_day, line.next_kind) == (line.through, "see_instructor")
    (counted,) = (one for one in soon.context["counted"] if "ending" in one.url or one.is_chosen)
    assert counted.number == 4


def test_lapses_one_after_another_are_one_span_to_a_lead(client, lead, crew, today):
    see(crew, today, well=False)
    client.force_login(lead)
    rested = crew["Rested too long"]
    scope = StandingSpan.objects.filter(person=rested).first().scope_id

    screen = client.get(f"/standing/{rested.pk}/{scope}/").context["screen"]

    assert [one.said for one in screen.spans] == ["not_current", "certified"]
    assert (screen.answer.certificate_number, screen.answer.changes_on) == ("", None)
    assert screen.spans[1].span.last_day < today
