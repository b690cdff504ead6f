"""Why rows of a list cannot be taken in though each reads well: what there is already, and rights.

The services refuse the same once more when it is written; here each row is told beforehand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from audit.domain.list_columns import Field
from audit.domain.list_rows import CellFault, Fault
from certification.models import Certificate
from people.domain.employee_numbers import number_key
from people.models import BadgePin, Person, Stamp, User
from people.queries.administrators import (
    administrators_among,
    administrators_stay,
    ends_sooner,
    last_administrator,
)
from people.queries.reach import may_change_address

from .list_bringers import Bringer
from .list_register import Named, Register

if TYPE_CHECKING:
    from .list_plan import PersonPlan


def refusals(
    people: Sequence[PersonPlan],
    register: Register,
    named: Named,
    bringer: Bringer,
    at: datetime,
    *,
    asks_for_site: bool,
) -> list[CellFault]:
    """What of the plans is refused, each with a sentence that says what to do.

    While the list is still asked about sites, that somebody has none is no fault of theirs.
    """
    judge = _Judge(people, register, named, bringer, at)
    judge.asks_for_site = asks_for_site
    return [
        CellFault(line, field, Fault.REFUSED, other=sentence)
        for one in people
        for line, field, sentence in judge.refusals_of(one)
    ]


Refused = Iterable[tuple[int, Field | None, str]]


class _Judge:
    asks_for_site = False

    def __init__(
        self,
        people: Sequence[PersonPlan],
        register: Register,
        named: Named,
        bringer: Bringer,
        at: datetime,
    ) -> None:
        self.register, self.named, self.bringer, self.at = register, named, bringer, at
        self.listed = {number_key(one.number) for one in people}
        self.not_people = {
            number_key(name)
            for name in [
                *User.objects.filter(person=None).values_list("employee_number", flat=True),
                *BadgePin.objects.exclude(badge="").values_list("badge", flat=True),
            ]
        }
        numbers = {each.number for one in people for each in one.certificates}
        self.certificates = {
            certificate.number: certificate
            for certificate in Certificate.objects.filter(number__in=numbers).select_related(
                "person"
            )
        }
        marks = {one.stamp for one in people if one.stamp}
        self.stamps = {
            stamp.mark: stamp
            for stamp in Stamp.objects.filter(mark__in=marks, returned_on=None).select_related(
                "person"
            )
        }
        self.last_administrators = _last_administrators(people, at)
        self.marks = Counter(one.stamp for one in people if one.stamp)

    def refusals_of(self, one: PersonPlan) -> Refused:
        line = one.listed.line
        if one.person is None:
            yield from ((line, field, why) for field, why in self._new(one))
        else:
            yield from ((line, field, why) for field, why in self._changed(one, one.person))
        yield from ((line, field, why) for field, why in self._of_anybody(one))
        yield from self._facts(one)

    def _new(self, one: PersonPlan) -> Iterable[tuple[Field | None, str]]:
        number, key = one.number, number_key(one.number)
        if not self.bringer.people_sites:
            yield (
                Field.EMPLOYEE_NUMBER,
                _("Nobody has the number %(number)s: an administrator enters them first.")
                % {"number": number},
            )
            return
        if key in self.register.former:
            yield (
                Field.EMPLOYEE_NUMBER,
                _("%(number)s was somebody’s number before; they have %(now)s now. Give that.")
                % {"number": number, "now": self.register.former[key]},
            )
        elif key in self.not_people:
            yield (
                Field.EMPLOYEE_NUMBER,
                _("%(number)s is how a kiosk or a badge signs in. Give another number.")
                % {"number": number},
            )
        elif (zeros := self.register.with_zeros(number)) is not None:
            yield (
                Field.EMPLOYEE_NUMBER,
                _(
                    "Nobody has the number %(number)s, and somebody has %(zeros)s: if the zeros "
                    "were lost in the spreadsheet, write them here."
                )
                % {"number": number, "zeros": zeros},
            )
        if not one.name:
            yield (Field.FULL_NAME, _("Nobody has this number yet: give the name."))
        if one.site is None and not self.asks_for_site:
            yield (Field.SITE, _("The cell is empty: say at which site they are."))
        if one.site is not None and one.site.pk not in self.bringer.people_sites:
            yield (
                Field.SITE,
                _("People of %(site)s are entered by its administrators.") % {"site": one.site},
            )

    def _changed(self, one: PersonPlan, person: Person) -> Iterable[tuple[Field | None, str]]:
        if not one.changes and not one.stamp:
            return
        column = Field(next(iter(one.changes), Field.STAMP))
        if person.site_id not in self.bringer.people_sites:
            yield (
                column,
                _("What is known of %(name)s is changed by administrators of their sites.")
                % {"name": person.full_name},
            )
            return
        if "site" in one.changes:
            site = self.named.sites[one.changes["site"][1]]
            if site.pk not in self.bringer.people_sites:
                yield (
                    Field.SITE,
                    _("People of %(site)s are entered by its administrators.") % {"site": site},
                )
        last_day = one.changes["left_on"][1] if "left_on" in one.changes else None
        has_left = person.has_left(self.at) and not one.was_taken_back
        if has_left and last_day and last_day >= person.site.today(self.at):
            yield (
                Field.LEFT_ON,
                _("%(name)s left on %(day)s. Enter that they are back, on their page.")
                % {"name": person.full_name, "day": person.left_on},
            )
        if person.pk in self.last_administrators:
            yield (Field.LEFT_ON, last_administrator(person.full_name))
        authority = self.bringer.authority
        if "email" in one.changes and authority and not may_change_address(authority, person):
            yield (
                Field.EMAIL,
                _("%(name)s signs in, so an administrator of all their sites changes the address.")
                % {"name": person.full_name},
            )
        if "email" in one.changes and one.user is not None and one.address_taken:
            yield (
                Field.EMAIL,
                _("%(email)s is how somebody else signs in. Give another address, or none.")
                % {"email": one.email},
            )

    def _of_anybody(self, one: PersonPlan) -> Iterable[tuple[Field | None, str]]:
        after = _after(one)
        lead = after["line_lead"]
        if lead and number_key(lead) == number_key(one.number):
            yield (
                Field.LINE_LEAD,
                _("Nobody is their own line lead. Choose somebody else, or nobody."),
            )
        elif lead and number_key(lead) not in {*self.register.numbers, *self.listed}:
            yield (
                Field.LINE_LEAD,
                _("Nobody has the employee number %(number)s.") % {"number": lead},
            )
        is_contractor = after["kind"] == Person.Kind.CONTRACTOR
        if is_contractor and not after["employer"] and not one.stays_erased:
            yield (Field.EMPLOYER, _("Say whom a contractor is employed by."))
        if after["started_on"] and after["left_on"] and after["left_on"] < after["started_on"]:
            yield (Field.LEFT_ON, _("The last day comes before the first. Change one of them."))
        if one.stamp and (one.stamp in self.stamps or self.marks[one.stamp] > 1):
            holder = self.stamps.get(one.stamp)
            yield (
                Field.STAMP,
                _("Stamp %(mark)s is with %(name)s: take it back first.")
                % {"mark": one.stamp, "name": holder.person.full_name}
                if holder
                else _("Stamp %(mark)s stands there for several people.") % {"mark": one.stamp},
            )

    def _facts(self, one: PersonPlan) -> Refused:
        if one.site is None or not (one.certificates or one.tests or one.work):
            return
        site, line = one.site, one.listed.line
        authority = self.bringer.authority
        if site.pk not in self.bringer.facts_sites:
            yield (line, None, _("Facts about people of %(site)s are entered by quality there.")
                   % {"site": site})  # fmt: skip
            return
        if authority and one.person is not None and authority.person_id == one.person.pk:
            yield line, None, _("Somebody else has to enter your certificates, tests and work.")
        yield from self._days_to_come(one)
        pk = one.person.pk if one.person else 0
        for each in one.certificates:
            there = self.certificates.get(each.number)
            if there is not None:
                yield (
                    each.line,
                    Field.CERTIFICATE_NUMBER,
                    _(
                        "There is a certificate %(number)s already, of %(name)s. Records are not "
                        "overwritten: give its own number, or leave the row out."
                    )
                    % {"number": each.number, "name": there.person.full_name},
                )
        for test in one.tests:
            if (pk, test.tested_on) in self.register.tests:
                yield (
                    test.line,
                    Field.RESULT,
                    _(
                        "The register has a vision test of this day with another result. Withdraw "
                        "that one first, or leave the row out."
                    ),
                )

    def _days_to_come(self, one: PersonPlan) -> Refused:
        assert one.site is not None  # noqa: S101 - asked by the caller
        today = one.site.today(self.at)
        facts: list[tuple[Any, Field, Any]] = [
            *((each, Field.ISSUED_ON, each.issued_on) for each in one.certificates),
            *((test, Field.TESTED_ON, test.tested_on) for test in one.tests),
            *((work, Field.PERFORMED_ON, work.performed_on) for work in one.work),
        ]
        for fact, column, day in facts:
            if day > today:
                yield (
                    fact.line,
                    column,
                    _("%(day)s is still to come: at %(site)s it is %(today)s.")
                    % {"day": day, "site": one.site, "today": today},
                )


def _last_administrators(people: Sequence[PersonPlan], at: datetime) -> set[int]:
    """Keys of those to whom the list gives a last day though nobody would administer any more."""
    ending = [
        one.person.pk
        for one in people
        if one.person is not None
        and "left_on" in one.changes
        and ends_sooner(*one.changes["left_on"])
    ]
    leaving = administrators_among(ending)
    return leaving if leaving and not administrators_stay(at, without=leaving) else set()


def _after(one: PersonPlan) -> dict[str, Any]:
    """What would be known of somebody afterwards, of what can contradict itself."""
    after: dict[str, Any] = {}
    for name in ("line_lead", "kind", "employer", "started_on", "left_on"):
        if one.person is None:
            after[name] = one.details.get(name)
        elif name in one.changes:
            after[name] = one.changes[name][1]
        elif name == "line_lead":
            after[name] = ""  # As it was, whoever it is.
        else:
            after[name] = getattr(one.person, name)
    return after
