"""One fact each of many people or tools: what fits is recorded, once, and what does not is said."""

from datetime import timedelta
from threading import Barrier, Thread

import pytest
from django.db import connection, connections

from people.models import Person
from records.models import TrailEntry
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_tool,
    make_user,
)
from training import access
from training.models import Attendance, Calibration, PracticeRecord, VisionTest
from training.services import attendance, courses, facts, grids, tools
from training.services.grids import CalibrationResult, VisionResult

pytestmark = pytest.mark.django_db

PASSED, FAILED = VisionResult(passed=True), VisionResult(passed=False)


@pytest.fixture
def quality():
    return make_user("quality")


def enter_tests(results, actor, day=TODAY, **fields):
    return grids.record_vision_tests(
        results={person.pk: result for person, result in results.items()},
        people=access.people_tested_by(actor),
        tested_on=day,
        actor=actor,
        at=NOW,
        **{"examiner": "R. Hale", **fields},
    )


def confirm(people, actor, *, scope="TERM", day=TODAY, reference="WO-1"):
    return grids.record_work(
        person_keys=[person.pk for person in people],
        people=access.people_confirmed_by(actor),
        scope_code=scope,
        performed_on=day,
        reference=reference,
        actor=actor,
        at=NOW,
    )


def calibrate(tools, actor, *, passed=True, reference="", day=TODAY):
    return grids.record_calibrations(
        results={tool.pk: CalibrationResult(passed, reference) for tool in tools},
        tools=access.tools_kept_by(actor),
        calibrated_on=day,
        valid_through=TODAY + timedelta(days=365),
        actor=actor,
        at=NOW,
    )


def test_each_row_is_a_test_with_its_own_number_and_entry(quality):
    first, second = make_person(), make_person()

    outcome = enter_tests({first: VisionResult(True, with_lenses=True), second: FAILED}, quality)

    assert outcome.recorded == [first.pk, second.pk]
    tests = VisionTest.objects.order_by("pk")
    assert [(test.person, test.passed, test.with_lenses) for test in tests] == [
        (first, True, True),
        (second, False, None),
    ]
    assert len({test.test_id for test in tests}) == 2
    assert TrailEntry.objects.filter(act="vision test recorded", actor=quality).count() == 2


def test_what_fits_is_recorded_and_what_does_not_is_said_by_row(quality):
    fits, left = make_person(), make_person(left_on=TODAY - timedelta(days=9), full_name="Joss Fe")
    elsewhere = make_person(make_site("Aldergate", "AL", time_zone="Europe/London"))
    tested = make_person()
    enter_tests({tested: FAILED}, quality)

    outcome = enter_tests(
        {fits: PASSED, left: PASSED, elsewhere: PASSED, tested: PASSED, quality.person: PASSED},
        quality,
    )

    assert outcome.recorded == [fits.pk]
    assert outcome.already == []
    assert "Joss Fe left on 16 Nov 2026" in outcome.refused[left.pk]
    assert "not among the people" in outcome.refused[elsewhere.pk]
    assert "already: not passed, entered Wed" in outcome.refused[tested.pk]
    assert "not among the people" in outcome.refused[quality.person.pk]
    assert VisionTest.objects.filter(passed=True).get().person == fits


def test_a_day_to_come_is_refused_in_every_row(quality):
    people = [make_person(), make_person()]

    outcome = enter_tests(dict.fromkeys(people, PASSED), quality, TODAY + timedelta(days=1))

    assert set(outcome.refused) == {person.pk for person in people}
    assert all("still to come" in sentence for sentence in outcome.refused.values())
    assert not VisionTest.objects.exists()


def test_the_same_round_sent_again_records_nothing(quality):
    people = [make_person(), make_person()]
    results = {people[0]: PASSED, people[1]: FAILED}
    enter_tests(results, quality)

    outcome = enter_tests(results, quality)

    assert outcome.already == [person.pk for person in people]
    assert outcome.recorded == []
    assert VisionTest.objects.count() == 2


def test_a_test_that_was_withdrawn_stands_in_nobodys_way(quality):
    person = make_person()
    enter_tests({person: FAILED}, quality)
    facts.withdraw_vision_test(
        vision_test=VisionTest.objects.get(),
        reason="Somebody else’s.",
        actor=quality,
        at=NOW,
        proof="password",
    )

    assert enter_tests({person: PASSED}, quality).recorded == [person.pk]


