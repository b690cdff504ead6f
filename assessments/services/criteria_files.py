"""Criteria sets taken in from a table, with its drawings: all of it or nothing."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.domain.criteria_table import CHOICES, MOST_DEMERITS, columns, read_row
from assessments.exceptions import CannotChangeCriteria, NotADrawing
from assessments.imaging.drawings import title_of
from assessments.models import CriteriaSet, Criterion
from assessments.queries import criteria_sets
from people.models import User
from records.domain.problems import Problem
from records.exceptions import CannotRead
from records.tables.reading import Source, Table, read_table, sources_in_zip

from . import criteria_drafts
from .criteria import begin_criteria_set, draft_next_revision, locked, record
from .criterion_drawings import keep_drawing, prepared_drawing

MOST_BYTES = 20 * 1024 * 1024
MOST_UNPACKED_BYTES = 64 * 1024 * 1024
MOST_CRITERIA = 500
DRAWINGS = "drawings/"


class CriteriaFileRefused(CannotChangeCriteria):
    """The file has rows that cannot be taken in, so none was.

    Attributes
    ----------
    problems : list of Problem
        Each with file, line and column.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(_("Nothing was taken in. Mend what is listed, then send the file again."))
        self.problems = list(problems)


@dataclass(frozen=True)
class _Row:
    line: int
    code: str
    fields: dict[str, Any]
    texts: dict[str, dict[str, str]]


def import_criteria(
    *, name: str, content: bytes, title: str, actor: User, at: datetime
) -> CriteriaSet:
    """Make a draft of a table: of a known title its next revision, of a new one its first.

    What a revision has and the file has not is dropped. A criterion that is as the revision
    before has it stays confirmed as it was; any other waits to be confirmed. Have no transaction
    open: pictures may wait for their turn to be decoded.

    Parameters
    ----------
    name : str
        The file's name, which tells what it is: CSV, XLSX, or a zip of one of them with drawings.

    Raises
    ------
    CriteriaFileRefused
        With every problem of the file.
    CannotChangeCriteria
        If there is a draft of that title already.
    """
    table, files = _opened(name, content)
    problems = list(table.problems)
    rows = [] if problems else _rows(table, problems)
    drawings = _drawings(table, rows, files, problems) if not problems else {}
    if problems:
        raise CriteriaFileRefused(problems)
    return _store(table, rows, drawings, title, actor, at)


def _opened(name: str, content: bytes) -> tuple[Table, dict[str, Source | bytes]]:
    """The table of a file, and the other files beside it in a zip."""
    if len(content) > MOST_BYTES:
        raise CriteriaFileRefused(
            [Problem(name, 0, "", _("The file has more than %(n)d MB.") % {"n": MOST_BYTES >> 20})]
        )
    if not name.lower().endswith(".zip"):
        return read_table(name, content), {}
    try:
        found = sources_in_zip(name, io.BytesIO(content))
        if sum(_size_of(source) for source in found) > MOST_UNPACKED_BYTES:
            raise CannotRead(_("The zip unpacks to more than a set of criteria can be."))
        sources = {source.name: source for source in found}
        if len(sources) < len(found):
            twice = next(source.name for source in found if sources[source.name] is not source)
            raise CannotRead(
                _("The zip holds “%(name)s” twice: leave one of them out.") % {"name": twice[:80]}
            )
        tables = [one for one in sources if one.lower().endswith((".csv", ".xlsx"))]
        if len(tables) != 1:
            raise CannotRead(_("The zip has to hold one table, CSV or XLSX, and drawings."))
        table = read_table(tables[0], sources[tables[0]].read())
        files: dict[str, Source | bytes] = {
            one: source.read() for one, source in sources.items() if one != tables[0]
        }
    except CannotRead as error:
        raise CriteriaFileRefused([Problem(name, 0, "", str(error))]) from error
    return table, files


def _size_of(source: Source) -> int:
    return 0 if isinstance(source.data, Path) else source.data[1].file_size


def _rows(table: Table, problems: list[Problem]) -> list[_Row]:
    known = columns(criteria_sets.languages())
    missing = [column for column in ("code", "stage", "joint_types") if column not in table.columns]
    for column in missing:
        problems.append(Problem(table.file, 1, column, _("The heading lacks this column.")))
    for column in table.columns:
        if column not in known:
            problems.append(
                Problem(table.file, 1, column, _("There is no such column: take it away."))
            )
    if len(table.rows) > MOST_CRITERIA:
        problems.append(
            Problem(
                table.file, 0, "", _("A set has %(n)d criteria at most.") % {"n": MOST_CRITERIA}
            )
        )
    if problems:
        return []
    rows: list[_Row] = []
    lines: dict[str, int] = {}
    for row in table.rows:
        for column, doubt in row.doubts.items():
            problems.append(Problem(table.file, row.line, column, doubt.reason))
        code, fields, texts, faults = read_row(row.values, criteria_sets.languages())
        for column, fault, said in faults:
            if column in row.doubts:
                continue
            problems.append(Problem(table.file, row.line, column, _sentence(column, fault, said)))
        if code in lines:
            problems.append(
                Problem(
                    table.file,
                    row.line,
                    "code",
                    _("%(code)s stands in line %(line)d already.")
                    % {"code": code, "line": lines[code]},
                )
            )
        lines.setdefault(code, row.line)
        rows.append(_Row(row.line, code, fields, texts))
    if not rows and not problems:
        problems.append(Problem(table.file, 0, "", _("There is no criterion in the table.")))
    return rows


