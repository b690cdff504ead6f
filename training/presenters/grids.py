"""Grids in words: what each row says of before, and what the button will record."""

import json
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Person
from people.models.people import PersonQuerySet
from people.presenters.days import format_day, format_day_with_weekday, format_instant
from people.queries.site_days import Days
from training import ports
from training.models import Calibration, ClassSession, PracticeRecord, Tool, VisionTest
from training.queries import grids as queries
from training.services.outcomes import Outcome

NAMES_AT_MOST = 6
PEOPLE_ASKED = 200  # Of a whole site the first are enough to tell what work is done there.

Counted = Callable[[int], str]


@dataclass(frozen=True)
class DayNote:
    """What is recorded of a day already, shown while the grid is about that day."""

    day: date
    text: str


@dataclass
class GridRow:
    """One person or tool of a grid.

    Attributes
    ----------
    of : Person, Tool or Enrolment
        With what the list's query says of them.
    chosen : str
        What was chosen and not recorded: ``pass``, ``fail``, ``on`` or nothing.
    extra : str
        What else is said in the row: ``on`` for lenses, the name of a report, or what is recorded
        of attendance.
    error : str
        Why it was not recorded.
    """

    of: Any
    chosen: str = ""
    extra: str = ""
    error: str = ""
    notes: list[DayNote] = field(default_factory=list)
    is_certified: bool = False
    practice_ends_on: date | None = None


def passes(n: int) -> str:
    return ngettext("%(n)s pass", "%(n)s passes", n)


def fails(n: int) -> str:
    return ngettext("%(n)s fail", "%(n)s fails", n)


def workers(n: int) -> str:
    return ngettext("%(n)s person", "%(n)s people", n)


def there(n: int) -> str:
    return ngettext("%(n)s there", "%(n)s there", n)


def absent(n: int) -> str:
    return ngettext("%(n)s absent", "%(n)s absent", n)


def counted(*counts: tuple[Counted, int]) -> str:
    """Say how many of which: ``9 passes and 1 fail``; what there is none of is left out."""
    said = [words(n) % {"n": n} for words, n in counts if n]
    return _(" and ").join(said)


def words_for_script(
    kinds: Mapping[str, Counted],
    *,
    record: str,
    nothing: str,
    day_field: str = "",
    also: str = "",
    of: str = "",
) -> str:
    """What the page's script says on the button, as JSON.

    Parameters
    ----------
    kinds : mapping of str to Counted
        By the value that a row has when it is chosen; ``off`` counts the rows that are not.
    record : str
        The button, with ``{what}``, ``{day}`` and perhaps ``{also}`` in it.
    nothing : str
        The button while no row is chosen.
    day_field : str
        The field that the day is read from.
    also : str
        The field that ``{also}`` is read from.
    of : str
        The day in words, where no field has it.
    """
    return json.dumps(
        {
            "kinds": {
                value: [words(1) % {"n": "{n}"}, words(2) % {"n": "{n}"}]
                for value, words in kinds.items()
            },
            "and": _(" and "),
            "record": record,
            "nothing": nothing,
            "day": day_field,
            # Translators: a day on a button, such as Sat 28 Nov.
            "days": [_("{weekday} {day} {month}"), _("{weekday} {day} {month} {year}")],
            "also": also,
            "of": of,
        }
    )


def vision_rows(people: Sequence[Person], today: date) -> list[GridRow]:
    notes = defaultdict(list)
    zones = {person.pk: person.site.time_zone for person in people}
    for test in queries.tests_noted(zones, today):
        notes[test.person_id].append(DayNote(test.tested_on, _test_note(test, zones)))
    return [GridRow(person, notes=notes[person.pk]) for person in people]


def _test_note(test: VisionTest, zones: Mapping[int, str]) -> str:
    words = {
        "day": format_day(test.tested_on),
        "at": format_instant(test.recorded_at, zones[test.person_id]),
        "who": test.recorded_by or _("an import"),
    }
    if test.passed:
        return _("Test of %(day)s recorded already: passed, entered %(at)s by %(who)s.") % words
    return _("Test of %(day)s recorded already: not passed, entered %(at)s by %(who)s.") % words


def work_rows(
    people: Sequence[Person], scope_code: str, days: Days, sites_in_full: Collection[int]
) -> list[GridRow]:
    """People with their work in a scope.

    What ends by itself, and when, is told of people at ``sites_in_full`` alone: to a line lead the
    kind of an end would tell the others apart.
    """
    keys = [person.pk for person in people]
    work_by_day: dict[tuple[int, date], list[PracticeRecord]] = defaultdict(list)
    for work in queries.work_noted(keys, scope_code, days.day):
        work_by_day[work.person_id, work.performed_on].append(work)
    notes = defaultdict(list)
    for (key, day), done in work_by_day.items():
        notes[key].append(DayNote(day, _work_note(day, done)))
    certified = ports.certified(keys, days)
    in_full = [person.pk for person in people if person.site_id in sites_in_full]
    ends = ports.practice_ends(in_full, scope_code, days)
    return [
        GridRow(
            person,
            notes=notes[person.pk],
            is_certified=(person.pk, scope_code) in certified,
            practice_ends_on=ends.get(person.pk),
        )
        for person in people
    ]


def commonest_scope(people: PersonQuerySet, days: Days) -> str:
    """The scope in which most of these people are certified; empty where nobody is."""
    keys = list(people.order_by("pk").values_list("pk", flat=True)[:PEOPLE_ASKED])
    scopes = Counter(sorted(code for _key, code in ports.certified(keys, days)))
    return scopes.most_common(1)[0][0] if scopes else ""


