"""A badge and the work in, a plain yes or no out, with or without a script."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from people.models import Stamp
from tests.factories import (
    make_certificate,
    make_kiosk,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import VisionTest

pytestmark = pytest.mark.django_db

PAGE = "/check/"


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP", title="Terminals, operator")


@pytest.fixture
def person(scope):
    """Somebody of no lead's, certified today."""
    made = make_person(make_site(), employee_number="10377", full_name="Bruno Castellane")
    make_certificate(made, scope, issued_on=made.site.today() - timedelta(days=3))
    return made


@pytest.fixture
def lead(client):
    user = make_user("line_lead")
    client.force_login(user)
    return user


def body(response):
    assert response.status_code == 200
    return " ".join(response.content.decode().split("<main")[-1].split("</main")[0].split())


def test_yes_names_who_what_and_until_when(client, lead, person):
    said = body(client.get(PAGE, {"number": "10377", "scope": "TERM-OP"}))

    assert "Yes</p>" in said
    assert "Bruno Castellane may do this work today." in said
    assert "Terminals, operator" in said
    assert "Holds through" in said
    assert 'role="status"' in said
    assert 'aria-live="polite"' in said


def test_restriction_is_part_of_the_yes(client, lead, scope):
    make_certificate(make_person(employee_number="7"), scope, restriction="wires up to 0.5 mm²")

    said = body(client.get(PAGE, {"number": "7", "scope": "TERM-OP"}))

    assert "Yes, only:" in said
    assert "wires up to 0.5 mm²" in said


def test_no_gives_the_reason_and_neither_day_nor_number_of_a_certificate(client, lead, scope):
    person = make_person(employee_number="7", full_name="Deniz Celik")
    today = person.site.today()
    VisionTest.objects.create(
        test_id="V-1", person=person, tested_on=today - timedelta(days=500), passed=True
    )
    certificate = make_certificate(
        person,
        scope,
        revision=make_revision(scope, vision_months=12),
        issued_on=today - timedelta(days=100),
    )

    said = body(client.get(PAGE, {"number": "7", "scope": "TERM-OP"}))

    assert "No</p>" in said
    assert "Not current: see your instructor." in said
    assert "vision" not in said.lower()
    assert certificate.number not in said
    assert "Holds through" not in said


def test_everybody_reads_the_same_answer(client, lead, person, scope):
    """A screen on the shop floor is read by whoever stands there."""
    failing = make_person(employee_number="7", full_name="Deniz Celik")
    make_certificate(
        failing,
        scope,
        revision=make_revision(scope, vision_months=12),
        issued_on=failing.site.today(),
    )
    for reader in (make_user("instructor"), make_user("quality"), make_kiosk()):
        client.force_login(reader)
        said = body(client.get(PAGE, {"number": "7", "scope": "TERM-OP"}))
        assert "Not current: see your instructor." in said
        assert "vision" not in said.lower()


@pytest.mark.parametrize("sent", ["10377\r", " 10377", "10377\r\n", "\t10377 ", "\x1d10377\x04"])
def test_what_a_scanner_adds_is_taken_off(client, lead, person, sent):
    said = body(client.get(PAGE, {"number": sent, "scope": "TERM-OP"}))

    assert "Bruno Castellane" in said


def test_chosen_work_is_remembered_so_that_the_next_badge_needs_one_scan(client, lead, person):
    client.get(PAGE, {"number": "10377", "scope": "TERM-OP"})

    assert '<option value="TERM-OP" selected>' in body(client.get(PAGE))
    assert "Yes</p>" in body(client.get(PAGE, {"number": "10377"}))


def test_number_field_is_empty_and_focused_again_after_an_answer(client, lead, person):
    said = body(client.get(PAGE, {"number": "10377", "scope": "TERM-OP"}))
    field = said.split('<input class="form-control" id="number"')[1].split(">")[0]

    assert "autofocus" in field
    assert "value=" not in field


def test_number_without_work_asks_for_the_work(client, lead, person):
    said = body(client.get(PAGE, {"number": "10377"}))

    assert "Choose the work, then scan the badge again." in said
    assert "Bruno" not in said


@pytest.mark.parametrize(
    ("number", "code", "said"),
    [
        ("99999", "TERM-OP", "Nobody here has this number, stamp or name."),
        ("AWAY", "TERM-OP", "Nobody here has this number, stamp or name."),
        ("10377", "NO-SUCH", "There is no such work."),
    ],
)
def test_unknown_persons_and_scopes_answer_alike(client, lead, person, scope, number, code, said):
    make_certificate(
        make_person(make_site("Aldergate", "AL"), employee_number="AWAY", full_name="Away"), scope
    )

    answered = body(client.get(PAGE, {"number": number, "scope": code}))

    assert said in answered
    assert 'class="answer who"' in answered
    assert "Without a yes, no work." in answered
    assert "Away" not in answered
    assert "Bruno" not in answered


def test_htmx_gets_the_answer_alone(client, lead, person):
    response = client.get(
        PAGE, {"number": "10377", "scope": "TERM-OP"}, headers={"HX-Request": "true"}
    )

    said = response.content.decode()
    assert said.startswith("<section")
    assert "Bruno Castellane" in said
    assert "<form" not in said


def test_answer_is_kept_by_no_cache(client, lead, person):
    response = client.get(PAGE, {"number": "10377", "scope": "TERM-OP"})

    assert "no-store" in response.headers["Cache-Control"]


