"""What the register holds of the people and things that a list names."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from audit.domain.list_columns import Field
from audit.domain.list_people import ListedPerson
from audit.domain.list_rows import Names
from audit.models import PeopleList
from certification.domain.standing import Facts
from certification.models import SchemeRevision, Scope
from certification.queries.standing_on_day import (
    PEOPLE_AT_A_TIME,
    Upkeep,
    facts_for_many,
    upkeep_for_many,
)
from people.domain.employee_numbers import number_key
from people.models import FormerEmployeeNumber, Person, Site, Stamp, User
from people.queries.erased import erased
from training.models import PracticeRecord, VisionTest

KIND_WORDS = {
    Person.Kind.OWN: ("own", "own staff", "employee", "intern", "eigen", "Eigene", "Mitarbeiter"),
    Person.Kind.CONTRACTOR: (
        "contractor", "external", "agency", "temp", "Fremdfirma", "extern", "Leiharbeiter",
        "Zeitarbeit",
    ),
    Person.Kind.VISITOR: ("visitor", "guest", "Besucher", "Gast"),
}  # fmt: skip


@dataclass(frozen=True)
class Named:
    """What there is to be named: by key, as people read it, newest revisions first."""

    names: Names
    options: dict[Field, dict[str, str]]
    sites: dict[str, Site]
    revisions: dict[str, SchemeRevision]
    scopes: dict[str, int]


def read_named() -> Named:
    """Sites, scopes, schemes and kinds by whatever a list may call them."""
    sites = {site.prefix: site for site in Site.objects.all()}
    scopes = list(Scope.objects.order_by("code"))
    revisions = list(
        SchemeRevision.objects.filter(published_at__isnull=False)
        .select_related("scheme")
        .order_by("scheme__code", "revision")
    )
    schemes: dict[str, str] = {}
    for revision in revisions:  # The later revision of a scheme is what its code means.
        schemes[revision.scheme.code] = schemes[revision.scheme.title] = revision.name
    for revision in revisions:
        schemes[revision.name] = revision.name
    written = {
        Field.SITE: {
            **{site.prefix: site.prefix for site in sites.values()},
            **{site.name: site.prefix for site in sites.values()},
        },
        Field.SCOPE: {scope.title: scope.code for scope in scopes}
        | {scope.code: scope.code for scope in scopes},
        Field.SCHEME: schemes,
        Field.KIND: {
            word: str(kind)
            for kind, words in KIND_WORDS.items()
            for word in {*words, str(kind), *(each.lower() for each in words)}
        },
    }
    options = {
        Field.SITE: {site.prefix: site.name for site in sites.values()},
        Field.SCOPE: {
            scope.code: scope.code if scope.title == scope.code else f"{scope.code} – {scope.title}"
            for scope in scopes
        },
        Field.SCHEME: {revision.name: revision.name for revision in reversed(revisions)},
        Field.KIND: {str(value): str(label) for value, label in Person.Kind.choices},
    }
    return Named(
        Names(written),
        options,
        sites,
        {revision.name: revision for revision in revisions},
        {scope.code: scope.pk for scope in scopes},
    )


@dataclass
class Register:
    """People by the key of their number, and what is recorded of those whom a list names."""

    people: dict[str, Person] = field(default_factory=dict)
    former: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, int] = field(default_factory=dict)
    sign_ins: dict[int, User] = field(default_factory=dict)
    sign_in_addresses: dict[str, int | None] = field(default_factory=dict)
    tests: dict[tuple[int, date], bool] = field(default_factory=dict)
    work: set[tuple[int, str, date]] = field(default_factory=set)
    facts: dict[int, dict[int, Facts]] = field(default_factory=lambda: defaultdict(dict))
    stamps: set[tuple[int, str]] = field(default_factory=set)
    taken_back: dict[int, datetime] = field(default_factory=dict)
    erased: set[int] = field(default_factory=set)
    upkeep: Upkeep = field(default_factory=lambda: Upkeep({}, {}))

    def with_zeros(self, number: str) -> str | None:
        """A number of the register that differs by zeros in front alone."""
        if not number.isdigit():
            return None
        for zeros in range(1, 6):
            if "0" * zeros + number in self.numbers:
                return "0" * zeros + number
        return None

    def meant_by(self, key: str) -> str:
        """The key of whoever a number may mean: theirs, one they had before, or one that lost
        its zeros; itself where it is nobody's."""
        if key in self.numbers:
            return key
        return number_key(self.former.get(key) or self.with_zeros(key) or key)

    def was_taken_back(self, person: Person) -> bool:
        """Whether somebody has left by the undoing of a list that entered them, and not since.

        Whoever came again and left later has left: they come back by a return.
        """
        undone_at = self.taken_back.get(person.pk)
        if undone_at is None:
            return False
        return person.left_on == person.site.today(undone_at) - timedelta(days=1)


