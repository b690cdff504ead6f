"""A list undone within a day: what is withdrawn, what is changed back, and what stays."""

from datetime import date, timedelta

import pytest

from audit.exceptions import ListChanged, ListRefused
from audit.queries.list_bringers import bringer_for
from audit.queries.list_undoing import plan_undoing
from audit.services import list_undoing
from certification.models import Certificate, CertificateWithdrawal
from certification.services import events
from certification.services.acts import Act
from people.models import Person, Role, User
from people.services.people import change_person
from records.queries.verification import verify_records
from tests.audit.test_people_lists import bring, planned, take_in
from tests.factories import NOW, make_person, make_revision, make_scope, make_site, make_user
from training.models import PracticeWithdrawal, VisionTestWithdrawal

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=2)
TEXT = (
    "Number;Name;E-mail;Scope;Cert. No.;Issued;Scheme;Vision test;Result;Last worked\n"
    "7001;Ada;a@example.org;TERM-OP;X-1;2026-03-01;HS rev. 1;2026-02-01;ok;2026-11-01\n"
    "7002;Bo;b@example.org;;;;;;;\n"
)


@pytest.fixture
def both():
    make_revision(make_scope(code="TERM-OP"), name="HS rev. 1", vision_months=24)
    return make_user(Role.ADMINISTRATOR, Role.QUALITY, site=make_site())


def undo(done, user, *, shown=None, at=LATER, reason="The wrong list."):
    return list_undoing.undo(
        people_list=done,
        bringer=bringer_for(user),
        actor=user,
        reason=reason,
        proof="password",
        shown=shown or plan_undoing(done, bringer_for(user), at).digest(),
        at=at,
    )


def test_facts_are_withdrawn_sign_ins_closed_and_people_have_left(both):
    done = take_in(bring(both, TEXT, recorded="now"), both, sign_ins=True)
    done = undo(done, both)
    assert done.undoing["stays"] == []
    for model in (CertificateWithdrawal, VisionTestWithdrawal, PracticeWithdrawal):
        assert [row.reason for row in model.objects.all()] == ["The wrong list."]
    people = Person.objects.filter(employee_number__in=["7001", "7002"])
    assert {person.left_on for person in people} == {date(2026, 11, 24)}
    assert not User.objects.filter(person__in=people, is_active=True).exists()
    faults = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in faults if "schemerevision" not in fault] == []
    with pytest.raises(ListRefused):
        undo(done, both)


def test_whoever_was_taken_back_comes_again_with_the_right_list(both):
    undo(take_in(bring(both, TEXT, recorded="now"), both), both)
    again = bring(both, "Number;Name\n7001;Ada Byrne\n")
    [one] = planned(again, both).people
    assert one.changes["left_on"] == (date(2026, 11, 24), None)
    take_in(again, both, at=LATER)
    assert Person.objects.get(employee_number="7001").left_on is None


def test_what_was_used_since_stays_and_says_why(both):
    done = take_in(bring(both, TEXT, recorded="now"), both, sign_ins=True)
    events.suspend_certificates(
        person=Person.objects.get(employee_number="7001"),
        scope=Certificate.objects.get().scope,
        act=Act(actor=both, at=LATER, proof="password", reason="x", effective_on=LATER.date()),
    )
    User.objects.filter(employee_number="7002").update(last_login=LATER)
    undoing = plan_undoing(done, bringer_for(both), LATER)
    assert [(each.name, each.what) for each in undoing.stays] == [
        ("Ada", "certificate X-1"),
        ("Bo", "sign-in 7002"),
        ("Ada", "the person"),
        ("Bo", "the person"),
    ]
    undo(done, both)
    assert not CertificateWithdrawal.objects.exists()
    assert Person.objects.filter(employee_number="7002", left_on=None).exists()


def test_changes_go_back_where_nobody_changed_them_again(both):
    known = make_person(employee_number="7002", full_name="Bo Old", email="old@example.org")
    done = take_in(bring(both, TEXT, recorded="now"), both)
    Person.objects.filter(pk=known.pk).update(full_name="Bo Newest")
    undo(done, both)
    known.refresh_from_db()
    assert (known.full_name, known.email, known.left_on) == ("Bo Newest", "old@example.org", None)


