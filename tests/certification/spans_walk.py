"""A walk through everything that may happen to some people, act by act, drawn by a seed.

After each act the stored spans of everybody are held against what the engine makes anew from
the facts. Days are few and near each other, so that limits, events and tests often meet.
"""

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from django.db.models import F

from audit.exceptions import BundleRefused, ListRefused
from audit.queries.list_bringers import bringer_for
from audit.queries.list_plan import make_plan
from audit.services import importing, people_lists
from certification.domain.standing import timeline
from certification.exceptions import CertificationError
from certification.models import Certificate, CertificateEvent, StandingSpan
from certification.queries import standing_on_day
from certification.services import certificates_from_elsewhere, events, schemes
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.certificates_from_elsewhere import OutsideCertificate
from certification.services.proposals import propose
from people.models import Person
from people.services import people
from people.services import stamps as facts
from records.services.documents import Document
from tests.audit.bundles import write_bundle
from tests.factories import (
    NOW,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.exceptions import TrainingError
from training.models import PracticeRecord, VisionTest
from training.services import facts as training_facts
from training.services import work_taken_in

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n"


class LeftBehind(AssertionError):
    """After an act, the spans stored are not those of the facts."""

    def __init__(self, act, step, stored, expected):
        self.act = act
        lost = [row for row in expected if row not in stored]
        stray = [row for row in stored if row not in expected]
        super().__init__(f"after step {step}, {act}: missing {lost}, left over {stray}")


def spans_stored():
    # Of the certificate its number alone: a walk asks for all of them after each act.
    found = StandingSpan.objects.annotate(number=F("certificate__number")).prefetch_related("ends")
    return sorted(
        (
            one.person_id,
            one.scope_id,
            str(one.first_day),
            str(one.stands_since),
            str(one.last_day),
            one.standing,
            one.number,
            one.restriction,
            one.rule,
            str(one.ends_on),
            str(one.good_through),
            sorted((end.kind, str(end.last_day), end.source) for end in one.ends.all()),
        )
        for one in found
    )


def spans_of_the_facts():
    """What the engine makes of everything recorded, by a reading of the rows of its own."""
    found = []
    pairs = Certificate.objects.order_by().values_list("person", "scope").distinct()
    gathered = standing_on_day.facts_for_many({person for person, _scope in pairs})
    for person, scope in pairs:
        line = timeline(gathered.by_person_and_scope[person, scope])
        for span in line.spans:
            ends = line.ends_after(span.first_day)
            found.append(
                (
                    person,
                    scope,
                    str(span.first_day),
                    str(span.stands_since),
                    str(span.last_day),
                    span.standing.value,
                    span.certificate_number,
                    span.restriction,
                    span.rule.value,
                    str(min((end.last_day for end in ends), default=None)),
                    str(line.good_through(span.first_day)),
                    sorted((end.kind.value, str(end.last_day), end.source) for end in ends),
                )
            )
    return sorted(found)


@dataclass
class Walk:
    """Some people at two sites, two scopes, and whoever acts on them."""

    seed: int
    folder: Path
    done: Counter = field(default_factory=Counter)
    moved: Counter = field(default_factory=Counter)
    refused: Counter = field(default_factory=Counter)
    bundles: list[Path] = field(default_factory=list)

    def __post_init__(self):
        self.folder.mkdir()
        self.draw = random.Random(self.seed)
        here, there = make_site(), make_site("Aldergate", "AL", time_zone="America/New_York")
        self.sites = [here, there]
        self.at = NOW - timedelta(days=500)
        self.people = [make_person(site) for site in (here, here, there)]
        self.exercise = make_exercise()
        self.scopes = [make_scope(), make_scope()]
        self.revisions = [
            make_revision(
                scope,
                exercise=self.exercise,
                validity_months=months,
                vision_months=vision,
                max_absence_months=gap,
                renewal_window_days=90,
                expiry_rule=rule,
            )
            for scope, months, vision, gap, rule in zip(
                self.scopes, (6, 12), (3, 0), (2, 3), ("same_day", "end_of_month"), strict=True
            )
        ]
        self.quality = make_user("quality", site=here)
        self.instructor = make_user("instructor", site=here)
        self.administrator = make_user("administrator", site=here)
        for name in ("quality", "instructor", "administrator"):
            getattr(self, name).roles.create(site=there, role=name)

    def go(self, steps):
        """Act so many times; raise LeftBehind at the first act that leaves the spans behind."""
        before = spans_stored()
        for step in range(steps):
            act = self.draw.choice(ACTS)
            self.at += timedelta(hours=self.draw.choice([1, 5, 24, 24, 120, 480]))
            try:
                act(self)
            except (CertificationError, TrainingError, BundleRefused, ListRefused):
                self.refused[act.__name__] += 1
            else:
                self.done[act.__name__] += 1
            expected, stored = spans_of_the_facts(), spans_stored()
            if expected != stored:
                raise LeftBehind(act.__name__, step, stored, expected)
            self.moved[act.__name__] += stored != before
            before = stored
        return self

    def day(self, back=200, ahead=0):
        return self.draw.choice(self.sites).today(self.at) + timedelta(
            days=self.draw.randint(-back, ahead)
        )

    def who_and_what(self):
        place = self.draw.randrange(len(self.scopes))
        return self.draw.choice(self.people), self.scopes[place], self.revisions[place]

    def certificate(self):
        found = list(Certificate.objects.order_by("pk").values_list("pk", flat=True))
        if not found:
            raise CertificationError("There is none yet.")
        drawn = Certificate.objects.select_related("person__site", "scope")
        return drawn.get(pk=self.draw.choice(found))

    def signed(self, **more):
        return {
            "reason": "As the walk has it.",
            "actor": self.quality,
            "at": self.at,
            "proof": "password",
            **more,
        }


def issues(walk):
    """A first certificate or a renewal, by proposal; boards and eyes are seen to beforehand."""
    person, scope, revision = walk.who_and_what()
    make_passed_board(person, walk.exercise, grader=walk.instructor, signed_at=walk.at)
    today = person.site.today(walk.at)
    _tested(walk, person, today, passed=True)
    proposal = propose(
        person=person,
        scope=scope,
        revision=revision,
        act=Act(actor=walk.instructor, at=walk.at, proof="password"),
    )
    issue_certificate(proposal=proposal, act=Act(actor=walk.quality, at=walk.at, proof="password"))


def enters_from_elsewhere(walk):
    person, scope, revision = walk.who_and_what()
    issued_on = walk.day()
    certificates_from_elsewhere.enter_certificate_from_elsewhere(
        person=person,
        scope=scope,
        revision=revision,
        paper=OutsideCertificate(
            "Harrow Vale Training Centre",
            f"HV {walk.draw.randrange(10**6)}",
            issued_on,
            Document("paper.pdf", PDF),
            walk.draw.choice([None, issued_on + timedelta(days=100)]),
        ),
        restriction=walk.draw.choice(["", "turrets"]),
        act=Act(actor=walk.quality, at=walk.at, proof="password"),
    )


def takes_a_vision_test(walk):
    person, day = walk.draw.choice(walk.people), walk.day(back=120)
    _tested(walk, person, day, passed=walk.draw.random() < 0.8)


def _tested(walk, person, day, passed):
    training_facts.record_vision_test(
        person=person, tested_on=day, passed=passed, actor=walk.quality, at=walk.at
    )


def works(walk):
    person, scope, _revision = walk.who_and_what()
    training_facts.record_practice(
        person=person,
        scope_code=scope.code,
        performed_on=walk.day(back=120),
        actor=walk.quality,
        at=walk.at,
    )


def takes_work_in(walk):
    """As a program sends it, or as a checked log has it: several people and days in one act."""
    done = []
    for _each in range(2):
        person, scope, _revision = walk.who_and_what()
        done.append(work_taken_in.Work(person.pk, scope.code, walk.day(back=120)))
    work_taken_in.take_in_work(
        works=done, people=Person.objects.all(), actor=walk.quality, at=walk.at
    )


def withdraws_a_vision_test(walk):
    if found := list(VisionTest.objects.order_by("pk")):
        training_facts.withdraw_vision_test(vision_test=walk.draw.choice(found), **walk.signed())


def withdraws_work(walk):
    if found := list(PracticeRecord.objects.order_by("pk")):
        training_facts.withdraw_practice(practice=walk.draw.choice(found), **walk.signed())


def _on_person_and_scope(service, back=60, ahead=60):
    def act(walk):
        one = walk.certificate()
        service(
            person=one.person,
            scope=one.scope,
            act=Act(**walk.signed(effective_on=walk.day(back, ahead))),
        )

    act.__name__ = service.__name__
    return act


def extends(walk):
    one = walk.certificate()
    until = one.valid_through + timedelta(days=walk.draw.randint(1, 120))
    events.extend_certificate(
        certificate=one, until=until, authority="QM-02", act=Act(**walk.signed())
    )


def removes_an_event(walk):
    if found := list(CertificateEvent.objects.order_by("pk")):
        events.void_event(event=walk.draw.choice(found), act=Act(**walk.signed()))


def withdraws_a_certificate(walk):
    events.withdraw_certificate(certificate=walk.certificate(), act=Act(**walk.signed()))


def restricts(walk):
    one = walk.certificate()
    events.restrict_certificates(
        person=one.person,
        scope=one.scope,
        restriction=walk.draw.choice(["turrets", "cups", "leaded solder"]),
        act=Act(**walk.signed(effective_on=walk.day(30, 10))),
    )


def imports(walk):
    """A bundle that brings certificates, and events, tests and work of people who are here."""
    number = walk.draw.randrange(10**6)
    person, scope, _revision = walk.who_and_what()
    issued_on, at = walk.day(), walk.at.isoformat()
    scheme = f"OLD-{number}"
    held = list(
        Certificate.objects.filter(person=person, scope=scope, issued_on__lt=issued_on)
        .filter(withdrawal=None)
        .values_list("number", flat=True)
    )
    new = f"X{number}"
    acts = walk.draw.sample(["suspended", "reinstated", "ended", "revoked"], k=1)
    path = write_bundle(
        walk.folder / str(number),
        people=[
            ["employee_number", "full_name", "email", "site"],
            [person.employee_number, person.full_name, person.email, person.site.name],
        ],
        schemes=[
            [
                "scheme",
                "validity_months",
                "expiry_rule",
                "renewal_window_days",
                "vision_months",
                "max_absence_months",
            ],
            [scheme, "6", "same_day", "60", walk.draw.choice("03"), walk.draw.choice("02")],
        ],
        certificates=[
            [
                "certificate_number",
                "employee_number",
                "scheme",
                "scope",
                "issued_on",
                "renews",
                "recorded_at",
                "withdrawn_at",
            ],
            [
                new,
                person.employee_number,
                scheme,
                scope.code,
                str(issued_on),
                walk.draw.choice(["", *held]),
                at,
                "",
            ],
        ],
        certificate_events=[
            [
                "event_id",
                "certificate_number",
                "event",
                "effective_on",
                "recorded_at",
                "voids",
                "reason",
            ],
            *(
                [f"XE{number}-{place}", walk.draw.choice([new, *held]), kind, day, at, "", "so"]
                for place, kind in enumerate(acts)
                for day in [str(walk.day(60, 60))]
            ),
        ],
        vision_tests=[
            ["test_id", "employee_number", "tested_on", "result", "recorded_at"],
            [
                f"XV{number}",
                person.employee_number,
                str(walk.day(90)),
                walk.draw.choice(["pass", "fail"]),
                at,
            ],
        ],
        practice=[
            ["employee_number", "scope", "performed_on", "recorded_at"],
            [person.employee_number, scope.code, str(walk.day(90)), at],
        ],
        stamps=None,
        operations=None,
    )
    _import(walk, path)
    walk.bundles.append(path)


def _import(walk, path):
    importing.import_register(path=path, zone=walk.sites[0].zone, at=walk.at, actor=walk.quality)


def imports_one_kind(walk):
    """A bundle that brings one fact alone: each kind has to touch whom it is about."""
    number, at = walk.draw.randrange(10**6), walk.at.isoformat()
    one = walk.certificate()
    who, day = one.person.employee_number, str(walk.day(60))
    bring = {
        "certificate_events": [
            [
                "event_id",
                "certificate_number",
                "event",
                "effective_on",
                "recorded_at",
                "voids",
                "reason",
            ],
            [f"YE{number}", one.number, "suspended", day, at, "", "so"],
        ],
        "vision_tests": [
            ["test_id", "employee_number", "tested_on", "result", "recorded_at"],
            [f"YV{number}", who, day, "fail", at],
        ],
        "practice": [
            ["employee_number", "scope", "performed_on", "recorded_at"],
            [who, one.scope.code, day, at],
        ],
        "stamps": [["stamp", "employee_number", "issued_on", "returned_on"], [at, who, day, ""]],
    }
    stem = walk.draw.choice(sorted(bring))
    empty = dict.fromkeys(
        ["schemes", "certificates", "certificate_events", "vision_tests", "practice", "stamps"]
    )
    rows = {**empty, "operations": None, stem: bring[stem]}
    rows["people"] = [
        ["employee_number", "full_name", "email", "site"],
        [who, one.person.full_name, one.person.email, one.person.site.name],
    ]
    _import(walk, write_bundle(walk.folder / f"one-{number}", **rows))


def brings_a_list(walk):
    """A list in which somebody who is here has passed a vision test."""
    person = walk.draw.choice(walk.people)
    text = f"Number;Vision test\n{person.employee_number};{walk.day(60)}\n"
    bringer = bringer_for(walk.quality)
    kept = people_lists.keep_list(
        name="list.csv", content=text.encode(), bringer=bringer, by=walk.quality, at=walk.at
    )
    kept = people_lists.answer(people_list=kept, answers={"recorded": "now", "results": "pass"})
    people_lists.take_in(
        people_list=kept,
        bringer=bringer,
        shown=make_plan(kept, bringer, walk.at).digest(),
        sign_ins=False,
        at=walk.at,
    )


def imports_a_withdrawal(walk):
    """The same bundle again, in which something has been withdrawn since."""
    if not walk.bundles:
        raise CertificationError("Nothing was brought over yet.")
    folder = walk.draw.choice(walk.bundles)
    which = walk.draw.choice(["vision_tests", "certificates", "practice"])
    path = folder / f"{which}.csv"
    head, *rows = path.read_text().splitlines()
    if "withdrawn_at" not in head:
        head, rows = f"{head},withdrawn_at", [f"{row}," for row in rows]
    if not rows[0].endswith(","):
        raise CertificationError("It was withdrawn already.")
    path.write_text("\n".join([head, *(row + walk.at.isoformat() for row in rows), ""]))
    _import(walk, folder)


def moves(walk):
    """To the other site, under another name or number, gone or back: no fact of standing."""
    person = walk.draw.choice(walk.people)
    change = walk.draw.choice(
        [
            {"site": walk.draw.choice(walk.sites)},
            {"left_on": walk.day(10)},
            {"left_on": None},
            {"full_name": f"Person {walk.draw.random()}"},
            {"employee_number": f"N{walk.draw.randrange(10**9)}"},
        ]
    )
    people.change_person(person=person, actor=walk.administrator, at=walk.at, **change)
    person.refresh_from_db()


def revises_a_scheme(walk):
    """From here on certificates are issued under other figures; earlier ones keep theirs."""
    place = walk.draw.randrange(len(walk.scopes))
    before = walk.revisions[place]
    revision = schemes.create_scheme_revision(
        scheme_code=before.scheme.code,
        title=before.scheme.title,
        figures=schemes.Figures(
            validity_months=walk.draw.choice([6, 9]),
            expiry_rule=before.expiry_rule,
            renewal_window_days=30,
            vision_months=walk.draw.choice([0, 3]),
            max_absence_months=2,
        ),
        scopes=[walk.scopes[place]],
        requirements=[schemes.Asked(walk.scopes[place], walk.exercise.code, 1)],
        actor=walk.quality,
        at=walk.at,
    )
    walk.revisions[place] = schemes.publish_scheme_revision(
        revision=revision, actor=walk.quality, at=walk.at
    )


def takes_a_stamp_and_returns_it(walk):
    person = walk.draw.choice(walk.people)
    today = person.site.today(walk.at)
    stamp = facts.issue_stamp(
        person=person,
        mark=str(walk.at.timestamp()),
        issued_on=today,
        actor=walk.quality,
        at=walk.at,
    )
    facts.return_stamp(stamp=stamp, returned_on=today, actor=walk.quality, at=walk.at)


FACTS: list[Callable[[Walk], None]] = [
    issues,
    enters_from_elsewhere,
    takes_a_vision_test,
    works,
    takes_work_in,
    withdraws_a_vision_test,
    withdraws_work,
    _on_person_and_scope(events.suspend_certificates),
    _on_person_and_scope(events.reinstate_certificates, back=5),
    _on_person_and_scope(events.revoke_certificates, back=0, ahead=120),
    _on_person_and_scope(events.end_certificates),
    _on_person_and_scope(events.lift_restriction, back=5),
    extends,
    removes_an_event,
    withdraws_a_certificate,
    restricts,
    imports,
    imports_one_kind,
    imports_a_withdrawal,
    brings_a_list,
]
NO_FACTS: list[Callable[[Walk], None]] = [moves, revises_a_scheme, takes_a_stamp_and_returns_it]
ACTS = [*FACTS, *FACTS, issues, restricts, *NO_FACTS]
