"""The demo's people, their sign-ins and what they held before the product came."""

import random
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any

from certification.domain.months import add_months
from certification.models import Certificate, SchemeRevision, Scope
from certification.queries import standing_on_day
from certification.queries import written_down as certificates_written
from certification.services import (
    certificates_from_elsewhere,
    events,
    schemes,
    standing,
)
from certification.services.acts import Act
from people.models import Person, Site, SiteRole, Stamp, User
from records.services import numbers, trail
from training.models import PracticeRecord, VisionTest
from training.queries import written_down as facts_written

from .roster import EVERYONE, OPERATORS, STAFF, DemoCertificate, DemoPerson

PASSWORD = "solder-and-see"  # noqa: S105 - printed for everyone who tries the demo
BY = "demo"

SCOPES = (
    ("TERM", "Terminals", ("turret", "bifurcated", "hook", "pierced")),
    ("CUP", "Solder cups", ("cup",)),
    ("HOLE", "Plated through-holes", ("hole",)),
    ("WIRE", "Wire preparation", ("wire",)),
)
DOCUMENT = "Workmanship, hand soldering (demo)"


@dataclass
class Stage:
    """Who and what there is, while the demo is being built."""

    today: date
    now: datetime
    rng: random.Random
    sites: dict[str, Site]
    people: dict[str, Person]
    users: dict[str, User]
    scopes: dict[str, Scope]
    revisions: dict[str, SchemeRevision]

    def at(self, days_ago: int, hour: int = 10, minute: int = 0, site: str = "CA") -> datetime:
        """An instant some days ago at a working hour of the site, never later than now."""
        zone = self.sites[site].zone
        day = self.today - timedelta(days=days_ago)
        return min(datetime.combine(day, time(hour, minute), zone), self.now)

    def scheme_for(self, scope_code: str) -> SchemeRevision:
        level = "HS-T" if scope_code.endswith("-IN") else "HS-1"
        return self.revisions["CUP-E" if scope_code == "CUP-OP" else level]


def make_sites(today: date) -> dict[str, Site]:
    started = today - timedelta(days=60)
    return {
        "CA": Site.objects.create(
            name="Castelmar",
            prefix="CA",
            time_zone="Europe/Madrid",
            reminders_start_on=started,
            address="Bench room 2, ground floor. Mon to Fri, 9:00 to 15:00, extension 214.",
        ),
        "AL": Site.objects.create(
            name="Aldergate",
            prefix="AL",
            time_zone="Europe/London",
            reminders_start_on=started,
            address="Training room, hall B. Tue and Thu, 10:00 to 14:00, extension 31.",
        ),
    }


def make_people(stage: Stage) -> None:
    for demo_person in EVERYONE:
        stage.people[demo_person.number] = _person(stage, demo_person)
    for demo_person in EVERYONE:
        if demo_person.lead:
            person = stage.people[demo_person.number]
            person.line_lead = stage.people[demo_person.lead]
            person.save(update_fields=["line_lead"])
    # One hash for all: they share one password, and hashing it well takes its time.
    pattern = User(employee_number="pattern")
    pattern.set_password(PASSWORD)
    for demo_person in EVERYONE:
        person = stage.people[demo_person.number]
        user = User.objects.create(
            employee_number=demo_person.number,
            email=person.email,
            person=person,
            password=pattern.password,
            is_active=demo_person.left_ago is None,
        )
        stage.users[demo_person.number] = user
        for role in demo_person.roles:
            SiteRole.objects.create(user=user, site=person.site, role=role)
            if role == "administrator":
                SiteRole.objects.create(user=user, site=stage.sites["AL"], role=role)
    for demo_person in EVERYONE:
        if demo_person.stamp:
            Stamp.objects.create(
                mark=demo_person.stamp,
                person=stage.people[demo_person.number],
                issued_on=stage.today - timedelta(days=min(demo_person.since_days, 700)),
            )
    trail.record_many(
        actor=BY,
        act="person enrolled",
        items=[
            (("person", person.employee_number), {"name": person.full_name})
            for person in stage.people.values()
        ],
        at=stage.now,
    )


def _person(stage: Stage, demo_person: DemoPerson) -> Person:
    first, last = demo_person.name.split(" ", 1)
    return Person.objects.create(
        employee_number=demo_person.number,
        full_name=demo_person.name,
        email=f"{first}.{last}@skarnfell.example".lower() if demo_person.email else "",
        kind=demo_person.kind,
        employer=demo_person.employer,
        site=stage.sites[demo_person.site],
        started_on=stage.today - timedelta(days=demo_person.since_days),
        left_on=None
        if demo_person.left_ago is None
        else stage.today - timedelta(days=demo_person.left_ago),
        recorded_at=stage.at(min(demo_person.since_days, 760), site=demo_person.site),
    )


