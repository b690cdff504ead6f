"""The certificate on paper: what it says, its tags, its code, and of what none is printed."""

import io
import re
from datetime import UTC, date, datetime, timedelta

import pikepdf
import pytest
from django.urls import reverse
from pypdf import PdfReader

from certification.exceptions import NothingToPrint
from certification.models import CertificateEvent, PublicCode
from certification.presenters.certificate_document import certificate_pdf
from certification.services import standing
from certification.services.public_codes import code_of
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db

CODE = "abcd-efgh-jkmn"


@pytest.fixture
def certificate():
    """Good from 10 Jan 2026 through 10 Jan 2028."""
    scope = make_scope(
        ("turret", "cup"), title="Terminals, operator", document="Workmanship, hand soldering"
    )
    return make_certificate(
        make_person(full_name="Bruno Castellane", employee_number="10482"),
        scope,
        revision=make_revision(scope, validity_months=24, vision_months=12),
        issued_on=date(2026, 1, 10),
        restriction="turrets in leaded solder",
        issued_by="Ottoline Vesper",
        evidence={
            "boards": [
                {
                    "number": "CA-B-03977", "purpose": "requalification", "joints": 20,
                    "rejected": 1, "score": "98.5",
                }
            ]
        },
    )  # fmt: skip


def words_of(pdf):
    pages = PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_paper_says_who_may_do_what_and_where_to_ask_whether_it_stands(certificate, settings):
    said = words_of(certificate_pdf(certificate, code=CODE, at=NOW))

    for words in (
        "Bruno Castellane",
        "10482",
        "Terminals, operator",
        "Only: turrets in leaded solder",
        certificate.number,
        "From 10 Jan 2026 through 10 Jan 2028.",
        "Workmanship, hand soldering",
        "vision test every 12 months",
        "CA-B-03977",
        "19 of 20 joints accepted, score 98.5",
        "Ottoline Vesper",
        settings.PUBLIC_URL.split("//")[1] + "/c/",
        CODE,
        "25 Nov 2026",
    ):
        assert words in said, words


def structure(node, parent=None):
    """Every element of a structure tree with its kind, depth first."""
    if isinstance(node, pikepdf.Array):
        for kid in node:
            yield from structure(kid, parent)
    elif isinstance(node, pikepdf.Dictionary) and "/S" in node:
        yield str(node.S), node
        if "/K" in node:
            yield from structure(node.K, node)


def test_paper_is_tagged_as_pdf_ua_1_asks(certificate):
    """ISO 14289-1, by another library than the one that wrote it (clauses from memory)."""
    with pikepdf.open(io.BytesIO(certificate_pdf(certificate, code=CODE, at=NOW))) as pdf:
        root = pdf.Root
        assert bool(root.MarkInfo.Marked)  # 7.1: real content is marked
        assert str(root.Lang).startswith("en")  # 7.2: the language is said
        assert bool(root.ViewerPreferences.DisplayDocTitle)  # 7.1: the title is shown
        with pdf.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1"  # 5: the file says what it is
            assert metadata["dc:title"] == f"Certificate {certificate.number}"
        elements = list(structure(root.StructTreeRoot.K))
        kinds = [kind for kind, _element in elements]
        headings = [kind for kind in kinds if re.fullmatch("/H[1-6]", kind)]
        assert headings[0] == "/H1"  # 7.4: headings begin with the first and skip none
        assert headings.count("/H1") == 1
        assert set(headings) == {"/H1", "/H2"}
        figures = [element for kind, element in elements if kind == "/Figure"]
        assert [str(figure.Alt) for figure in figures] == [  # 7.3: pictures have words
            "turret",
            "solder cup",
            f"Code that opens the public page of certificate {certificate.number}",
        ]
        for page in pdf.pages:
            assert page.Tabs == "/S" or "/Annots" not in page  # 7.18.3
            fonts = page.Resources.Font
            for name in fonts:  # 7.21.4.1: every face is in the file
                described = fonts[name].DescendantFonts[0].FontDescriptor
                assert any(f"/FontFile{kind}" in described for kind in ("", "2", "3"))


def test_code_on_the_paper_leads_to_the_public_page(certificate, settings, monkeypatch):
    drawn = []
    monkeypatch.setattr("people.presenters.paper.qr", lambda text: drawn.append(text) or "<svg/>")
    monkeypatch.setattr("people.presenters.paper.typeset", lambda *_a, **_more: b"")

    certificate_pdf(certificate, code=CODE, at=NOW)

    assert drawn == [f"{settings.PUBLIC_URL}/c/{certificate.number}/{CODE}/"]


def test_same_certificate_at_the_same_instant_is_the_same_bytes(certificate):
    first = certificate_pdf(certificate, code=CODE, at=NOW)

    assert certificate_pdf(certificate, code=CODE, at=NOW) == first
    made = PdfReader(io.BytesIO(first)).metadata.creation_date
    assert made == datetime(2026, 11, 25, 12, 50, tzinfo=UTC)


def test_longest_words_are_all_on_the_paper():
    scope = make_scope(title=("Terminals " * 12)[:120].strip(), document=("Document " * 20)[:160])
    certificate = make_certificate(
        make_person(full_name=("Maximiliana " * 10)[:120].strip(), employee_number="9" * 32),
        scope,
        restriction=("only this and that " * 30)[:394] + " finis",
        issued_by=("Somebody of quality " * 8)[:160],
        number="CA-C-" + "0" * 35,
    )

    said = words_of(certificate_pdf(certificate, code=CODE, at=NOW))

    assert "finis" in said
    assert said.count("Maximiliana") == 10
    assert CODE in said


def test_paper_of_what_does_not_stand_says_so_first(certificate):
    CertificateEvent.objects.create(
        event_id="E-1", certificate=certificate, kind="revoked",
        effective_on=TODAY - timedelta(days=1), recorded_at=NOW,
    )  # fmt: skip
    standing.rebuild_spans(certificate.person, certificate.scope)

    assert "CET: It was revoked." in words_of(certificate_pdf(certificate, code=CODE, at=NOW))


def test_paper_does_not_tell_that_it_is_the_eyes(certificate):
    """The scheme asks for a vision test and none is on record."""
    said = words_of(certificate_pdf(certificate, code=CODE, at=NOW))

    assert "Not current: see your instructor." in said
    assert "no vision test" not in said.lower()


def test_no_paper_is_printed_for_a_certificate_from_elsewhere(certificate, monkeypatch):
    monkeypatch.setattr(certificate, "origin", "elsewhere")

    with pytest.raises(NothingToPrint, match="is the document that came with it"):
        certificate_pdf(certificate, code=CODE, at=NOW)


def test_code_stays_the_same_once_it_is_printed(certificate):
    first = code_of(certificate)

    assert re.fullmatch("([a-z2-9]{4}-){2}[a-z2-9]{4}", first)
    assert code_of(certificate) == first
    assert PublicCode.objects.count() == 1


def test_paper_comes_as_a_pdf_from_the_certificates_page_and_from_my_card(client):
    person = make_person()
    certificate = make_certificate(person, make_scope(), issued_on=make_site().today())
    client.force_login(make_user(person=person))
    address = reverse("certification:certificate_pdf", args=[certificate.number])
    for page in (
        reverse("certification:certificate_detail", args=[certificate.number]),
        reverse("certification:my_card"),
    ):
        assert f'href="{address}"' in client.get(page).content.decode(), page

    response = client.get(address)

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-")
