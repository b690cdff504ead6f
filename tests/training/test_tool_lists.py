"""Tools from a spreadsheet: looked at row by row, taken in whole or not at all, and once."""

import html
import re

import pytest
from django.db import connection
from django.urls import reverse

from people.models import SiteRole
from records.queries.verification import verify_records
from tests.assessments.together import at_once
from tests.factories import NOW, make_site, make_user, write_down
from training.domain.tool_columns import Column
from training.exceptions import TrainingError
from training.forms.tool_lists import ToolListForm, as_text, read_tools, said_of
from training.models import Calibration, Tool
from training.queries.tool_lists import MOST_TOOLS, Does
from training.services.tool_lists import take_in_tools
from training.services.tools import retire_tool

pytestmark = pytest.mark.django_db

NEW = reverse("training:tool_list_new")
ROWS = (
    "Tool no.\tType\tPlant\tSerial no.\tCalibrated\tDue\tShelf\n"
    "IRON-07\tsoldering iron\tCA\t8841\t2026-03-09\t2027-03-08\tA1\n"
    "TIP-1\ttip\tCastelmar\t\t\t\tA2\n"
)


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def page(answer):
    return html.unescape(answer.content.decode())


def carried(answer):
    """What the page of a list would send: its rows, its columns and its digest."""
    text = page(answer)
    form = answer.context["form"]
    columns = form.columns()
    return {
        "text": as_text(form.read),
        "shown": re.search(r'name="shown" value="(\w+)"', text)[1],
        **{f"column-{place}": column for place, column in enumerate(columns)},
    }


def look(client, text, **said):
    answer = client.post(NEW, {"pasted": text})
    return client.post(NEW, {**carried(answer), **said}) if said else answer


def take_in(client, answer, **said):
    return client.post(NEW, {**carried(answer), **said, "do": "take-in"}, follow=True)


def faults(answer):
    return [(fault.line, fault.sentence) for fault in answer.context["plan"].faults]


def test_a_list_is_looked_at_and_taken_in_and_twice_changes_nothing(client, instructor):
    looked = look(client, ROWS)

    assert not Tool.objects.exists()
    assert [row.does for row in looked.context["plan"].rows] == [Does.NEW, Does.NEW]
    assert 'calibrated on<time datetime="2026-03-09">' in page(looked)
    assert 'good through<time datetime="2027-03-08">' in page(looked)

    said = page(take_in(client, looked))
    assert "2 tools are entered. 1 calibration is recorded." in said
    iron, tip = Tool.objects.order_by("code")
    assert (iron.kind, iron.site.prefix, iron.serial) == ("iron", "CA", "8841")
    calibration = Calibration.objects.get()
    assert (calibration.tool, calibration.passed) == (iron, True)
    assert (str(calibration.calibrated_on), str(calibration.valid_through)) == (
        "2026-03-09",
        "2027-03-08",
    )
    assert tip.kind == "tip"
    write_down()
    assert verify_records().faults == []

    again = look(client, ROWS)
    assert again.context["plan"].count(Does.ALONE) == 2
    assert "All of it was there already: nothing is changed." in page(take_in(client, again))
    assert (Tool.objects.count(), Calibration.objects.count()) == (2, 1)


def test_a_page_sent_twice_takes_its_list_in_once(client, instructor):
    sent = {**carried(look(client, ROWS)), "do": "take-in"}
    client.post(NEW, sent)
    said = page(client.post(NEW, sent))

    assert "What this list would do has changed since you were shown it" in said
    assert (Tool.objects.count(), Calibration.objects.count()) == (2, 1)


def test_each_row_that_does_not_fit_is_told_by_its_line_and_nothing_is_stored(client, instructor):
    retire_tool(
        tool=Tool.objects.create(code="OLD-1", kind="tip", site=make_site()),
        on=NOW.date(), actor=instructor, at=NOW,
    )  # fmt: skip
    Tool.objects.create(code="FAR-1", kind="tip", site=make_site("Oderbruck", "OD"))
    Tool.objects.create(code="lamp-1", kind="lamp", site=make_site())
    known = Tool.objects.create(code="K-1", kind="iron", site=make_site())
    known.calibrations.create(
        calibrated_on="2026-03-09", valid_through="2027-03-08", recorded_at=NOW
    )
    rows = [
        ("", "tip", "", ""),
        ("A B", "tip", "", ""),
        ("new", "tip", "", ""),
        ("T-1", "tip", "2026-03-09", ""),
        ("T-2", "tip", "9.3.26", "2027-01-01"),
        ("T-3", "tip", "soon", "2027-01-01"),
        ("T-4", "tip", "2199-01-01", "2199-02-01"),
        ("T-5", "tip", "2026-03-09", "2026-03-08"),
        ("OLD-1", "tip", "", ""),
        ("FAR-1", "tip", "", ""),
        ("LAMP-1", "tip", "", ""),
        ("K-1", "iron", "2026-03-09", "2027-09-08"),
        ("T-9", "tip", "", ""),
        ("t-9", "tip", "", ""),
        ("X" * 25, "tip", "", ""),
    ]
    text = "Number\tKind\tCalibrated on\tGood through\n" + "\n".join("\t".join(r) for r in rows)

    looked = look(client, text)

    told = faults(looked)
    assert [line for line, _sentence in told] == [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 15, 16]
    for (_line, sentence), words in zip(
        told,
        (
            "Say its number", "Use letters", "cannot be a code", "or neither",
            "two digits for its year", "is not a day", "still to come", "or later",
            "OLD-1 is out of use", "a tool FAR-1 already", "lamp-1 is entered already: lamp",
            "There is a calibration of 9 Mar 2026 already", "stands in line 14 already",
            "more than 24 characters",
        ),
        strict=True,
    ):  # fmt: skip
        assert words in sentence
    assert not looked.context["plan"].is_ready
    before = Tool.objects.count()
    take_in(client, looked)
    assert (Tool.objects.count(), Calibration.objects.count()) == (before, 1)