def make_schemes(stage: Stage) -> None:
    at = stage.at(750, 8)
    for code, title, joint_types in SCOPES:
        for ending, level in (("OP", "operator"), ("IN", "instructor")):
            stage.scopes[f"{code}-{ending}"] = schemes.create_scope(
                code=f"{code}-{ending}",
                title=f"{title}, {level}",
                level=level,
                joint_types=joint_types,
                document=DOCUMENT,
                actor=BY,
                at=at,
            )
    scope = stage.scopes

    def requirement(code: str, *exercises: str) -> list[schemes.Asked]:
        return [
            schemes.Asked(
                scope=scope[code],
                exercise_code=exercise,
                purposes=("qualification", "requalification"),
            )
            for exercise in exercises
        ]

    _scheme(
        stage,
        "HS-1",
        "Hand soldering, operators",
        schemes.Figures(24, "same_day", 90, 12, 6),
        ["TERM-OP", "HOLE-OP", "WIRE-OP"],
        [
            *requirement("TERM-OP", "EX-WIRE", "EX-TUR-1", "EX-TUR-2", "EX-BIF"),
            *requirement("HOLE-OP", "EX-WIRE", "EX-HOLE"),
            *requirement("WIRE-OP", "EX-WIRE"),
        ],
    )
    _scheme(
        stage,
        "CUP-E",
        "Solder cups, operators",
        schemes.Figures(12, "end_of_month", 60, 12, 0),
        ["CUP-OP"],
        requirement("CUP-OP", "EX-WIRE", "EX-CUP"),
        instructor_may_issue=True,
    )
    _scheme(
        stage,
        "HS-T",
        "Hand soldering, instructors",
        schemes.Figures(24, "same_day", 90, 12, 0),
        ["TERM-IN", "CUP-IN", "HOLE-IN", "WIRE-IN"],
        requirement("TERM-IN", "EX-MIX"),
    )


def _scheme(stage, code, title, figures, scopes, requirements, **more) -> None:
    at = stage.at(749, 9)
    revision = schemes.create_scheme_revision(
        scheme_code=code,
        title=title,
        figures=figures,
        scopes=[stage.scopes[scope_code] for scope_code in scopes],
        requirements=requirements,
        actor=BY,
        at=at,
        **more,
    )
    stage.revisions[code] = schemes.publish_scheme_revision(revision=revision, actor=None, at=at)


def make_vision_tests(stage: Stage) -> None:
    """A passed test a year, the last of them good until the day the roster says."""
    tests = []
    for demo_person in EVERYONE:
        if demo_person.kind == "visitor":
            continue
        person = stage.people[demo_person.number]
        ends_in = demo_person.vision_ends_in or stage.rng.randrange(100, 340)
        last = add_months(stage.today + timedelta(days=ends_in), -12)
        days = [last, add_months(last, -12)]
        if demo_person.since_days < 300:
            days = [person.started_on or last]
        for day in sorted(days):
            test = VisionTest.objects.create(
                test_id=numbers.next_number(person.site.prefix, "V"),
                person=person,
                tested_on=day,
                passed=True,
                method="Near, far and colour, wall chart",
                with_lenses=stage.rng.random() < 0.4,
                examiner="Works doctor",
                recorded_at=datetime.combine(day, time(15), person.site.zone),
            )
            tests.append((test, facts_written.vision_test_content(test)))
    trail.record_many(actor=BY, act="vision test imported", items=tests, at=stage.now)


def make_instructors(stage: Stage) -> None:
    """The first instructors come with papers from a training centre, checked by quality."""
    quality = {"CA": stage.users["10003"], "AL": stage.users["20002"]}
    for number in ("10001", "10002", "10007", "20001"):
        person = stage.people[number]
        prefix = person.site.prefix
        for n, scope in enumerate(("TERM-IN", "CUP-IN", "HOLE-IN", "WIRE-IN"), start=1):
            paper = f"TC-{number}-{n}"
            certificates_from_elsewhere.enter_certificate_from_elsewhere(
                person=person,
                scope=stage.scopes[scope],
                revision=stage.revisions["HS-T"],
                paper=certificates_from_elsewhere.OutsideCertificate(
                    issuer="Torre Blanca Training Centre",
                    number=paper,
                    issued_on=stage.today - timedelta(days=410),
                    document=certificates_from_elsewhere.Document(
                        f"{paper}.pdf", _pdf(person.full_name, paper)
                    ),
                ),
                act=Act(actor=quality[prefix], at=stage.at(400, 11, n, prefix), proof="password"),
            )


