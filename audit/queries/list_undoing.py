"""What of a list that was taken in can be undone, and what has been used since and stays."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext as _

from audit.models import PeopleList
from certification.models import Certificate, CertificateEvent
from people.models import BadgePin, Person, SiteMembership, SiteRole, Stamp, User
from people.queries.reach import may_change_address
from records.domain.shown import digest_of
from training.models import PracticeRecord, VisionTest

from .list_bringers import Bringer

MOST_AT_ONCE = 100
"""People of whom something is undone in one transaction, for which everybody else waits."""
WRITTEN_BY_ITSELF = frozenset({"StandingSpan", "KnownSpan", "Reminder", "Message"})
"""Models whose rows about somebody come of others, so that they are no use of them."""


@dataclass(frozen=True, slots=True)
class Stays:
    """Something that is not undone: whose it is, what, and why."""

    name: str
    what: str
    why: str


@dataclass
class Undoing:
    """What would be undone, in the order of the act, and what stays."""

    certificates: list[Certificate] = field(default_factory=list)
    tests: list[VisionTest] = field(default_factory=list)
    practice: list[PracticeRecord] = field(default_factory=list)
    stamps: list[Stamp] = field(default_factory=list)
    moves: list[SiteMembership] = field(default_factory=list)
    changes: list[tuple[Person, dict[str, Any]]] = field(default_factory=list)
    sign_ins: list[User] = field(default_factory=list)
    people: list[Person] = field(default_factory=list)
    stays: list[Stays] = field(default_factory=list)

    @property
    def count(self) -> int:
        return sum(
            len(rows)
            for rows in (
                self.certificates, self.tests, self.practice, self.stamps, self.moves,
                self.changes, self.sign_ins, self.people,
            )
        )  # fmt: skip

    def concerned(self) -> set[int]:
        """Keys of the people of whom something is undone."""
        of_people = (self.certificates, self.tests, self.practice, self.stamps, self.moves)
        return (
            {row.person_id for rows in of_people for row in rows}
            | {user.person_id for user in self.sign_ins if user.person_id}
            | {person.pk for person, _values in self.changes}
            | {person.pk for person in self.people}
        )

    @property
    def is_long(self) -> bool:
        """Whether a worker does it, some people at a time, since others would wait too long."""
        return len(self.concerned()) > MOST_AT_ONCE

    def stays_written(self) -> list[list[str]]:
        """What stays, as the list keeps it."""
        return [[each.name, each.what, each.why] for each in self.stays]

    @property
    def withdraws(self) -> bool:
        """Whether facts are withdrawn, each under a signature."""
        return bool(self.certificates or self.tests or self.practice)

    def digest(self) -> str:
        """What the page that shows this carries, and the act compares."""
        rows = (
            self.certificates, self.tests, self.practice, self.stamps, self.moves, self.sign_ins,
            self.people, [person for person, _values in self.changes],
        )  # fmt: skip
        return digest_of(
            {
                "rows": [[row.pk for row in each] for each in rows],
                "values": [
                    {name: str(value) for name, value in values.items()}
                    for _person, values in self.changes
                ],
            }
        )


def plan_undoing(
    people_list: PeopleList,
    bringer: Bringer,
    at: datetime,
    people: Collection[int] | None = None,
) -> Undoing:
    """Look at everything that a list made, as it is now; of some people alone, by their keys."""
    return _Planner(people_list, bringer, at, people).plan()


class _Planner:
    def __init__(
        self,
        people_list: PeopleList,
        bringer: Bringer,
        at: datetime,
        people: Collection[int] | None,
    ) -> None:
        self.theirs = Q() if people is None else Q(person__in=people)
        self.among = None if people is None else frozenset(people)
        self.list, self.made, self.bringer, self.at = people_list, people_list.result, bringer, at
        assert people_list.taken_in_at is not None  # noqa: S101 - nothing else is undone
        self.taken_in_at = people_list.taken_in_at
        self.since = (
            datetime.fromisoformat(self.made["since"])
            if "since" in self.made
            else people_list.taken_in_at
        )
        self.undoing = Undoing()

    def plan(self) -> Undoing:
        self._certificates()
        self._upkeep()
        self._stamps()
        self._changes()
        self._sign_ins()
        self._people()
        return self.undoing

    def _rows(self, name: str, model: type[Model] | None = None) -> list[int]:
        """What the act made, by primary keys; where it is about some people, theirs alone."""
        rows: list[int] = self.made.get(name, [])
        if model is None or self.among is None:
            return rows
        theirs = set(model._default_manager.filter(self.theirs).values_list("pk", flat=True))
        return [pk for pk in rows if pk in theirs]

    def _stays(self, person: Person, what: str, why: str) -> None:
        self.undoing.stays.append(Stays(person.full_name, what, why))

    def _is_out_of_reach(self, person: Person, sites: Collection[int], what: str) -> bool:
        if person.site_id in sites:
            return False
        self._stays(person, what, _("is at a site that is not yours"))
        return True

    def _certificates(self) -> None:
        keys = self._rows("certificates", Certificate)
        acted_on = set(
            CertificateEvent.objects.filter(certificate__in=keys).values_list(
                "certificate_id", flat=True
            )
        ) | set(Certificate.objects.filter(renews__in=keys).values_list("renews_id", flat=True))
        certificates = Certificate.objects.filter(pk__in=keys, withdrawal__isnull=True)
        for certificate in certificates.select_related("person__site", "scope"):
            person, what = certificate.person, _("certificate %s") % certificate.number
            if self._is_out_of_reach(person, self.bringer.facts_sites, what):
                continue
            if certificate.pk in acted_on:
                self._stays(person, what, _("was acted on since"))
            else:
                self.undoing.certificates.append(certificate)

    def _upkeep(self) -> None:
        rested_on = set(
            Certificate.objects.filter(self.theirs, recorded_at__gte=self.since)
            .exclude(pk__in=self._rows("certificates", Certificate))
            .values_list("person_id", flat=True)
        )
        tests = VisionTest.objects.filter(
            pk__in=self._rows("vision_tests", VisionTest), withdrawal__isnull=True
        )
        practice = PracticeRecord.objects.filter(
            pk__in=self._rows("practice", PracticeRecord), withdrawal__isnull=True
        )
        for test in tests.select_related("person__site"):
            if self._may_withdraw(test.person, _("vision test %s") % test.test_id, rested_on):
                self.undoing.tests.append(test)
        for work in practice.select_related("person__site"):
            if self._may_withdraw(work.person, _("work on %s") % work.performed_on, rested_on):
                self.undoing.practice.append(work)

    def _may_withdraw(self, person: Person, what: str, rested_on: Collection[int]) -> bool:
        if self._is_out_of_reach(person, self.bringer.facts_sites, what):
            return False
        if person.pk in rested_on:
            self._stays(person, what, _("a certificate was issued since"))
            return False
        return True

    def _stamps(self) -> None:
        stamps = Stamp.objects.filter(pk__in=self._rows("stamps", Stamp), returned_on__isnull=True)
        for stamp in stamps.select_related("person__site"):
            if not self._is_out_of_reach(
                stamp.person, self.bringer.people_sites, _("stamp %s") % stamp.mark
            ):
                self.undoing.stamps.append(stamp)

    def _changes(self) -> None:
        changed = {
            each["person"]: each
            for each in self.made.get("changed", [])
            if self.among is None or each["person"] in self.among
        }
        people = Person.objects.select_related("site", "line_lead").in_bulk(changed)
        for pk, each in changed.items():
            person, back = people[pk], {}
            if self._is_out_of_reach(person, self.bringer.people_sites, _("what was changed")):
                continue
            for name, (before, after) in each["changes"].items():
                if _as_kept(person, name) != after:
                    self._stays(person, _field_word(name), _("was changed again since"))
                elif name == "site":
                    moves = self._move(person)
                    self.undoing.moves += moves
                    if moves and person.line_lead is None and each.get("lead_before_move"):
                        back["line_lead"] = each["lead_before_move"]
                elif name == "email" and (why := self._keeps_address(person, before)):
                    self._stays(person, _field_word(name), why)
                else:
                    back[name] = before
            if back:
                self.undoing.changes.append((person, back))

    def _keeps_address(self, person: Person, before: str) -> str:
        """Why an address cannot be changed back by whoever undoes the list; empty if it can."""
        authority = self.bringer.authority
        if authority is not None and not may_change_address(authority, person):
            return _("signs in at a site that is not yours")
        taken = User.objects.exclude(person=person).filter(email__iexact=before)
        if before and User.objects.filter(person=person).exists() and taken.exists():
            return _("is how somebody else signs in by now")
        return ""

    def _move(self, person: Person) -> list[SiteMembership]:
        rows = person.site_memberships.not_withdrawn().filter(
            site=person.site_id, recorded_at__range=(self.since, self.taken_in_at)
        )
        return list(rows.select_related("person__site", "site").order_by("-from_day")[:1])

    def _sign_ins(self) -> None:
        users = User.objects.filter(pk__in=self._rows("sign_ins", User), is_active=True)
        used = self._sign_ins_used(users)
        for user in users.select_related("person__site"):
            assert user.person is not None  # noqa: S101 - a list opens no others
            what = _("sign-in %s") % user.employee_number
            if self._is_out_of_reach(user.person, self.bringer.people_sites, what):
                continue
            if user.last_login is not None or user.has_usable_password():
                self._stays(user.person, what, _("has been used since"))
            elif user.pk in used:
                self._stays(user.person, what, _("was given a role or a PIN since"))
            else:
                self.undoing.sign_ins.append(user)

    def _sign_ins_used(self, users: QuerySet[User]) -> set[int]:
        """Those that hold a role or a PIN."""
        with_role = SiteRole.objects.filter(user__in=users).values_list("user", flat=True)
        with_pin = BadgePin.objects.filter(user__in=users).values_list("user", flat=True)
        return {*with_role, *with_pin}

    def _people(self) -> None:
        enrolled = [pk for pk in self._rows("enrolled") if self.among is None or pk in self.among]
        kept_sign_ins = set(self._rows("sign_ins")) - {user.pk for user in self.undoing.sign_ins}
        people = Person.objects.filter(pk__in=enrolled)
        used = self._used(enrolled, kept_sign_ins)
        for person in people.select_related("site").order_by("full_name", "pk"):
            if person.has_left(self.at):
                continue
            if self._is_out_of_reach(person, self.bringer.people_sites, _("the person")):
                continue
            if person.pk in used:
                self._stays(person, _("the person"), used[person.pk])
            else:
                self.undoing.people.append(person)

    def _used(self, enrolled: list[int], kept_sign_ins: Collection[int]) -> dict[int, str]:
        """Of people whom the list entered those about whom there is more by now, and what."""
        goes = {
            "Certificate": {row.pk for row in self.undoing.certificates},
            "VisionTest": {row.pk for row in self.undoing.tests},
            "PracticeRecord": {row.pk for row in self.undoing.practice},
            "Stamp": {row.pk for row in self.undoing.stamps},
            "User": {row.pk for row in self.undoing.sign_ins},
            "Person": set(self._rows("enrolled")),
        }
        used: dict[int, str] = {}
        for relation in Person._meta.related_objects:
            model, name = relation.related_model, relation.field.name
            if not isinstance(model, type) or model.__name__ in WRITTEN_BY_ITSELF:
                continue
            rows = model._default_manager.filter(**{f"{name}__in": enrolled}).exclude(
                _gone(model.__name__, goes)
            )
            for pk in rows.order_by().values_list(name, flat=True).distinct():
                used.setdefault(pk, _("has been used since: %s") % str(model._meta.verbose_name))
        return used


def _gone(model: str, goes: dict[str, set[int]]) -> Q:
    """What of a model does not count: what is undone now, and what was withdrawn before."""
    gone = Q(pk__in=goes.get(model, set()))
    if model in ("Certificate", "VisionTest", "PracticeRecord"):
        gone |= Q(withdrawal__isnull=False)
    return gone


def _as_kept(person: Person, name: str) -> Any:
    """A particular of somebody as the result of a list keeps it."""
    if name == "site":
        return person.site.prefix
    if name == "line_lead":
        return person.line_lead.employee_number if person.line_lead else ""
    value = getattr(person, name)
    return value.isoformat() if hasattr(value, "isoformat") else value


def _field_word(name: str) -> str:
    return str(getattr(Person._meta.get_field(name), "verbose_name", name))
