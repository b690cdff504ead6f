"""Two acts on one person and scope, one of them held between what it read and what it writes.

`Scenes` makes the scene of each kind once and puts all rows back as they were then.
`InTurn` and `at_once` run two acts on a scene, which the latter uses up, and tell what is in the
register afterwards in words without the numbers of the day. The first act stops where it is about
to write for the first time, the second is started, and the first goes on as soon as the second is
as far or waits for a lock that the first holds.
"""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from threading import Event, get_ident
from time import monotonic, sleep
from typing import Any

from django.db import connections, transaction
from django.db.models import QuerySet

from audit.services import importing
from certification.exceptions import CertificationError
from certification.models import (
    Certificate,
    CertificateEvent,
    Proposal,
    SchemeRevision,
    Scope,
    StandingSpan,
)
from certification.services import certificates_from_elsewhere, events, proposals
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from people.models import Person, User
from records.services import numbers, trail
from records.services.documents import Document
from tests import kept_rows
from tests.assessments.together import somebody_waits_for_us
from tests.audit.bundles import write_bundle
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_user,
)
from training.exceptions import TrainingError
from training.models import Exercise, PracticeRecord, VisionTest
from training.services import facts

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n"
PUBLIC_NUMBER = re.compile(r"[A-Z]{2}-[BCEV]-\d+")
TOO_LONG = 120.0  # Seconds until a test gives up on an act that neither writes nor waits.
REFUSED = "refused"


@dataclass(frozen=True)
class House:
    """What all scenes share."""

    scope: Scope
    exercise: Exercise
    revision: SchemeRevision
    quality: User
    instructor: User
    folder: Path


@dataclass(frozen=True)
class Scene:
    """Somebody certified for a scope: extended once, tested, at work, and ready to renew."""

    house: House
    person: Person
    certificate: Certificate
    event: CertificateEvent
    proposal: Proposal | None

    @property
    def on(self) -> dict[str, Any]:
        return {
            "person": Person.objects.get(pk=self.person.pk),
            "scope": Scope.objects.get(pk=self.house.scope.pk),
        }

    @property
    def signed(self) -> dict[str, Any]:
        return {"actor": self.house.quality, "at": NOW, "proof": "password", "reason": "So."}

    def act(self, effective_on: date | None = None, at: datetime = NOW) -> Act:
        return Act(self.house.quality, at, "password", "So.", effective_on)

    def afresh(self) -> "Scene":
        """The same scene with its rows as they stand."""
        proposal = self.proposal and Proposal.objects.get(pk=self.proposal.pk)
        event = CertificateEvent.objects.get(pk=self.event.pk)
        person = Person.objects.get(pk=self.person.pk)
        return Scene(self.house, person, self.fresh_certificate(), event, proposal)

    def fresh_certificate(self) -> Certificate:
        return Certificate.objects.get(pk=self.certificate.pk)


def make_house(folder: Path) -> House:
    scope, exercise = make_scope(), make_exercise()
    revision = make_revision(
        scope,
        exercise=exercise,
        vision_months=12,
        max_absence_months=6,
        validity_months=24,
        renewal_window_days=90,
    )
    return House(scope, exercise, revision, make_user("quality"), make_user("instructor"), folder)


@transaction.atomic
def make_scene(
    house: House, *, suspended: bool, restricted: bool, ready: bool, proposed: bool
) -> Scene:
    person = make_person()
    for number, tested_on in enumerate(
        (date(2024, 12, 1), date(2025, 6, 1), date(2026, 5, 20)), start=1
    ):
        VisionTest.objects.create(
            test_id=f"T-{person.pk}-{number}", person=person, tested_on=tested_on, passed=True
        )
    for performed_on in (
        date(2025, 5, 1),
        date(2025, 10, 1),
        date(2026, 3, 1),
        date(2026, 8, 1),
    ):
        PracticeRecord.objects.create(
            person=person, scope_code=house.scope.code, performed_on=performed_on
        )
    certificate = make_certificate(
        person, house.scope, revision=house.revision, issued_on=date(2024, 12, 20)
    )
    if ready:
        make_passed_board(
            person, house.exercise, grader=house.instructor, signed_at=NOW - timedelta(days=2)
        )
    scene = Scene(house, person, certificate, event=None, proposal=None)  # type: ignore[arg-type]
    proposal = _propose(scene, NOW - timedelta(days=1)) if proposed else None
    event = events.extend_certificate(
        certificate=certificate,
        until=date(2027, 2, 1),
        authority="QM-02",
        act=scene.act(at=NOW - timedelta(days=1)),
    )
    if suspended:
        [event] = events.suspend_certificates(
            **scene.on,
            act=scene.act(TODAY - timedelta(days=10), NOW - timedelta(hours=1)),
        )
    if restricted:
        [event] = events.restrict_certificates(
            **scene.on,
            restriction="cups",
            act=scene.act(TODAY - timedelta(days=5), NOW - timedelta(minutes=45)),
        )
    return Scene(house, person, certificate, event, proposal)


