"""Lists of tools: what each row says, what taking it in would do, and what is open about it."""

import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.conf import settings
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people.domain.codes import CODE
from people.domain.folding import fold
from people.domain.list_days import DayFault, DayForm, NotADay, forms_that_fit, read_day
from people.models import Site
from people.presenters.days import format_day
from people.queries.languages import in_language
from records.domain.canonical import as_json_value
from records.domain.lists import ListRow
from records.domain.shown import digest_of
from training.domain.tool_columns import DAYS, Column
from training.models import Calibration, Tool

from .tool_fitness import calibrated_already

MOST_TOOLS = 300
"""How many are taken in at once, since others wait for it."""
RESERVED_CODES = {"new"}
NOTHING = frozenset({"", "-", "–", "—", "n/a"})
"""What stands in a cell that says nothing."""
LONGEST = {Column.CODE: 24, Column.NAME: 120, Column.SERIAL: 60, Column.REFERENCE: 80}
"""As long as the fields of tools and calibrations are."""
DAY_FAULTS = {
    DayFault.NO_DAY: gettext_lazy("“%(said)s” is not a day: write it as in 2026-03-09."),
    DayFault.TWO_DIGITS: gettext_lazy(
        "“%(said)s” has two digits for its year: write all four, as in 2026-03-09."
    ),
    DayFault.YEAR: gettext_lazy("“%(said)s” is not a day that can be meant: look at its year."),
    DayFault.OPEN: gettext_lazy("“%(said)s” could be two days: write it as in 2026-03-09."),
}


class Does(StrEnum):
    """What a row comes to."""

    NEW = "new"
    CALIBRATED = "calibrated"
    ALONE = "alone"


@dataclass(frozen=True, slots=True)
class ToolRow:
    """A row that fits, with the tool that there is already, if any, and what differs there."""

    line: int
    code: str
    kind: str
    site: Site
    name: str
    serial: str
    calibrated_on: date | None
    valid_through: date | None
    reference: str
    tool: Tool | None
    does: Does
    remarks: tuple[str, ...] = ()

    @property
    def kind_label(self) -> str:
        return str(Tool.Kind(self.kind).label)


@dataclass(frozen=True, slots=True)
class RowFault:
    """A row that does not fit: why, and what it calls its tool."""

    line: int
    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Question:
    """A kind or site that a list names and nobody knows: what it means is chosen.

    ``said`` is empty for rows that name none. ``chosen`` is empty until it is answered.
    """

    column: Column
    said: str
    rows: int
    chosen: str = ""


@dataclass(frozen=True)
class ToolPlan:
    """What a list would do.

    Attributes
    ----------
    day_example : str
        A day that could be two; empty where each is one alone.
    is_day_open : bool
        Whether nobody has said yet which number of it is the day.
    """

    rows: list[ToolRow] = field(default_factory=list)
    faults: list[RowFault] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    day_example: str = ""
    is_day_open: bool = False

    @property
    def is_ready(self) -> bool:
        is_answered = all(question.chosen for question in self.questions)
        return bool(self.rows) and not self.faults and is_answered and not self.is_day_open

    def count(self, does: Does) -> int:
        return sum(row.does is does for row in self.rows)

    def digest(self) -> str:
        """Tells two plans apart: what a page showed, and what would be done now."""
        return digest_of(as_json_value([_content(row) for row in self.rows]))


def _content(row: ToolRow) -> list[Any]:
    return [
        row.line, row.code, row.kind, row.site.prefix, row.name, row.serial, row.calibrated_on,
        row.valid_through, row.reference, row.tool.pk if row.tool else None, row.does, row.remarks,
    ]  # fmt: skip


class _Faulty(ValueError):
    """A row that does not fit, with the sentence that says why."""