def test_a_line_lead_confirms_the_work_of_their_own_people_alone():
    lead = make_user("line_lead")
    own, other = make_person(line_lead=lead.person), make_person()

    outcome = confirm([own, other, lead.person], lead)

    assert outcome.recorded == [own.pk]
    assert set(outcome.refused) == {other.pk, lead.person.pk}
    assert PracticeRecord.objects.get().confirmed_by == lead


def test_whoever_lost_the_role_of_a_lead_confirms_nothing():
    former = make_user()
    own = make_person(line_lead=former.person)

    assert set(confirm([own], former).refused) == {own.pk}
    assert not PracticeRecord.objects.exists()


def test_work_is_recorded_once_for_each_unit_scope_and_day(quality):
    person = make_person()
    for scope, day, reference in (
        ("TERM", TODAY, "WO-1"),
        ("TERM", TODAY, "WO-2"),
        ("CUPS", TODAY, "WO-1"),
        ("TERM", TODAY - timedelta(days=1), "WO-1"),
    ):
        said = {"scope": scope, "day": day, "reference": reference}
        assert confirm([person], quality, **said).recorded == [person.pk]
        again = confirm([person], quality, **{**said, "reference": reference.lower()})
        assert again.already == [person.pk]

    assert PracticeRecord.objects.count() == 4


def test_calibrations_are_recorded_for_tools_that_are_kept_and_in_use():
    instructor = make_user("instructor")
    fits, second = make_tool(), make_tool()
    retired = make_tool(retired_on=TODAY - timedelta(days=3), code="IRON-OLD")
    elsewhere = make_tool(make_site("Aldergate", "AL", time_zone="Europe/London"))
    calibrate([second], instructor, passed=False)

    outcome = calibrate([fits, second, retired, elsewhere], instructor)

    assert outcome.recorded == [fits.pk]
    assert "already: not passed" in outcome.refused[second.pk]
    assert "IRON-OLD is out of use since 22 Nov 2026" in outcome.refused[retired.pk]
    assert "not among the tools" in outcome.refused[elsewhere.pk]
    assert calibrate([fits], instructor).already == [fits.pk]
    assert (
        "already: passed, good through"
        in calibrate([fits], instructor, reference="L-2").refused[fits.pk]
    )
    assert Calibration.objects.count() == 2
    assert TrailEntry.objects.filter(act="tool calibrated").count() == 2


def test_a_report_with_too_long_a_name_is_refused_with_its_row():
    tool = make_tool()

    outcome = calibrate([tool], make_user("instructor"), reference="L" * 81)

    assert "at most 80 characters" in outcome.refused[tool.pk]
    assert not Calibration.objects.exists()


@pytest.fixture
def session():
    return make_session(people=(make_person(), make_person(), make_person()))


def attend(session, present, shown=None):
    return attendance.take_attendance(
        session=session,
        day=TODAY,
        present=present,
        shown=shown,
        actor=session.instructor,
        at=NOW,
    )


def test_attendance_leaves_whoever_was_enrolled_since(session):
    first, second, late = session.enrolments.order_by("pk")

    outcome = attend(session, {first.pk}, {first.pk: None, second.pk: None})

    assert outcome.recorded == [first.pk, second.pk]
    assert not Attendance.objects.filter(enrolment=late).exists()


def test_attendance_recorded_otherwise_meanwhile_is_said_and_stays(session):
    first, second, third = session.enrolments.order_by("pk")
    shown = dict.fromkeys((first.pk, second.pk, third.pk))
    attend(session, {first.pk}, {first.pk: None, second.pk: None})

    outcome = attend(session, {second.pk, third.pk}, shown)

    assert outcome.recorded == [third.pk]
    assert "as there by somebody else" in outcome.refused[first.pk]
    assert "as absent by somebody else" in outcome.refused[second.pk]
    assert dict(Attendance.objects.values_list("enrolment", "present")) == {
        first.pk: True,
        second.pk: False,
        third.pk: True,
    }
    # Said again by one who has seen it.
    shown = {first.pk: True, second.pk: False, third.pk: True}
    assert attend(session, {second.pk, third.pk}, shown).refused == {}


def test_attendance_sent_twice_is_one_entry_and_whoever_was_taken_off_is_said(session):
    first, second, third = session.enrolments.order_by("pk")
    shown = dict.fromkeys((first.pk, second.pk, third.pk))
    courses.cancel_enrolment(enrolment=third, actor=session.instructor, at=NOW)

    gone = shown.keys() - {first.pk, second.pk}
    assert set(attend(session, {first.pk}, shown).refused) == gone
    again = attend(session, {first.pk}, shown)

    assert sorted(again.already) == [first.pk, second.pk]
    assert TrailEntry.objects.filter(act="attendance taken").count() == 1


