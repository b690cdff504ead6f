"""The bench check answers yes or no at the site, and says no more than the shop floor may know."""

from datetime import timedelta

import pytest

from certification.domain.answers import Standing
from certification.models import CertificateEvent
from certification.presenters import bench_check
from certification.queries import standing_on_day
from certification.services import standing
from people.models import FormerEmployeeNumber
from tests.factories import (
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
)
from training.models import PracticeRecord, VisionTest

pytestmark = pytest.mark.django_db


def days(number):
    return timedelta(days=number)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP", title="Terminals, operator")


@pytest.fixture
def person(site):
    return make_person(site, employee_number="10377", full_name="Bruno Castellane")


def ask(site, number="10377", code="TERM-OP", day=TODAY):
    return bench_check.answer(number, code, sites=[site.pk], day=day)


def happened(certificate, kind, day, **fields):
    CertificateEvent.objects.create(
        event_id=f"E-{CertificateEvent.objects.count()}",
        certificate=certificate,
        kind=kind,
        effective_on=day,
        **fields,
    )
    standing.rebuild_person(certificate.person)


def sees(person, day, passed=True):
    VisionTest.objects.create(
        test_id=f"V-{VisionTest.objects.count()}", person=person, tested_on=day, passed=passed
    )
    standing.rebuild_person(person)


def test_certified_is_yes_through_the_last_day_of_the_certificate(site, person, scope):
    certificate = make_certificate(person, scope, issued_on=TODAY - days(10))

    found = ask(site)

    assert found.may_work
    assert found.standing == "certified"
    assert found.through == certificate.valid_through
    assert found.certificate_number == certificate.number
    assert ask(site, day=certificate.valid_through).may_work
    assert not ask(site, day=certificate.valid_through + days(1)).may_work


def test_restriction_goes_with_the_yes(site, person, scope):
    make_certificate(person, scope, restriction="wires up to 0.5 mm²")

    assert ask(site).restriction == "wires up to 0.5 mm²"


def test_yes_holds_through_the_first_of_what_ends_by_itself(site, person, scope):
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=TODAY - days(10))
    sees(person, TODAY - days(300))

    through = ask(site).through

    assert ask(site, day=through).may_work
    assert ask(site, day=through + days(1)).standing == "not_current"
    assert through < TODAY + days(70)


def test_yes_runs_on_into_an_extension_and_a_renewal(site, person, scope):
    first = make_certificate(person, scope, issued_on=TODAY - days(720))
    until = first.valid_through + days(20)
    happened(first, "extended", TODAY, until=until, authority="Quality")
    assert ask(site).through == until

    second = make_certificate(
        person, scope, revision=first.scheme_revision, issued_on=TODAY, renews=first
    )
    standing.rebuild_person(person)
    assert ask(site).through > until
    assert ask(site, day=TODAY - days(1)).through == ask(site).through
    assert ask(site, day=TODAY - days(1)).certificate_number == first.number
    assert ask(site).certificate_number == second.number


def test_yes_ends_where_its_restriction_does(site, person, scope):
    first = make_certificate(person, scope, issued_on=TODAY - days(100))
    make_certificate(
        person,
        scope,
        revision=first.scheme_revision,
        issued_on=TODAY + days(5),
        restriction="turrets",
    )

    assert ask(site).through == TODAY + days(4)
    assert ask(site, day=TODAY + days(5)).restriction == "turrets"


def test_yes_ends_with_the_last_day_here(site, person, scope):
    make_certificate(person, scope)
    person.left_on = TODAY + days(3)
    person.save(update_fields=["left_on"])

    assert ask(site).through == TODAY + days(3)
    assert ask(site, day=TODAY + days(3)).may_work
    assert ask(site, day=TODAY + days(4)).standing == "unknown_person"


def lapse_of_the_period(person, scope):
    make_certificate(person, scope, issued_on=TODAY - days(900))


def lapse_of_the_practice(person, scope):
    revision = make_revision(scope, max_absence_months=3)
    make_certificate(person, scope, revision=revision, issued_on=TODAY - days(200))


def lapse_of_the_vision_test(person, scope):
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=TODAY - days(200))
    sees(person, TODAY - days(500))


def failed_vision_test(person, scope):
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=TODAY - days(200))
    sees(person, TODAY - days(5), passed=False)


def work_given_up(person, scope):
    happened(make_certificate(person, scope, issued_on=TODAY - days(9)), "ended", TODAY - days(1))


LAPSES = [
    lapse_of_the_period,
    lapse_of_the_practice,
    lapse_of_the_vision_test,
    failed_vision_test,
    work_given_up,
]


@pytest.mark.parametrize("lapse", LAPSES)
def test_nothing_tells_a_vision_test_from_another_lapse(site, person, scope, lapse):
    lapse(person, scope)

    found = ask(site)

    told = (
        found.standing,
        found.may_work,
        found.through,
        found.restriction,
        found.certificate_number,
    )
    assert told == ("not_current", False, None, "", "")


def test_the_word_for_a_vision_test_is_also_the_word_for_others():
    """A word kept for the one standing would say it, whatever the word."""
    told = bench_check.TOLD
    same = [one for one, word in told.items() if word == told[Standing.VISION_NOT_CURRENT]]

    assert set(same) >= {Standing.VISION_NOT_CURRENT, Standing.EXPIRED, Standing.PRACTICE_LAPSED}
    assert not [word for word in bench_check.STANDINGS if "vision" in word]
    assert not [said for said in bench_check.REASONS.values() if "vision" in str(said).lower()]


