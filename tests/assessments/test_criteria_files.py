"""A set is taken away as a file and taken in again: all of it or nothing."""

import io
import zipfile
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from PIL import Image

from assessments.content.criteria import REVISION_2
from assessments.domain.criteria_table import as_row, columns, read_row
from assessments.exceptions import CannotChangeCriteria
from assessments.models import CriteriaSet, CriterionDrawing
from assessments.presenters.criteria_files import ENDINGS, criteria_file
from assessments.queries import criteria_sets
from assessments.services import criteria as services
from assessments.services import criteria_files, criterion_drawings
from people.models import Installation
from tests.factories import NOW, make_criteria_set, make_user

pytestmark = pytest.mark.django_db

SVG = b'<svg viewBox="0 0 160 120"><path d="M0 0H9"/><text x="1" y="9">200</text></svg>'
ROW = {
    "code": "S-01",
    "title_en": "Wetting",
    "what_is_asked_en": "It wets.",
    "what_fails_en": "It does not.",
    "stage": "soldered",
    "judged_on": "joint",
    "joint_types": "turret, hook",
    "judged": "measured",
    "quantity": "clearance",
    "at_least": "0",
    "at_most": "1,5",
    "unit": "D",
    "severity": "major",
    "demerits": "15",
    "document": "WI-204",
    "accept_drawing": "",
}


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def published(quality):
    """What comes along, published, with two drawings of the organisation's own."""
    Installation.objects.create(id=1, organisation="Skarnfell", demo_loaded_at=NOW)
    made = services.load_criteria_set(content=REVISION_2, actor="load_demo", at=NOW)
    drawn = [
        criterion_drawings.add_drawing(file=io.BytesIO(data), title=title, actor=quality, at=NOW)
        for data, title in ((SVG, "Our “wrap” & more"), (png(), "A picture"))
    ]
    made.criteria.filter(code="F-05").update(
        accept_drawing=drawn[0].name,
        more_reject_drawings=[drawn[1].name, "lead-nicked"],
        edition="rev. C",
        texts={
            "en": {"title": '=1+1 "x"', "text": "a; b,\nc", "reject": "-"},
            "de": {"title": "Fuß", "text": "ü", "reject": "nein", "advice": "'so"},
        },
    )
    made.criteria.update(confirmed_at=NOW, confirmed_by=quality)
    return services.publish_criteria_set(criteria_set=made, actor=quality, at=NOW)


def png():
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "white").save(out, "PNG")
    return out.getvalue()


def states(made):
    return {one.code: criteria_sets.state_of(one) for one in made.criteria.all()}


def take_in(quality, content, name="set.csv", title="Workmanship"):
    return criteria_files.import_criteria(
        name=name, content=content, title=title, actor=quality, at=NOW
    )


def table(*rows):
    """A CSV file of rows, each as `ROW` unless it says otherwise."""
    lines = [",".join(ROW)]
    for row in rows:
        cells = (ROW | row).values()
        lines.append(",".join('"' + cell.replace('"', '""') + '"' for cell in cells))
    return "\n".join(lines).encode()


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_set_goes_out_and_comes_in_as_it_was(published, quality, ending):
    content = criteria_file(published, ending)
    rows_of_drawings = CriterionDrawing.objects.count()

    made = take_in(quality, content, f"x.{ending.rpartition('.')[2]}")

    assert (made.title, made.revision, made.is_draft) == ("Workmanship", 3, True)
    assert states(made) == states(published)
    assert list(made.criteria.values_list("code")) == list(published.criteria.values_list("code"))
    assert not made.criteria.filter(confirmed_at__isnull=True).exists()
    assert made.dropped == {}
    assert CriterionDrawing.objects.count() == rows_of_drawings


def test_a_zip_brings_its_drawings_along(published, quality):
    content = criteria_file(published, "csv.zip")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        names = archive.namelist()
        files = {name: archive.read(name) for name in names}
    assert sorted(name.rpartition(".")[2] for name in names) == ["csv", "png", "svg"]
    out = io.BytesIO()
    other = SVG.replace(b"200", b"210")
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, other if name.endswith("svg") else data)

    made = take_in(quality, out.getvalue(), "set.zip", "Tank")

    drawing = CriterionDrawing.objects.latest("pk")
    assert b"210" in bytes(drawing.data)
    assert made.criteria.get(code="F-05").accept_drawing == drawing.name
    assert made.criteria.get(code="F-05").confirmed_at is None


def test_no_cell_is_a_formula(published):
    text = criteria_file(published, "csv").decode()
    book = load_workbook(io.BytesIO(criteria_file(published, "xlsx")))

    assert '"\'=1+1 ""x"""' in text
    kinds = {cell.data_type for row in book.active.iter_rows() for cell in row}
    assert kinds <= {"s", "n", "inlineStr"}


