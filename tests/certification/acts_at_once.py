"""Two acts on one person and scope, one of them held between what it read and what it writes.

`one_after_the_other` and `at_once` run two acts on a scene, which the latter uses up, and tell
what is in the register afterwards in words that are the same on every scene. The first act stops
where it is about to write for the first time, the second is started, and the first goes on as
soon as the second is as far or waits for a lock that the first holds.
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
    """What the scenes of one test share."""

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


def scene_for(house: House, *acts: Callable[[Scene], None]) -> Scene:
    """One on which each of the acts has something to do, as far as both can."""
    decides = bool({issue, decline} & set(acts))
    return make_scene(
        house,
        suspended=reinstate in acts,
        restricted=lift in acts,
        ready=decides or propose in acts,
        proposed=decides,
    )


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


def hold_before_the_first_write(monkeypatch: Any) -> list[Gate]:
    """Have every act pass the last gate of the list returned before it writes anything."""
    gates: list[Gate] = []
    for module, name in (
        (numbers, "next_number"),
        (numbers, "continue_series_after"),
        (trail, "sign"),
        (trail, "record"),
        (trail, "record_many"),
        (trail, "lock_trail"),
    ):
        monkeypatch.setattr(module, name, _behind(gates, getattr(module, name)))
    return gates


def _behind(gates: list[Gate], write: Callable[..., Any]) -> Callable[..., Any]:
    def held(*args: Any, **kwargs: Any) -> Any:
        if gates:
            gates[-1].pass_through()
        return write(*args, **kwargs)

    return held


def at_once(
    gates: list[Gate], scene: Scene, first: Callable[[Scene], None], second: Callable[[Scene], None]
) -> tuple[Any, Gate]:
    """What stands there after two acts, the second begun while the first is about to write."""
    gate = Gate()
    gates.append(gate)

    def run_first() -> str:
        gate.first = get_ident()
        try:
            return _outcome(first, scene)
        finally:
            connections.close_all()
            gate.first_reads_no_more.set()
            gate.first_is_done.set()

    def run_second() -> str:
        gate.second = get_ident()
        assert gate.first_reads_no_more.wait(TOO_LONG), "the first act came to no write"
        try:
            return _outcome(second, scene)
        finally:
            connections.close_all()
            gate.second_is_done.set()

    with ThreadPoolExecutor(2) as pool:
        outcomes = [pool.submit(run_first), pool.submit(run_second)]
        done = [one.result(timeout=3 * TOO_LONG) for one in outcomes]
    gates.clear()
    return ({first.__name__: done[0], second.__name__ + "'": done[1]}, told_of(scene)), gate


def one_after_the_other(
    scene: Scene, first: Callable[[Scene], None], second: Callable[[Scene], None], *, swap: bool
) -> Any:
    """The same where nobody else acts meanwhile, taken back once it is told.

    ``swap`` lets the second be first.
    """
    scene = scene.afresh()
    with transaction.atomic():
        if swap:
            after, before = _outcome(second, scene), _outcome(first, scene)
        else:
            before, after = _outcome(first, scene), _outcome(second, scene)
        told = told_of(scene)
        transaction.set_rollback(True)
    return {first.__name__: before, second.__name__ + "'": after}, told


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
    held = Certificate.objects.filter(person=person).select_related("renews", "withdrawal")
    happened = CertificateEvent.objects.filter(certificate__person=person).select_related(
        "certificate", "voids__certificate"
    )
    return {
        "certificates": sorted(
            (
                _label(one),
                str(one.valid_through),
                _label(one.renews),
                hasattr(one, "withdrawal"),
            )
            for one in held
        ),
        "events": sorted((*_event(one), *_event(one.voids)) for one in happened),
        "spans": sorted(
            (
                str(one.first_day),
                str(one.last_day),
                one.standing,
                one.restriction,
                one.rule,
                _label(one.certificate),
            )
            for one in StandingSpan.objects.filter(person=person).select_related("certificate")
        ),
        "vision": sorted(
            (str(one.tested_on), one.passed, hasattr(one, "withdrawal"))
            for one in VisionTest.objects.filter(person=person).select_related("withdrawal")
        ),
        "practice": sorted(
            (str(one.performed_on), hasattr(one, "withdrawal"))
            for one in PracticeRecord.objects.filter(person=person).select_related("withdrawal")
        ),
        "proposals": sorted(
            (one.decision, _label(one.renews), _label(one.certificate))
            for one in Proposal.objects.filter(person=person)
        ),
    }


def _label(certificate: Certificate | None) -> str:
    if certificate is None:
        return ""
    return f"{certificate.origin} {certificate.issued_on} {certificate.restriction}".strip()


def _event(event: CertificateEvent | None) -> tuple[str, ...]:
    if event is None:
        return ("",)
    return (
        event.kind,
        _label(event.certificate),
        str(event.effective_on),
        str(event.until),
        event.restriction,
        PUBLIC_NUMBER.sub("#", event.reason),
    )