# The acts


def _propose(scene: Scene, at: Any = NOW) -> Proposal:
    return proposals.propose(
        **scene.on,
        revision=scene.house.revision,
        act=Act(scene.house.instructor, at, "password"),
    )


def propose(scene: Scene) -> None:
    _propose(scene)


def issue(scene: Scene) -> None:
    assert scene.proposal is not None
    issue_certificate(
        proposal=scene.proposal, act=Act(actor=scene.house.quality, at=NOW, proof="password")
    )


def decline(scene: Scene) -> None:
    assert scene.proposal is not None
    proposals.decline(
        proposal=scene.proposal, act=Act(actor=scene.house.quality, at=NOW, reason="Not yet.")
    )


def enter_from_elsewhere(scene: Scene) -> None:
    certificates_from_elsewhere.enter_certificate_from_elsewhere(
        **scene.on,
        revision=scene.house.revision,
        paper=certificates_from_elsewhere.OutsideCertificate(
            "Harrow Vale Training Centre",
            f"HV {scene.person.pk}",
            TODAY - timedelta(days=30),
            Document("paper.pdf", PDF),
        ),
        act=scene.act(),
    )


def suspend(scene: Scene) -> None:
    events.suspend_certificates(**scene.on, act=scene.act(TODAY))


def reinstate(scene: Scene) -> None:
    events.reinstate_certificates(**scene.on, act=scene.act(TODAY))


def revoke(scene: Scene) -> None:
    events.revoke_certificates(**scene.on, act=scene.act(TODAY))


def end(scene: Scene) -> None:
    events.end_certificates(**scene.on, act=scene.act(TODAY + timedelta(days=14)))


def restrict(scene: Scene) -> None:
    events.restrict_certificates(**scene.on, restriction="turrets", act=scene.act(TODAY))


def lift(scene: Scene) -> None:
    events.lift_restriction(**scene.on, act=scene.act(TODAY))


def extend(scene: Scene) -> None:
    events.extend_certificate(
        certificate=scene.fresh_certificate(),
        until=date(2027, 6, 1),
        authority="QM-02",
        act=scene.act(),
    )


def void(scene: Scene) -> None:
    events.void_event(event=scene.event, act=scene.act())


def withdraw(scene: Scene) -> None:
    events.withdraw_certificate(certificate=scene.fresh_certificate(), act=scene.act())


def fail_vision(scene: Scene) -> None:
    facts.record_vision_test(
        person=scene.person, tested_on=TODAY, passed=False, actor=scene.house.quality, at=NOW
    )


def withdraw_vision(scene: Scene) -> None:
    last = VisionTest.objects.filter(person=scene.person).get(tested_on=date(2026, 5, 20))
    facts.withdraw_vision_test(vision_test=last, **scene.signed)


def work(scene: Scene) -> None:
    facts.record_practice(
        person=scene.person,
        scope_code=scene.house.scope.code,
        performed_on=TODAY,
        actor=scene.house.quality,
        at=NOW,
    )


def withdraw_work(scene: Scene) -> None:
    done = PracticeRecord.objects.filter(person=scene.person).get(performed_on=date(2026, 3, 1))
    facts.withdraw_practice(practice=done, **scene.signed)


def import_revocation(scene: Scene) -> None:
    person, certificate = scene.person, scene.certificate
    path = write_bundle(
        scene.house.folder / f"{person.pk}-{get_ident()}-{monotonic()}",
        people=[
            ["employee_number", "full_name", "email", "site"],
            [person.employee_number, person.full_name, person.email, person.site.name],
        ],
        certificate_events=[
            ["event_id", "certificate_number", "event", "effective_on", "recorded_at", "reason"],
            [
                f"OLD-{person.pk}",
                certificate.number,
                "revoked",
                str(TODAY),
                (NOW - timedelta(minutes=30)).isoformat(),
                "so",
            ],
        ],
        **dict.fromkeys(["schemes", "certificates", "vision_tests", "practice"]),
        stamps=None,
        operations=None,
    )
    importing.import_register(path=path, zone=person.site.zone, at=NOW, actor=scene.house.quality)


