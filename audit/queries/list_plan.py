"""What taking a list in would do: who is new, changed or left alone, and how each would stand.

Reads and writes nothing. The act makes the same plan under its locks and compares the digests, so
that what is done is what was shown.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from audit.domain.list_columns import OF_PEOPLE, Field
from audit.domain.list_people import (
    ListedCertificate,
    ListedPerson,
    ListedTest,
    ListedWork,
    people_of,
)
from audit.domain.list_rows import OWN_DAY, Answers, CellFault, Open, read_rows
from audit.models import PeopleList
from certification.domain import standing as engine
from certification.domain.known_at import end_of_day
from certification.queries.standing_on_day import figures_of
from people.domain.employee_numbers import number_key
from people.domain.list_days import DayForm
from people.models import Person, Site, User
from people.queries.administrators import ends_sooner
from records.domain.lists import ListRow
from records.domain.shown import digest_of

from .list_bringers import Bringer
from .list_refusals import refusals
from .list_register import Named, Register, read_named, read_register

PERSON_FIELDS = {
    Field.FULL_NAME: "full_name",
    Field.EMAIL: "email",
    Field.SITE: "site",
    Field.KIND: "kind",
    Field.EMPLOYER: "employer",
    Field.LINE_LEAD: "line_lead",
    Field.STARTED_ON: "started_on",
    Field.LEFT_ON: "left_on",
}
"""Fields of a list that are fields of `Person`, by their names there."""
WHO_THEY_WERE = frozenset({"full_name", "email", "kind", "employer"})
"""Of them a list says nothing anew about somebody who has left and whose name was erased. Whoever
becomes a contractor needs an employer, so that goes with it."""


MOST_AT_ONCE = 500
"""People about whom something is written while a page is waited for, in one transaction: everybody
else who writes to the records waits for it. Of more, a worker writes some at a time."""
MOST_READ_AT_ONCE = 2_000
"""People whom such a transaction reads again before it writes."""


DIGEST_LETTERS = 16


@dataclass(frozen=True, slots=True)
class Stands:
    """How somebody would stand today in one scope, and how they stand without the list."""

    scope: str
    answer: engine.Answer
    before: engine.Standing | None


@dataclass
class PersonPlan:
    """What the list does about one person.

    ``person`` is None for somebody new; ``details`` is then all that is known of them. Of somebody
    known ``changes`` holds what is and what would be, by field of `Person`; employee numbers stand
    for line leads and prefixes for sites.
    """

    listed: ListedPerson
    number: str
    name: str
    person: Person | None
    site: Site | None
    details: dict[str, Any] = field(default_factory=dict)
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)
    certificates: list[ListedCertificate] = field(default_factory=list)
    tests: list[ListedTest] = field(default_factory=list)
    work: list[ListedWork] = field(default_factory=list)
    stamp: str = ""
    known_facts: int = 0
    stands: list[Stands] = field(default_factory=list)
    user: User | None = None
    address_taken: bool = False
    was_taken_back: bool = False
    stays_erased: bool = False
    is_tested: bool = False

    @property
    def is_new(self) -> bool:
        return self.person is None

    @property
    def brings(self) -> bool:
        return bool(self.certificates or self.tests or self.work or self.stamp)

    @property
    def is_left_alone(self) -> bool:
        return not (self.is_new or self.changes or self.brings)

    @property
    def email(self) -> str:
        if self.person is None:
            return str(self.details.get("email", ""))
        return str(self.changes["email"][1] if "email" in self.changes else self.person.email)

    @property
    def may_open(self) -> bool:
        """Whether a sign-in can be opened for them: they have none, and have not left."""
        return self.user is None and not self.address_taken and not self.details.get("left_on")

    def content(self) -> dict[str, Any]:
        """All of it, as canonical JSON can hold it."""
        return {
            "number": self.number,
            "person": self.person.pk if self.person else None,
            "site": self.site.prefix if self.site else None,
            "details": {name: _plain(value) for name, value in self.details.items()},
            "changes": {
                name: [_plain(before), _plain(after)]
                for name, (before, after) in self.changes.items()
            },
            "certificates": [
                [one.number, one.scope, one.scheme, one.issued_on, one.restriction, one.issued_by]
                for one in self.certificates
            ],
            "tests": [[one.tested_on, one.passed] for one in self.tests],
            "work": [[one.scope, one.performed_on] for one in self.work],
            "stamp": self.stamp,
            "sign_in": self.may_open,
            "stands": [[one.scope, one.answer.standing, one.answer.rule] for one in self.stands],
        }

    @property
    def lead_key(self) -> str:
        """The key of the line lead whom the list names; empty where it names none."""
        lead = self.details.get("line_lead") or self.changes.get("line_lead", ("", ""))[1]
        return number_key(lead) if lead else ""

    def act_digest(self) -> str:
        """What is written of them, told apart from anything else that could be.

        How they would stand comes of it and of the day; a line lead of the same list is written
        otherwise once they are known.
        """
        content = {name: value for name, value in self.content().items() if name != "stands"}
        for part in ("details", "changes"):
            content[part] = {
                name: value for name, value in content[part].items() if name != "line_lead"
            }
        return digest_of(content | {"line_lead": self.lead_key})[:DIGEST_LETTERS]


def _plain(value: Any) -> Any:
    return value if value is None or isinstance(value, date) else str(value)


@dataclass
class Plan:
    """What a list would do, what is wrong with rows of it, and what is still to be said."""

    people: list[PersonPlan] = field(default_factory=list)
    faults: list[CellFault] = field(default_factory=list)
    open: Open = field(default_factory=Open)
    named: Named | None = None
    register: Register = field(default_factory=Register)
    answers: Answers = field(default_factory=Answers)

    @property
    def is_ready(self) -> bool:
        """Whether it can be done as it stands."""
        return not self.open and not self.faults and bool(self.people)

    @property
    def is_long(self) -> bool:
        """Whether a worker does it, some people at a time, since others would wait too long."""
        written = sum(not one.is_left_alone for one in self.people)
        return written > MOST_AT_ONCE or len(self.people) > MOST_READ_AT_ONCE

    @property
    def ending_sooner(self) -> list[Person]:
        """Whom the list gives a last day, or an earlier one than they had."""
        return [
            one.person
            for one in self.people
            if one.person is not None
            and "left_on" in one.changes
            and ends_sooner(*one.changes["left_on"])
        ]

    def digest(self) -> str:
        return digest_of({"people": [person.content() for person in self.people]})


def answers_of(stored: dict[str, Any]) -> Answers:
    """What was answered, as a list keeps it."""
    form = stored.get("day_form")
    return Answers(
        day_form=DayForm(form) if form in set(DayForm) else None,
        turn_names=stored.get("turn_names"),
        recorded=stored.get("recorded", ""),
        results=stored.get("results", ""),
        chosen=stored.get("chosen", {}),
        for_all=stored.get("for_all", {}),
    )


def make_plan(people_list: PeopleList, bringer: Bringer, at: datetime) -> Plan:
    """Plan what a list does; what its bringer may not bring is a fault of its row."""
    named = read_named()
    answers = _with_the_only_site(answers_of(people_list.answers), named, bringer)
    left_out = set(people_list.left_out)
    read = read_rows(
        [ListRow(line, cells) for line, cells in people_list.rows if line not in left_out],
        [name if name in bringer.fields else "" for name in people_list.columns],
        answers,
        named.names,
        {(line, place): why for line, place, why in people_list.doubts},
    )
    passed = answers.results == "pass" or None
    listed, contradictions = people_of(read.entries, passed)
    register = read_register(listed, with_facts=bool(bringer.facts_sites))
    plan = Plan(
        faults=read.faults + contradictions,
        open=read.open,
        named=named,
        register=register,
        answers=answers,
    )
    maker = _Maker(plan, named, register, bringer, at)
    for person in listed:
        plan.people.append(maker.plan_of(person))
    _note_shared_addresses(plan.people)
    asks_for_site = Field.SITE in read.open.for_all or any(
        question.field is Field.SITE for question in read.open.values
    )
    plan.faults += refusals(plan.people, register, named, bringer, at, asks_for_site=asks_for_site)
    wrong = {fault.line for fault in plan.faults}
    plan.people = [one for one in plan.people if not wrong & set(one.listed.lines)]
    plan.faults.sort(key=lambda fault: fault.line)
    return plan


def leads_first(people: Iterable[PersonPlan]) -> list[PersonPlan]:
    """About whom something is written, whoever is new and leads others before these."""
    written = {number_key(one.number): one for one in people if not one.is_left_alone}
    placed: dict[str, PersonPlan] = {}
    for key in written:
        chain: dict[str, PersonPlan] = {}
        while key in written and key not in placed and key not in chain:
            chain[key] = written[key]
            key = chain[key].lead_key
        placed.update(reversed(chain.items()))
    return list(placed.values())


def _note_shared_addresses(people: list[PersonPlan]) -> None:
    """An address that several people have is nobody's to sign in by; each keeps it all the same."""
    counted = Counter(one.email.lower() for one in people if one.email)
    for one in people:
        if one.user is None and counted[one.email.lower()] > 1:
            one.address_taken = True


