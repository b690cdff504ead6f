"""Before a certificate from elsewhere is signed, its page shows the standing that it will give."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from certification.domain.months import add_months
from certification.exceptions import CertificationError
from certification.models import Certificate
from certification.queries import standing_on_day
from certification.queries.standing_if_entered import NOT_NUMBERED
from certification.services import certificates_from_elsewhere, standing
from certification.services.acts import Act
from certification.services.certificates_from_elsewhere import OutsideCertificate
from records.exceptions import ShownOtherwise
from records.models import Signature, TrailEntry
from records.queries.verification import verify_records
from records.services.documents import Document
from tests.factories import (
    PASSWORD,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from tests.signing import shown_on
from training.models import PracticeRecord, VisionTest
from training.services.facts import record_practice

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

PAGE = reverse("certification:certificate_from_elsewhere")
PDF = b"%PDF-1.7\n%%EOF\n"
HTMX = {"HX-Request": "true"}


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def person():
    return make_person(full_name="Leo Brandt")


@pytest.fixture
def scope():
    return make_scope(level="instructor", title="Turrets, instructor")


@pytest.fixture
def quality(client):
    user = make_user("quality", password=PASSWORD)
    client.force_login(user)
    return user


def sees(person, day, passed=True):
    VisionTest.objects.create(
        test_id=f"CA-V-{VisionTest.objects.count()}", person=person, tested_on=day, passed=passed
    )


def coming(person, scope, revision, quality, issued_on, **fields):
    paper = OutsideCertificate("Harrow Vale", "HV 1", issued_on, Document("p.pdf", PDF), **fields)
    act = Act(quality, timezone.now(), "password")
    return certificates_from_elsewhere.standing_to_come(
        person=person, scope=scope, revision=revision, paper=paper, act=act
    )


def typed(person, scope, revision, issued_on, **fields):
    return {
        "person": person.employee_number,
        "scope": scope.code,
        "revision": revision.name,
        "issuer": "Harrow Vale",
        "number": "HV 1",
        "issued_on": issued_on.isoformat(),
        **fields,
    }


def signed(facts, shown, **fields):
    scan = SimpleUploadedFile("paper.pdf", PDF, "application/pdf")
    return {**facts, **shown, "document": scan, "password": PASSWORD, **fields}


@pytest.mark.parametrize("vision", [0, 12], ids=["no vision asked", "vision asked"])
@pytest.mark.parametrize("sighted", [False, True], ids=["no test", "test"])
@pytest.mark.parametrize("absence", [0, 6], ids=["no work asked", "work asked"])
@pytest.mark.parametrize("works", [False, True], ids=["no work", "work"])
def test_what_is_shown_is_what_the_register_then_says(
    person, scope, quality, today, vision, sighted, absence, works
):
    """The same engine on the same facts: every day of the preview and of the register agree."""
    revision = make_revision(scope, vision_months=vision, max_absence_months=absence)
    if sighted:
        sees(person, today - timedelta(days=100))
    issued_on = add_months(today, -9)
    work = (add_months(today, -5), today) if works else ()
    fields = {"work": work, "work_reference": "Letter of 3 May"} if works else {}
    before = coming(person, scope, revision, quality, issued_on, **fields)

    certificate = certificates_from_elsewhere.enter_certificate_from_elsewhere(
        person=person,
        scope=scope,
        revision=revision,
        paper=OutsideCertificate(
            "Harrow Vale", "HV 1", issued_on, Document("p.pdf", PDF), **fields
        ),
        act=Act(quality, timezone.now(), "password"),
    )

    after = standing_on_day.facts_for(person, scope)
    line = standing_on_day.engine.timeline(after)
    assert [(span.first_day, span.last_day, span.rule) for span in before.line.spans] == [
        (span.first_day, span.last_day, span.rule) for span in line.spans
    ]
    assert certificate.number != NOT_NUMBERED
    spoilt = (vision and not sighted) or (absence and not works)
    assert (before.answer.standing == "certified") is not bool(spoilt)


def test_missing_vision_test_is_named_and_leads_to_where_it_is_entered(
    client, quality, person, scope, today
):
    revision = make_revision(scope, vision_months=12)
    facts = typed(person, scope, revision, today - timedelta(days=30))

    part = client.post(PAGE, facts, headers=HTMX).content.decode()

    assert "<html" not in part
    assert "No vision test is recorded." in part
    assert reverse("training:vision_test_new", args=[person.employee_number]) in part
    sees(person, today - timedelta(days=400))
    part = client.post(PAGE, facts, headers=HTMX).content.decode()
    assert "more than 12 months old" in part
    sees(person, today, passed=False)
    assert "was not passed" in client.post(PAGE, facts, headers=HTMX).content.decode()
    assert not Certificate.objects.exists(), "asking writes nothing"


def test_work_that_is_missing_is_asked_for_until_it_bridges_the_time(quality, person, scope, today):
    revision = make_revision(scope, max_absence_months=6)
    issued_on = add_months(today, -14)

    found = coming(person, scope, revision, quality, issued_on)
    assert found.work_is_missing
    assert found.rests_through == add_months(issued_on, 6)

    late = {"work": (add_months(today, -1),), "work_reference": "Letter"}
    found = coming(person, scope, revision, quality, issued_on, **late)
    assert found.work_is_missing, "later work does not cure a gap"

    first = found.rests_through
    two = {"work": (first, add_months(today, -6), today), "work_reference": "Letter"}
    found = coming(person, scope, revision, quality, issued_on, **two)
    assert not found.work_is_missing
    assert found.answer.standing == "certified"


def test_work_is_recorded_as_practice_under_the_same_signature(
    client, quality, person, scope, today
):
    revision = make_revision(scope, max_absence_months=6)
    already = add_months(today, -5)
    record_practice(
        person=person,
        scope_code=scope.code,
        performed_on=already,
        actor=make_user("quality"),
        at=timezone.now(),
    )
    days = f"{already}, {today - timedelta(days=2)}, {already}"
    facts = typed(
        person,
        scope,
        revision,
        add_months(today, -9),
        work=days,
        work_reference="Letter of the employer",
    )
    shown = shown_on(client.post(PAGE, facts, headers=HTMX))

    answer = client.post(PAGE, signed(facts, shown))

    certificate = Certificate.objects.get()
    assert answer.url == reverse("certification:certificate_detail", args=[certificate.number])
    assert certificate.evidence["elsewhere"]["work"] == {
        "days": [already.isoformat(), (today - timedelta(days=2)).isoformat()],
        "reference": "Letter of the employer",
    }
    added = PracticeRecord.objects.get(confirmed_by=quality)
    assert (added.performed_on, added.reference) == (
        today - timedelta(days=2),
        "Letter of the employer",
    )
    assert TrailEntry.objects.filter(act="practice recorded").count() == 2
    assert standing_on_day.answer(person, scope, today).standing == "certified"
    write_down()
    assert verify_records().faults == []


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        pytest.param({"work": 1}, "a day to come", id="to come"),
        pytest.param({"work": -40}, "Work before the paper was issued", id="before"),
        pytest.param({"work": -3, "work_reference": " "}, "Say what shows the work", id="unsaid"),
    ],
)
def test_work_that_cannot_have_kept_it_alive_is_refused(
    quality, person, scope, today, fields, sentence
):
    fields["work"] = (today + timedelta(days=fields["work"]),)
    with pytest.raises(CertificationError, match=sentence):
        coming(
            person,
            scope,
            make_revision(scope),
            quality,
            today - timedelta(days=30),
            **{"work_reference": "Letter", **fields},
        )


def test_nothing_is_signed_that_was_not_shown(client, quality, person, scope, today):
    revision = make_revision(scope)
    last_day = today + timedelta(days=7)  # By an event of its own, which has no instant yet.
    facts = typed(person, scope, revision, today - timedelta(days=30), ends_on=last_day.isoformat())

    answer = client.post(PAGE, signed(facts, {}))

    assert answer.status_code == 422
    assert "came without what it showed" in answer.content.decode()
    assert "The standing that it will give" in answer.content.decode()
    shown = shown_on(answer)
    changed = client.post(PAGE, signed({**facts, "number": "HV 2"}, shown))
    assert changed.status_code == 422
    assert "HV 2" in changed.content.decode()
    assert not Signature.objects.exists()
    assert client.post(PAGE, signed(facts, shown)).status_code == 302


def test_what_changes_between_page_and_signature_is_told(client, quality, person, scope, today):
    revision = make_revision(scope, vision_months=12)
    sees(person, today - timedelta(days=10))
    facts = typed(person, scope, revision, today - timedelta(days=30))
    shown = shown_on(client.post(PAGE, facts, headers=HTMX))
    sees(person, today, passed=False)
    standing.rebuild_person(person)

    page = client.post(PAGE, signed(facts, shown))

    assert page.status_code == 422
    assert "Changed since you" in page.content.decode()
    assert "vision not current" in page.content.decode()
    assert not Certificate.objects.exists()


def test_service_compares_once_more_under_its_lock(quality, person, scope, today):
    revision = make_revision(scope)
    with pytest.raises(ShownOtherwise):
        certificates_from_elsewhere.enter_certificate_from_elsewhere(
            person=person,
            scope=scope,
            revision=revision,
            paper=OutsideCertificate("H", "1", today, Document("p.pdf", PDF)),
            act=Act(quality, timezone.now(), "password", shown="0" * 64),
        )
    assert not Certificate.objects.exists()


def test_one_that_is_over_and_one_beside_another_are_told(client, quality, person, scope, today):
    revision = make_revision(scope, validity_months=12)
    old = typed(person, scope, revision, add_months(today, -13))
    assert "It is over already." in client.post(PAGE, old, headers=HTMX).content.decode()
    held = make_certificate(person, scope, issued_on=today - timedelta(days=300))
    recent = typed(person, scope, revision, today - timedelta(days=30))
    part = client.post(PAGE, recent, headers=HTMX).content.decode()
    assert f"there is already: {held.number}" in " ".join(part.split())


def test_scheme_that_does_not_cover_the_scope_is_named_before_signing(
    client, quality, person, scope, today
):
    revision = make_revision(make_scope())
    part = client.post(PAGE, typed(person, scope, revision, today), headers=HTMX).content.decode()
    assert f"{revision} does not cover {scope}." in part


def test_half_a_form_says_what_it_needs_and_asks_nothing(client, quality, person, scope):
    part = client.post(PAGE, {"person": person.employee_number}, headers=HTMX).content.decode()
    assert "as soon as person, scope, scheme, issuer, number and day are there" in part
    assert "This field is required" not in part


def test_without_a_script_a_button_shows_the_standing(client, quality, person, scope, today):
    facts = typed(person, scope, make_revision(scope), today - timedelta(days=30))
    page = client.post(PAGE, {**facts, "preview": "1"})
    assert page.status_code == 200
    assert "<html" in page.content.decode()
    assert shown_on(page)


@pytest.mark.parametrize("days", ["yesterday", "2026-02-30", "9" * 5000, "2026-13-01"])
def test_what_is_no_day_is_told(client, quality, person, scope, today, days):
    facts = typed(person, scope, make_revision(scope), today, work=days, work_reference="L")
    part = client.post(PAGE, facts, headers=HTMX).content.decode()
    assert "is not a day." in part or "at most 1000 characters" in part