ACTS: list[Callable[[Scene], None]] = [
    issue,
    decline,
    propose,
    enter_from_elsewhere,
    suspend,
    reinstate,
    revoke,
    end,
    restrict,
    lift,
    extend,
    void,
    withdraw,
    fail_vision,
    withdraw_vision,
    work,
    withdraw_work,
    import_revocation,
]

FACTS = {fail_vision, withdraw_vision, work, withdraw_work}


def paired_with(first: Callable[[Scene], None]) -> list[Callable[[Scene], None]]:
    """An act itself and those behind it; two facts of different kinds decide nothing."""
    rest = ACTS[ACTS.index(first) :]
    return [one for one in rest if one is first or not FACTS.issuperset({first, one})]


class Scenes:
    """A scene of each kind, made once for all tests of a module.

    What two acts have written is put back by `put_back`, and so is all of it where a test before
    has emptied every table.
    """

    def __init__(self, folder: Path) -> None:
        house = make_house(folder)
        self._made = {
            kind: make_scene(house, suspended=kind[0], restricted=kind[1], ready=r, proposed=p)
            for kind in KINDS
            for r, p in [READINESS[kind[2]]]
        }
        self._kept = kept_rows.Kept()

    def put_back(self) -> None:
        self._kept.put_back()

    def scene_for(self, *acts: Callable[[Scene], None]) -> Scene:
        """One on which each of the acts has something to do, as far as both can."""
        decides = bool({issue, decline} & set(acts))
        readiness = "proposed" if decides else "ready" if propose in acts else ""
        return self._made[reinstate in acts, lift in acts, readiness]


READINESS = {"": (False, False), "ready": (True, False), "proposed": (True, True)}
"""Whether there is a passed board, and whether a proposal waits beside it."""
KINDS = [
    (suspended, restricted, readiness)
    for readiness in READINESS
    for suspended, restricted in ((False, False), (True, False), (False, True), (True, True))
    # Of two acts, one alone may need each of these.
    if not (suspended and restricted and readiness)
]


# Running two


class Gate:
    """Holds the first of two acts before its first write until the second has come as far."""

    def __init__(self) -> None:
        self.first_reads_no_more, self.second_reads_no_more = Event(), Event()
        self.first_is_done, self.second_is_done = Event(), Event()
        self.first: int | None = None
        self.second: int | None = None
        self.both_had_read = False

    def pass_through(self) -> None:
        if get_ident() == self.first and not self.first_reads_no_more.is_set():
            self.first_reads_no_more.set()
            self._wait_for_the_second()
        elif get_ident() == self.second and not self.second_reads_no_more.is_set():
            self.both_had_read = not self.first_is_done.is_set()
            self.second_reads_no_more.set()
            assert self.first_is_done.wait(TOO_LONG), "the first act came to no end"

    def _wait_for_the_second(self) -> None:
        give_up_at = monotonic() + TOO_LONG
        while not (
            self.second_reads_no_more.is_set()
            or self.second_is_done.is_set()
            or somebody_waits_for_us()
        ):
            assert monotonic() < give_up_at, "the second act neither writes nor waits"
            sleep(0.01)


class Hands:
    """Two threads, each with a connection of its own to act by, and the gate of what they do."""

    def __init__(self) -> None:
        self.gate: Gate | None = None
        self.first, self.second = ThreadPoolExecutor(1), ThreadPoolExecutor(1)

    def close(self) -> None:
        for hand in (self.first, self.second):
            hand.submit(connections.close_all).result()
            hand.shutdown()


def hold_before_the_first_write(monkeypatch: Any) -> Hands:
    """Have every act of the hands returned pass their gate before it writes anything."""
    hands = Hands()
    for module, name in (
        (numbers, "next_number"),
        (numbers, "continue_series_after"),
        (trail, "sign"),
        (trail, "record"),
        (trail, "record_many"),
        (trail, "lock_trail"),
    ):
        monkeypatch.setattr(module, name, _behind(hands, getattr(module, name)))
    return hands


def _behind(hands: Hands, write: Callable[..., Any]) -> Callable[..., Any]:
    def held(*args: Any, **kwargs: Any) -> Any:
        if hands.gate:
            hands.gate.pass_through()
        return write(*args, **kwargs)

    return held