def _with_the_only_site(answers: Answers, named: Named, bringer: Bringer) -> Answers:
    """Whoever enters people at one site alone is not asked which."""
    own = [prefix for prefix, site in named.sites.items() if site.pk in bringer.people_sites]
    if len(own) == 1 and "site" not in answers.for_all:
        for_all = {**answers.for_all, "site": own[0]}
        return Answers(
            answers.day_form,
            answers.turn_names,
            answers.recorded,
            answers.results,
            answers.chosen,
            for_all,
        )
    return answers


def recorded_at(
    answers: Answers, own: date, said: date | None, site: Site, at: datetime
) -> datetime:
    """When a fact of a list counts as recorded: never later than now.

    ``own`` is the day of the fact, ``said`` what the list itself says.
    """
    day = said or (own if answers.recorded == OWN_DAY else None)
    if day is None and answers.recorded not in ("", "now", OWN_DAY):
        day = date.fromisoformat(answers.recorded)
    return at if day is None else min(at, end_of_day(day, site.zone))


@dataclass
class _Maker:
    """Plans one person after another."""

    plan: Plan
    named: Named
    register: Register
    bringer: Bringer
    at: datetime

    def __post_init__(self) -> None:
        self.codes = {scope_id: code for code, scope_id in self.named.scopes.items()}

    def plan_of(self, listed: ListedPerson) -> PersonPlan:
        person = self.register.people.get(number_key(listed.number))
        details = self._details(listed)
        if person is None:
            prefix = details.setdefault("site", self.plan.answers.for_all.get("site", ""))
            site = self.named.sites.get(prefix)
        else:
            site = person.site
        one = PersonPlan(
            listed=listed,
            number=person.employee_number if person else listed.number,
            name=str(details.get("full_name", "") or (person.full_name if person else "")),
            person=person,
            site=site,
            user=self.register.sign_ins.get(person.pk) if person else None,
            stamp=self._stamp(listed, person),
        )
        if person is None:
            one.details = details
        else:
            one.was_taken_back = self.register.was_taken_back(person)
            if one.was_taken_back:
                # Entered by a list that was undone: who is brought again has not left.
                details.setdefault("left_on", None)
            last_day = details.get("left_on", person.left_on)
            stays_away = last_day is not None and last_day < person.site.today(self.at)
            one.stays_erased = stays_away and person.pk in self.register.erased
            one.changes = _changes(person, details)
            if one.stays_erased:
                one.name = person.full_name
                for name in WHO_THEY_WERE:
                    one.changes.pop(name, None)
        self._plan_facts(one)
        holder = self.register.sign_in_addresses.get(one.email.lower(), 0)
        one.address_taken = bool(one.email) and holder not in (0, person.pk if person else -1)
        if person is not None and person.has_left(self.at) and "left_on" not in one.changes:
            one.details = {"left_on": person.left_on}
        # Who does not audit there is not told how anybody stands.
        audits = one.site is not None and one.site.pk in self.bringer.facts_sites
        one.stands = self._stands(one) if audits else []
        return one

    def _details(self, listed: ListedPerson) -> dict[str, Any]:
        """What the list says, as `Person` has it; line leads by the number they have there."""
        details = {
            name: listed.values[column]
            for column, name in PERSON_FIELDS.items()
            if column in listed.values and column in OF_PEOPLE
        }
        lead = details.get("line_lead")
        if lead is not None and number_key(lead) in self.register.people:
            details["line_lead"] = self.register.people[number_key(lead)].employee_number
        return details

    def _stamp(self, listed: ListedPerson, person: Person | None) -> str:
        mark = str(listed.values.get(Field.STAMP, ""))
        is_theirs = person is not None and (person.pk, mark) in self.register.stamps
        return "" if is_theirs else mark

    def _plan_facts(self, one: PersonPlan) -> None:
        """Take what is not in the register yet; what is, in the same words, is left alone.

        Who does not audit there is refused all of it alike, and not told what there is.
        """
        told = [test for test in one.listed.tests.values() if test.passed is not None]
        if one.site is not None and one.site.pk not in self.bringer.facts_sites:
            one.certificates, one.tests = list(one.listed.certificates), told
            one.work = list(one.listed.work.values())
            return
        pk = one.person.pk if one.person else 0
        held = {
            (fact.number, scope_id, fact.issued_on)
            for scope_id, facts in self.register.facts.get(pk, {}).items()
            for fact in facts.certificates
        }
        one.certificates = [
            each
            for each in one.listed.certificates
            if (each.number, self.named.scopes.get(each.scope), each.issued_on) not in held
        ]
        one.tests = [
            test
            for test in told
            if self.register.tests.get((pk, test.tested_on)) is not test.passed
        ]
        one.work = [
            work
            for work in one.listed.work.values()
            if (pk, work.scope, work.performed_on) not in self.register.work
        ]
        listed = len(one.listed.certificates) + len(told) + len(one.listed.work)
        one.known_facts = listed - len(one.certificates) - len(one.tests) - len(one.work)

    def _stands(self, one: PersonPlan) -> list[Stands]:
        """How somebody stands today by the engine, on what is recorded and what would be."""
        assert one.site is not None  # noqa: S101 - asked by the caller
        pk = one.person.pk if one.person else 0
        today = one.site.today(self.at)
        before = {
            self.codes[scope_id]: facts
            for scope_id, facts in self.register.facts.get(pk, {}).items()
        }
        tests = [
            *self.register.upkeep.vision.get(pk, []),
            *(
                engine.VisionFact(f"~{test.line}", test.tested_on, bool(test.passed), self.at)
                for test in one.tests
            ),
        ]
        one.is_tested = bool(tests)
        scopes = sorted({*before, *(each.scope for each in one.certificates)})
        return [
            Stands(
                scope,
                engine.timeline(self._facts(one, scope, before.get(scope), tests)).on(today),
                engine.timeline(before[scope]).on(today).standing if scope in before else None,
            )
            for scope in scopes
        ]

    def _facts(
        self,
        one: PersonPlan,
        scope: str,
        before: engine.Facts | None,
        tests: list[engine.VisionFact],
    ) -> engine.Facts:
        pk = one.person.pk if one.person else 0
        new = [
            engine.CertificateFact(
                each.number,
                figures_of(self.named.revisions[each.scheme]),
                each.issued_on,
                "",
                self.at,
                restriction=each.restriction,
            )
            for each in one.certificates
            if each.scope == scope
        ]
        return engine.Facts(
            [*(before.certificates if before else ()), *new],
            before.events if before else (),
            tests,
            [
                *self.register.upkeep.practice.get((pk, scope), []),
                *(
                    engine.PracticeFact(work.performed_on, self.at)
                    for work in one.work
                    if work.scope == scope
                ),
            ],
        )


def _changes(person: Person, details: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """What a list says otherwise than the register; what it does not say is left alone."""
    present = {
        "site": person.site.prefix,
        "line_lead": person.line_lead.employee_number if person.line_lead else "",
    }
    changes = {}
    for name, value in details.items():
        before = present.get(name, getattr(person, name))
        if before != value:
            changes[name] = (before, value)
    return changes