def _sentence(column: str, fault: str, said: str) -> str:
    name = {
        "judged_on": "of",
        "judged": "how",
        "measured_from": "datum",
        "by_eye_instead": "by_eye",
    }.get(column, column)
    allowed = ", ".join(choice or _("nothing") for choice in CHOICES.get(name, ()))
    return {
        "missing": _("Something has to stand here."),
        "choice": _("“%(said)s” is none of: %(allowed)s."),
        "number": _("“%(said)s” is no number that a limit can be: write 1.5, for example."),
        "demerits": _("“%(said)s” is no whole number from 0 to %(most)d."),
        "too_long": _("The text is too long: shorten it."),
        "code": _("“%(said)s” is no code: letters, digits and hyphens, 16 at most."),
    }[fault] % {"said": said, "allowed": allowed, "most": MOST_DEMERITS}


def _drawings(
    table: Table,
    rows: Sequence[_Row],
    files: Mapping[str, Source | bytes],
    problems: list[Problem],
) -> dict[str, tuple[tuple[str, bytes], str]]:
    """The drawings that rows name by file, prepared: by the name in the table."""
    prepared: dict[str, tuple[tuple[str, bytes], str]] = {}
    for row in rows:
        named = [("accept_drawing", row.fields.get("accept_drawing", ""))]
        named += [("reject_drawings", one) for one in row.fields.get("reject_drawings", [])]
        for column, name in named:
            if not name or name in prepared:
                continue
            if not name.startswith(DRAWINGS):
                if not criteria_drafts.drawing_exists(name):
                    text = _("There is no drawing “%(name)s” here.") % {"name": name}
                    problems.append(Problem(table.file, row.line, column, text))
                continue
            data = files.get(name.removeprefix(DRAWINGS))
            if not isinstance(data, bytes):
                text = _("The zip holds no file “%(name)s”.") % {"name": name}
                problems.append(Problem(table.file, row.line, column, text))
                continue
            title = title_of(data) or next(
                (said["title"] for said in row.texts.values() if said.get("title")), row.code
            )
            try:
                prepared[name] = prepared_drawing(data, title), title
            except NotADrawing as error:
                problems.append(Problem(table.file, row.line, column, f"{name}: {error}"))
    return prepared


@transaction.atomic
def _store(
    table: Table,
    rows: Sequence[_Row],
    drawings: Mapping[str, tuple[tuple[str, bytes], str]],
    title: str,
    actor: User,
    at: datetime,
) -> CriteriaSet:
    latest = (
        CriteriaSet.objects.filter(title=title, published_at__isnull=False)
        .order_by("-revision")
        .first()
    )
    if latest is None:
        made = begin_criteria_set(title=title, actor=actor, at=at)
    else:
        made = draft_next_revision(criteria_set=latest, actor=actor, at=at)
    made = locked(made)
    before = {criterion.code: criterion for criterion in made.criteria.all()}
    used = {
        code: where
        for code, where in criteria_sets.codes_used(made.title).items()
        if code not in before
    }
    names = {
        name: keep_drawing(prepared, title=said, actor=actor, at=at).name
        for name, (prepared, said) in drawings.items()
    }
    problems: list[Problem] = []
    criteria = []
    for order, row in enumerate(rows, start=1):
        if row.code in used:
            text = _("%(code)s names another criterion in %(set)s: give a new code.") % {
                "code": row.code,
                "set": used[row.code],
            }
            problems.append(Problem(table.file, row.line, "code", text))
            continue
        criterion = _criterion(made, row, names, order)
        try:
            criteria_drafts.refuse_what_does_not_fit(criterion)
        except CannotChangeCriteria as error:
            problems.append(Problem(table.file, row.line, "", str(error)))
            continue
        earlier = before.get(row.code)
        if earlier and criteria_sets.state_of(earlier) == criteria_sets.state_of(criterion):
            for name in (
                "confirmed_at",
                "confirmed_by_id",
                "also_confirmed_at",
                "also_confirmed_by_id",
            ):
                setattr(criterion, name, getattr(earlier, name))
        else:
            criterion.changed_at, criterion.changed_by = at, actor
        criteria.append(criterion)
    if problems:
        raise CriteriaFileRefused(problems)  # What was begun is undone with the transaction.
    made.criteria.all().delete()
    criteria.sort(key=criteria_drafts.place_of_group)
    for order, criterion in enumerate(criteria, start=1):
        criterion.order = order
    Criterion.objects.bulk_create(criteria)
    kept = {criterion.code for criterion in criteria}
    made.dropped = {code: _("not in the file") for code in before if code not in kept}
    made.save(update_fields=["dropped"])
    record(
        "criteria taken in from a file",
        made,
        actor,
        at,
        file=table.file,
        sha256=table.sha256,
        criteria=sorted(kept),
        dropped=sorted(made.dropped),
    )
    return made


def _criterion(made: CriteriaSet, row: _Row, names: Mapping[str, str], order: int) -> Criterion:
    fields = dict(row.fields)
    rejects = [names.get(name, name) for name in fields.pop("reject_drawings")]
    accept = fields.pop("accept_drawing")
    texts = {language: said for language, said in row.texts.items() if any(said.values())}
    return Criterion(
        criteria_set=made,
        code=row.code,
        order=order,
        texts=texts,
        accept_drawing=names.get(accept, accept),
        reject_drawing=rejects[0] if rejects else "",
        more_reject_drawings=rejects[1:],
        **fields,
    )