def at_once(
    hands: Hands, scene: Scene, first: Callable[[Scene], None], second: Callable[[Scene], None]
) -> tuple[Any, Gate]:
    """What stands there after two acts, the second begun while the first is about to write."""
    scene = scene.afresh()
    gate = hands.gate = Gate()

    def run_first() -> str:
        gate.first = get_ident()
        try:
            return _outcome(first, scene)
        finally:
            gate.first_reads_no_more.set()
            gate.first_is_done.set()

    def run_second() -> str:
        gate.second = get_ident()
        assert gate.first_reads_no_more.wait(TOO_LONG), "the first act came to no write"
        try:
            return _outcome(second, scene)
        finally:
            gate.second_is_done.set()

    outcomes = [hands.first.submit(run_first), hands.second.submit(run_second)]
    done = [one.result(timeout=3 * TOO_LONG) for one in outcomes]
    hands.gate = None
    return ({first.__name__: done[0], second.__name__ + "'": done[1]}, told_of(scene)), gate


class InTurn:
    """The same two acts where nobody else acts meanwhile: either first, each taken back again."""

    def __init__(
        self, scene: Scene, first: Callable[[Scene], None], second: Callable[[Scene], None]
    ) -> None:
        self._scene, self._first, self._second = scene, first, second
        self._found: list[Any] = []

    def leaves(self, found: Any) -> bool:
        """Whether one of the two orders comes to these outcomes and tells the same.

        The other order is run only for what the first does not come to.
        """
        for place in range(1 if self._first is self._second else 2):
            if place == len(self._found):
                self._found.append(self._run(swap=bool(place)))
            if self._found[place] == (by_act(found[0]), found[1]):
                return True
        return False

    def _run(self, *, swap: bool) -> Any:
        scene, first, second = self._scene.afresh(), self._first, self._second
        with transaction.atomic():
            if swap:
                after, before = _outcome(second, scene), _outcome(first, scene)
            else:
                before, after = _outcome(first, scene), _outcome(second, scene)
            told = told_of(scene)
            transaction.set_rollback(True)
        return by_act({first.__name__: before, second.__name__ + "'": after}), told


def by_act(outcomes: dict[str, str]) -> list[tuple[str, str]]:
    """Outcomes by the name of the act; of an act beside itself it does not matter which."""
    return sorted((name.rstrip("'"), outcome) for name, outcome in outcomes.items())


def _outcome(act: Callable[[Scene], None], scene: Scene) -> str:
    """Whether an act was done or refused in words; anything else that is raised is said so."""
    try:
        act(scene)
    except (CertificationError, TrainingError, importing.RegisterRefused) as error:
        return REFUSED if str(error) else "refused without a word"
    except Exception as error:
        return f"crashed: {type(error).__name__}"
    return "done"


# What stands there


def told_of(scene: Scene) -> dict[str, list[Any]]:
    """Everything about the person that an act may write, without numbers of this scene."""
    person = scene.person
    certificates = Certificate.objects.filter(person=person)
    happened = CertificateEvent.objects.filter(certificate__person=person)
    return {
        "certificates": _rows(
            certificates,
            "origin",
            "issued_on",
            "restriction",
            "valid_through",
            *_of("renews"),
            "withdrawal__reason",
        ),
        "events": [
            tuple(PUBLIC_NUMBER.sub("#", one) for one in row)
            for row in _rows(happened, *_EVENT, *(f"voids__{name}" for name in _EVENT))
        ],
        "spans": _rows(
            StandingSpan.objects.filter(person=person),
            "first_day",
            "last_day",
            "standing",
            "restriction",
            "rule",
            *_of("certificate"),
        ),
        "vision": _rows(
            VisionTest.objects.filter(person=person), "tested_on", "passed", "withdrawal__reason"
        ),
        "practice": _rows(
            PracticeRecord.objects.filter(person=person), "performed_on", "withdrawal__reason"
        ),
        "proposals": _rows(
            Proposal.objects.filter(person=person), "decision", *_of("renews"), *_of("certificate")
        ),
    }


def _of(certificate: str) -> list[str]:
    """What tells a certificate from others, by the column that names it."""
    return [f"{certificate}__{name}" for name in ("origin", "issued_on", "restriction")]


_EVENT = ("kind", *_of("certificate"), "effective_on", "until", "restriction", "reason")


def _rows(found: QuerySet[Any], *names: str) -> list[tuple[str, ...]]:
    return sorted(tuple(map(str, row)) for row in found.order_by().values_list(*names))
