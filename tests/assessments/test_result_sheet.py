"""The result sheet: what it says on the page and in the PDF, and what it keeps to itself."""

import re
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO

import pytest
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from assessments.exceptions import NothingToPrint
from assessments.models import Grading
from assessments.presenters.result_pdf import result_pdf
from assessments.presenters.result_pictures import window_round
from assessments.presenters.result_sheet import result_sheet
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements, measuring
from assessments.services.boards import hand_in
from assessments.services.photos import add_photo
from assessments.services.rework import send_back
from records.queries.heads import printed_head
from tests import factories
from tests.assessments import several
from tests.assessments.marks_placed import wrap
from tests.assessments.pictures import jpeg
from tests.assessments.several import fresh
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]

TEXTS = {
    "title": "Wetting",
    "text": "Runs out flat.",
    "reject": "Stands in a ball.",
    "advice": "Heat the post first.",
}


@pytest.fixture
def instructor(client):
    person = factories.make_person(full_name="Ottoline Vesper", employee_number="30981")
    user = factories.make_user("instructor", person=person)
    client.force_login(user)
    return user


@pytest.fixture
def board():
    factories.make_criteria_set(
        {
            "code": "S-1",
            "severity": "critical",
            "demerits": 40,
            "texts": {"en": TEXTS},
            "document": "Workmanship for hand soldering",
            "clause": "8.2",
        },
        {
            "code": "S-2",
            "how": "measured",
            "quantity": "wrap",
            "low": 180,
            "high": 270,
            "unit": "deg",
            "confirmed_at": NOW,
        },
        {"code": "S-9", "severity": "minor", "demerits": 5, "of": "board"},
    )
    exercise = factories.make_exercise(allowed_rejects=1, pass_mark=80)
    person = factories.make_person(full_name="Bruno Castellane", employee_number="10482")
    return factories.make_board(person, exercise, handed_in_at=NOW)


def photographed(board, place):
    joint = board.joints.get(position__name=place)
    picture = jpeg(1000, 800, comment=place.encode())
    return add_photo(
        board=board, file=ContentFile(picture), name=f"{place}.jpg",
        actor=factories.make_user("instructor"), at=NOW, joint=joint, stage="soldered",
    )  # fmt: skip


def say(grading, place, code, outcome, **seen):
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=grading.board.joints.get(position__name=place) if place else None,
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=NOW,
    )