def test_somebody_with_roles_at_two_sites_is_answered_for_both(client, person, scope):
    there = make_site("Aldergate", "AL")
    make_certificate(make_person(there, employee_number="AWAY", full_name="Away"), scope)
    user = make_user("quality")
    user.roles.create(site=there, role="instructor")
    client.force_login(user)

    for number in ("10377", "AWAY"):
        assert "Yes</p>" in body(client.get(PAGE, {"number": number, "scope": "TERM-OP"}))


def test_day_is_the_one_at_the_site(client, scope, monkeypatch):
    far = make_site("Kiritimati works", "KI", time_zone="Pacific/Kiritimati")
    person = make_person(far, employee_number="7")
    client.force_login(make_user("line_lead", site=far))
    noon = datetime(2026, 11, 25, 12, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: noon)
    make_certificate(person, scope, issued_on=date(2026, 11, 26))

    assert "Yes</p>" in body(client.get(PAGE, {"number": "7", "scope": "TERM-OP"}))


def test_retired_work_cannot_be_chosen(client, lead, person):
    make_scope(code="OLD", title="Work of old", retired_at="2026-01-01T00:00:00Z")

    assert "Work of old" not in body(client.get(PAGE))


@pytest.mark.parametrize("roles", [(), ("administrator",)])
def test_others_may_not_check(client, person, roles):
    client.force_login(make_user(*roles))

    assert client.get(PAGE, {"number": "10377", "scope": "TERM-OP"}).status_code == 403


def test_number_of_queries_of_a_check(client, lead, person, django_assert_max_num_queries):
    client.get(PAGE, {"number": "10377", "scope": "TERM-OP"})
    with django_assert_max_num_queries(12):
        client.get(PAGE, {"number": "10377"}, headers={"HX-Request": "true"})


# By stamp or name


def stamp(mark, person, **fields):
    return Stamp.objects.create(
        mark=mark, person=person, **{"issued_on": date(2026, 1, 1), **fields}
    )


@pytest.mark.parametrize("typed", ["47", "Bruno Castellane", "bruno castellane", "castel", "bru"])
def test_stamp_or_name_finds_who_is_meant(client, lead, person, typed):
    stamp("47", person)

    said = body(client.get(PAGE, {"number": typed, "scope": "TERM-OP"}))

    assert "Bruno Castellane may do this work today." in said
    assert f"<dd>{typed}</dd>" in said
    assert "<dd>10377</dd>" in said


def test_number_comes_before_a_stamp_with_the_same_mark(client, lead, person, scope):
    other = make_person(make_site(), full_name="Other Hand")
    stamp("10377", other)

    said = body(client.get(PAGE, {"number": "10377", "scope": "TERM-OP"}))

    assert "Bruno Castellane may do this work today." in said


def test_stamp_means_who_holds_it_today(client, lead, person, scope):
    before = make_person(make_site(), full_name="Earlier Holder")
    yesterday = person.site.today() - timedelta(days=1)
    stamp("47", before, returned_on=yesterday)
    assert "Nobody here has" in body(client.get(PAGE, {"number": "47", "scope": "TERM-OP"}))

    stamp("47", person, issued_on=person.site.today())
    said = body(client.get(PAGE, {"number": "47", "scope": "TERM-OP"}))
    assert "Bruno Castellane may do this work today." in said


def test_several_of_one_name_are_offered_with_their_numbers(client, lead, person, scope):
    other = make_person(make_site(), full_name="Bruna Castellane", employee_number="10378")

    said = body(client.get(PAGE, {"number": "castellane", "scope": "TERM-OP"}))

    assert "Several people here have that name." in said
    assert "may do this work" not in said
    assert f"?number={other.employee_number}&amp;scope=TERM-OP" in said
    assert "?number=10377&amp;scope=TERM-OP" in said


def test_kiosk_names_nobody_who_was_not_meant_alone(client, person, scope):
    make_person(make_site(), full_name="Bruna Castellane", employee_number="10378")
    client.force_login(make_kiosk())

    said = body(client.get(PAGE, {"number": "castellane", "scope": "TERM-OP"}))

    assert "Several people here have that name." in said
    assert "10378" not in said
    assert "Bruna" not in said


@pytest.mark.parametrize("typed", ["br", "b c", "runo", "%", "Bruno X"])
def test_too_little_of_a_name_finds_nobody(client, lead, person, typed):
    said = body(client.get(PAGE, {"number": typed, "scope": "TERM-OP"}))

    assert "Nobody here has this number, stamp or name." in said


def test_nobody_elsewhere_or_gone_is_found_by_name_or_stamp(client, lead, person, scope):
    person.left_on = person.site.today() - timedelta(days=1)
    person.save(update_fields=["left_on"])
    there = make_person(make_site("Aldergate", "AL"), full_name="Zora Pike")
    stamp("47", person)
    stamp("48", there)

    for typed in ("47", "48", "Bruno Castellane", "Zora Pike"):
        said = body(client.get(PAGE, {"number": typed, "scope": "TERM-OP"}))
        assert "Nobody here has this number, stamp or name." in said


def test_work_of_operators_comes_first(client, lead):
    make_scope(title="Inspecting cups", level="inspector")
    make_scope(title="Teaching terminals", level="instructor")
    make_scope(title="Wire preparation", level="operator")

    scopes = client.get(PAGE).context["scopes"]

    assert [scope.level for scope in scopes] == ["operator", "inspector", "instructor"]
