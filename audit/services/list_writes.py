"""Writing what a list of people says, in the transaction of the act that takes it in.

Rows come first and the trail last. Certificates, vision tests and work are written by the writer of
register files; people and sign-ins by the services of one person, or by the same for many.
"""

from collections import Counter
from datetime import datetime
from typing import Any

from django.utils.translation import get_language

from audit.domain import bundle_checks
from audit.domain.bundle import Bundle
from audit.domain.bundle_rows import CertificateRow, PersonRow, PracticeRow, VisionTestRow
from audit.exceptions import ListRefused
from audit.models import PeopleList
from audit.queries.list_bringers import Bringer
from audit.queries.list_plan import PersonPlan, Plan, recorded_at
from audit.queries.register_rows import Stored, read_stored
from certification.services import standing
from people.domain.employee_numbers import number_key
from people.models import Person, Site, User
from people.services.many_people import enrol_people, open_sign_ins, record_enrolled
from people.services.people import change_person
from people.services.stamps import issue_stamp
from records.services import numbers

from .import_writes import Writer


def write_plan(
    people_list: PeopleList, plan: Plan, bringer: Bringer, *, sign_ins: bool, at: datetime
) -> dict[str, Any]:
    """Write a plan that was shown; return what was made, by primary keys, and how much."""
    act = _Act(people_list, plan, bringer, at)
    act.write_facts()
    act.write_people()
    opened = act.open_sign_ins() if sign_ins else []
    act.finish()
    return act.result(opened)