def test_what_differs_waits_to_be_confirmed_and_what_lacks_is_dropped(published, quality):
    lines = criteria_file(published, "csv").decode().splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith("S-10")]
    changed = "".join(kept).replace("deg,,,major,25", "deg,,,major,26", 1)

    made = take_in(quality, changed.encode())

    assert made.dropped == {"S-10": "not in the file"}
    assert made.criteria.filter(confirmed_at__isnull=True).count() == 1
    assert made.criteria.get(confirmed_at__isnull=True).changed_by == quality


def test_a_table_typed_by_hand_becomes_a_new_set(quality):
    made = take_in(quality, table({}, {"code": "F-01", "stage": "formed"}), title="Tank")

    assert [one.code for one in made.criteria.all()] == ["F-01", "S-01"]
    one = made.criteria.get(code="S-01")
    assert (one.low, one.high, one.unit) == (0, Decimal("1.5"), "D")
    assert one.joint_types == ["turret", "hook"]
    assert (one.confirmed_at, one.changed_by) == (None, quality)


def sheet_of(**cells):
    """A workbook with one criterion, some of its cells numbers shown with two decimals."""
    book = Workbook()
    sheet = book.active
    sheet.append(list(ROW))
    sheet.append(list(ROW.values()))
    for column, value in cells.items():
        cell = sheet.cell(2, list(ROW).index(column) + 1)
        cell.value, cell.number_format = value, "0.00"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_numbers_are_read_as_the_sheet_shows_them(quality):
    made = take_in(quality, sheet_of(at_most=1.5), "set.xlsx", "Tank")

    assert made.criteria.get().high == Decimal("1.50")
    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, sheet_of(at_most=1.23456), "set.xlsx", "Other")
    [problem] = refused.value.problems
    assert (problem.line, problem.column) == (2, "at_most")
    assert "shows it rounded" in problem.reason


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ({"code": ""}, "code", "Something has to stand here"),
        ({"code": "S 1"}, "code", "is no code"),
        ({"stage": "baked"}, "stage", "“baked” is none of: prepared"),
        ({"judged_on": ""}, "judged_on", "Something has to stand here"),
        ({"joint_types": ""}, "joint_types", "Something has to stand here"),
        ({"joint_types": "rivet"}, "", "Choose at least one joint type"),
        ({"at_most": "two"}, "at_most", "“two” is no number"),
        ({"at_most": "1e9"}, "at_most", "is no number"),
        ({"unit": "deg"}, "", "not stated in that unit"),
        ({"at_least": "3"}, "", "lies above"),
        ({"demerits": "-1"}, "demerits", "no whole number from 0 to 100"),
        ({"demerits": "1" * 5000}, "demerits", "no whole number from 0 to 100"),
        ({"demerits": "١٥"}, "demerits", "no whole number from 0 to 100"),
        ({"at_most": "1" * 5000}, "at_most", "is no number"),
        ({"at_most": "١,٥"}, "at_most", "is no number"),
        ({"accept_drawing": "../../../x"}, "accept_drawing", "no drawing “../../../x” here"),
        ({"accept_drawing": "/etc/x"}, "accept_drawing", "no drawing “/etc/x” here"),
        ({"accept_drawing": "site/../x"}, "accept_drawing", "no drawing “site/../x” here"),
        ({"title_en": "a\0b"}, "", "null character"),
        ({"severity": "bad"}, "severity", "none of: critical"),
        ({"title_en": "x" * 81}, "title_en", "too long"),
        ({"title_en": ""}, "", "in one language at least"),
        ({"document": "=HYPERLINK()" * 20}, "document", "too long"),
    ],
)
def test_each_fault_is_named_by_line_and_column_and_nothing_is_stored(quality, row, column, says):
    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, table({}, {"code": "S-02"} | row), title="Tank")

    [problem] = refused.value.problems
    assert (problem.line, problem.column) == (3, column)
    assert says in problem.reason
    assert not CriteriaSet.objects.exists()


def test_every_fault_of_a_file_is_listed_at_once(quality):
    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, table({"stage": "x"}, {"demerits": "x"}, {"unit": "x"}), title="Tank")

    faults = [(problem.line, problem.column) for problem in refused.value.problems]
    assert faults == [(2, "stage"), (3, "demerits"), (3, "code"), (4, "unit"), (4, "code")]


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("x.csv", b"", "The file is empty"),
        ("x.csv", b"code;stage\nS-1;soldered", "lacks this column"),
        ("x.csv", b"code,stage,joint_types,colour\n", "There is no such column"),
        ("x.csv", b"code,stage,joint_types\n", "no criterion in the table"),
        ("x.xlsx", b"PK", "cannot be read as an XLSX workbook"),
        ("x.zip", b"PK", "neither a folder nor a zip"),
        ("x.zip", "two tables", "has to hold one table"),
        ("x.zip", "no drawing", "The zip holds no file"),
        ("x.zip", "a bad drawing", "which is not taken"),
    ],
)
def test_what_is_no_such_file_is_said(quality, name, content, says):
    if isinstance(content, str):
        text = table({"accept_drawing": "drawings/a.svg"})
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("set.csv", text)
            if content == "two tables":
                archive.writestr("more.csv", text)
            if content == "a bad drawing":
                archive.writestr("drawings/a.svg", b"<svg viewBox='0 0 1 1'><script/></svg>")
        content = out.getvalue()

    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, content, name, "Tank")

    assert any(says in str(problem) for problem in refused.value.problems)
    assert not CriteriaSet.objects.exists()


