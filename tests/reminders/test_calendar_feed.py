"""The calendar of what ends: read with icalendar and with vobject, which knows nothing of it."""

import re
from datetime import date, timedelta

import pytest
import vobject
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags
from icalendar import Calendar

from certification.models import CertificateEvent
from certification.services import standing
from people.models import Person
from records.models import TrailEntry
from reminders.models import CalendarFeed
from reminders.services import calendars
from tests.factories import (
    make_certificate,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.reminders.reminder_scenes import DAY, NOW, days, ends_in, somebody, vision_ends_in
from training.models import Calibration, PracticeRecord, Tool

pytestmark = pytest.mark.django_db

PAGE = reverse("reminders:calendar_address")
STOP = reverse("reminders:calendar_stop")


@pytest.fixture(autouse=True)
def _it_is_six_past(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def marta():
    make_site(address="Bench room 2; Thursdays, 14:00")
    # What a row is given by itself is the true clock, which the tests' may not overtake.
    return somebody("Marta Ruiz", lead=somebody("Lena Voss"), recorded_at=NOW - days(400))


def address_for(person, in_full=False, at=NOW):
    user = getattr(person, "user", None) or make_user(person=person)
    secret = calendars.make_address(person=person, in_full=in_full, actor=user, at=at)
    return reverse("reminders:calendar_feed", args=[secret])


def fetch(client, address, **headers):
    answer = client.get(address, headers=headers)
    assert answer.status_code == 200
    return answer


def events_at(client, address):
    """The entries by last day, as icalendar reads them."""
    events = Calendar.from_ical(fetch(client, address).content).walk("VEVENT")
    return sorted(events, key=lambda event: event.decoded("dtstart"))


def vision_scene(person, left=60):
    for title in ("Turrets", "Cups"):
        scope = make_scope(title=title)
        revision = make_revision(scope, vision_months=12, reminder_steps=[90, 30, 7])
        make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(left, person)


def test_entry_is_all_day_on_the_last_good_day(client, marta):
    certificate = ends_in(40, marta, steps=[90, 30, 7])
    [event] = events_at(client, address_for(marta))
    assert event.decoded("dtstart") == certificate.valid_through == DAY + days(40)
    assert event.decoded("dtend") == DAY + days(41)
    assert event["dtstart"].params["VALUE"] == "DATE"
    assert str(event["summary"]) == "Certified through this day: Turrets"
    assert "Bench room 2; Thursdays, 14:00" in str(event["description"])
    assert "Lena Voss" in str(event["description"])
    assert str(event["url"]) == "http://127.0.0.1:8000/my-card/"
    assert str(event["transp"]) == "TRANSPARENT"


def test_alarms_ring_at_the_schemes_steps_when_work_starts(client, marta):
    ends_in(40, marta, steps=[90, 30, 7, 0])
    [event] = events_at(client, address_for(marta))
    alarms = event.walk("VALARM")
    assert [str(alarm["action"]) for alarm in alarms] == ["DISPLAY"] * 3
    assert {str(alarm["description"]) for alarm in alarms} == {str(event["summary"])}
    # Work starts at 07:00; the ninety-day step is a mail's alone.
    seven = timedelta(hours=7)
    assert [alarm.decoded("trigger") for alarm in alarms] == [
        seven,
        seven - days(7),
        seven - days(30),
    ]


def test_lines_are_as_rfc_5545_writes_them(client, marta):
    """CRLF after every line, folded at 75 octets, escaped, without METHOD (3.1, 3.3.11, 3.6.1)."""
    ends_in(40, marta, make_scope(title=("Türme, Gabeln; Haken \\ Kelche, " * 3).strip()))
    raw = fetch(client, address_for(marta)).content
    lines = raw.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    unfolded = raw.replace(b"\r\n ", b"").decode()
    assert "Türme\\, Gabeln\\; Haken \\\\ Kelche\\," in unfolded
    assert unfolded.startswith("BEGIN:VCALENDAR\r\n")
    assert "METHOD" not in unfolded
    assert "\r\nVERSION:2.0\r\n" in unfolded
    for once in ("UID:", "DTSTAMP:", "DTSTART;VALUE=DATE:", "SEQUENCE:", "LAST-MODIFIED:"):
        assert unfolded.count(f"\r\n{once}") == 1
    assert "TZID" not in unfolded


NAME = "Ruiz; Marta, \\née Brandt"


def test_text_of_every_property_is_escaped(client, marta):
    Person.objects.filter(pk=marta.pk).update(full_name=NAME)
    marta.refresh_from_db()
    scope = make_scope(title="Cups; small, deep \\ wide")
    make_certificate(marta, scope, issued_on=DAY - days(10))
    content = fetch(client, address_for(marta, in_full=True)).content
    lines = content.decode().replace("\r\n ", "").split("\r\n")
    escaped = NAME.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    for name in ("NAME", "X-WR-CALNAME"):
        assert f"{name}:Certification: {escaped}" in lines
    texts = [line for line in lines if re.match(r"(SUMMARY|DESCRIPTION|(X-WR-CAL)?NAME)[:;]", line)]
    assert len(texts) >= 5
    for line in texts:
        assert not re.search(r"(?<!\\)(\\\\)*[;,]", line.partition(":")[2]), line


def test_second_parser_reads_the_same(client, marta):
    vision_scene(marta)
    ends_in(40, marta, make_scope(title="Hooks, pierced; round"), steps=[30])
    address = address_for(marta)
    read = vobject.readOne(fetch(client, address).content.decode())
    again = vobject.readOne(read.serialize())
    ours = events_at(client, address)
    assert len(ours) == len(read.vevent_list) == len(again.vevent_list) == 4
    for parsed in (read, again):
        for event, other in zip(
            ours,
            sorted(parsed.vevent_list, key=lambda event: event.dtstart.value),
            strict=True,
        ):
            assert other.dtstart.value == event.decoded("dtstart")
            assert other.dtend.value == event.decoded("dtend")
        assert {event.uid.value for event in parsed.vevent_list} == {
            str(event["uid"]) for event in ours
        }
        assert {event.summary.value for event in parsed.vevent_list} == {
            str(event["summary"]) for event in ours
        }
        triggers = [
            alarm.trigger.value for event in parsed.vevent_list for alarm in event.valarm_list
        ]
        assert sorted(triggers) == sorted(
            alarm.decoded("trigger") for event in ours for alarm in event.walk("VALARM")
        )


def test_id_stays_and_sequence_rises_when_the_last_day_moves(client, marta):
    certificate = ends_in(10, marta)
    address = address_for(marta)
    [before] = events_at(client, address)
    CertificateEvent.objects.create(
        event_id="E-1",
        certificate=certificate,
        kind="extended",
        effective_on=DAY,
        until=DAY + days(50),
        authority="The customer",
        recorded_at=NOW + days(1),
    )
    standing.rebuild_person(marta)
    [after] = events_at(client, address)
    assert after["uid"] == before["uid"]
    assert after.decoded("dtstart") == DAY + days(50)
    assert int(after["sequence"]) > int(before["sequence"])
    assert after.decoded("last-modified") == NOW + days(1)
    assert before.decoded("dtstamp").tzinfo is not None


def test_work_done_moves_the_entry_of_practice(client, marta):
    scope = make_scope(title="Turrets")
    revision = make_revision(scope, max_absence_months=6)
    make_certificate(marta, scope, revision=revision, issued_on=DAY - days(30))
    address = address_for(marta)
    before = events_at(client, address)[0]
    PracticeRecord.objects.create(person=marta, scope_code=scope.code, performed_on=DAY)
    standing.rebuild_person(marta)
    after = events_at(client, address)[0]
    assert after["uid"] == before["uid"]
    assert after.decoded("dtstart") == date(2027, 5, 25) > before.decoded("dtstart")
    assert int(after["sequence"]) == int(before["sequence"]) + 1


def test_ids_differ_between_people_and_kinds(client, marta):
    other = somebody("Ada Brink")
    for person in (marta, other):
        vision_scene_number = f"V-{person.pk}"
        scope = make_scope()
        revision = make_revision(scope, vision_months=12)
        make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
        vision_ends_in(60, person, number=vision_scene_number)
    uids = [
        str(event["uid"])
        for person in (marta, other)
        for event in events_at(client, address_for(person))
    ]
    assert len(set(uids)) == len(uids) == 4
    assert all(uid.endswith("@127.0.0.1") for uid in uids)


def test_vision_test_reads_like_any_other_end(client, marta):
    """A calendar is seen by whoever stands beside the screen."""
    vision_scene(marta)
    raw = fetch(client, address_for(marta)).content.replace(b"\r\n ", b"").decode()
    assert raw.count("SUMMARY:Certified through this day") == 3
    assert not {word for word in ("vision", "sight", "V-1") if word in raw.lower()}


def test_owner_may_have_it_said_what_ends(client, marta):
    vision_scene(marta)
    first = events_at(client, address_for(marta, in_full=True))[0]
    assert str(first["summary"]) == "Vision test ends: Cups; Turrets"


def test_tool_one_answers_for_is_there_too(client, marta):
    tool = Tool.objects.create(code="IR-7", kind="iron", site=marta.site, answers_for=marta)
    Calibration.objects.create(
        tool=tool, calibrated_on=DAY - days(300), valid_through=DAY + days(65), passed=True
    )
    [event] = events_at(client, address_for(marta))
    assert str(event["summary"]) == "Calibration of tool IR-7 ends"
    assert event.decoded("dtstart") == DAY + days(65)


def test_what_is_over_suspended_or_renewed_is_gone(client, marta):
    address = address_for(marta)
    ends_in(-3, marta)
    assert events_at(client, address) == []
    scope = make_scope(title="Cups")
    certificate = ends_in(40, marta, scope)
    assert len(events_at(client, address)) == 1
    CertificateEvent.objects.create(
        event_id="E-1", certificate=certificate, kind="suspended", effective_on=DAY
    )
    standing.rebuild_person(marta)
    assert events_at(client, address) == []


def test_empty_calendar_is_still_one(client, marta):
    raw = fetch(client, address_for(marta)).content
    assert raw.startswith(b"BEGIN:VCALENDAR\r\n")
    assert raw.endswith(b"END:VCALENDAR\r\n")


def test_answer_is_private_and_not_sent_twice(client, marta):
    ends_in(40, marta)
    address = address_for(marta)
    answer = fetch(client, address)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "private" in answer["Cache-Control"]
    assert not answer.cookies
    again = client.get(address, headers={"if-none-match": answer["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    ends_in(50, marta, make_scope())
    assert fetch(client, address, **{"if-none-match": answer["ETag"]})["ETag"] != answer["ETag"]


def test_each_owner_reads_their_own_alone(client, marta):
    ends_in(40, marta)
    other = somebody("Ada Brink")
    assert events_at(client, address_for(other)) == []
    assert len(events_at(client, address_for(marta))) == 1


# The address


def test_old_address_stops_when_it_is_renewed(client, marta):
    old = address_for(marta)
    new = address_for(marta)
    assert old != new
    assert client.get(old).status_code == 404
    assert client.get(new).status_code == 200


def test_secret_is_long_and_kept_as_a_hash(marta):
    secret = address_for(marta).removeprefix("/calendar/").removesuffix(".ics")
    assert len(secret) == 43  # 256 bits, six to a character
    feed = CalendarFeed.objects.get()
    assert secret not in str(vars(feed))
    assert re.fullmatch("[0-9a-f]{64}", feed.secret_sha256)


@pytest.mark.parametrize("why", ["left", "switched off", "stopped"])
def test_address_stops_with_its_owner(client, marta, why):
    address = address_for(marta)
    if why == "left":
        marta.left_on = DAY - days(1)
        marta.save()
    elif why == "switched off":
        marta.user.is_active = False
        marta.user.save()
    else:
        calendars.stop_address(person=marta, actor=marta.user, at=NOW)
    assert client.get(address).status_code == 404


def test_unknown_address_is_not_there(client):
    assert client.get("/calendar/no-such-secret.ics").status_code == 404


def test_address_is_only_read(client, marta):
    assert client.post(address_for(marta)).status_code == 405


def test_day_of_reading_is_kept_once(client, marta):
    address = address_for(marta)
    fetch(client, address)
    assert CalendarFeed.objects.get().last_read_on == DAY


# The page


def words(answer):
    main = bytes(answer.content).decode().partition("<main")[2].partition("</main>")[0]
    return " ".join(strip_tags(main).split())


def test_page_shows_a_new_address_once(client, marta):
    client.force_login(make_user(person=marta))
    assert "Make the address" in words(client.get(PAGE))
    made = client.post(PAGE, {})
    [address] = re.findall(r"http://127\.0\.0\.1:8000(/calendar/\S+?\.ics)", words(made))
    assert f"webcal://127.0.0.1:8000{address}" in made.content.decode()
    assert "no-store" in made["Cache-Control"]
    assert client.get(address).status_code == 200
    later = words(client.get(PAGE))
    assert "/calendar/" not in later
    assert "Renew the address" in later
    assert "Wed 25 Nov 2026" in later.replace("\xa0", " ")
    assert not CalendarFeed.objects.get().in_full


def test_device_asks_with_tls_where_the_site_has_it(client, marta, settings):
    settings.PUBLIC_URL = "https://training.example.org"
    client.force_login(make_user(person=marta))
    page = client.post(PAGE, {}).content.decode()
    assert "webcals://training.example.org/calendar/" in page


def test_page_renews_and_stops(client, marta):
    client.force_login(make_user(person=marta))
    client.post(PAGE, {})
    client.post(PAGE, {"in_full": "on"})
    assert CalendarFeed.objects.get().in_full
    assert client.post(STOP, follow=True).status_code == 200
    assert not CalendarFeed.objects.exists()
    acts = TrailEntry.objects.filter(act__startswith="calendar").order_by("pk")
    assert [entry.act for entry in acts] == [
        "calendar address made",
        "calendar address renewed",
        "calendar address stopped",
    ]


@pytest.mark.parametrize("url", [PAGE, STOP])
def test_page_is_for_those_signed_in(client, url):
    assert client.post(url).url.startswith("/account/login/")


def test_sign_in_that_is_nobodys_has_no_calendar(client, django_user_model):
    client.force_login(django_user_model.objects.create_user("90001"))
    assert client.get(PAGE).status_code == 404


def test_card_leads_to_the_page(client, marta):
    client.force_login(make_user(person=marta))
    assert f'href="{PAGE}"' in client.get("/my-card/").content.decode()


def test_feed_reads_in_the_same_queries_for_one_entry_or_many(
    client, marta, django_assert_num_queries
):
    ends_in(40, marta)
    address = address_for(marta)
    fetch(client, address)
    with django_assert_num_queries(QUERIES):
        fetch(client, address)
    for _ in range(5):
        ends_in(50, marta, make_scope())
    with django_assert_num_queries(QUERIES):
        fetch(client, address)


QUERIES = 16
