"""Certificates from elsewhere: the document, who verified it, and how long it is good."""

import hashlib
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.db import DatabaseError

from certification.exceptions import CertificationError, MayNotCertify, RequirementsNotMet
from certification.models import Certificate, CertificateDocument
from certification.queries import standing_on_day
from certification.services import certificates_from_elsewhere, events
from certification.services.acts import Act
from certification.services.certificates_from_elsewhere import OutsideCertificate
from records.queries.verification import verify_records
from records.services import documents
from records.services.documents import Document, media_type_of
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)

pytestmark = pytest.mark.django_db

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n"


@pytest.fixture
def person():
    return make_person()


@pytest.fixture
def scope():
    return make_scope(level="instructor")


@pytest.fixture
def revision(scope):
    return make_revision(scope)


@pytest.fixture
def quality():
    return make_user("quality")


def paper(content=PDF, **fields):
    return OutsideCertificate(
        **{
            "issuer": "Harrow Vale Training Centre",
            "number": "HV 2291",
            "issued_on": date(2026, 2, 1),
            "document": Document("certificate scan.pdf", content),
            **fields,
        }
    )


def enter(person, scope, revision, verified_by, paper, **fields):
    return certificates_from_elsewhere.enter_certificate_from_elsewhere(
        person=person,
        scope=scope,
        revision=revision,
        paper=paper,
        act=Act(verified_by, NOW, "password"),
        **fields,
    )


def stored_files():
    return [path for path in Path(settings.DATA_DIR).rglob("documents/**/*") if path.is_file()]


def test_paper_certifies_without_boards(person, scope, revision, quality):
    found = enter(person, scope, revision, quality, paper(), restriction="leaded only")

    assert found.origin == Certificate.Origin.ELSEWHERE
    assert found.number == "CA-C-00001"
    assert (found.issued_by, found.outside_number) == ("Harrow Vale Training Centre", "HV 2291")
    assert found.valid_through == date(2028, 2, 1)
    assert found.signature.signer == quality
    assert found.evidence["elsewhere"]["verified_by"] == quality.get_full_name()
    assert standing_on_day.answer(person, scope, TODAY).standing.value == "certified"


def test_document_is_kept_as_it_came_under_a_random_name(person, scope, revision, quality):
    kept = enter(person, scope, revision, quality, paper()).document

    assert (kept.original_name, kept.media_type) == ("certificate scan.pdf", "application/pdf")
    assert kept.sha256 == hashlib.sha256(PDF).hexdigest()
    with kept.file.open("rb") as stream:
        assert stream.read() == PDF
    assert "certificate" not in kept.file.name.removeprefix("documents/")
    write_down()
    report = verify_records()
    assert (report.fits, report.files) == (True, 1)


def test_changed_document_is_found_by_the_check_of_the_records(person, scope, revision, quality):
    kept = enter(person, scope, revision, quality, paper()).document
    Path(kept.file.path).write_bytes(PDF + b" ")
    write_down()

    [fault] = verify_records().faults

    assert "certificate document" in fault.where
    assert "certificate scan.pdf" in fault.where


def test_paper_that_ends_sooner_than_the_scheme_ends_then(person, scope, revision, quality):
    enter(person, scope, revision, quality, paper(ends_on=date(2027, 2, 1)))

    days = [date(2027, 2, 1), date(2027, 2, 2)]
    found = [standing_on_day.answer(person, scope, day).standing.value for day in days]
    assert found == ["certified", "expired"]


def test_paper_that_ends_later_than_the_scheme_is_good_as_the_scheme_says(
    person, scope, revision, quality
):
    found = enter(person, scope, revision, quality, paper(ends_on=date(2030, 2, 1)))

    assert not found.events.exists()
    assert standing_on_day.answer(person, scope, date(2028, 2, 2)).standing.value == "expired"


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        pytest.param(b"%PDF-1.4", "application/pdf", id="pdf"),
        pytest.param(b"\xff\xd8\xff\xe0", "image/jpeg", id="jpeg"),
        pytest.param(b"\x89PNG\r\n\x1a\n", "image/png", id="png"),
        pytest.param(b"RIFF\x00\x00\x00\x00WEBPVP8 ", "image/webp", id="webp"),
        pytest.param(b"\x00\x00\x00\x18ftypheic", "image/heic", id="heic"),
        pytest.param(b"II*\x00\x08", "image/tiff", id="tiff"),
        pytest.param(b"<html><script>", "", id="web-page"),
        pytest.param(b"MZ\x90\x00", "", id="program"),
        pytest.param(b"GIF89a", "", id="moving-picture"),
        pytest.param(b" %PDF-1.4", "", id="not-at-the-start"),
        pytest.param(b"", "", id="empty"),
    ],
)
def test_kind_of_a_document_is_told_by_its_first_bytes(content, media_type):
    assert media_type_of(content) == media_type


