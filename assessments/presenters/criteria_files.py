"""A criteria set as a file: CSV or XLSX, alone or in a zip with its own drawings."""

import io
import zipfile
from collections.abc import Mapping

from assessments.domain.criteria_table import as_row, columns
from assessments.models import CriteriaSet, Criterion, CriterionDrawing
from assessments.queries import criteria_sets
from people.presenters import exported_tables as exports

ENDINGS = ("csv", "xlsx", "csv.zip", "xlsx.zip")
SHEET = "Criteria"
NO_TIME = (1980, 1, 1, 0, 0, 0)
"""The first instant that a zip can name: when a file in it was made is of no interest."""


def criteria_file(made: CriteriaSet, ending: str) -> bytes:
    """The table of a set; with ``.zip`` the drawings that are the organisation's own beside it."""
    kind, _dot, packed = ending.partition(".")
    names = _file_names(made) if packed else {}
    table = _table(made, kind, names)
    if not packed:
        return table
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo(f"criteria.{kind}", NO_TIME), table)
        drawings = CriterionDrawing.objects.filter(
            sha256__in=[name.removeprefix(CriterionDrawing.PREFIX) for name in names]
        )
        for drawing in drawings:
            info = zipfile.ZipInfo(names[drawing.name], NO_TIME)
            archive.writestr(info, bytes(drawing.data))
    return out.getvalue()


def _table(made: CriteriaSet, kind: str, names: Mapping[str, str]) -> bytes:
    languages = criteria_sets.languages()
    heading = columns(languages)
    rows = [
        as_row(criterion.code, _state(criterion, names), languages)
        for criterion in made.all_criteria
    ]
    if kind == "xlsx":
        with exports.workbook(SHEET, heading, rows) as book:
            return book.read()
    lines = [heading, *([exports.harmless(cell) for cell in row] for row in rows)]
    return "".join(exports.line_of(line) for line in lines).encode()


def _state(criterion: Criterion, names: Mapping[str, str]) -> dict:
    state = criteria_sets.state_of(criterion)
    state["accept_drawing"] = names.get(criterion.accept_drawing, criterion.accept_drawing)
    state["reject_drawings"] = [names.get(name, name) for name in criterion.reject_drawings]
    return state


def _file_names(made: CriteriaSet) -> dict[str, str]:
    """What each of the set's own drawings is called in the zip."""
    named = {
        name
        for criterion in made.all_criteria
        for name in (criterion.accept_drawing, *criterion.reject_drawings)
    }
    return {
        name: f"drawings/{drawing.sha256[:16]}.{drawing.ending}"
        for name, drawing in criteria_sets.site_drawings(named).items()
    }