def test_move_is_withdrawn(both):
    other = make_site("Other", "OT")
    mover = make_person(other, employee_number="7009", full_name="Cy")
    user = make_user(Role.ADMINISTRATOR, site=make_site())
    user.roles.create(site=other, role=Role.ADMINISTRATOR)
    done = take_in(bring(user, "Number;Name;Site\n7009;Cy;CA\n"), user)
    mover.refresh_from_db()
    assert mover.site.prefix == "CA"
    undo(done, user)
    mover.refresh_from_db()
    assert mover.site == other


def test_day_that_is_over_and_a_page_from_before_are_refused(both):
    done = take_in(bring(both, TEXT, recorded="now"), both)
    shown = plan_undoing(done, bringer_for(both), LATER).digest()
    with pytest.raises(ListRefused, match="day"):
        undo(done, both, at=NOW + timedelta(days=1))
    with pytest.raises(ListRefused, match="why"):
        undo(done, both, reason=" ")
    make_person(line_lead=Person.objects.get(employee_number="7002"))
    with pytest.raises(ListChanged):
        undo(done, both, shown=shown)


def test_whoever_came_again_and_left_since_is_brought_back_by_no_list(both):
    undo(take_in(bring(both, TEXT, recorded="now"), both), both)
    right = bring(both, "Number;Name\n7001;Ada Byrne\n")
    take_in(right, both, at=LATER)
    Person.objects.filter(employee_number="7001").update(left_on=date(2026, 11, 20))
    [one] = planned(bring(both, "Number;Name\n7001;Ada Byrne\n"), both).people
    assert (one.was_taken_back, one.changes) == (False, {})


def test_line_lead_comes_back_under_another_number_and_with_the_site(both):
    other, here = make_site("Other", "OT"), make_site()
    both.roles.create(site=other, role=Role.ADMINISTRATOR)
    lead, mover = make_person(here, employee_number="7003"), make_person(employee_number="7008")
    led = make_person(here, employee_number="7009")
    Person.objects.filter(pk__in=[led.pk, mover.pk]).update(line_lead=lead)
    text = f"Number;Line lead;Site\n7009;{both.employee_number};\n7008;;OT\n"
    done = take_in(bring(both, text), both)
    change_person(person=lead, actor=both, at=LATER, employee_number="7103")
    undo(done, both)
    for person in (led, mover):
        person.refresh_from_db()
        assert (person.line_lead, person.site) == (lead, here)


def test_address_that_cannot_go_back_stays_and_the_rest_is_undone(both):
    taken, elsewhere, other = make_user(), make_user(), make_site("Other", "OT")
    numbers = [user.employee_number for user in (taken, elsewhere)]
    for user in (taken, elsewhere):
        change_person(person=user.person, actor=both, at=NOW, email=f"{user.pk}@example.org")
    rows = "".join(f"{number};New Name;{number}@example.org\n" for number in numbers)
    done = take_in(bring(both, f"Number;Name;E-mail\n{rows}"), both)
    make_user(email=f"{taken.pk}@example.org")
    elsewhere.roles.create(site=other, role=Role.QUALITY)
    done = undo(done, both)
    assert [why for _name, _what, why in done.undoing["stays"]] == [
        "is how somebody else signs in by now",
        "signs in at a site that is not yours",
    ]
    assert not Person.objects.filter(full_name="New Name").exists()
    assert sorted(
        Person.objects.filter(employee_number__in=numbers).values_list("email", flat=True)
    ) == sorted(f"{number}@example.org" for number in numbers)


def test_whoever_was_entered_with_a_last_day_to_come_has_left_too(both):
    done = take_in(bring(both, "Number;Name;Last day\n7001;Ada;2027-06-30\n"), both)
    undo(done, both)
    assert Person.objects.get(employee_number="7001").left_on == date(2026, 11, 24)