def plan_tools(
    rows: Sequence[ListRow],
    columns: Sequence[str],
    *,
    day_form: DayForm | None,
    means: Mapping[tuple[Column, str], str],
    sites: QuerySet[Site],
    at: datetime,
) -> ToolPlan:
    """Say what a list would do, in a few queries however long it is.

    Parameters
    ----------
    columns : sequence of str
        By place what each column holds (`Column`), empty for nothing.
    day_form : DayForm or None
        What 3/4/2026 means, where it was said.
    means : mapping of (Column, str) to str
        What kinds and sites mean that nobody knows, as the list names them: a kind, or the prefix
        of a site.
    sites : QuerySet of Site
        Where whoever brings the list keeps tools.
    """
    places = {Column(name): place for place, name in enumerate(columns) if name}
    cells = {row.line: _cells(row, places) for row in rows}
    offered = list(sites)
    kinds, known_sites = _kinds(), _sites(offered)
    questions = [
        *_questions(Column.KIND, cells.values(), kinds, means, set(Tool.Kind.values)),
        *_questions(Column.SITE, cells.values(), known_sites, means, {s.prefix for s in offered}),
    ]
    days = [said[name] for said in cells.values() for name in DAYS if said[name]]
    forms, example = forms_that_fit(days)
    asks_day = bool(example) and len(forms) > 1
    form = day_form if asks_day else next(iter(forms)) if len(forms) == 1 else None
    answered = {key: value for key, value in means.items() if value}
    by_prefix = {site.prefix: site for site in offered}
    reader = _Reader(
        kinds={**kinds, **{key[1]: v for key, v in answered.items() if key[0] is Column.KIND}},
        sites={
            **known_sites,
            **{
                key[1]: by_prefix[value]
                for key, value in answered.items()
                if key[0] is Column.SITE and value in by_prefix
            },
        },
        day_form=form,
        is_day_open=asks_day and day_form is None,
        at=at,
        register=_register(said[Column.CODE] for said in cells.values()),
    )
    read, faults = [], []
    for line, said in cells.items():
        try:
            row = reader.read(line, said)
        except _Faulty as fault:
            faults.append(RowFault(line, said[Column.CODE], str(fault)))
        else:
            if row is not None:
                read.append(row)
    return ToolPlan(read, faults, questions, example if asks_day else "", reader.is_day_open)


def _cells(row: ListRow, places: Mapping[Column, int]) -> dict[Column, str]:
    said = dict.fromkeys(Column, "")
    for column, place in places.items():
        cell = row.cells[place] if place < len(row.cells) else ""
        said[column] = "" if cell.casefold() in NOTHING else cell
    return said


def _kinds() -> dict[str, str]:
    """Kinds of tools by what they are called, folded, in every language of the site."""
    known = {fold(value.replace("_", " ")): value for value in Tool.Kind.values}
    for language, _name in settings.LANGUAGES:
        with in_language(language):
            known |= {fold(str(label)): value for value, label in Tool.Kind.choices}
    return known


def _sites(offered: Sequence[Site]) -> dict[str, Site]:
    """Sites by their names and prefixes, folded; the only one also where a row names none."""
    known = {fold(word): site for site in offered for word in (site.name, site.prefix)}
    return known | ({"": offered[0]} if len(offered) == 1 else {})


def _questions(
    column: Column,
    cells: Any,
    known: Mapping[str, Any],
    means: Mapping[tuple[Column, str], str],
    allowed: set[str],
) -> list[Question]:
    said = Counter(fold(row[column]) for row in cells)
    asked = []
    for word, n in said.items():
        if word not in known:
            chosen = means.get((column, word), "")
            asked.append(Question(column, word, n, chosen if chosen in allowed else ""))
    return asked


@dataclass(frozen=True)
class _Known:
    """A tool that there is, and its last calibration of each day."""

    tool: Tool
    calibrations: Mapping[date, Calibration]


def _register(codes: Any) -> dict[str, _Known]:
    """The tools that a list names and that there are, by their codes in small letters."""
    tools = (
        Tool.objects.annotate(low=Lower("code"))
        .filter(low__in={code.lower() for code in codes})
        .select_related("site")
    )
    by_key = {tool.pk: tool for tool in tools}
    calibrations: dict[int, dict[date, Calibration]] = defaultdict(dict)
    for calibration in Calibration.objects.not_withdrawn().filter(tool__in=by_key).order_by("pk"):
        calibrations[calibration.tool_id][calibration.calibrated_on] = calibration
    return {tool.code.lower(): _Known(tool, calibrations[pk]) for pk, tool in by_key.items()}