def _work_note(day: date, done: Iterable[PracticeRecord]) -> str:
    units = ", ".join(sorted({work.reference for work in done if work.reference}))
    if not units:
        return _("Work of %(day)s recorded already.") % {"day": format_day(day)}
    return _("Work of %(day)s recorded already: %(units)s.") % {
        "day": format_day(day),
        "units": units,
    }


def calibration_rows(tools: Sequence[Tool], today: date) -> list[GridRow]:
    notes = defaultdict(list)
    for calibration in queries.calibrations_noted([tool.pk for tool in tools], today):
        note = DayNote(calibration.calibrated_on, _calibration_note(calibration))
        notes[calibration.tool_id].append(note)
    return [GridRow(tool, notes=notes[tool.pk]) for tool in tools]


def _calibration_note(calibration: Calibration) -> str:
    words = {
        "day": format_day(calibration.calibrated_on),
        "through": format_day(calibration.valid_through),
    }
    if calibration.passed:
        return (
            _("Calibration of %(day)s recorded already: passed, good through %(through)s.") % words
        )
    return _("Calibration of %(day)s recorded already: not passed.") % words


def attendance_rows(
    session: ClassSession,
    day: date,
    ticked: Collection[int] | None = None,
    outcome: Outcome | None = None,
) -> list[GridRow]:
    """Everybody in a class with what is recorded of the day.

    Before attendance is taken everybody counts as there, so that only gaps need a tap. What was
    ``ticked`` stays in rows that were refused, or in all of them where there is no outcome.
    """
    recorded = queries.attendance_recorded(session, day)
    rows = []
    for enrolment in session.enrolments.select_related("person"):
        was = recorded.get(enrolment.pk)
        row = GridRow(enrolment, extra={True: "there", False: "absent", None: "open"}[was])
        row.error = outcome.refused.get(enrolment.pk, "") if outcome else ""
        is_there = was is not False
        if ticked is not None and (row.error or outcome is None):
            is_there = enrolment.pk in ticked
        row.chosen = "on" if is_there else ""
        rows.append(row)
    return rows


def attendance_sentence(outcome: Outcome, ticked: Collection[int], day: date) -> str:
    """Say what was recorded of a day of a class."""
    if not outcome.recorded:
        return _("Attendance of %(day)s was recorded so already.") % {
            "day": format_day_with_weekday(day)
        }
    was_there = [key in ticked for key in outcome.recorded]
    what = counted((there, was_there.count(True)), (absent, was_there.count(False)))
    return _("Attendance of %(day)s is recorded: %(what)s.") % {
        "day": format_day_with_weekday(day),
        "what": what,
    }


def keep_chosen(
    rows: Iterable[GridRow], chosen: Mapping[int, tuple[str, str]], outcome: Outcome | None
) -> None:
    """Have rows say again what was chosen in them and not recorded, and why it was not."""
    for row in rows:
        if row.of.pk in chosen:
            row.chosen, row.extra = chosen[row.of.pk]
        if outcome is not None:
            row.error = outcome.refused.get(row.of.pk, "")


def done_sentence(what: str, day: date, outcome: Outcome) -> str:
    """Say what was recorded, and what had been before."""
    said = []
    if outcome.recorded:
        words = {"what": what, "day": format_day_with_weekday(day)}
        said.append(_("Recorded: %(what)s of %(day)s.") % words)
    if outcome.already:
        n = len(outcome.already)
        said.append(
            ngettext(
                "%(n)d row was recorded so already and is not recorded again.",
                "%(n)d rows were recorded so already and are not recorded again.",
                n,
            )
            % {"n": n}
        )
    return " ".join(said)


def refused_sentence(outcome: Outcome, shown: Collection[int]) -> str:
    """Say how many rows did not fit, and how many of them are not to be seen any more."""
    n, gone = len(outcome.refused), len(set(outcome.refused) - set(shown))
    said = ngettext(
        "%(n)d row is not recorded: it says below why.",
        "%(n)d rows are not recorded: they say below why.",
        n,
    ) % {"n": n}
    if gone:
        said += " " + ngettext(
            "%(n)d of them is not in your list any more: moved, left, or somebody else’s now.",
            "%(n)d of them are not in your list any more: moved, left, or somebody else’s now.",
            gone,
        ) % {"n": gone}
    return said


def change_sentence(
    before: Collection[tuple[int, str]],
    after: Collection[tuple[int, str]],
    recorded: Collection[int],
) -> str:
    """Say who of those recorded is certified again, or no longer; empty for nobody."""
    gained = {key for key, _scope in set(after) - set(before) if key in recorded}
    lost = {key for key, _scope in set(before) - set(after) if key in recorded}
    said = []
    if gained:
        said.append(_("Certified again: %(people)s.") % {"people": _names(gained)})
    if lost:
        said.append(_("No longer certified: %(people)s.") % {"people": _names(lost)})
    return " ".join(said)


def _names(keys: Collection[int]) -> str:
    people = list(Person.objects.filter(pk__in=keys).order_by("full_name", "employee_number"))
    names = ", ".join(person.full_name for person in people[:NAMES_AT_MOST])
    more = len(people) - NAMES_AT_MOST
    if more > 0:
        return ngettext("%(names)s and %(n)d more", "%(names)s and %(n)d more", more) % {
            "names": names,
            "n": more,
        }
    return names
