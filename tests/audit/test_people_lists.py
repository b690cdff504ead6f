"""Lists of people: what one would do, what taking it in does, and what it refuses."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse

from audit.exceptions import ListChanged, ListRefused, ListTakenIn
from audit.models import PeopleList
from audit.queries.list_bringers import bringer_for
from audit.queries.list_plan import make_plan
from audit.services import people_lists
from certification.models import Certificate, StandingSpan
from certification.queries import standing_on_day
from people.models import FormerEmployeeNumber, Person, Role, User
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord, VisionTest

pytestmark = pytest.mark.django_db


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def both(site):
    """Somebody who may bring people and facts."""
    return make_user(Role.ADMINISTRATOR, Role.QUALITY, site=site)


@pytest.fixture
def scheme(site):
    return make_revision(make_scope(code="TERM-OP"), name="HS rev. 1", vision_months=24)


def bring(user, text, **answers):
    kept = people_lists.keep_list(
        name="list.csv", content=text.encode(), bringer=bringer_for(user), by=user, at=NOW
    )
    if answers:
        kept = people_lists.answer(people_list=kept, answers=answers)
    return kept


def planned(kept, user):
    return make_plan(kept, bringer_for(user), NOW)


def take_in(kept, user, *, sign_ins=False, at=NOW, many_leave=False):
    return people_lists.take_in(
        people_list=kept,
        bringer=bringer_for(user),
        shown=planned(kept, user).digest(),
        sign_ins=sign_ins,
        many_leave=many_leave,
        at=at,
    )


def sentences(kept, user):
    return [(fault.line, fault.field, fault.other) for fault in planned(kept, user).faults]


CERTIFIED = "Number;Name;Scope;Cert. No.;Issued;Scheme\n"
THREE = CERTIFIED + "".join(
    f"0047{n};Person {n};TERM-OP;X-{n};2026-03-0{n};HS rev. 1\n" for n in (1, 2, 3)
)


def test_preview_says_that_nobody_has_a_vision_test_before_it_is_too_late(both, scheme):
    kept = bring(both, THREE, recorded="now")
    plan = planned(kept, both)
    assert plan.is_ready
    assert [
        (one.number, one.is_new, one.is_tested, str(stands.answer.rule))
        for one in plan.people
        for stands in one.stands
    ] == [(f"0047{n}", True, False, "no_vision_test") for n in (1, 2, 3)]


def test_register_answers_after_the_act_what_the_preview_said(both, scheme):
    text = (
        CERTIFIED.replace("Scheme", "Scheme;Vision test;Result;Last worked")
        + "00471;Ada;TERM-OP;X-1;2026-03-01;HS rev. 1;2026-02-01;ok;2026-11-01\n"
        + "00472;Bo;TERM-OP;X-2;2024-03-01;HS rev. 1;2026-02-01;fail;\n"
        + "00473;Cy;TERM-OP;X-3;2026-03-01;HS rev. 1;;;\n"
    )
    kept = bring(both, text, recorded="own_day")
    before = {one.number: one.stands[0].answer.standing for one in planned(kept, both).people}
    take_in(kept, both)
    scope = scheme.scopes.get()
    after = {
        person.employee_number: standing_on_day.answer(person, scope, TODAY).standing
        for person in Person.objects.filter(employee_number__in=before)
    }
    stored = {span.person.employee_number: span.standing for span in StandingSpan.objects.on(TODAY)}
    assert before == after == stored
    assert len(set(before.values())) == 3
    test = VisionTest.objects.get(person__employee_number="00471")
    assert test.recorded_at == datetime(2026, 2, 1, 22, 59, 59, 999999, tzinfo=UTC)
    assert test.test_id.startswith("CA-V-")
    assert PracticeRecord.objects.get().performed_on == date(2026, 11, 1)


def test_everything_is_written_down_and_the_records_fit(both, scheme):
    make_person(employee_number="00473", full_name="Cy")
    text = (
        THREE.replace("\n", ";;\n")
        .replace("Scheme;;", "Scheme;Vision test;E-mail")
        .replace(
            "X-1;2026-03-01;HS rev. 1;;", "X-1;2026-03-01;HS rev. 1;2026-01-02;ada@example.org"
        )
    )
    kept = bring(both, text, recorded="now", results="pass")
    take_in(kept, both, sign_ins=True)
    acts = list(TrailEntry.objects.order_by("number").values_list("act", flat=True))
    assert {act: acts.count(act) for act in set(acts)} == {
        "person enrolled": 2,
        "person changed": 1,
        "certificate imported": 3,
        "vision test imported": 1,
        "sign-in opened": 3,
        "list of people taken in": 1,
    }
    # The scheme, which the fixture writes past its service, was never written down.
    faults = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in faults if "schemerevision" not in fault] == []
    kept.refresh_from_db()
    assert (kept.rows, kept.answers) == ([], {})
    assert (
        kept.result["counts"] | {"changed": 1, "sign_ins": 3, "to_mail": 1}
        == (kept.result["counts"])
    )
    assert not any(user.has_usable_password() for user in User.objects.filter(
        person__employee_number__startswith="0047"
    ))  # fmt: skip


def test_pressed_twice_it_is_done_once(both):
    kept = bring(both, "Number;Name\n7001;Ada\n")
    shown = planned(kept, both).digest()
    take_in(kept, both)
    with pytest.raises(ListTakenIn):
        people_lists.take_in(
            people_list=kept, bringer=bringer_for(both), shown=shown, sign_ins=False, at=NOW
        )
    assert Person.objects.filter(employee_number="7001").count() == 1


def test_what_changed_since_it_was_shown_is_shown_again(both):
    kept = bring(both, "Number;Name\n7001;Ada\n")
    shown = planned(kept, both).digest()
    make_person(employee_number="7001", full_name="Eve")
    with pytest.raises(ListChanged):
        people_lists.take_in(
            people_list=kept, bringer=bringer_for(both), shown=shown, sign_ins=False, at=NOW
        )
    assert planned(kept, both).people[0].changes == {"full_name": ("Eve", "Ada")}


def test_known_people_are_changed_or_left_alone_and_empty_cells_change_nothing(both, site):
    other = make_person(employee_number="7002", full_name="Bo", email="bo@example.org")
    make_person(employee_number="7A", full_name="Ada Byrne", started_on=date(2020, 1, 2))
    text = "Number;Name;E-mail;Start date;Line lead\n7a;Ada Byrne;;2.1.2020;\n7002;Bo;;;7A\n"
    kept = bring(both, text)
    plan = planned(kept, both)
    assert [(one.number, one.is_left_alone) for one in plan.people] == [
        ("7A", True),
        ("7002", False),
    ]
    take_in(kept, both)
    other.refresh_from_db()
    assert (other.email, other.line_lead.employee_number) == ("bo@example.org", "7A")


def test_list_that_was_taken_in_changes_nothing_the_second_time(both, scheme):
    text = THREE.replace("\n", ";2026-01-02;ok;2026-10-01\n").replace(
        "Scheme;2026-01-02;ok;2026-10-01", "Scheme;Vision test;Result;Last worked"
    )
    take_in(bring(both, text, recorded="now"), both)
    again = bring(both, text, recorded="now")
    assert [one.is_left_alone for one in planned(again, both).people] == [True] * 3
    take_in(again, both, at=NOW + timedelta(hours=1))
    assert (Certificate.objects.count(), VisionTest.objects.count()) == (3, 3)


def test_line_leads_may_come_with_the_list(both):
    take_in(bring(both, "Number;Name;Line lead\n7001;Ada;7002\n7002;Bo;\n"), both)
    assert Person.objects.get(employee_number="7001").line_lead.full_name == "Bo"


REFUSED = {
    "lost zeros": ("Number;Name\n471;Ada\n", "employee_number", "00471"),
    "former number": ("Number;Name\n4711;Ada\n", "employee_number", "4712 now"),
    "nobody and no name": ("Number;E-mail\n7001;a@example.org\n", "full_name", "give the name"),
    "own line lead": ("Number;Name;Line lead\n7001;Ada;7001\n", "line_lead", "their own"),
    "unknown line lead": ("Number;Name;Line lead\n7001;Ada;9\n", "line_lead", "9"),
    "contractor of nobody": ("Number;Name;Kind\n7001;Ada;Fremdfirma\n", "employer", "contractor"),
    "first after last": ("Number;Name;Start date;Last day\n7001;A;2.1.2026;1.1.2026\n", "left_on",
                         "before"),
    "stamp held": ("Number;Name;Stamp\n7001;Ada;K9\n", "stamp", "take it back"),
    "no site": ("Number;Name;Site\n7001;Ada;\n", "site", "which site"),
    "other site": ("Number;Name;Site\n7001;Ada;Other\n", "site", "administrators"),
    "certificate there": (CERTIFIED + "00471;;TERM-OP;X-9;2026-03-02;HS rev. 1\n",
                          "certificate_number", "not overwritten"),
    "day to come": (CERTIFIED + "00471;;TERM-OP;X-8;2027-03-02;HS rev. 1\n", "issued_on",
                    "to come"),
    "test of another result": ("Number;Vision test;Result\n00471;2026-01-02;fail\n", "result",
                               "another result"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_row_is_refused_with_a_sentence(case, both, scheme):
    text, field, part = REFUSED[case]
    make_site("Other", "OT")
    person = make_person(employee_number="00471", full_name="Ada")
    renumbered = make_person(employee_number="4712")
    FormerEmployeeNumber.objects.create(
        person=renumbered, employee_number="4711", until_on=date(2026, 1, 1)
    )
    make_certificate(person, scheme.scopes.get(), number="X-9", issued_on=date(2026, 3, 1))
    VisionTest.objects.create(test_id="V-1", person=person, tested_on=date(2026, 1, 2), passed=True)
    renumbered.stamps.create(mark="K9", issued_on=date(2026, 1, 1))
    both.roles.create(site=make_site("Third", "TH"), role=Role.ADMINISTRATOR)
    for_all = {} if case == "no site" else {"site": "CA"}
    kept = bring(both, text, recorded="now", for_all=for_all)
    [(line, found, sentence)] = sentences(kept, both)
    assert (line, found) == (2, field)
    assert part in sentence
    with pytest.raises(ListRefused):
        take_in(kept, both)


def test_site_of_rows_that_name_none_is_asked_where_there_are_several(both):
    both.roles.create(site=make_site("Other", "OT"), role=Role.ADMINISTRATOR)
    kept = bring(both, "Number;Name\n7001;Ada\n")
    assert (planned(kept, both).open.for_all, sentences(kept, both)) == (("site",), [])
    kept = people_lists.answer(people_list=kept, answers={"for_all": {"site": "OT"}})
    take_in(kept, both)
    assert Person.objects.get(employee_number="7001").site.prefix == "OT"


def test_who_only_administers_brings_people_and_who_only_audits_brings_facts(site, scheme):
    administrator = make_user(Role.ADMINISTRATOR, site=site)
    quality = make_user(Role.QUALITY, site=site)
    assert bring(administrator, THREE).columns == ["employee_number", "full_name", "", "", "", ""]
    kept = bring(quality, THREE, recorded="now")
    assert "full_name" not in kept.columns
    assert [fault[1] for fault in sentences(kept, quality)] == ["employee_number"] * 3
    take_in(bring(administrator, THREE), administrator)
    assert planned(kept, quality).is_ready
    with pytest.raises(ListRefused, match="administrators"):
        take_in(kept, quality, sign_ins=True)


def test_nobody_brings_facts_about_themselves(both, scheme):
    number = both.person.employee_number
    kept = bring(both, f"Number;Vision test;Result\n{number};2026-01-02;ok\n", recorded="now")
    assert "Somebody else" in sentences(kept, both)[0][2]


def test_address_of_somebody_else_opens_no_sign_in(both):
    make_user(email="line3@example.org")
    text = "Number;Name;E-mail\n7001;Ada;line3@example.org\n7002;Bo;x@example.org\n"
    text += "7003;Cy;X@example.org\n7004;Di;\n"
    kept = bring(both, text)
    assert [one.may_open for one in planned(kept, both).people] == [False, False, False, True]
    done = take_in(kept, both, sign_ins=True)
    assert done.result["counts"]["sign_ins"] == 1


def test_whoever_has_an_address_is_sent_one_link(both, mailoutbox):
    text = "Number;Name;E-mail\n7001;Ada;ada@example.org\n7002;Bo;bo@example.org\n7003;Cy;\n"
    done = take_in(bring(both, text), both, sign_ins=True)
    assert done.links_to_send == 2
    assert people_lists.send_due_links() == 2
    assert people_lists.send_links(done.pk) == 0
    assert sorted(mail.to[0] for mail in mailoutbox) == ["ada@example.org", "bo@example.org"]
    done.refresh_from_db()
    assert done.links_to_send == 0
    assert people_lists.send_links(99_999_999) == 0


def test_corrected_rows_are_read_again_and_left_out_ones_stay_out(both):
    kept = bring(both, "Number;Name;Start date\n7001;Ada;3.4.26\n7002;Bo;soon\n")
    assert len(planned(kept, both).faults) == 2
    kept = people_lists.answer(
        people_list=kept, answers={}, cells={(2, 2): "3.4.2026"}, left_out=[3]
    )
    plan = planned(kept, both)
    assert plan.is_ready
    assert [one.details["started_on"] for one in plan.people] == [date(2026, 4, 3)]


def test_list_by_which_many_leave_is_taken_in_only_where_that_is_said(both, site, client):
    people = [make_person(site) for _each in range(3)]
    rows = "".join(f"{one.employee_number};2026-01-31\n" for one in people)
    kept = bring(both, f"Number;Last day\n{rows}")
    with pytest.raises(ListRefused, match="3 of 4 people would leave"):
        take_in(kept, both)
    assert not Person.objects.filter(left_on__isnull=False).exists()
    client.force_login(both)
    page = client.get(reverse("audit:people_list", args=[kept.pk])).text
    assert "3 of 4 people are given a last day" in " ".join(page.split())
    take_in(kept, both, many_leave=True)
    assert Person.objects.filter(left_on=date(2026, 1, 31)).count() == 3


def test_list_does_not_end_who_administers_alone(both):
    kept = bring(both, f"Number;Last day\n{both.employee_number};2199-01-31\n")
    [(_line, _field, why)] = sentences(kept, both)
    assert "Nobody would be left who administers" in why
    make_user(Role.ADMINISTRATOR, site=both.person.site)
    assert planned(kept, both).is_ready


def test_lists_that_nobody_took_in_are_forgotten(both):
    kept = bring(both, "Number;Name\n7001;Ada\n")
    done = take_in(bring(both, "Number;Name\n7002;Bo\n"), both)
    assert people_lists.forget_expired(NOW + timedelta(days=6)) == 0
    with pytest.raises(ListRefused, match="week"):
        take_in(kept, both, at=NOW + timedelta(days=8))
    assert people_lists.forget_expired(NOW + timedelta(days=8)) == 1
    assert list(PeopleList.objects.all()) == [done]


def test_whoever_does_not_audit_a_site_learns_nothing_of_what_is_recorded_there(site, scheme):
    other = make_site("Other", "OT")
    user = make_user(Role.ADMINISTRATOR, Role.QUALITY, site=site)
    user.roles.create(site=other, role=Role.ADMINISTRATOR)
    person = make_person(other, employee_number="00471")
    VisionTest.objects.create(
        test_id="OT-V-00001", person=person, tested_on=TODAY, passed=True, recorded_at=NOW
    )
    told = {
        tuple(said for _line, _field, said in sentences(bring(user, text, recorded="now"), user))
        for text in (
            f"Number;Vision test;Result\n00471;{day};{result}\n"
            for day, result in (
                (TODAY, "ok"),
                (TODAY, "fail"),
                (TODAY - timedelta(days=1), "ok"),
            )
        )
    }
    assert told == {("Facts about people of Other are entered by quality there.",)}


def test_last_day_to_come_of_whoever_has_left_is_a_fault_of_its_row(both):
    make_person(employee_number="7001", full_name="Ada", left_on=date(2026, 3, 1))
    kept = bring(both, "Number;Name;Last day\n7001;Ada;2027-06-30\n7002;Bo;\n")
    assert [(line, said) for line, _field, said in sentences(kept, both)] == [
        (2, "Ada left on 2026-03-01. Enter that they are back, on their page.")
    ]