def test_file_that_is_no_scan_is_refused_whatever_its_name(person, scope, revision, quality):
    with pytest.raises(CertificationError, match="neither a PDF nor"):
        enter(person, scope, revision, quality, paper(b"<html>"))

    assert not Certificate.objects.exists()
    assert not CertificateDocument.objects.exists()


def test_document_that_is_too_large_is_refused(person, scope, revision, quality, monkeypatch):
    monkeypatch.setattr(documents, "MOST_BYTES", len(PDF) - 1)

    with pytest.raises(CertificationError, match="lower resolution"):
        enter(person, scope, revision, quality, paper())


def test_nothing_is_left_half_stored_when_writing_fails(
    person, scope, revision, quality, monkeypatch
):
    before = stored_files()

    def fail(*args):
        raise DatabaseError("the disk is full")

    monkeypatch.setattr(certificates_from_elsewhere.standing, "rebuild_spans", fail)
    with pytest.raises(DatabaseError):
        enter(person, scope, revision, quality, paper())

    assert not CertificateDocument.objects.exists()
    assert stored_files() == before


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        pytest.param({"issued_on": date(2026, 11, 26)}, "a day to come", id="issued-tomorrow"),
        pytest.param({"ends_on": date(2026, 1, 31)}, "ends before it was issued", id="ends-first"),
        pytest.param({"issuer": "  "}, "Name who issued", id="no-issuer"),
        pytest.param({"number": ""}, "number on it", id="no-number"),
    ],
)
def test_paper_that_does_not_make_sense_is_refused(
    person, scope, revision, quality, fields, sentence
):
    with pytest.raises(CertificationError, match=sentence):
        enter(person, scope, revision, quality, paper(**fields))


def test_same_paper_is_entered_once_for_a_scope(person, scope, revision, quality):
    first = enter(person, scope, revision, quality, paper())

    with pytest.raises(CertificationError, match=first.number):
        enter(person, scope, revision, quality, paper())


def test_scheme_that_does_not_cover_the_scope_is_refused(person, scope, quality):
    with pytest.raises(CertificationError, match="does not cover"):
        enter(person, scope, make_revision(make_scope()), quality, paper())
    with pytest.raises(CertificationError, match="not published"):
        enter(person, scope, make_revision(scope, published=False), quality, paper())


def test_paper_does_not_end_a_suspension(person, scope, revision, quality):
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 1))
    events.suspend_certificates(
        person=person,
        scope=scope,
        act=Act(actor=quality, at=NOW, proof="password", reason="Why.", effective_on=TODAY),
    )

    with pytest.raises(RequirementsNotMet, match="suspended"):
        enter(person, scope, revision, quality, paper())


def test_two_who_begin_a_site_verify_each_other_and_nobody_themselves(scope, revision):
    first, second = make_user("quality"), make_user("quality", "instructor")

    with pytest.raises(MayNotCertify, match="their own"):
        enter(first.person, scope, revision, first, paper())
    enter(first.person, scope, revision, second, paper())
    enter(second.person, scope, revision, first, paper(number="HV 2292"))

    assert Certificate.objects.count() == 2


@pytest.mark.parametrize("role", ["operator", "line_lead", "instructor", "administrator"])
def test_only_quality_at_the_site_enters_papers(role, person, scope, revision):
    with pytest.raises(MayNotCertify, match="by quality at Castelmar"):
        enter(person, scope, revision, make_user(role), paper())
    other = make_user("quality", site=make_site("Aldergate", "AL"))
    with pytest.raises(MayNotCertify, match="by quality at Castelmar"):
        enter(person, scope, revision, other, paper())