def test_what_a_list_leaves_open_is_asked_once(client, instructor):
    SiteRole.objects.create(user=instructor, site=make_site("Oderbruck", "OD"), role="instructor")
    text = "Nr;Art;kalibriert am;fällig\nA-1;Station;3/4/2026;4/4/2027\nA-2;station;;\n"

    looked = look(client, text)

    plan = looked.context["plan"]
    assert [(question.column, question.said, question.rows) for question in plan.questions] == [
        (Column.KIND, "station", 2),
        (Column.SITE, "", 2),
    ]
    assert (plan.day_example, plan.is_day_open, plan.is_ready) == ("3/4/2026", True, False)
    names = [name for name in looked.context["asked"].fields if name.startswith("means-")]
    said = {names[0]: "iron", names[1]: "OD", "day_form": "day_first"}
    looked = client.post(NEW, {**carried(looked), **said})
    assert looked.context["plan"].is_ready
    take_in(client, looked, **said)
    assert {(tool.kind, tool.site.prefix) for tool in Tool.objects.all()} == {("iron", "OD")}
    assert str(Calibration.objects.get().calibrated_on) == "2026-04-03"


def test_tools_that_are_there_get_their_next_calibration_and_keep_what_is_said_of_them(
    client, instructor
):
    take_in(client, look(client, ROWS))

    looked = look(client, ROWS.replace("2026-03-09\t2027-03-08", "2026-09-09\t2027-09-08")
                  .replace("8841", "9"))  # fmt: skip

    iron = looked.context["plan"].rows[0]
    assert iron.does is Does.CALIBRATED
    assert "“8841” is entered for it, and stays" in iron.remarks[0]
    assert "1 calibration is recorded. 1 was there already." in page(take_in(client, looked))
    assert Calibration.objects.count() == 2
    assert Tool.objects.get(code="IRON-07").serial == "8841"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Number\tKind", "no row beneath its heading"),
        ("Number\tKind\n" + "".join(f"T-{n}\ttip\n" for n in range(MOST_TOOLS + 1)), "At most 300"),
        ("", "Choose a file, or paste the rows"),
    ],
    ids=["heading-alone", "too-many", "nothing"],
)
def test_what_is_no_list_is_told_where_it_is_brought(client, instructor, text, words):
    answer = client.post(NEW, {"pasted": text})
    assert (answer.status_code, words in page(answer)) == (422, True)


def test_columns_are_matched_by_hand_and_told_apart(client, instructor):
    answer = look(client, "Label\tKind\nA-1\ttip\n")
    assert answer.context["plan"].rows == []
    sent = carried(answer)
    assert "Say which column holds the number of the tool" in page(client.post(NEW, sent))
    twice = client.post(NEW, {**sent, "column-0": "kind"})
    assert (twice.status_code, "Two columns are taken for “Kind”" in page(twice)) == (422, True)
    matched = client.post(NEW, {**sent, "column-0": "code"})
    assert [row.code for row in matched.context["plan"].rows] == ["A-1"]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_two_lists_at_once_enter_a_tool_once():
    instructors = [make_user("instructor") for _n in range(2)]
    site = make_site()
    tool_list = said_of(ToolListForm(read=read_tools("list", ROWS.encode())), {})
    sites = type(site).objects.filter(pk=site.pk)
    shown = tool_list.plan(sites, NOW).digest()

    def take(by):
        try:
            return take_in_tools(tool_list=tool_list, sites=sites, shown=shown, actor=by, at=NOW)
        except TrainingError as error:
            return error

    answers = at_once(*[lambda by=by: take(by) for by in instructors])

    assert sum(isinstance(one, TrainingError) for one in answers) == 1
    assert (Tool.objects.count(), Calibration.objects.count()) == (2, 1)