def accepted(board, grader):
    """A reading with everything accepted, for a test to change and to sign."""
    grading = services.start_grading(board=board, grader=grader, at=NOW)
    for joint in [*board_results.joints_that_count(board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            reason = several.REASON if criterion.is_measured else ""
            place = joint.position.name if joint else None
            say(grading, place, criterion.code, "accept", by_eye_because=reason)
    return grading


def sign(grading, stage="soldered", at=NOW):
    services.sign_stage(
        grading=grading, stage=stage, signer=grading.grader, proof="password", at=at
    )
    board = grading.board
    board.refresh_from_db()
    return grading


@pytest.fixture
def judged(board, instructor):
    """E01 rejected at a marked place, E02 by marks, the rest accepted; signed."""
    grading = accepted(board, instructor)
    first, second = photographed(board, "E01"), photographed(board, "E02")
    factories.on_a_stand(second)
    say(
        grading, "E01", "S-1", "reject",
        how="photograph", photo=first, mark=(900.0, 100.0), note="A ball at the back",
    )  # fmt: skip
    kept = measuring.keep_measurement(
        photo=second, quantity="wrap", marks=wrap(120).marks,
        options=measuring.options_for(joint=second.joint, criterion=None),
        mark_uncertainty_px=1.0, actor=instructor, at=NOW, joint=second.joint,
        criterion=grading.criteria_set.criteria.get(code="S-2"),
    )  # fmt: skip
    say(grading, "E02", "S-2", "reject", how="marks", measured=kept.pk)
    return sign(grading)


def page_of(client, board, name="board_sheet"):
    return client.get(reverse(f"assessments:{name}", args=[board.number]))


def plain(text):
    """Text as it is read: no tags, one space between words."""
    text = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", text, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", "", text).replace("&times;", "×")
    return re.sub(r"\s+", " ", text.replace("\u00a0", " "))


def read(pdf):
    return PdfReader(BytesIO(pdf))


def words_of(pdf):
    return plain(" ".join(page.extract_text() for page in read(pdf).pages))


SAYS = (
    "Result sheet, board",
    "Bruno Castellane, 10482",
    "did not pass",
    "Rejected joints", "at most 1", "at least 80",
    "score 60.0 of 100", "score 80.0 of 100",
    "S-1 Wetting", "critical, 40 demerits",
    "Runs out flat.", "Stands in a ball.", "“A ball at the back”", "Heat the post first.",
    "outside", "180° to 270°", "by marks on a photograph",
    "3 measured: 1 by marks, 2 by eye because …",
    "By eye because “far inside its limit”: E01 S-2, E03 S-2.",
    "Workmanship for hand soldering", "8.2", "unverified",
    "Ottoline Vesper", "Judged this stage against the criteria",
    "Wed 25 Nov 2026, 13:50 CET (Europe/Madrid)",
    "Workmanship, rev.",
    "by Ottoline Vesper (30981)",
    "No tool is named with this board.",
    "your licensed safety practice",
)  # fmt: skip


def test_the_page_says_why_what_to_do_and_what_it_rests_on(client, judged):
    told = plain(page_of(client, judged.board).content.decode())
    for words in SAYS:
        assert words in told, words
    # The mean of 60, 80 and 100.
    assert "Board score80.0" in told or "Board score 80.0" in told


def test_the_pdf_says_what_the_page_says(client, judged):
    response = page_of(client, judged.board, "board_sheet_pdf")
    assert response["Content-Type"] == "application/pdf"
    assert f'filename="result-{judged.board.number}.pdf"' in response["Content-Disposition"]
    told = words_of(response.content)
    for words in SAYS:
        assert words in told, words
    assert f"Trail {printed_head(timezone.now())}" in told
    sheet = result_sheet(judged.board, user=judged.grader, at=NOW)
    for part in sheet.parts:
        for label, text in part.plain:
            assert f"{label}: {text}" in told
        for one in (*part.faults, *part.measured):
            assert one.measured in told
    for fact in (*sheet.facts, *(fact for one in sheet.signed for fact in one.facts)):
        assert plain(fact[1]) in told, fact


def test_the_pdf_is_tagged_names_the_board_cuts_out_the_marked_place_and_comes_out_so_again(
    judged,
):
    sheet, again = (result_sheet(judged.board, user=judged.grader, at=NOW) for _n in range(2))
    printed = result_pdf(sheet)
    assert printed == result_pdf(again)
    pdf = read(printed)
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert pdf.metadata.title == sheet.title
    assert len(pdf.pages) >= 2
    for number, page in enumerate(pdf.pages, start=1):
        told = plain(page.extract_text())
        assert judged.board.number in told
        assert f"Page {number} of {len(pdf.pages)}" in told
        assert "Printed Wed 25 Nov 2026, 13:50 CET" in told
        for font in page["/Resources"]["/Font"].values():
            inside = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert any(name.startswith("/FontFile") for name in inside)
    pictures = sum(len(part.pictures) for part in sheet.parts)
    assert pictures == 2
    assert sum(len(page.images) for page in pdf.pages) == pictures
    (picture,) = sheet.parts[0].pictures
    assert picture.window == (550.0, 0.0, 450.0, 360.0)
    assert "circle" in picture.marks
    images = [image for page in pdf.pages for image in page.images]
    assert len(images) == 2
    first = images[0].image.convert("RGB")
    # The upper right quadrant is green; the window reaches past its left edge nowhere.
    assert first.size == (450, 360)
    red, green, blue = first.getpixel((225, 180))
    assert green > red + 60
    assert green > blue + 60


def test_measurements_are_drawn_again_on_the_crop(client, judged):
    sheet = result_sheet(judged.board, user=judged.grader, at=NOW)
    (picture,) = sheet.parts[1].pictures
    kept = judged.judgements.get(measurement__isnull=False).measurement
    assert picture.drawn == (measuring.drawn_of(kept),)
    left, top, across, down = picture.window
    for x, y in kept.marks["centre"] + kept.marks["start"] + kept.marks["end"]:
        assert left <= x <= left + across
        assert top <= y <= top + down
    assert str(picture.marks) in page_of(client, judged.board).content.decode()
    assert "120" in sheet.parts[1].faults[0].measured


@given(
    points=st.lists(st.tuples(st.floats(0, 1600), st.floats(0, 1200)), min_size=1, max_size=6),
)
def test_a_window_lies_on_the_photograph_and_holds_its_points(points):
    left, top, across, down = window_round(points, 1600, 1200)
    assert left >= 0
    assert top >= 0
    assert left + across <= 1600.001
    assert top + down <= 1200.001
    assert across / down == pytest.approx(4 / 3)
    assert across >= 0.45 * 1600 - 1e-6
    for x, y in points:
        assert left - 1e-6 <= x <= left + across + 1e-6
        assert top - 1e-6 <= y <= top + down + 1e-6


def test_a_score_is_shown_rounded_down(client, instructor, board):
    grading = accepted(board, instructor)
    say(grading, None, "S-9", "reject")
    say(grading, "E01", "S-1", "reject")
    sign(grading)
    sheet = result_sheet(board, user=instructor, at=NOW)
    # (60 + 100 + 100) / 3 - 5 = 81.666...
    assert sheet.score == "81.6"
    assert sheet.parts[-1].points == "5 demerits"
    assert "81.6" in words_of(result_pdf(sheet))


# What it keeps to itself


def test_before_anything_is_signed_there_is_nothing_to_print(client, instructor, board):
    accepted(board, instructor)
    for name in ("board_sheet", "board_sheet_pdf"):
        response = page_of(client, board, name)
        assert response.url == reverse("assessments:board_detail", args=[board.number])
    told = plain(client.get(response.url).content.decode())
    assert "is signed yet, so there is no result to print" in told


def test_what_is_not_signed_does_not_show(client, instructor):
    factories.make_criteria_set({"code": "S-1"}, {"code": "F-1", "stage": "formed"})
    exercise = factories.make_exercise(("turret",), stages=("formed", "soldered"))
    board = factories.make_board(exercise=exercise)
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    say(grading, "E01", "F-1", "accept")
    say(grading, "E01", "S-1", "reject", note="Not for anybody yet")
    sign(grading, "formed")
    for told in (
        plain(page_of(client, board).content.decode()),
        words_of(page_of(client, board, "board_sheet_pdf").content),
    ):
        assert "F-1" in told
        assert "S-1" not in told
        assert "Not for anybody yet" not in told
        assert "not signed yet" in told
        assert "not every stage signed yet" in told


def test_of_two_graders_nothing_shows_until_the_result_is_complete(client, instructor):
    factories.make_criteria_set({"code": "S-1"}, {"code": "F-1", "stage": "formed"})
    exercise = factories.make_exercise(("turret",), stages=("formed", "soldered"), graders=2)
    board = factories.make_board(exercise=exercise)
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    say(grading, "E01", "F-1", "reject", note="Seen by one alone")
    sign(grading, "formed")
    with pytest.raises(NothingToPrint):
        result_sheet(board, user=instructor, at=NOW)
    response = client.get(reverse("assessments:board_sheet", args=[board.number]), follow=True)
    assert "Two grade" in plain(response.content.decode())
    assert "Seen by one alone" not in response.content.decode()


def test_the_makers_own_reading_is_not_on_it(client, instructor):
    factories.make_criteria_set({"code": "S-1"})
    maker = factories.make_user()
    board = factories.make_board(maker.person, factories.make_exercise(("turret",)))
    own = services.start_own_reading(board=board, trainee=maker, at=NOW)
    say(own, "E01", "S-1", "reject", note="I think it is cold")
    sign(accepted(board, instructor))
    client.force_login(maker)
    response = page_of(client, board)
    assert response.status_code == 200
    assert "I think it is cold" not in response.content.decode()


def test_it_is_read_by_those_who_may_read_the_result(client, judged):
    board = judged.board
    elsewhere = factories.make_user("quality", site=factories.make_site("Aldergate", "AL"))
    readers = {
        factories.make_user(person=board.person): 200,
        factories.make_user("quality"): 200,
        factories.make_user("instructor"): 200,
        factories.make_user(): 404,
        factories.make_user("line_lead"): 404,
        factories.make_user("administrator"): 404,
        elsewhere: 404,
    }
    for reader, status in readers.items():
        client.force_login(reader)
        for name in ("board_sheet", "board_sheet_pdf"):
            assert page_of(client, board, name).status_code == status
    client.logout()
    assert page_of(client, board).status_code == 302


# Corrections, tools, and files that are gone


def test_a_correction_is_named_with_its_reason_once_it_is_signed(client, instructor, judged):
    board = judged.board
    later = services.correct_grading(
        grading=judged, grader=instructor, reason="Wrong joint read.", at=NOW
    )
    sheet = result_sheet(board, user=instructor, at=NOW)
    (said,) = sheet.corrections
    assert "has begun a correction" in said
    assert "Wrong joint read." not in said
    say(later, "E01", "S-1", "accept")
    sign(later, at=NOW + timedelta(minutes=5))
    sheet = result_sheet(board, user=instructor, at=NOW)
    (said,) = sheet.corrections
    assert "was replaced by that of Ottoline Vesper" in said
    assert "“Wrong joint read.”" in said
    assert sheet.parts[0].faults == ()
    assert plain(said) in words_of(result_pdf(sheet))
    assert Grading.objects.count() == 2


def test_a_joint_that_was_made_again_stands_with_both_makes(instructor, board):
    with factories.unprotected():
        type(board.exercise).objects.update(rework_allowed=1)
    grading = accepted(fresh(board), instructor)
    say(grading, "E01", "S-1", "reject", note="The first one stands in a ball")
    sign(grading)
    send_back(
        board=fresh(board), joint=board.joints.get(position__name="E01"), codes=["S-1"],
        actor=instructor, at=NOW,
    )  # fmt: skip
    hand_in(board=fresh(board), actor=instructor, at=NOW)
    several.read(board, instructor, at=NOW + timedelta(minutes=5))
    board = fresh(board)
    sheet = result_sheet(board, user=instructor, at=NOW)
    old, new, *others = sheet.parts
    assert (old.name, new.name) == ("E01", "E01")
    assert old.note == "turret, first attempt, not the attempt that counts"
    assert new.note == "turret, rework 1"
    assert (old.state, old.points) == ("rejected", "60.0")
    assert (new.state, new.points) == ("accepted", "100.0")
    assert [one.name for one in others] == ["E02", "E03", "Whole board"]
    assert sheet.score == "100.0"
    told = words_of(result_pdf(sheet))
    assert "The first one stands in a ball" in told
    assert "not the attempt that counts" in told


def test_where_two_graded_both_have_signed_it(board):
    with factories.unprotected():
        type(board.exercise).objects.update(graders=2)
    names = ("Ottoline Vesper", "Anselm Okonjo")
    for name in names:
        person = factories.make_person(full_name=name)
        several.read(board, factories.make_user("instructor", person=person), ("E01", "S-1"))
    sheet = result_sheet(fresh(board), user=factories.make_user("quality"), at=NOW)
    assert {one.who for one in sheet.signed} == set(names)
    assert [one.title for one in sheet.parts[0].faults] == ["S-1 Wetting"]
    told = words_of(result_pdf(sheet))
    for name in names:
        assert f"Soldered: {name}" in told


CALIBRATED = {
    "none": ([], "no calibration on record by then"),
    "good": (
        [(date(2026, 5, 1), date(2027, 5, 1), True)],
        "calibrated 1 May 2026, good through 1 May 2027 (R-good)",
    ),
    "ran out": (
        [(date(2026, 5, 1), date(2026, 11, 24), True)],
        "calibrated 1 May 2026, ran out 24 Nov 2026 (R-ran out)",
    ),
    "did not pass": (
        [(date(2026, 11, 2), date(2027, 11, 2), False), (date(2026, 5, 1),) * 2 + (True,)],
        "did not pass on 2 Nov 2026 (R-did not pass)",
    ),
    "only after the day": (
        [(date(2026, 11, 26), date(2027, 11, 26), True)],
        "no calibration on record by then",
    ),
}


@pytest.mark.usefixtures("board")
def test_each_tool_stands_with_its_calibration_on_the_day(instructor):
    board = factories.make_board(exercise=factories.make_exercise(("turret",) * len(CALIBRATED)))
    grading = accepted(board, instructor)
    tools = {}
    for number, (name, (calibrations, _says)) in enumerate(CALIBRATED.items(), start=1):
        tools[name] = tool = factories.make_tool(board.site, name=f"Reticle, {name}")
        for done, through, passed in calibrations:
            tool.calibrations.create(
                calibrated_on=done, valid_through=through, passed=passed, reference=f"R-{name}"
            )
        value = {"how": "instrument", "value": Decimal(200), "uncertainty": Decimal(5)}
        say(grading, f"E{number:02d}", "S-2", "accept", tool=tool, **value)
    board.tools.add(factories.make_tool(board.site))
    sign(grading)
    sheet = result_sheet(board, user=instructor, at=NOW)
    told = words_of(result_pdf(sheet))
    named = {f"{tool.code} {tool.name}": name for name, tool in tools.items()}
    read_with = {named[one.code]: one for one in sheet.tools if one.code in named}
    assert read_with.keys() == CALIBRATED.keys()
    for name, one in read_with.items():
        _calibrations, says = CALIBRATED[name]
        assert plain(one.calibrated) == says, name
        assert plain(one.used) == "read with, 25 Nov 2026", name
    for says, count in Counter(says for _calibrations, says in CALIBRATED.values()).items():
        assert told.count(says) >= count, says
    assert [plain(one.used) for one in sheet.tools if one.code not in named] == [
        "made with, 25 Nov 2026"
    ]


def test_a_photograph_whose_file_is_gone_is_said_and_the_sheet_still_stands(judged, files):
    for path in list(files.rglob("*.*")):
        path.unlink()
    sheet = result_sheet(judged.board, user=judged.grader, at=NOW)
    pdf = result_pdf(sheet)
    assert "The photograph’s file can no longer be read." in words_of(pdf)
    assert sum(len(page.images) for page in read(pdf).pages) == 0


def test_a_name_in_letters_no_font_draws_still_prints(instructor, board):
    board.person.full_name = "Bruno \U00013000 Castellane"
    board.person.save()
    sign(accepted(board, instructor))
    sheet = result_sheet(board, user=instructor, at=NOW)
    assert "Castellane" in words_of(result_pdf(sheet))


def test_more_joints_ask_no_more_questions(
    client, instructor, board, judged, django_assert_max_num_queries
):
    big = factories.make_board(exercise=factories.make_exercise(("turret",) * 12))
    grading = accepted(big, instructor)
    for n in range(1, 13):
        photographed(big, f"E{n:02d}")
    sign(grading)
    for one in (board, big):
        with django_assert_max_num_queries(14):
            result_sheet(one, user=instructor, at=NOW)
    with django_assert_max_num_queries(24):
        assert page_of(client, big).status_code == 200


def test_the_result_leads_to_its_sheet(client, judged):
    result = client.get(reverse("assessments:board_result", args=[judged.board.number]))
    link = reverse("assessments:board_sheet", args=[judged.board.number])
    assert link in result.content.decode()
    assert reverse("assessments:board_sheet_pdf", args=[judged.board.number]) in (
        client.get(link).content.decode()
    )