@dataclass
class _Reader:
    kinds: Mapping[str, str]
    sites: Mapping[str, Site]
    day_form: DayForm | None
    is_day_open: bool
    at: datetime
    register: Mapping[str, _Known]
    lines: dict[str, int] = field(default_factory=dict)

    def read(self, line: int, said: Mapping[Column, str]) -> ToolRow | None:
        """One row; None where something that is asked once for the list is still open."""
        code = self._code(line, said[Column.CODE])
        for column, longest in LONGEST.items():
            if len(said[column]) > longest:
                raise _Faulty(
                    _("“%(said)s…” has more than %(most)d characters: shorten it.")
                    % {"said": said[column][:20], "most": longest}
                )
        kind, site = (
            self.kinds.get(fold(said[Column.KIND])),
            self.sites.get(fold(said[Column.SITE])),
        )
        if kind is None or site is None or (self.is_day_open and any(said[day] for day in DAYS)):
            return None
        calibrated_on, valid_through = self._days(said, site)
        if said[Column.REFERENCE] and calibrated_on is None:
            raise _Faulty(_("There is a report without the days of its calibration: add them."))
        row = ToolRow(
            line=line,
            code=code,
            kind=kind,
            site=site,
            name=said[Column.NAME],
            serial=said[Column.SERIAL],
            calibrated_on=calibrated_on,
            valid_through=valid_through,
            reference=said[Column.REFERENCE],
            tool=None,
            does=Does.NEW,
        )
        known = self.register.get(code.lower())
        return row if known is None else self._of_known(known, row)

    def _code(self, line: int, code: str) -> str:
        if not code:
            raise _Faulty(_("Say its number, which tells it from the others."))
        if not re.match(CODE, code):
            raise _Faulty(
                _("Use letters, digits, dots, hyphens and underscores, a letter or digit first.")
            )
        if code.lower() in RESERVED_CODES:
            raise _Faulty(_("That word cannot be a code. Give another."))
        earlier = self.lines.setdefault(code.lower(), line)
        if earlier != line:
            raise _Faulty(
                _("“%(said)s” stands in line %(other)s already.") % {"said": code, "other": earlier}
            )
        return code

    def _days(self, said: Mapping[Column, str], site: Site) -> tuple[date | None, date | None]:
        calibrated_on, valid_through = (self._day(said[column]) for column in DAYS)
        if (calibrated_on is None) != (valid_through is None):
            raise _Faulty(
                _("Give the day of its calibration and the day it is good through, or neither.")
            )
        if calibrated_on is None or valid_through is None:
            return None, None
        if calibrated_on > site.today(self.at):
            raise _Faulty(_("%(day)s is still to come.") % {"day": format_day(calibrated_on)})
        if valid_through < calibrated_on:
            raise _Faulty(_("A calibration is good through the day it was done, or later."))
        return calibrated_on, valid_through

    def _day(self, text: str) -> date | None:
        if not text:
            return None
        try:
            return read_day(text, self.day_form)
        except NotADay as error:
            raise _Faulty(str(DAY_FAULTS[error.fault]) % {"said": text}) from None

    def _of_known(self, known: _Known, row: ToolRow) -> ToolRow:
        """What a row comes to of a tool that there is: what is said of it there stays."""
        tool = known.tool
        if tool.site_id not in {site.pk for site in self.sites.values()}:
            raise _Faulty(_("There is a tool %(code)s already.") % {"code": tool.code})
        if tool.retired_on is not None:
            raise _Faulty(
                _("%(code)s is out of use since %(day)s. Leave it out here.")
                % {"code": tool.code, "day": format_day(tool.retired_on)}
            )
        if (tool.kind, tool.site_id) != (row.kind, row.site.pk):
            raise _Faulty(
                _("%(code)s is entered already: %(kind)s, %(site)s. Correct the row.")
                % {"code": tool.code, "kind": tool.get_kind_display(), "site": tool.site}
            )
        remarks = [
            _("“%(there)s” is entered for it, and stays: change that on its page.")
            % {"there": getattr(tool, name) or "–"}
            for name in ("name", "serial")
            if getattr(row, name) and getattr(row, name) != getattr(tool, name)
        ]
        does = Does.ALONE
        if row.calibrated_on is not None:
            does = self._of_calibration(known.calibrations.get(row.calibrated_on), row)
        return replace(row, code=tool.code, tool=tool, does=does, remarks=tuple(remarks))

    def _of_calibration(self, there: Calibration | None, row: ToolRow) -> Does:
        if there is None:
            return Does.CALIBRATED
        is_same = (
            there.passed
            and there.valid_through == row.valid_through
            and there.reference == row.reference
        )
        if not is_same:
            raise _Faulty(calibrated_already(there))
        return Does.ALONE
