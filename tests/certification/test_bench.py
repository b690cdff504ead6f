"""The instructor's bench: boards in the order they came in, and what ends next."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from assessments.models import BoardOutcome, Grading, Judgement, ReadingRequest
from assessments.queries.pace import pace_at
from certification.models import CertificateEvent, Proposal
from certification.presenters import bench
from certification.services import standing
from people.models import SiteRole
from records.models import append_only
from records.services import trail
from tests.factories import (
    NOW,
    make_board,
    make_certificate,
    make_criteria_set,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.models import Calibration, Lesson, Tool, VisionTest

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def instructor(client):
    user = make_user("instructor", person=make_person(full_name="Leocadia Brandt"))
    client.force_login(user)
    return user


@pytest.fixture
def elsewhere():
    return make_site("Aldergate", "AL")


def handed_in(days_ago, **fields):
    return make_board(handed_in_at=timezone.now() - timedelta(days=days_ago), **fields)


def numbers(boards):
    return [board.number for board in boards]


def certificate_ending(day, *, person=None, scope=None, **revision):
    """A certificate of two years whose last day is the one given."""
    scope = scope or make_scope(title="Terminals, operator")
    made = make_certificate(
        person or make_person(full_name="Ilka Norrgard"),
        scope,
        revision=make_revision(scope, validity_months=24, **revision),
        issued_on=day - timedelta(days=500),
    )
    CertificateEvent.objects.create(
        event_id=f"E-{made.pk}",
        certificate=made,
        kind="ended",
        effective_on=day,
        recorded_at=NOW,
    )
    standing.rebuild_spans(made.person, made.scope)
    return made


# Boards


def test_boards_wait_in_the_order_they_were_handed_in(client, instructor, elsewhere):
    later, first = handed_in(1), handed_in(5)
    make_board()
    handed_in(3, person=instructor.person)
    handed_in(3, person=make_person(elsewhere))
    handed_in(3, disposed_at=NOW)
    judged = handed_in(9)
    BoardOutcome.objects.create(board=judged, complete=True, passed=True)

    found = client.get("/bench/").context["bench"]

    assert numbers(found.waiting) == numbers([first, later])
    assert (found.waiting_count, found.at_bench_count) == (2, 1)


def test_first_board_is_large_and_its_button_says_whether_it_was_begun(client, instructor):
    board = handed_in(2)

    assert ">Grade<span" in client.get("/bench/").content.decode()

    grading = Grading.objects.create(
        board=board, grader=instructor, criteria_set=make_criteria_set()
    )
    Judgement.objects.create(
        grading=grading,
        joint=board.joints.first(),
        criterion=grading.criteria_set.criteria.first(),
        stage="soldered",
        outcome="accept",
        how="at_board",
    )
    page = client.get("/bench/").content.decode()
    assert "Continue grading" in page
    assert "1 of 3 begun" in page


def test_stage_that_is_judged_to_the_end_waits_for_a_signature(client, instructor):
    criteria = make_criteria_set({"code": "S-1"})
    board = handed_in(1, person=make_person(full_name="Zenobia Falk"))
    grading = Grading.objects.create(board=board, grader=instructor, criteria_set=criteria)

    def judge(joint):
        Judgement.objects.create(
            grading=grading,
            joint=joint,
            criterion=criteria.criteria.get(),
            stage="soldered",
            outcome="accept",
            how="at_board",
        )

    first, *rest = board.joints.all()
    judge(first)
    assert client.get("/bench/").context["bench"].to_sign == []
    for joint in rest:
        judge(joint)

    response = client.get("/bench/")

    (one,) = response.context["bench"].to_sign
    assert (one.board, one.stage.value) == (board, "soldered")
    page = response.content.decode()
    assert f"/boards/{board.number}/grade/sign/soldered/" in page
    assert "the stage “soldered” is judged and waits for your signature." in page


def test_no_more_boards_than_fit_are_shown_and_all_are_counted(client, instructor):
    for _n in range(bench.SHOWN + 2):
        handed_in(1)

    found = client.get("/bench/").context["bench"]

    assert (len(found.waiting), found.waiting_count) == (bench.SHOWN, bench.SHOWN + 2)


def test_empty_bench_says_what_to_do(client, instructor):
    page = client.get("/bench/").content.decode()

    assert "Nothing waits" in page
    assert "Hand out the next ones" in page
    assert "Nothing ends in the next 60 days" in page
    assert "No class today" in page


# What ends


def test_what_ends_within_sixty_days_is_there_soonest_first(client, instructor, today, elsewhere):
    far = certificate_ending(today + timedelta(days=61))
    second = certificate_ending(today + timedelta(days=60))
    first = certificate_ending(today)
    certificate_ending(today - timedelta(days=1))
    certificate_ending(today + timedelta(days=5), person=make_person(elsewhere))
    gone = make_person(left_on=today - timedelta(days=1))
    certificate_ending(today + timedelta(days=5), person=gone)

    due = client.get("/bench/").context["bench"].due

    assert [one.person for one in due] == [first.person, second.person]
    assert [one.last_day for one in due] == [today, today + timedelta(days=60)]
    assert far.person not in [one.person for one in due]


def test_one_end_is_told_once_with_every_scope_that_stops(client, instructor, today):
    person = make_person(full_name="Yevgenia Lund")
    VisionTest.objects.create(
        test_id="V-1", person=person, tested_on=today - timedelta(days=355), passed=True
    )
    for title in ("Solder cups, operator", "Terminals, operator"):
        scope = make_scope(title=title)
        make_certificate(
            person,
            scope,
            revision=make_revision(scope, vision_months=12),
            issued_on=today - timedelta(days=100),
        )

    response = client.get("/bench/")

    (one,) = response.context["bench"].due
    assert (one.kind, one.scopes) == ("vision", ("Solder cups, operator", "Terminals, operator"))
    page = response.content.decode()
    assert "Solder cups, operator; Terminals, operator: vision test runs out" in page
    assert "Enter a vision test" in page


def test_renewal_leads_to_what_it_asks_for(client, instructor, today):
    certificate = certificate_ending(today + timedelta(days=5))

    page = client.get("/bench/").content.decode()

    number, code = certificate.person.employee_number, certificate.scope.code
    assert f"/people/{number}/scopes/{code}/" in page


def test_what_stopped_lately_is_there_newest_first(client, instructor, today):
    older = certificate_ending(today - timedelta(days=40), person=make_person(full_name="Older"))
    newer = certificate_ending(today - timedelta(days=3), person=make_person(full_name="Newer"))
    certificate_ending(today - timedelta(days=90))

    stopped = client.get("/bench/").context["bench"].stopped

    assert [span.person for span in stopped] == [newer.person, older.person]


@pytest.mark.parametrize(
    ("ends_in", "passed", "said"),
    [
        pytest.param(30, True, "Calibration ends.", id="ends soon"),
        pytest.param(-1, True, "Calibration has ended.", id="ended"),
        pytest.param(300, False, "Did not pass its calibration.", id="not passed"),
        pytest.param(31, True, None, id="ends later"),
    ],
)
def test_calibrations_are_told_by_the_latest(client, instructor, today, ends_in, passed, said):
    tool = Tool.objects.create(code="T-07", kind="thermal_stripper", site=make_site())
    for days_ago, last_day in ((400, 35), (100, ends_in)):
        Calibration.objects.create(
            tool=tool,
            calibrated_on=today - timedelta(days=days_ago),
            valid_through=today + timedelta(days=last_day),
            passed=passed or days_ago == 400,
        )

    response = client.get("/bench/")

    tools = [one.tool for one in response.context["bench"].due]
    assert tools == ([tool] if said else [])
    if said:
        assert said in response.content.decode()


def test_retired_tools_and_those_elsewhere_are_nobodys_concern_here(
    client, instructor, today, elsewhere
):
    for code, site, retired_on in (("T-1", make_site(), today), ("T-2", elsewhere, None)):
        tool = Tool.objects.create(code=code, kind="iron", site=site, retired_on=retired_on)
        Calibration.objects.create(
            tool=tool, calibrated_on=today - timedelta(days=400), valid_through=today
        )

    assert client.get("/bench/").context["bench"].due == []


# Classes and proposals


def test_class_of_today_shows_the_lessons_of_its_day(client, instructor, today):
    site = make_site()
    site.working_days = [1, 2, 3, 4, 5, 6, 7]
    site.save(update_fields=["working_days"])
    session = make_session(
        people=(make_person(), make_person()),
        instructor=instructor,
        starts_on=today - timedelta(days=1),
        ends_on=today + timedelta(days=1),
        room="Bench room 2",
    )
    for order, day in enumerate((1, 2, 2, 3), start=1):
        Lesson.objects.create(
            course_revision=session.course_revision,
            order=order,
            day=day,
            title=f"Lesson {order}",
            minutes=45,
        )

    response = client.get("/bench/")

    (held,) = response.context["bench"].classes
    assert (held.day, held.days, held.people) == (2, 3, 2)
    assert [lesson.title for lesson in held.lessons] == ["Lesson 2", "Lesson 3"]
    page = response.content.decode()
    assert "Bench room 2, 2 people, day 2 of 3" in page


def test_day_on_which_nobody_works_has_no_class(client, instructor, today):
    site = make_site()
    site.working_days = [day for day in range(1, 8) if day != today.isoweekday()]
    site.save(update_fields=["working_days"])
    make_session(
        instructor=instructor,
        starts_on=today - timedelta(days=3),
        ends_on=today + timedelta(days=3),
    )

    assert client.get("/bench/").context["bench"].classes == []


def test_proposals_that_nobody_decided_are_counted(client, instructor):
    exercise, scope = make_exercise(), make_scope()
    revision = make_revision(scope, exercise=exercise)
    for decision in ("", "declined"):
        person = make_person()
        make_passed_board(person, exercise, grader=instructor)
        Proposal.objects.create(
            person=person,
            scope=scope,
            scheme_revision=revision,
            decision=decision,
            signature=trail.sign(
                actor=instructor, meaning="proposed", about=person, content={}, at=NOW
            ),
        )

    response = client.get("/bench/")

    assert response.context["bench"].proposals_waiting == 1
    assert 'href="/proposals/"' in response.content.decode()


# What to do now, in order


def test_whatever_waits_is_one_list_in_the_order_of_its_clock(client, instructor, today):
    graded = handed_in(4)
    exercise, scope = make_exercise(), make_scope()
    make_revision(scope, exercise=exercise)
    passed = make_passed_board(
        make_person(full_name="Ada Brisk"),
        exercise,
        grader=instructor,
        signed_at=timezone.now() - timedelta(days=3),
    )
    two = make_exercise(graders=2)
    second = make_passed_board(make_person(), two, signed_at=timezone.now() - timedelta(days=2))
    second.outcome.delete()
    request = ReadingRequest.objects.create(
        board=make_passed_board(make_person(), make_exercise()),
        asked_by=make_user(),
        reason="E02 is wetted.",
        recorded_at=timezone.now() - timedelta(days=1),
    )

    response = client.get("/bench/")

    lines = response.context["bench"].to_do
    assert [(line.kind, line.board) for line in lines] == [
        ("grade", graded),
        ("propose", None),
        ("second", second),
        ("another", request.board),
    ]
    assert lines[1].names == ("Ada Brisk",)
    assert passed.person.full_name == "Ada Brisk"
    page = response.content.decode()
    assert "1 meets a scheme and is not proposed" in page
    assert "one grader has signed; it waits for the second." in page
    assert 'href="/proposals/new/"' in page


def test_minutes_are_assumed_until_ten_stages_were_timed(client, instructor):
    handed_in(1)

    response = client.get("/bench/")

    found = response.context["bench"]
    assert found.pace.is_assumed
    assert found.minutes == 1  # Three joints of fifteen seconds, rounded up.
    assert "Minutes are assumed, 15 s a joint at each stage" in response.content.decode()


def time_a_stage(instructor, seconds, signed_at):
    """A stage of three joints judged so many seconds apart."""
    board = make_passed_board(
        make_person(), make_exercise(), grader=instructor, signed_at=signed_at
    )
    grading = board.gradings.get()
    for n, joint in enumerate(board.joints.order_by("position__order")):
        Judgement.objects.create(
            grading=grading,
            joint=joint,
            criterion=grading.criteria_set.criteria.first(),
            stage="soldered",
            outcome="accept",
            how="at_board",
            judged_at=signed_at - timedelta(seconds=seconds * (3 - n)),
        )


def test_minutes_go_by_the_median_of_what_was_timed_here(client, instructor):
    now = timezone.now()
    with append_only.lifted(connection):
        for n in range(9):
            time_a_stage(instructor, 40 + n, now - timedelta(days=n + 1))
        time_a_stage(instructor, 3600, now - timedelta(days=1))  # Interrupted.
        time_a_stage(instructor, 0, now - timedelta(days=1))  # At one stroke.
        time_a_stage(instructor, 7, now - timedelta(days=91))  # Long ago.
    sites = instructor.sites_as("instructor")
    assert pace_at(sites, now).is_assumed

    with append_only.lifted(connection):
        time_a_stage(instructor, 49, now - timedelta(days=1))
    pace = pace_at(sites, now)

    assert (pace.seconds_a_joint, pace.stages) == (44.5, 10)
    assert pace.minutes(20, 4) == pytest.approx(44.5 * 80 / 60)
    handed_in(1)
    page = client.get("/bench/").content.decode()
    assert "45 s a joint at each stage, the median of the last 10 stages timed here" in page


def test_who_is_quality_too_finds_what_waits_to_be_decided(client, instructor):
    SiteRole.objects.create(user=instructor, site=make_site(), role="quality")
    exercise, scope = make_exercise(), make_scope()
    revision = make_revision(scope, exercise=exercise)
    person = make_person()
    Proposal.objects.create(
        person=person,
        scope=scope,
        scheme_revision=revision,
        signature=trail.sign(
            actor=make_user("instructor"), meaning="proposed", about=person, content={}, at=NOW
        ),
    )

    response = client.get("/bench/")

    (line,) = response.context["bench"].to_do
    assert (line.kind, line.number) == ("decide", 1)
    assert 'href="/proposals/decide/"' in response.content.decode()


def test_who_is_about_to_end_can_be_ticked_and_says_the_class(client, instructor, today):
    certificate = certificate_ending(today + timedelta(days=20))
    session = make_session(
        people=(certificate.person,),
        instructor=instructor,
        starts_on=today + timedelta(days=10),
        ends_on=today + timedelta(days=10),
    )

    response = client.get("/bench/")

    (line,) = response.context["bench"].due
    assert line.sessions == (session,)
    page = response.content.decode()
    assert f'value="{certificate.person.employee_number}"' in page
    assert 'action="/classes/places/"' in page


# Queries and refusals


def test_more_boards_and_people_take_no_more_queries(
    client, instructor, today, django_assert_max_num_queries
):
    def fill(n):
        for number in range(n):
            handed_in(1)
            certificate_ending(today + timedelta(days=number + 1))
            certificate_ending(today - timedelta(days=number + 1))

    def queries():
        with django_assert_max_num_queries(25) as found:
            client.get("/bench/")
        return len(found)

    fill(2)
    queries()  # The session is written with the first request of a minute.
    few = queries()
    fill(10)

    assert queries() == few


def asked_of(table, found):
    return [query["sql"] for query in found if f'FROM "{table}"' in query["sql"]]


@pytest.mark.parametrize("at_once", [1, 3, 100])
def test_of_what_ends_no_more_is_read_than_is_shown(
    client, instructor, today, monkeypatch, at_once
):
    monkeypatch.setattr(bench, "ENDS_AT_ONCE", at_once)
    for number in range(bench.SHOWN + 3):
        person = make_person(full_name=f"Person {number:02d}")
        for _scope in range(2):
            certificate_ending(today + timedelta(days=number // 4 + 1), person=person)
    with CaptureQueriesContext(connection) as found:
        due = client.get("/bench/").context["bench"].due
    assert [line.person.full_name for line in due] == [
        f"Person {number:02d}" for number in range(bench.SHOWN)
    ]
    assert {len(line.scopes) for line in due} == {2}
    ends = bench.SHOWN * 2 + 1  # The first of the next tells that the last is whole.
    assert len(asked_of("certification_standingend", found)) == -(-ends // at_once)


def test_boards_that_several_read_are_found_once(client, instructor):
    handed_in(1)
    with CaptureQueriesContext(connection) as found:
        client.get("/bench/")
    assert len([query for query in found if '"graders" > 1' in query["sql"]]) == 1


def test_the_pace_reads_the_judgements_of_all_stages_at_once(instructor):
    for _board in range(3):
        make_passed_board(make_person(), make_exercise(), grader=instructor)
    with CaptureQueriesContext(connection) as found:
        pace_at(instructor.sites_as("instructor"), NOW)
    assert len(asked_of("assessments_judgement", found)) == 1


def test_more_people_who_meet_a_scheme_take_no_more_queries(client, instructor):
    exercise = make_exercise()
    make_revision(make_scope(), exercise=exercise)

    def queries(n):
        for _n in range(n):
            make_passed_board(make_person(), exercise, grader=instructor, signed_at=timezone.now())
        client.get("/bench/")
        with CaptureQueriesContext(connection) as found:
            assert client.get("/bench/").context["bench"].to_do[0].kind == "propose"
        return len(found)

    assert queries(1) == queries(9)


def test_day_is_that_of_the_instructors_site(client, instructor, monkeypatch):
    site = make_site()
    site.time_zone = "Pacific/Auckland"
    site.save(update_fields=["time_zone"])
    late = datetime(2026, 11, 24, 23, 30, tzinfo=UTC)
    monkeypatch.setattr(timezone, "now", lambda: late)
    make_board(handed_in_at=late - timedelta(hours=1))

    response = client.get("/bench/")

    assert response.context["today"].isoformat() == "2026-11-25"
    assert "the first handed in today" in response.content.decode()


def test_bench_is_for_instructors(client):
    assert client.get("/bench/").status_code == 302
    for role in ("operator", "line_lead", "quality", "administrator"):
        client.force_login(make_user(role))
        assert client.get("/bench/").status_code == 403
    client.force_login(make_user("instructor"))
    assert client.post("/bench/").status_code == 405
