"""What the pages of a list of people say: fields, questions, faults, and what each person gets."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from audit.domain.list_columns import Field
from audit.domain.list_rows import CellFault, Fault
from audit.models import PeopleList
from audit.queries.list_plan import PersonPlan, Plan, Stands
from audit.queries.list_undoing import Undoing
from certification.domain.answers import Rule, Standing
from people.models import Person
from people.presenters.days import format_day

SAMPLES = 3
FAULTS_A_PAGE = 40

FIELD_WORDS: Mapping[Field, Any] = {
    Field.EMPLOYEE_NUMBER: gettext_lazy("Employee number"),
    Field.FULL_NAME: gettext_lazy("Full name"),
    Field.FAMILY_NAME: gettext_lazy("Family name"),
    Field.GIVEN_NAME: gettext_lazy("Given name"),
    Field.EMAIL: gettext_lazy("E-mail"),
    Field.SITE: gettext_lazy("Site"),
    Field.KIND: gettext_lazy("Kind"),
    Field.EMPLOYER: gettext_lazy("Employer"),
    Field.LINE_LEAD: gettext_lazy("Line lead’s number"),
    Field.STARTED_ON: gettext_lazy("First day here"),
    Field.LEFT_ON: gettext_lazy("Last day here"),
    Field.STAMP: gettext_lazy("Stamp"),
    Field.SCOPE: gettext_lazy("Scope"),
    Field.CERTIFICATE_NUMBER: gettext_lazy("Certificate number"),
    Field.SCHEME: gettext_lazy("Scheme"),
    Field.ISSUED_ON: gettext_lazy("Issued on"),
    Field.RESTRICTION: gettext_lazy("Restriction"),
    Field.ISSUED_BY: gettext_lazy("Issued by"),
    Field.TESTED_ON: gettext_lazy("Day of the vision test"),
    Field.RESULT: gettext_lazy("Result of the vision test"),
    Field.PERFORMED_ON: gettext_lazy("Last day of work in the scope"),
    Field.RECORDED_ON: gettext_lazy("Recorded on"),
}

FAULT_WORDS: Mapping[Fault, Any] = {
    Fault.EMPTY: gettext_lazy("The cell is empty: every row needs it."),
    Fault.TOO_LONG: gettext_lazy("“%(said)s…” is too long: at most %(other)s characters fit."),
    Fault.NUMBER: gettext_lazy(
        "“%(said)s” cannot be a number: use letters, digits, dots, hyphens and spaces, a letter or "
        "digit first."
    ),
    Fault.EMAIL: gettext_lazy("“%(said)s” is no e-mail address: write one as in ada@example.org."),
    Fault.NO_DAY: gettext_lazy("“%(said)s” is not a day: write it as in 2026-03-09."),
    Fault.TWO_DIGITS: gettext_lazy(
        "“%(said)s” has two digits for its year: write all four, as in 2026-03-09."
    ),
    Fault.YEAR: gettext_lazy("“%(said)s” is not a day that can be meant: look at its year."),
    Fault.RESULT: gettext_lazy("“%(said)s” is no result: write passed or failed."),
    Fault.CODE: gettext_lazy("“%(said)s” cannot stand in an address: leave out slashes."),
    Fault.DOUBT: gettext_lazy("%(other)s"),
    Fault.INCOMPLETE: gettext_lazy("This is missing: what stands beside it needs it."),
    Fault.CONTRADICTS: gettext_lazy("Line %(other)s says something else of the same person."),
    Fault.TWICE: gettext_lazy("“%(said)s” stands in line %(other)s already."),
    Fault.REFUSED: gettext_lazy("%(other)s"),
}

WHY_NOT: Mapping[Rule, Any] = {
    Rule.NO_VISION_TEST: gettext_lazy("no vision test"),
    Rule.VISION_FAILED: gettext_lazy("the last vision test was failed"),
    Rule.VISION_TOO_OLD: gettext_lazy("the last vision test is too old"),
    Rule.PRACTICE_GAP: gettext_lazy("no work for too long: the last day of work is missing"),
    Rule.PERIOD_OVER: gettext_lazy("its period is over"),
    Rule.EXTENSION_OVER: gettext_lazy("its period is over"),
}


@dataclass(frozen=True, slots=True)
class ColumnShown:
    """A column of a list, its first cells that say something, and what it is taken for."""

    place: int
    heading: str
    samples: list[str]
    chosen: str


def columns_shown(people_list: PeopleList) -> list[ColumnShown]:
    shown = []
    for place, heading in enumerate(people_list.headings):
        samples: list[str] = []
        for _line, cells in people_list.rows:
            if cells[place] and cells[place] not in samples:
                samples.append(cells[place][:60])
            if len(samples) == SAMPLES:
                break
        chosen = people_list.columns[place] if place < len(people_list.columns) else ""
        shown.append(ColumnShown(place, heading, samples, chosen))
    return shown


@dataclass(frozen=True, slots=True)
class FaultShown:
    """One thing that is wrong with a row, and the cell in which it can be put right, if any."""

    what: str
    sentence: str
    place: int | None
    cell: str


@dataclass
class FaultyRow:
    line: int
    who: str
    faults: list[FaultShown] = field(default_factory=list)


def faulty_rows(people_list: PeopleList, faults: Iterable[CellFault]) -> list[FaultyRow]:
    """The rows with a fault, in the order of the list, each fault with its cell."""
    cells: dict[int, list[str]] = dict(people_list.rows)
    places = {name: place for place, name in enumerate(people_list.columns) if name}
    rows: dict[int, FaultyRow] = {}
    for fault in faults:
        row = cells.get(fault.line, [])
        if fault.line not in rows:
            rows[fault.line] = FaultyRow(fault.line, _who(row, places))
        place = places.get(fault.field) if fault.field else None
        shown = FaultShown(
            str(FIELD_WORDS[fault.field]) if fault.field else "",
            _why(fault),
            place,
            row[place] if place is not None else "",
        )
        rows[fault.line].faults.append(shown)
    return list(rows.values())


def _why(fault: CellFault) -> str:
    return str(FAULT_WORDS[fault.fault]) % {"said": fault.said, "other": fault.other}


def sentence_of(fault: CellFault) -> str:
    """What is wrong with a row, where no page stands around it: the field, then why."""
    what = str(FIELD_WORDS[fault.field]) if fault.field else ""
    return f"{what}: {_why(fault)}" if what else _why(fault)


def _who(cells: list[str], places: Mapping[str, int]) -> str:
    names = (Field.EMPLOYEE_NUMBER, Field.FULL_NAME, Field.GIVEN_NAME, Field.FAMILY_NAME)
    parts = [cells[places[name]] for name in names if name in places and cells]
    return " ".join(part for part in parts if part)


# People


@dataclass(frozen=True, slots=True)
class Said:
    """One thing that the list says of somebody: what it is, what was, and what would be."""

    what: str
    now: str
    was: str = ""
    changed: bool = False


@dataclass(frozen=True, slots=True)
class PersonShown:
    number: str
    name: str
    page: str
    state: str
    said: list[Said]
    stands: list[tuple[str, str, str]]
    notes: list[str]


def people_shown(people: Iterable[PersonPlan], plan: Plan) -> list[PersonShown]:
    sites = plan.named.options[Field.SITE] if plan.named else {}
    return [_person_shown(one, sites) for one in people]


def _person_shown(one: PersonPlan, sites: Mapping[str, str]) -> PersonShown:
    said = [
        Said(_particular(name), _value(name, value, sites))
        for name, value in one.details.items()
        if one.is_new and name != "full_name" and value not in ("", None)
    ]
    said += [
        Said(
            _particular(name), _value(name, after, sites), _value(name, before, sites), changed=True
        )
        for name, (before, after) in one.changes.items()
    ]
    said += list(_facts_said(one))
    state = "new" if one.is_new else "alone" if one.is_left_alone else "changed"
    return PersonShown(
        one.number,
        one.name,
        one.person.employee_number if one.person else "",
        state,
        said,
        [(stands.scope, str(stands.answer.standing), why_not(stands)) for stands in one.stands],
        list(_notes(one)),
    )


def why_not(stands: Stands) -> str:
    """What is missing for somebody to be certified today; empty where nothing a list can bring."""
    return str(WHY_NOT.get(stands.answer.rule, ""))


def _particular(name: str) -> str:
    return str(getattr(Person._meta.get_field(name), "verbose_name", name))


def _value(name: str, value: Any, sites: Mapping[str, str]) -> str:
    if value in ("", None):
        return _("nothing")
    if isinstance(value, date):
        return format_day(value)
    if name == "site":
        return sites.get(value, value)
    return str(dict(Person.Kind.choices).get(value, value)) if name == "kind" else str(value)


def _facts_said(one: PersonPlan) -> Iterable[Said]:
    for each in one.certificates:
        yield Said(
            _("certificate"),
            _("%(number)s, %(scope)s, issued %(day)s, %(scheme)s")
            % {
                "number": each.number,
                "scope": each.scope,
                "day": format_day(each.issued_on),
                "scheme": each.scheme,
            },
        )
    for test in one.tests:
        result = _("passed") if test.passed else _("did not pass")
        yield Said(_("vision test"), f"{format_day(test.tested_on)}, {result}")
    for work in one.work:
        yield Said(_("work"), f"{format_day(work.performed_on)}, {work.scope}")
    if one.stamp:
        yield Said(_("stamp"), one.stamp)


def _notes(one: PersonPlan) -> Iterable[str]:
    if one.address_taken and one.user is None:
        yield _("No sign-in: the address is somebody else’s as well.")
    if one.person is not None and one.details.get("left_on"):
        yield _("Has left on %(day)s, and stays so.") % {"day": format_day(one.details["left_on"])}


# The top of the page


@dataclass(frozen=True, slots=True)
class Summary:
    """How many people a list is about, what it does about them, and how they would stand."""

    people: int
    new: int
    changed: int
    alone: int
    to_open: int
    standings: list[tuple[str, int]]
    missing: list[tuple[str, int]]
    audited: bool


def summary_of(plan: Plan) -> Summary:
    stands = [stands for one in plan.people for stands in one.stands]
    standings = Counter(str(each.answer.standing) for each in stands)
    missing = Counter(
        why_not(each) for each in stands if each.answer.standing != Standing.CERTIFIED
    )
    new = sum(one.is_new for one in plan.people)
    alone = sum(one.is_left_alone for one in plan.people)
    return Summary(
        people=len(plan.people),
        new=new,
        changed=len(plan.people) - new - alone,
        alone=alone,
        to_open=sum(one.may_open for one in plan.people),
        standings=standings.most_common(),
        missing=[(why, number) for why, number in missing.most_common() if why],
        audited=bool(stands),
    )


def undone_by_person(undoing: Undoing) -> list[tuple[Person, list[str]]]:
    """What is taken back of each person, by name."""
    said: dict[int, tuple[Person, list[str]]] = {}

    def say(person: Person | None, sentence: str) -> None:
        if person is not None:
            said.setdefault(person.pk, (person, []))[1].append(sentence)

    for certificate in undoing.certificates:
        say(certificate.person, _("certificate %s withdrawn") % certificate.number)
    for test in undoing.tests:
        say(test.person, _("vision test %s withdrawn") % test.test_id)
    for work in undoing.practice:
        day = format_day(work.performed_on)
        say(
            work.person,
            _("work on %(day)s in %(scope)s withdrawn") % {"day": day, "scope": work.scope_code},
        )
    for stamp in undoing.stamps:
        say(stamp.person, _("stamp %s returned") % stamp.mark)
    for move in undoing.moves:
        say(move.person, _("is where they were before"))
    for person, _values in undoing.changes:
        say(person, _("what was changed is as it was before"))
    for user in undoing.sign_ins:
        say(user.person, _("sign-in closed"))
    for person in undoing.people:
        say(person, _("counts as having left yesterday; the number stays theirs"))
    return sorted(said.values(), key=lambda pair: (pair[0].full_name, pair[0].pk))


RESULT_WORDS = (
    ("enrolled", gettext_lazy("people entered")),
    ("changed", gettext_lazy("people changed")),
    ("left_alone", gettext_lazy("people left alone")),
    ("certificates", gettext_lazy("certificates")),
    ("vision_tests", gettext_lazy("vision tests")),
    ("practice", gettext_lazy("days of work")),
    ("stamps", gettext_lazy("stamps")),
    ("sign_ins", gettext_lazy("sign-ins opened")),
)


def counts_shown(people_list: PeopleList) -> list[tuple[str, int]]:
    """What a list made, in words, whatever it made none of left out."""
    counts = people_list.result.get("counts", {})
    return [(str(word), counts[name]) for name, word in RESULT_WORDS if counts.get(name)]


def not_done_shown(people_list: PeopleList) -> list[tuple[str, str]]:
    """Numbers of those who were left out while a long list was taken in, each with the reason."""
    shown = []
    for number, why, fault in people_list.result.get("not_done", []):
        if fault is not None:
            column, kind, said, other = fault
            field = Field(column) if column else None
            why = sentence_of(CellFault(0, field, Fault(kind), said, other))
        shown.append((number, why))
    return shown


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a worker is with a long list."""

    done: int
    total: int
    undoes: bool


def progress_of(people_list: PeopleList) -> Progress:
    work = people_list.work
    total = work["total"]
    return Progress(total - len(work["pending"]), total, people_list.taken_in_at is not None)