def test_after_a_round_it_is_known_who_is_certified_again(quality, client):
    scope = make_scope(code="TERM")
    person = make_person(full_name="Ada Holm")
    make_certificate(
        person,
        scope,
        revision=make_revision(scope, vision_months=12),
        issued_on=TODAY - timedelta(days=30),
    )
    client.force_login(quality)
    day = person.site.today().isoformat()
    sent = {"tested_on": day, "examiner": "R. Hale", f"result-{person.pk}": "pass"}

    page = client.post("/vision-tests/", sent, follow=True).content.decode()
    assert "Certified again: Ada Holm." in page


together = pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")


def at_once(*acts):
    """Run acts in threads that start together; what each gave."""
    barrier, found = Barrier(len(acts)), []

    def run(act):
        try:
            barrier.wait(timeout=120)
            found.append(act())
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=300)
    assert len(found) == len(acts)
    return found


@together
@pytest.mark.django_db(transaction=True)
def test_two_rounds_at_once_record_each_fact_once(quality):
    """The second one also goes through the rows in the opposite order."""
    instructor = make_user("instructor")
    people = [make_person() for _ in range(8)]
    tools = [make_tool() for _ in range(8)]

    tested = at_once(
        lambda: enter_tests(dict.fromkeys(people, PASSED), quality),
        lambda: enter_tests(dict.fromkeys(reversed(people), PASSED), instructor),
    )
    confirmed = at_once(lambda: confirm(people, quality), lambda: confirm(people[::-1], instructor))
    calibrated = at_once(
        lambda: calibrate(tools, instructor), lambda: calibrate(tools[::-1], instructor)
    )

    for outcomes in (tested, confirmed, calibrated):
        assert sum(len(outcome.recorded) for outcome in outcomes) == 8
        assert sum(len(outcome.already) for outcome in outcomes) == 8
        assert [outcome.refused for outcome in outcomes] == [{}, {}]
    for model in (VisionTest, PracticeRecord, Calibration):
        assert model.objects.count() == 8


@together
@pytest.mark.django_db(transaction=True)
def test_form_for_one_sent_twice_at_once_records_one_fact(quality):
    person, tool, instructor = make_person(), make_tool(), make_user("instructor")
    act = {"actor": quality, "at": NOW}

    def test():
        return facts.record_vision_test_once(
            person=person, tested_on=TODAY, passed=True, with_lenses=None, method="",
            examiner="R. Hale", **act,
        )  # fmt: skip

    def work():
        return facts.record_practice_once(
            person=person, scope_code="TERM", performed_on=TODAY, reference="WO-1", **act
        )

    def calibration():
        return tools.record_calibration_once(
            tool=tool, calibrated_on=TODAY, valid_through=TODAY, passed=True, reference="R-1",
            actor=instructor, at=NOW,
        )  # fmt: skip

    for record, model in (
        (test, VisionTest),
        (work, PracticeRecord),
        (calibration, Calibration),
    ):
        [recorded] = [fact for fact in at_once(record, record) if fact is not None]
        assert model.objects.get() == recorded


@together
@pytest.mark.django_db(transaction=True)
def test_two_who_differ_at_once_leave_one_result_and_a_sentence(quality):
    person, instructor = make_person(), make_user("instructor")

    outcomes = at_once(
        lambda: enter_tests({person: PASSED}, quality),
        lambda: enter_tests({person: FAILED}, instructor),
    )

    assert VisionTest.objects.count() == 1
    assert sorted(len(outcome.refused) for outcome in outcomes) == [0, 1]


@together
@pytest.mark.django_db(transaction=True)
def test_attendance_taken_twice_at_once_is_one_entry():
    session = make_session(people=(make_person(), make_person()))
    keys = list(session.enrolments.values_list("pk", flat=True))
    shown = dict.fromkeys(keys)

    outcomes = at_once(*[lambda: attend(session, set(keys), shown)] * 2)

    assert sorted(len(outcome.recorded) for outcome in outcomes) == [0, 2]
    assert TrailEntry.objects.filter(act="attendance taken").count() == 1


def test_a_person_taken_from_a_line_meanwhile_is_not_confirmed_by_its_lead():
    lead = make_user("line_lead")
    person = make_person(line_lead=lead.person)
    keys = access.people_confirmed_by(lead)
    Person.objects.filter(pk=person.pk).update(line_lead=None)

    outcome = grids.record_work(
        person_keys=[person.pk],
        people=keys,
        scope_code="TERM",
        performed_on=TODAY,
        reference="WO-1",
        actor=lead,
        at=NOW,
    )

    assert set(outcome.refused) == {person.pk}
