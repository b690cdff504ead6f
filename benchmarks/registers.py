"""Registers of any size to measure on: invented people with certificates, tests and work.

Everybody holds three scopes, each renewed until they have their number of certificates, and
has vision tests and recorded work beside them. A few stand otherwise than certified.
"""

import os
import random
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.db import connection  # noqa: E402

from certification.domain.standing import valid_through  # noqa: E402
from certification.models import Certificate, CertificateEvent, Scheme, SchemeRevision, Scope  # noqa: E402
from certification.queries import standing_on_day  # noqa: E402
from certification.services import standing  # noqa: E402
from people.models import Person, Site, SiteRole, User  # noqa: E402
from training.models import PracticeRecord, VisionTest  # noqa: E402

TODAY = datetime.now(UTC).date()
SCOPES_EACH = 3
LED_BY_ONE = 25
FIRST = ("Ada", "Bela", "Cleo", "Dora", "Enno", "Finn", "Gesa", "Hugo", "Ines", "Jost", "Kaya")
LAST = ("Abt", "Brink", "Cordes", "Dorn", "Ehlers", "Frey", "Grimm", "Holt", "Jung", "Kern")


@contextmanager
def database(name: str) -> Iterator[None]:
    """Have an empty database made, a file or one on the server of DATABASE_URL, and dropped."""
    before = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["NAME"] = name
    # Tables from the models at once, as a first start makes them.
    connection.settings_dict["TEST"]["MIGRATE"] = False
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    connection.close()
    connection.settings_dict["NAME"] = before
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = name
        connection.creation.destroy_test_db(before, verbosity=0)


@contextmanager
def connected_to(name: str) -> Iterator[None]:
    connection.close()
    before = connection.settings_dict["NAME"]
    connection.settings_dict["NAME"] = name
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = before


def build(name: str, people: int, certificates_each: int, practice_each: int) -> None:
    """Fill an empty database with so many people, and work out their spans."""
    with connected_to(name):
        sites = [
            Site.objects.create(name=name, prefix=prefix, time_zone="Europe/Madrid")
            for name, prefix in (("Castelmar", "CA"), ("Aldergate", "AL"))
        ]
        draw = random.Random(20)  # noqa: S311 - the same register every time
        staff = _staff(sites)
        persons = _people(people, sites, draw)
        _facts(persons, certificates_each, practice_each, draw, staff)
        standing.rebuild_all()
        with connection.cursor() as cursor:  # What each does by itself after a while.
            cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")


def _staff(sites: list[Site]) -> User:
    person = Person.objects.create(employee_number="Q1", full_name="Zora Zeller", site=sites[0])
    user = User.objects.create(employee_number="Q1", person=person)
    SiteRole.objects.bulk_create(SiteRole(user=user, site=site, role="quality") for site in sites)
    return user


def _people(number: int, sites: list[Site], draw: random.Random) -> list[Person]:
    leads: list[Person] = []
    people: list[Person] = []
    for place in range(number):
        person = Person(
            employee_number=f"{100_000 + place}",
            full_name=f"{draw.choice(FIRST)} {draw.choice(LAST)}-{place:05d}",
            site=sites[place % 4 == 0],
            started_on=TODAY - timedelta(days=3000),
        )
        if place % LED_BY_ONE == 0:
            leads.append(person)
        people.append(person)
    Person.objects.bulk_create(people, batch_size=500)
    for place, person in enumerate(people):
        person.line_lead = leads[place // LED_BY_ONE]
    Person.objects.bulk_update(people, ["line_lead"], batch_size=200)
    return people


def _facts(
    people: list[Person],
    certificates_each: int,
    practice_each: int,
    draw: random.Random,
    staff: User,
) -> None:
    scopes = [
        Scope.objects.create(code=f"S-{number}", title=f"Scope {number}, operator")
        for number in range(8)
    ]
    revision = SchemeRevision.objects.create(
        scheme=Scheme.objects.create(code="Z", title="Scheme"),
        revision=1,
        name="Z, rev. 1",
        validity_months=24,
        renewal_window_days=90,
        vision_months=12,
        max_absence_months=6,
    )
    certificates, events, tests, practice = [], [], [], []
    figures = standing_on_day.figures_of(revision)
    for place, person in enumerate(people):
        certified_scopes = draw.sample(scopes, SCOPES_EACH)
        for number in range(certificates_each):
            back = number // SCOPES_EACH
            issued_on = TODAY - timedelta(days=back * 700 + draw.randrange(20, 690))
            certificates.append(
                Certificate(
                    number=f"CA-C-{place:06d}{number:02d}",
                    person=person,
                    scope=certified_scopes[number % SCOPES_EACH],
                    scheme_revision=revision,
                    issued_on=issued_on,
                    valid_through=valid_through(figures, issued_on),
                    origin=Certificate.Origin.IMPORTED,
                    holder_name=person.full_name,
                    recorded_at=_at(issued_on),
                )
            )
        tests += [
            VisionTest(
                test_id=f"CA-V-{place:06d}{number:02d}",
                person=person,
                tested_on=(on := TODAY - timedelta(days=number * 330 + draw.randrange(30, 340))),
                passed=draw.random() > 0.02,
                recorded_at=_at(on),
                recorded_by=staff,
            )
            for number in range(4)
        ]
        practice += [
            PracticeRecord(
                person=person,
                scope_code=draw.choice(certified_scopes).code,
                performed_on=(on := TODAY - timedelta(days=draw.randrange(1, 1400))),
                reference=f"SN-{draw.randrange(10_000_000):07d}",
                recorded_at=_at(on),
            )
            for _number in range(practice_each)
        ]
    Certificate.objects.bulk_create(certificates, batch_size=500)
    for place, certificate in enumerate(certificates):
        if place % 90 == 0:
            events.append(
                CertificateEvent(
                    event_id=f"CA-E-{place:06d}",
                    certificate=certificate,
                    kind=draw.choice(["suspended", "revoked", "ended"]),
                    effective_on=certificate.issued_on + timedelta(days=draw.randrange(10, 600)),
                    recorded_at=_at(certificate.issued_on),
                )
            )
    CertificateEvent.objects.bulk_create(events, batch_size=500)
    VisionTest.objects.bulk_create(tests, batch_size=500)
    PracticeRecord.objects.bulk_create(practice, batch_size=500)


def _at(day: date) -> datetime:
    return datetime.combine(day, time(9), UTC)