def test_every_standing_has_its_word_and_every_no_its_reason():
    assert set(bench_check.TOLD) == set(Standing) - {Standing.UNKNOWN_PERSON}
    assert set(bench_check.REASONS) == set(bench_check.STANDINGS) - {"certified"}


@pytest.mark.parametrize("kind", ["suspended", "revoked"])
def test_what_quality_stopped_is_said(site, person, scope, kind):
    happened(make_certificate(person, scope, issued_on=TODAY - days(9)), kind, TODAY)

    assert ask(site).standing == kind
    assert ask(site).certificate_number == ""
    assert ask(site, day=TODAY - days(1)).through == TODAY - days(1)


def test_nobody_certified_for_the_work_is_told_from_nobody_known(site, person, scope):
    assert ask(site).standing == "never_certified"
    assert ask(site, number="99999").standing == "unknown_person"


def test_unknown_is_whoever_is_not_here_on_the_day(site, person, scope):
    elsewhere = make_person(make_site("Aldergate", "AL"), employee_number="20001")
    gone = make_person(site, employee_number="20002", left_on=TODAY - days(1))
    to_come = make_person(site, employee_number="20003", started_on=TODAY + days(1))
    for one in (elsewhere, gone, to_come):
        make_certificate(one, scope, issued_on=TODAY - days(5))

    for number in ("20001", "20002", "20003", "99999", "", "7\0", "x" * 300):
        found = ask(site, number=number)
        assert (found.standing, found.may_work, found.through, found.person) == (
            "unknown_person",
            False,
            None,
            None,
        )
    assert ask(site, number="20002", day=TODAY - days(1)).may_work
    assert ask(site, number="20003", day=TODAY + days(1)).may_work


@pytest.mark.parametrize("code", ["NO-SUCH", "", "TERM-OP\0"])
def test_unknown_scope_is_said_in_the_same_way(site, person, scope, code):
    make_certificate(person, scope)

    found = ask(site, code=code)

    assert (found.standing, found.may_work, found.through, found.restriction) == (
        "unknown_scope",
        False,
        None,
        "",
    )


def test_number_somebody_had_before_still_finds_them(site, person, scope):
    make_certificate(person, scope)
    FormerEmployeeNumber.objects.create(person=person, employee_number="377", until_on=TODAY)

    found = ask(site, number="377")

    assert found.may_work
    assert found.employee_number == "377"
    assert found.person.employee_number == "10377"


def test_former_number_of_somebody_elsewhere_finds_nobody(site, scope):
    there = make_person(make_site("Aldergate", "AL"))
    FormerEmployeeNumber.objects.create(person=there, employee_number="377", until_on=TODAY)

    assert ask(site, number="377").standing == "unknown_person"


def test_many_are_answered_in_order_and_as_one_by_one(site, person, scope):
    other = make_person(site, employee_number="10512")
    make_certificate(person, scope)
    make_certificate(other, make_scope(code="CUP-OP"), issued_on=TODAY - days(900))
    FormerEmployeeNumber.objects.create(person=other, employee_number="512", until_on=TODAY)
    numbers, codes = ("10377", "10512", "512", "99999"), ("TERM-OP", "CUP-OP", "NONE")
    pairs = [(number, code) for number in numbers for code in codes] * 2

    found = bench_check.answers(pairs, sites=[site.pk], day=TODAY)

    assert [(one.employee_number, one.scope) for one in found] == pairs
    assert found == [ask(site, *pair) for pair in pairs]


def test_number_of_queries_stays_whatever_is_asked(site, person, scope, django_assert_num_queries):
    make_certificate(person, scope)
    with django_assert_num_queries(2):
        assert ask(site).may_work
    FormerEmployeeNumber.objects.create(person=person, employee_number="377", until_on=TODAY)
    many = [(str(number), "TERM-OP") for number in range(400)] + [("10377", "TERM-OP")]
    with django_assert_num_queries(4):
        assert len(bench_check.answers(many, sites=[site.pk], day=TODAY)) == 401


def test_answer_agrees_with_the_register_on_every_day(site, person, scope):
    """May work exactly where the engine, asked for the facts, says certified."""
    revision = make_revision(scope, vision_months=2, max_absence_months=2, validity_months=4)
    first = make_certificate(person, scope, revision=revision, issued_on=TODAY)
    for gone, passed in ((0, True), (40, False), (50, True), (130, True)):
        sees(person, TODAY + days(gone), passed)
    for gone in (20, 70):
        PracticeRecord.objects.create(
            person=person, scope_code=scope.code, performed_on=TODAY + days(gone)
        )
    happened(first, "suspended", TODAY + days(60))
    happened(first, "reinstated", TODAY + days(65))
    make_certificate(person, scope, revision=revision, issued_on=TODAY + days(110), renews=first)

    walked = [TODAY + days(number) for number in range(-3, 260)]
    register = {day: standing_on_day.answer(person, scope, day) for day in walked}
    found = {day: ask(site, day=day) for day in walked}

    assert {day for day in walked if found[day].may_work} == {
        day for day in walked if register[day].standing == Standing.CERTIFIED
    }
    assert len({one.standing for one in register.values()}) >= 4
    for day in walked[:-60]:
        if found[day].may_work:
            ends = next(one for one in walked if one > day and not found[one].may_work)
            assert found[day].through == ends - days(1), day
            assert found[day].certificate_number == register[day].certificate_number