class _Act:
    def __init__(self, people_list: PeopleList, plan: Plan, bringer: Bringer, at: datetime) -> None:
        self.list, self.plan, self.bringer, self.at = people_list, plan, bringer, at
        self.enrolled = self._enrol()
        self.by_key = {
            number_key(one.number): one.person or self.enrolled[number_key(one.number)]
            for one in plan.people
        }
        self.bundle = self._bundle()
        self.stored: Stored = read_stored(self.bundle, None)
        self._check()
        self.writer = Writer(bundle=self.bundle, stored=self.stored, at=at, actor=bringer.actor)
        self.changed: list[dict[str, Any]] = []
        self.stamps: list[int] = []

    def _person(self, one: PersonPlan) -> Person:
        return self.by_key[number_key(one.number)]

    def _enrol(self) -> dict[str, Person]:
        """Enter whoever is new; line leads may be among them."""
        language = (get_language() or "en")[:2]
        made: dict[str, Person] = {}
        for one in self.plan.people:
            if one.person is None:
                details = {
                    name: value for name, value in one.details.items() if name != "line_lead"
                }
                details["site"] = one.site
                made[number_key(one.number)] = Person(
                    employee_number=one.number, language=language, **details
                )
        for one in self.plan.people:
            if one.person is None and one.details.get("line_lead"):
                key = number_key(one.details["line_lead"])
                made[number_key(one.number)].line_lead = made.get(key) or self._known(key)
        # In one order for everybody, so that two lists with the same numbers wait for each other
        # and not each for the other.
        enrol_people([made[key] for key in sorted(made)], self.at)
        return made

    def _known(self, key: str) -> Person:
        return self.plan.register.people[key]

    def _bundle(self) -> Bundle:
        """The facts of the list as a register file would say them, numbers given to new tests."""
        bundle = Bundle(files=dict.fromkeys(("certificates", "people"), self.list.file_name))
        answers, tests = self.plan.answers, self._test_numbers()
        for one in self.plan.people:
            person = self._person(one)
            number, site = person.employee_number, one.site
            assert site is not None  # noqa: S101 - a plan that is ready knows it
            for each in one.certificates:
                recorded = recorded_at(answers, each.issued_on, each.recorded_on, site, self.at)
                bundle.certificates.append(
                    CertificateRow(
                        line=each.line,
                        certificate_number=each.number,
                        employee_number=number,
                        scheme=each.scheme,
                        scope=each.scope,
                        issued_on=each.issued_on,
                        renews="",
                        recorded_at=recorded,
                        withdrawn_at=None,
                        restriction=each.restriction,
                        issued_by=each.issued_by,
                    )
                )
            for test in one.tests:
                recorded = recorded_at(answers, test.tested_on, test.recorded_on, site, self.at)
                result = "pass" if test.passed else "fail"
                bundle.vision_tests.append(
                    VisionTestRow(
                        test.line, next(tests[site.prefix]), number, test.tested_on, result,
                        recorded, None,
                    )
                )  # fmt: skip
            for work in one.work:
                recorded = recorded_at(answers, work.performed_on, work.recorded_on, site, self.at)
                bundle.practice.append(
                    PracticeRow(work.line, number, work.scope, work.performed_on, recorded, None)
                )
        return bundle

    def _test_numbers(self) -> dict[str, Any]:
        counted = Counter(
            one.site.prefix for one in self.plan.people if one.site for _test in one.tests
        )
        return {
            prefix: iter(numbers.next_numbers(prefix, "V", count))
            for prefix, count in sorted(counted.items())
        }

    def _check(self) -> None:
        """Hold the facts against the checks of register files, which refuse what the plan missed.

        Whoever is new is in the database by now, so all that is checked is facts.
        """
        bundle_checks.check(self.bundle, self.stored.known)
        if self.bundle.problems:
            raise ListRefused(" ".join(str(problem) for problem in self.bundle.problems[:5]))
        for row in self.bundle.certificates:
            if row.certificate_number in self.stored.rows["certificates"]:
                raise ListRefused(f"There is a certificate {row.certificate_number} already.")

    def write_facts(self) -> None:
        for person in self.by_key.values():
            self.stored.people[person.employee_number] = person.pk
            self.bundle.people.append(_row_of(person))
        self.writer.write(
            {
                "people": [],
                "schemes": [],
                "operations": [],
                "certificates": self.bundle.certificates,
                "events": [],
                "vision_tests": self.bundle.vision_tests,
                "practice": self.bundle.practice,
                "stamps": [],
            },
            [],
            [],
        )

    def write_people(self) -> None:
        """Write down who was enrolled, and change who is known, one after another."""
        record_enrolled(list(self.enrolled.values()), self.bringer.actor, self.at)
        for one in self.plan.people:
            if one.person is not None and one.changes:
                lead = one.person.line_lead
                changed = change_person(
                    person=one.person,
                    actor=self.bringer.actor,
                    by_right_of=self.bringer.authority,
                    was_entered_in_error=one.was_taken_back,
                    at=self.at,
                    **self._values(one),
                )
                self.changed.append(
                    {
                        "person": one.person.pk,
                        "changes": {
                            name: [_stored(before), _stored(after)]
                            for name, (before, after) in one.changes.items()
                        },
                        # A move takes the line lead away, whether or not the list speaks of one.
                        "lead_before_move": lead.employee_number
                        if lead and changed.line_lead is None and "line_lead" not in one.changes
                        else "",
                    }
                )
            if one.stamp and self.bringer.authority is not None:
                stamp = issue_stamp(
                    person=self._person(one),
                    mark=one.stamp,
                    issued_on=self._stamp_day(one),
                    actor=self.bringer.authority,
                    at=self.at,
                )
                self.stamps.append(stamp.pk)

    def _stamp_day(self, one: PersonPlan) -> Any:
        assert one.site is not None  # noqa: S101 - a plan that is ready knows it
        return one.site.today(self.at)

    def _values(self, one: PersonPlan) -> dict[str, Any]:
        values = {name: after for name, (_before, after) in one.changes.items()}
        if "site" in values:
            values["site"] = Site.objects.get(prefix=values["site"])
        if values.get("line_lead"):
            key = number_key(values["line_lead"])
            values["line_lead"] = self.by_key.get(key) or self._known(key)
        return values

    def open_sign_ins(self) -> list[User]:
        """Let whoever may sign in do so, of those at sites that the bringer administers."""
        people = [
            self._person(one)
            for one in self.plan.people
            if one.may_open and one.site and one.site.pk in self.bringer.people_sites
        ]
        fresh = Person.objects.select_related("site").in_bulk([person.pk for person in people])
        return open_sign_ins([fresh[person.pk] for person in people], self.bringer.actor, self.at)

    def finish(self) -> None:
        standing.rebuild_people(self.writer.touched)
        self.writer.write_trail()

    def result(self, opened: list[User]) -> dict[str, Any]:
        rows = self.stored.rows
        made: dict[str, Any] = {
            "enrolled": [person.pk for person in self.enrolled.values()],
            "changed": self.changed,
            "certificates": [
                rows["certificates"][row.certificate_number].pk for row in self.bundle.certificates
            ],
            "vision_tests": [
                rows["vision_tests"][row.test_id].pk for row in self.bundle.vision_tests
            ],
            "practice": [
                rows["practice"][
                    row.employee_number, row.scope, row.performed_on, row.recorded_at
                ].pk
                for row in self.bundle.practice
            ],
            "stamps": self.stamps,
            "sign_ins": [user.pk for user in opened],
            "to_mail": [user.pk for user in opened if user.email],
        }
        counts = {name: len(keys) for name, keys in made.items()}
        counts["left_alone"] = sum(one.is_left_alone for one in self.plan.people)
        return {**made, "counts": counts}


def _row_of(person: Person) -> PersonRow:
    return PersonRow(0, person.employee_number, person.full_name, "", "", "", None, None)


def _stored(value: Any) -> Any:
    """A value as the result of a list keeps it: days as text."""
    return value.isoformat() if hasattr(value, "isoformat") else value