def zipped(*files):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return out.getvalue()


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("names", [("a.svg", "a.svg"), ("drawings/a.svg", "a.svg")])
def test_two_files_of_one_name_in_a_zip_are_refused(quality, names):
    files = [(name, SVG) for name in names]
    content = zipped(("set.csv", table({"accept_drawing": "drawings/a.svg"})), *files)

    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, content, "x.zip", "Tank")

    [problem] = refused.value.problems
    assert problem.reason == "The zip holds “a.svg” twice: leave one of them out."


def test_a_damaged_zip_is_refused_by_the_name_that_was_sent(quality):
    """Whatever byte of it is another one: every fifth is tried."""
    whole = zipped(("set.csv", table({})), (".", b"nameless"), ("a.svg", SVG))
    refusals = set()
    for at in range(0, len(whole), 5):
        damaged = bytearray(whole)
        damaged[at] ^= 0xFF
        try:
            take_in(quality, bytes(damaged), "x.zip", f"Tank {at}")
        except criteria_files.CriteriaFileRefused as error:
            refusals |= {problem.reason for problem in error.problems}

    assert "x.zip is neither a folder nor a zip file." in refusals
    assert "set.csv cannot be unpacked: save the zip again." in refusals
    assert not [refusal for refusal in refusals if "/tmp" in refusal]


def test_a_null_character_in_a_workbook_is_refused(quality):
    book = Workbook()
    book.active.append(list(ROW))
    book.active.append([*(ROW | {"title_en": "a_x0000_b"}).values()])
    out = io.BytesIO()
    book.save(out)

    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        take_in(quality, out.getvalue(), "x.xlsx", "Tank")

    assert "null character" in refused.value.problems[0].reason


def test_a_code_that_meant_something_else_is_refused(published, quality):
    draft = services.draft_next_revision(criteria_set=published, actor=quality, at=NOW)
    draft.dropped = {"S-77": "Old."}
    draft.save()
    services.publish_criteria_set(criteria_set=draft, actor=quality, at=NOW)

    with pytest.raises(criteria_files.CriteriaFileRefused, match="Nothing was taken in") as refused:
        take_in(quality, table({"code": "S-77"}))

    assert "names another criterion" in refused.value.problems[0].reason
    assert CriteriaSet.objects.count() == 2


def test_a_draft_that_is_there_is_not_written_over(published, quality):
    services.draft_next_revision(criteria_set=published, actor=quality, at=NOW)

    with pytest.raises(CannotChangeCriteria, match="There is a draft already"):
        take_in(quality, table({}))


def test_pages_give_the_file_and_take_it_in(client, published, quality):
    client.force_login(quality)
    export = reverse("assessments:criteria_export", args=[published.pk, "csv"])
    answer = client.get(export)
    assert answer["Content-Disposition"] == 'attachment; filename="workmanship-rev-2.csv"'
    take = reverse("assessments:criteria_import")

    bad = client.post(
        take, {"title": "Tank", "file": SimpleUploadedFile("x.csv", table({"stage": "x"}))}
    )
    good = client.post(
        take, {"title": "Workmanship", "file": SimpleUploadedFile("x.csv", answer.content)}
    )

    assert bad.status_code == 422
    assert "“x” is none of" in bad.content.decode()
    made = CriteriaSet.objects.get(revision=3)
    assert good.url == reverse("assessments:criteria_set_detail", args=[made.pk])
    assert client.get(export.replace(".csv", ".ods")).status_code == 404
    draft = make_criteria_set(published=False)
    client.force_login(make_user())
    hidden = client.get(reverse("assessments:criteria_export", args=[draft.pk, "csv"]))
    assert hidden.status_code == 404


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=40).map(str.strip)


@given(title=TEXT, note=TEXT)
def test_any_text_is_read_back_from_a_row(title, note):
    languages = ["en"]
    state = dict.fromkeys(("stage", "of", "how", "quantity", "low", "high", "unit", "datum"), "")
    state |= dict.fromkeys(
        ("by_eye", "severity", "document", "edition", "clause", "accept_drawing"), ""
    )
    state |= {"joint_types": [], "alloys": [], "reject_drawings": [], "demerits": 0}
    state |= {"title_en": title, "source_note": note}

    row = dict(zip(columns(languages), as_row("S-01", state, languages), strict=True))
    _code, fields, texts, _faults = read_row(row, languages)

    plain = {"'=", "'+", "'-", "'@"}
    if title.replace(" ", "")[:2] not in plain and note.replace(" ", "")[:2] not in plain:
        assert (texts["en"]["title"], fields["source_note"]) == (title, note)
