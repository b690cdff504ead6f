"""Boards name their tools: one that cannot be relied on is refused or flagged, its work found."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.urls import reverse

from assessments.exceptions import AssessmentError, CannotChangeBoard, ToolsNotFit
from assessments.models import Board, ToolWorkDecision
from assessments.queries import board_tools
from assessments.queries.tool_work import (
    questioned_work,
    to_do_again,
    to_look_at,
    work_while_out,
)
from assessments.services import board_corrections, boards, grading, judgements
from assessments.services.judgements import Circumstances
from assessments.services.tool_work import decide_on_work
from records.models import TrailEntry
from reminders.models import Message
from reminders.queries.ends import find_due, steps_by_revision
from tests.assessments.together import at_once, somebody_waits_for_us, wait_behind
from tests.factories import (
    NOW,
    PASSWORD,
    TODAY,
    make_board,
    make_criteria_set,
    make_person,
    make_site,
    make_tool,
    make_user,
)
from training.exceptions import TrainingError
from training.models import Tool
from training.queries.tool_fitness import unfit
from training.services import tools

pytestmark = pytest.mark.django_db


def day(ago):
    return TODAY - timedelta(days=ago)


def noon(ago):
    return datetime.combine(day(ago), time(12), UTC)


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def calibrate(instructor):
    def calibrate(tool, ago, **said):
        return tools.record_calibration(
            **{
                "tool": tool,
                "calibrated_on": day(ago),
                "valid_through": day(ago - 365),
                "passed": True,
                "passed_as_found": True,
                "actor": instructor,
                "at": NOW,
                **said,
            }
        )

    return calibrate


@pytest.fixture
def iron(calibrate):
    tool = make_tool(code="IRON-07", kind=Tool.Kind.IRON)
    calibrate(tool, 100)
    return tool


def made_with(tool, *, out, handed_in, **fields):
    board = make_board(
        handed_out_on=day(out),
        handed_in_at=None if handed_in is None else noon(handed_in),
        **fields,
    )
    board.tools.add(tool)
    return board


def found(tool):
    """The boards in question, by the day of the calibration that says so."""
    return {
        (TODAY - work.calibration.calibrated_on).days: {each.board for each in work.boards}
        for work in questioned_work(Tool.objects.filter(pk=tool.pk))
    }


# What a board was made with


@pytest.mark.parametrize("purpose", ["qualification", "requalification", "practice"])
def test_a_tool_that_could_not_be_relied_on_is_refused_or_flagged(
    client, instructor, iron, calibrate, purpose
):
    ended = make_tool(code="IRON-08")
    calibrate(ended, 400)
    board = make_board(purpose=purpose)
    client.force_login(instructor)
    url = reverse("assessments:board_hand_in", args=[board.number])

    answer = client.post(url, {"shelf": "on", "codes": "iron-07\nIRON-08"})

    board.refresh_from_db()
    if purpose == "practice":
        assert board.handed_in_at is not None
        assert {tool.code for tool in board.tools.all()} == {"IRON-07", "IRON-08"}
        told = client.get(reverse("assessments:board_detail", args=[board.number]))
        assert "its calibration ended on" in told.content.decode()
    else:
        assert answer.status_code == 422
        assert "IRON-08: its calibration ended on" in answer.content.decode()
        assert (board.handed_in_at, board.tools.count()) == (None, 0)
        client.post(url, {"shelf": "on", "codes": "IRON-07"})
        assert TrailEntry.objects.filter(act="tools of board named").count() == 1


def test_tools_of_the_last_board_are_ticked_and_those_of_another_site_unknown(client, iron):
    maker = make_user()
    made_with(iron, out=9, handed_in=8, person=maker.person)
    make_tool(make_site("Aldergate", "AL"), code="AL-1")
    board = make_board(maker.person)
    client.force_login(maker)
    url = reverse("assessments:board_tools", args=[board.number])

    assert board_tools.remembered(board) == [iron.pk]
    assert client.get(url).context["form"]["tools"].value() == [iron.pk]
    answer = client.post(url, {"shelf": "on", "codes": "AL-1"})
    assert "No tool in use at this site has the code AL-1" in answer.content.decode()
    client.post(url, {"shelf": "on", "tools": [iron.pk]})
    assert list(board.tools.all()) == [iron]


def test_who_made_a_board_names_its_tools_until_somebody_judges(iron, instructor):
    make_criteria_set()
    maker = make_user()
    board = make_board(maker.person, handed_in_at=NOW)
    grading.start_grading(board=board, grader=instructor, at=NOW)

    with pytest.raises(CannotChangeBoard, match="begun to judge"):
        boards.name_tools(board=board, tools=[iron], actor=maker, at=NOW)
    boards.name_tools(board=board, tools=[iron], actor=instructor, at=NOW)
    assert board.tools.get() == iron


def test_a_tool_named_while_the_board_was_made_is_asked_about_at_the_hand_in(instructor, calibrate):
    ending = make_tool(code="IRON-08")
    calibrate(ending, 370)
    board = make_board(purpose="qualification", handed_out_on=day(10))
    boards.name_tools(board=board, tools=[ending], actor=instructor, at=noon(8))
    for tools_said in ([ending], None):
        with pytest.raises(ToolsNotFit, match="IRON-08: its calibration ended on"):
            boards.hand_in(board=board, tools=tools_said, actor=instructor, at=NOW)
    make_criteria_set()
    with pytest.raises(ToolsNotFit, match="IRON-08"):  # Handed in by being judged.
        grading.start_grading(board=board, grader=instructor, at=NOW)
    board.refresh_from_db()
    assert board.handed_in_at is None
    boards.hand_in(board=board, tools=[], actor=instructor, at=NOW)
    board.refresh_from_db()
    assert (board.handed_in_at, board.tools.count()) == (NOW, 0)


def test_practice_with_an_unfit_tool_is_not_made_a_qualification(instructor):
    board = made_with(make_tool(), out=1, handed_in=0)

    with pytest.raises(CannotChangeBoard, match="not calibrated by that day"):
        board_corrections.correct_purpose(
            boards=[board], purpose="qualification", reason="Wrong.", actor=instructor, at=NOW
        )


@pytest.mark.parametrize(("purpose", "refused"), [("qualification", True), ("practice", False)])
def test_a_value_read_on_an_unfit_tool_is_refused_for_qualification(instructor, purpose, refused):
    criteria = make_criteria_set(
        {"code": "L", "how": "measured", "quantity": "length", "high": 2, "unit": "mm"}
    )
    board = make_board(handed_in_at=NOW, purpose=purpose)
    reading = grading.start_grading(board=board, grader=instructor, at=NOW)
    judge = {
        "grading": reading,
        "criterion": criteria.criteria.get(),
        "joint": board.joints.first(),
        "outcome": "accept",
        "seen": Circumstances(how="instrument", tool=make_tool(), value=Decimal(1)),
        "at": NOW,
    }
    if refused:
        with pytest.raises(AssessmentError, match="not calibrated by that day"):
            judgements.judge(**judge)
    else:
        assert judgements.judge(**judge).tool is not None


# Work in question


def test_boards_since_the_last_good_calibration_are_found_by_name(iron, calibrate, instructor):
    inside = made_with(iron, out=50, handed_in=40)
    over_the_first_day = made_with(iron, out=120, handed_in=100)
    on_the_last_day = made_with(iron, out=10, handed_in=5)
    with_its_maker = made_with(iron, out=30, handed_in=None)
    made_with(iron, out=130, handed_in=101)
    made_with(iron, out=9, handed_in=5)
    made_with(iron, out=50, handed_in=40, cancelled_at=NOW)
    judged = _judged_on(iron, instructor, ago=60)
    _judged_on(iron, instructor, ago=101)
    assert found(iron) == {}

    calibrate(iron, 10, passed_as_found=False)

    expected = {inside, over_the_first_day, on_the_last_day, with_its_maker, judged}
    assert found(iron) == {10: expected}
    # One recorded later about a day between: the same as if it had been recorded on that day.
    calibrate(iron, 45)
    assert found(iron) == {10: {inside, on_the_last_day, with_its_maker}}


def test_a_calibration_recorded_late_gives_the_same_list(iron, calibrate):
    board = made_with(iron, out=50, handed_in=40)
    late = make_tool(code="IRON-09")
    other = made_with(late, out=50, handed_in=40)
    calibrate(iron, 30, passed_as_found=False)
    calibrate(iron, 2)

    calibrate(late, 2)
    calibrate(late, 30, passed_as_found=False)
    calibrate(late, 100)

    assert (found(iron), found(late)) == ({30: {board}}, {30: {other}})


def _judged_on(tool, grader, ago):
    make_criteria_set(
        {"code": "L", "how": "measured", "quantity": "length", "high": 2, "unit": "mm"}
    )
    board = make_board(handed_out_on=day(200), handed_in_at=noon(150))
    reading = grading.start_grading(board=board, grader=grader, at=noon(ago))
    judgements.judge(
        grading=reading,
        criterion=reading.criteria_set.criteria.get(),
        joint=board.joints.first(),
        outcome="accept",
        seen=Circumstances(how="instrument", tool=tool, value=Decimal(1)),
        at=noon(ago),
    )
    return board


def test_what_was_decided_is_asked_for_until_somebody_has_looked(
    client, iron, calibrate, instructor
):
    calibration = calibrate(iron, 10, passed_as_found=False)
    board = made_with(iron, out=50, handed_in=40)
    own = made_with(iron, out=50, handed_in=40, person=instructor.person)
    client.force_login(instructor)
    url = reverse("assessments:tool_work", args=[iron.code])
    bench = reverse("certification:bench")
    assert "Look at 1 board " in client.get(bench).content.decode()
    prefix = f"c{calibration.pk}"
    sent = {
        "calibration": calibration.pk,
        f"{prefix}-boards": [f"{board.number}:0"],
        f"{prefix}-decision": "stands",
        f"{prefix}-reason": "Off by 6 °C, far inside the setting.",
    }

    refused = client.post(url, sent | {f"{prefix}-boards": [f"{own.number}:0"]})
    assert refused.status_code == 422
    assert client.post(url, sent).status_code == 302
    again = client.post(url, sent)

    assert (again.status_code, ToolWorkDecision.objects.count()) == (422, 1)
    assert "The list has changed meanwhile" in again.content.decode()
    assert TrailEntry.objects.latest("pk").act == "work with a tool decided on"
    assert "Look at 1 board " not in client.get(bench).content.decode()
    [work] = to_look_at(Tool.objects.all())
    assert [each.board for each in work.undecided] == [own]
    client.force_login(make_user("quality"))
    assert "Off by 6 °C" in client.get(url).content.decode()


def test_who_teaches_and_audits_there_no_more_decides_on_nothing(iron, calibrate):
    calibration = calibrate(iron, 10, passed_as_found=False)
    board = made_with(iron, out=50, handed_in=40)

    with pytest.raises(CannotChangeBoard, match="instructors and quality at its site"):
        decide_on_work(
            calibration=calibration,
            boards={board.number: 0},
            decision="stands",
            reason="So.",
            actor=make_user("quality", site=make_site("Aldergate", "AL")),
            at=NOW,
        )


# Calibrations and out of service


def test_a_calibration_keeps_its_readings_and_its_certificate(client, instructor, iron):
    client.force_login(instructor)
    url = reverse("training:calibration_new", args=[iron.code])
    sent = {
        "calibrated_on": day(1).isoformat(),
        "valid_through": day(-300).isoformat(),
        "passed_as_found": "yes",
        "passed": "yes",
        "reading-rows": "4",
        "reading-0-what": "tip at 315 °C",
        "reading-0-unit": "°C",
        "reading-0-low": "310",
        "reading-0-high": "320",
        "reading-0-found": "322.5",
        "reading-0-left": "316",
    }

    contradicted = client.post(url, sent)
    assert contradicted.status_code == 422
    assert "was found outside its limits" in contradicted.content.decode()
    sent["passed_as_found"] = "no"
    page = client.post(url, sent | {"document": SimpleUploadedFile("k.exe", b"MZ")})
    assert (page.status_code, iron.calibrations.count()) == (422, 1)
    assert "is neither a PDF" in page.content.decode()
    client.post(url, sent | {"document": SimpleUploadedFile("k.pdf", b"%PDF-1.7\n%%EOF\n")})

    calibration = iron.calibrations.latest("pk")
    assert calibration.readings[0]["found"] == "322.5"
    told = client.get(reverse("training:tool_detail", args=[iron.code])).content.decode()
    assert "310\u00a0°C to 320\u00a0°C" in told
    kept = client.get(reverse("training:calibration_document", args=[iron.code, calibration.pk]))
    assert b"".join(kept.streaming_content) == b"%PDF-1.7\n%%EOF\n"
    kept.close()


def test_out_of_service_is_from_a_day_until_another_and_reminds_of_nothing(iron, instructor):
    site = iron.site
    answers = make_person(site, email="ada@skarnfell.example")
    Tool.objects.filter(pk=iron.pk).update(answers_for=answers)
    who = {"actor": instructor, "at": NOW}

    def reminded():
        return find_due(site, day(-265), steps_by_revision()).answering

    assert reminded() == {answers.pk}
    gone = make_person(site, left_on=day(9))
    with pytest.raises(TrainingError, match="Name somebody else"):
        tools.put_out_of_service(tool=iron, first_day=day(3), reason="Loose.", told=gone, **who)
    tools.put_out_of_service(tool=iron, first_day=day(3), reason="Dropped.", told=answers, **who)
    assert reminded() == frozenset()
    note = Message.objects.get(carries="tool")
    assert (note.recipient, b"Dropped." in bytes(note.raw)) == ("ada@skarnfell.example", True)
    with pytest.raises(TrainingError, match="out of service since"):
        tools.put_out_of_service(tool=iron, first_day=day(1), reason="Again.", told=None, **who)
    board = make_board(purpose="qualification")
    with pytest.raises(ToolsNotFit, match="out of service since"):
        boards.name_tools(board=board, tools=[iron], **who)
    tools.put_back_in_service(tool=iron, from_day=TODAY, note="Tip holder tightened.", **who)
    boards.name_tools(board=board, tools=[iron], **who)
    assert reminded() == {answers.pk}
    with pytest.raises(TrainingError, match="Give that day or a later one"):
        tools.put_out_of_service(tool=iron, first_day=day(1), reason="Loose.", told=None, **who)


def while_out(tool):
    """The boards of days on which the tool was out as was entered later, by its first day."""
    return {
        (TODAY - work.period.first_day).days: {each.board for each in work.boards}
        for work in work_while_out(Tool.objects.filter(pk=tool.pk))
    }


def test_work_done_while_nobody_knew_that_a_tool_was_out_is_told(iron, calibrate, instructor):
    inside = made_with(iron, out=9, handed_in=5)
    on_the_first_day = made_with(iron, out=20, handed_in=10)
    with_its_maker = made_with(iron, out=2, handed_in=None)
    made_with(iron, out=20, handed_in=11)
    made_with(iron, out=9, handed_in=5, cancelled_at=NOW)
    judged = _judged_on(iron, instructor, ago=3)
    known = make_tool(code="IRON-08")
    made_with(known, out=2, handed_in=0)
    who = {"reason": "Dropped.", "told": None, "actor": instructor, "at": NOW}

    tools.put_out_of_service(tool=iron, first_day=day(10), **who)
    tools.put_out_of_service(tool=known, first_day=TODAY, **who)

    expected = {10: {inside, on_the_first_day, with_its_maker, judged}}
    assert (while_out(iron), while_out(known)) == (expected, {})
    # Back since an earlier day: what was done with it from then on is none of it.
    tools.put_back_in_service(tool=iron, from_day=day(4), actor=instructor, at=NOW)
    assert while_out(iron) == {10: {inside, on_the_first_day}}
    assert found(iron) == {}


def test_calibration_since_says_what_becomes_of_work_done_while_out(iron, calibrate, instructor):
    board = made_with(iron, out=9, handed_in=5)
    tools.put_out_of_service(
        tool=iron, first_day=day(10), reason="Dropped.", told=None, actor=instructor, at=NOW
    )
    calibrate(iron, 11)  # Before it was dropped.
    assert (while_out(iron), found(iron)) == ({10: {board}}, {})
    failed = calibrate(iron, 8, passed_as_found=False, passed=False)
    assert (while_out(iron), found(iron)) == ({}, {8: {board}})
    tools.withdraw_calibration(
        calibration=failed, reason="Of another.", actor=instructor, at=NOW, proof="password"
    )
    assert while_out(iron) == {10: {board}}
    calibrate(iron, 0)
    assert (while_out(iron), found(iron)) == ({}, {})


def test_page_of_a_tool_leads_to_the_work_done_while_it_was_out(client, iron, instructor):
    today = iron.site.today()
    first_day = today - timedelta(days=5)
    board = make_board(handed_out_on=today - timedelta(days=3))
    board.tools.add(iron)
    client.force_login(instructor)
    work = reverse("assessments:tool_work", args=[iron.code])
    detail = reverse("training:tool_detail", args=[iron.code])
    assert work not in client.get(detail).text

    sent = {"out-first_day": first_day.isoformat(), "out-reason": "Dropped on the floor."}
    told = client.post(reverse("training:tool_out", args=[iron.code]), sent, follow=True)

    assert "look at the work that was done with it since then" in told.text
    assert work in told.text
    page = client.get(work).text
    assert board.number in page
    assert "Dropped on the floor." in page
    assert reverse("training:calibration_new", args=[iron.code]) in page
    assert "Nothing is in question" not in page
    client.force_login(make_user("quality", site=iron.site))
    page = client.get(work).text
    assert board.number in page
    assert reverse("training:calibration_new", args=[iron.code]) not in page


# Two at once


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_a_tool_put_out_of_service_meanwhile_is_refused(iron, instructor):
    board = make_board(purpose="qualification")
    answer = wait_behind(
        lambda: tools.put_out_of_service(
            tool=iron, first_day=TODAY, reason="Dropped.", told=None, actor=instructor, at=NOW
        ),
        lambda: boards.name_tools(board=board, tools=[iron], actor=instructor, at=NOW),
    )

    assert isinstance(answer, ToolsNotFit)
    assert not Board.objects.get(pk=board.pk).tools.exists()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_a_board_handed_in_and_its_tool_calibrated_at_once_do_not_wait_for_each_other(
    iron, calibrate, instructor
):
    board = make_board(purpose="qualification")

    def lock_then_calibrate():
        tools.lock_tools([iron.pk])
        waiting.append(
            pool.submit(
                at_once,
                lambda: boards.hand_in(board=board, tools=[iron], actor=instructor, at=NOW),
            )
        )
        while not somebody_waits_for_us():
            assert not waiting[0].done(), waiting[0].result()
        calibrate(iron, 0)

    waiting = []
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            lock_then_calibrate()
        [handed_in] = waiting[0].result()
    assert handed_in.tools.get() == iron


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_two_who_decide_at_once_decide_once(iron, calibrate):
    calibration = calibrate(iron, 10, passed_as_found=False)
    board = made_with(iron, out=50, handed_in=40)
    said = {"calibration": calibration, "boards": {board.number: 0}, "reason": "So.", "at": NOW}
    deciders = [make_user("quality"), make_user("instructor")]
    acts = [
        lambda actor=actor: decide_on_work(decision="stands", actor=actor, **said)
        for actor in deciders
    ]

    answers = at_once(*acts)

    assert sum(isinstance(answer, CannotChangeBoard) for answer in answers) == 1
    assert ToolWorkDecision.objects.count() == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_a_tool_entered_twice_at_once_is_entered_once_and_said(iron, instructor):
    def enter(code):
        said = {"kind": Tool.Kind.IRON, "site": iron.site, "actor": instructor, "at": NOW}
        return lambda: tools.add_tool(code=code, **said)

    with pytest.raises(TrainingError, match="a tool Iron-10 already"):
        wait_behind(enter("IRON-10"), enter("Iron-10"))
    assert Tool.objects.filter(code__iexact="iron-10").count() == 1


# A calibration entered in error


def test_withdrawn_calibration_questions_nothing_and_what_was_decided_by_it_counts_no_more(
    client, iron, calibrate
):
    instructor = make_user("instructor", password=PASSWORD)
    board = made_with(iron, out=20, handed_in=10)
    failed = calibrate(iron, 5, passed_as_found=False, passed=False)
    decide_on_work(
        calibration=failed, boards={board.number: 0}, decision="make_again", reason="Too hot.",
        actor=instructor, at=NOW,
    )  # fmt: skip
    every = Board.objects.filter(pk=board.pk)
    assert (found(iron), set(to_do_again(every))) == ({5: {board}}, {board.pk})
    assert unfit([iron], TODAY)
    client.force_login(instructor)
    address = reverse("training:calibration_withdraw", args=[iron.code, failed.pk])
    shown = client.get(address).context["form"].initial["shown"].as_text()
    sent = {"reason": "Read off another iron.", "shown": shown}

    assert client.post(address, {**sent, "password": "not this one"}).status_code == 422
    assert client.post(address, {**sent, "shown": "", "password": PASSWORD}).status_code == 422
    assert found(iron) == {5: {board}}
    done = client.post(address, {**sent, "password": PASSWORD}, follow=True)

    assert "Read off another iron." in done.text
    assert "Found out of its limits" not in done.text
    # What it said still reads, and bears no mark any more.
    assert (done.text.count("not passed"), done.text.count("verdict is-reject")) == (2, 0)
    assert (found(iron), to_do_again(every), unfit([iron], TODAY)) == ({}, {}, {})
    assert failed.withdrawal.signature.signer == instructor
    assert TrailEntry.objects.get(act="calibration withdrawn").about_id == str(failed.pk)
    assert client.get(address).status_code == 404
    with pytest.raises(TrainingError, match="withdrawn already"):
        tools.withdraw_calibration(
            calibration=failed, reason="Again.", actor=instructor, at=NOW, proof="password"
        )
    # The very same may be entered once more.
    assert tools.record_calibration_once(
        tool=iron, calibrated_on=failed.calibrated_on, valid_through=failed.valid_through,
        passed=False, passed_as_found=False, actor=instructor, at=NOW,
    )  # fmt: skip