def _pdf(name: str, number: str) -> bytes:
    """A one-page PDF of our own making that says whose certificate it is."""
    text = f"BT /F1 18 Tf 72 760 Td (Certificate {number}, {name}) Tj ET".encode("latin-1")
    parts = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R "
        b"/Resources << /Font << /F1 5 0 R >> >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(text), text),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    body, places = b"%PDF-1.4\n", []
    for number_of_part, part in enumerate(parts, start=1):
        places.append(len(body))
        body += b"%d 0 obj\n%s\nendobj\n" % (number_of_part, part)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    return (
        body
        + b"xref\n0 %d\n0000000000 65535 f \n%strailer\n"
        % (
            len(parts) + 1,
            table,
        )
        + b"<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(parts) + 1, len(body))
    )


def make_certificates(stage: Stage) -> None:
    """What operators hold since before: brought over from the earlier register, with practice."""
    for demo_person in (*STAFF, *OPERATORS):
        for certificate in demo_person.certificates:
            _make_certificates_of(stage, demo_person, certificate)
    for person in stage.people.values():
        standing.rebuild_person(person)
    for demo_person in OPERATORS:
        for certificate in demo_person.certificates:
            if certificate.event:
                _make_event(stage, demo_person, certificate)


def _make_certificates_of(
    stage: Stage, demo_person: DemoPerson, certificate: DemoCertificate
) -> None:
    person, scope = stage.people[demo_person.number], stage.scopes[certificate.scope]
    revision = stage.scheme_for(certificate.scope)
    months = revision.validity_months
    issued = add_months(stage.today + timedelta(days=certificate.ends_in), -months)
    earlier = None
    if certificate.renewed:
        earlier = _certificate(stage, person, scope, revision, add_months(issued, -months), None)
        issued -= timedelta(days=24)
    newest = _certificate(stage, person, scope, revision, issued, earlier, certificate.restriction)
    if revision.max_absence_months:
        last_work_ago = certificate.last_work_ago or stage.rng.randrange(2, 45)
        _practise(stage, person, scope, (earlier or newest).issued_on, last_work_ago)


def _certificate(
    stage: Stage,
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    issued: date,
    renews: Certificate | None,
    restriction: str = "",
) -> Certificate:
    through = standing.engine.valid_through(
        standing_on_day.figures_of(revision), issued, renews.valid_through if renews else None
    )
    certificate = Certificate.objects.create(
        number=numbers.next_number(person.site.prefix, "C"),
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=issued,
        renews=renews,
        valid_through=through,
        restriction=restriction,
        origin=Certificate.Origin.IMPORTED,
        holder_name=person.full_name,
        figures=certificates_written.figures_as_json(revision),
        evidence={},
        issued_by="Paper register",
        recorded_at=datetime.combine(issued, time(16), person.site.zone),
    )
    trail.record(
        actor=BY,
        act=certificates_written.IMPORTED,
        about=("certificate", certificate.number),
        payload=certificates_written.certificate_content(certificate),
        at=stage.now,
    )
    return certificate


def _practise(stage: Stage, person: Person, scope: Scope, since: date, last_work_ago: int) -> None:
    """Work once in three weeks or so, up to the last day of work."""
    day = stage.today - timedelta(days=last_work_ago)
    rows = []
    while day > since:
        rows.append(
            PracticeRecord(
                person=person,
                scope_code=scope.code,
                performed_on=day,
                reference=f"WO-{stage.rng.randrange(40000, 49999)}",
                confirmed_by=None,
                recorded_at=datetime.combine(day, time(15, 30), person.site.zone),
            )
        )
        day -= timedelta(days=stage.rng.randrange(12, 34))
    made = PracticeRecord.objects.bulk_create(rows)
    trail.record_many(
        actor=BY,
        act="practice imported",
        items=[(practice, facts_written.practice_content(practice)) for practice in made],
        at=stage.now,
    )


def _make_event(stage: Stage, demo_person: DemoPerson, certificate: DemoCertificate) -> None:
    person, scope = stage.people[demo_person.number], stage.scopes[certificate.scope]
    quality = stage.users["10003" if demo_person.site == "CA" else "20002"]
    acts: dict[str, Any] = {
        "suspended": events.suspend_certificates,
        "revoked": events.revoke_certificates,
        "ended": events.end_certificates,
        "reinstated": events.reinstate_certificates,
        "restricted": partial(events.restrict_certificates, restriction=certificate.restricted_to),
    }
    if certificate.event == "reinstated":
        events.suspend_certificates(
            person=person,
            scope=scope,
            act=Act(
                actor=quality,
                at=stage.at(certificate.event_ago + 25, 9, 0, demo_person.site),
                proof="password",
                reason="Reject rate above the line’s limit.",
                effective_on=stage.today - timedelta(days=certificate.event_ago + 25),
            ),
        )
    acts[certificate.event](
        person=person,
        scope=scope,
        act=Act(
            actor=quality,
            at=stage.at(certificate.event_ago, 9, 30, demo_person.site),
            proof="password",
            reason=certificate.reason,
            effective_on=stage.today - timedelta(days=certificate.event_ago),
        ),
    )