def read_register(listed: Iterable[ListedPerson], *, with_facts: bool) -> Register:
    """Read what bears on the people of a list, some hundred at a time, and nobody else's facts.

    Certificates, tests and work are read with the facts, for whoever brings any.
    """
    register = Register()
    keys = {number_key(person.number) for person in listed}
    leads = {
        number_key(person.values[Field.LINE_LEAD])
        for person in listed
        if Field.LINE_LEAD in person.values
    }
    register.numbers = {
        number_key(number): pk
        for pk, number in Person.objects.order_by().values_list("pk", "employee_number")
    }
    pks = [register.numbers[key] for key in keys | leads if key in register.numbers]
    for lot in _lots(pks):
        for person in Person.objects.filter(pk__in=lot).select_related("site", "line_lead"):
            register.people[number_key(person.employee_number)] = person
        for user in User.objects.filter(person__in=lot).select_related("person__site"):
            register.sign_ins[user.person_id or 0] = user
    register.former = {
        number_key(number): holder
        for number, holder in FormerEmployeeNumber.objects.values_list(
            "employee_number", "person__employee_number"
        )
    }
    register.sign_in_addresses = {
        email.lower(): person_id
        for email, person_id in User.objects.exclude(email="")
        .order_by()
        .values_list("email", "person_id")
    }
    undone = PeopleList.objects.filter(undone_at__isnull=False).order_by("undone_at")
    for undone_at, undoing in undone.values_list("undone_at", "undoing"):
        register.taken_back.update(dict.fromkeys(undoing.get("left", []), undone_at))
    own = [register.numbers[key] for key in keys if key in register.numbers]
    for lot in _lots(own):
        gone = Person.objects.filter(erased(), pk__in=lot)
        register.erased |= set(gone.order_by().values_list("pk", flat=True))
        register.stamps |= set(
            Stamp.objects.filter(person__in=lot, returned_on=None).values_list("person_id", "mark")
        )
    if with_facts:
        _read_facts(register, own)
    return register


def _read_facts(register: Register, pks: Collection[int]) -> None:
    vision: dict = defaultdict(list)
    practice: dict = defaultdict(list)
    for lot in _lots(pks):
        for person_id, day, passed in VisionTest.objects.filter(
            person__in=lot, withdrawal__isnull=True
        ).values_list("person_id", "tested_on", "passed"):
            register.tests[person_id, day] = passed
        register.work |= set(
            PracticeRecord.objects.filter(person__in=lot, withdrawal__isnull=True).values_list(
                "person_id", "scope_code", "performed_on"
            )
        )
        for (person_id, scope_id), facts in facts_for_many(lot).by_person_and_scope.items():
            register.facts[person_id][scope_id] = facts
        upkeep = upkeep_for_many(lot)
        vision |= upkeep.vision
        practice |= upkeep.practice
    register.upkeep = Upkeep(vision, practice)


def _lots(pks: Collection[int]) -> Iterable[list[int]]:
    ordered = sorted(pks)
    for start in range(0, len(ordered), PEOPLE_AT_A_TIME):
        yield ordered[start : start + PEOPLE_AT_A_TIME]
