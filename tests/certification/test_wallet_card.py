"""The card for the wallet: what it says, its size, and of what none is printed."""

import io
import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.urls import reverse
from pypdf import PdfReader

from certification.exceptions import NothingToPrint
from certification.models import CertificateEvent
from certification.presenters.wallet_card import wallet_card
from certification.services import standing
from records.queries.heads import printed_head
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
from training.models import VisionTest

pytestmark = pytest.mark.django_db

MM = 72 / 25.4


@pytest.fixture
def certificate():
    """Good from 10 Jan 2026 through 10 Jan 2028."""
    scope = make_scope(title="Terminals, operator", document="Workmanship, hand soldering")
    person = make_person(full_name="Bruno Castellane", employee_number="10482")
    return make_certificate(
        person,
        scope,
        revision=make_revision(scope, validity_months=24),
        issued_on=date(2026, 1, 10),
        restriction="turrets in leaded solder",
        issued_by="Ottoline Vesper",
    )


def happened(certificate, kind, day, **fields):
    CertificateEvent.objects.create(
        event_id=f"E-{kind}", certificate=certificate, kind=kind, effective_on=day,
        recorded_at=NOW, **fields,
    )  # fmt: skip
    standing.rebuild_spans(certificate.person, certificate.scope)


def words_of(pdf):
    pages = PdfReader(io.BytesIO(pdf)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def test_card_says_who_may_what_until_when_and_when_it_was_printed(certificate, settings):
    said = words_of(wallet_card(certificate, at=NOW))

    for words in (
        "Bruno Castellane",
        "10482",
        "Terminals, operator",
        "turrets in leaded solder",
        certificate.number,
        "10 Jan 2026",
        "10 Jan 2028",
        "Workmanship, hand soldering",
        "Ottoline Vesper",
        "Castelmar",
        "25 Nov 2026, 13:50 CET",
        settings.PUBLIC_URL.split("//")[1] + "/check/",
    ):
        assert words in said, words


def test_card_bears_the_end_of_the_trail(certificate):
    write_down()
    end = printed_head(NOW)

    assert end
    assert f"Trail {end}" in words_of(wallet_card(certificate, at=NOW))


def test_card_is_a_bank_cards_size_front_and_back(certificate):
    pages = PdfReader(io.BytesIO(wallet_card(certificate, at=NOW))).pages

    assert len(pages) == 2
    for page in pages:
        assert float(page.mediabox.width) / MM == pytest.approx(85.6, abs=0.05)
        assert float(page.mediabox.height) / MM == pytest.approx(53.98, abs=0.05)


def test_same_certificate_at_the_same_instant_is_the_same_bytes(certificate):
    first = wallet_card(certificate, at=NOW)

    assert wallet_card(certificate, at=NOW) == first
    assert wallet_card(certificate, at=NOW + timedelta(minutes=1)) != first
    made = PdfReader(io.BytesIO(first)).metadata.creation_date
    assert made == datetime(2026, 11, 25, 12, 50, tzinfo=UTC)


def test_extension_moves_the_last_day_on_the_card(certificate):
    happened(certificate, "extended", TODAY, until=date(2028, 4, 1), authority="QM-02")

    assert "1 Apr 2028" in words_of(wallet_card(certificate, at=NOW))


def test_what_ends_before_the_certificate_stands_first_and_each_end_is_named(certificate):
    """A vision test, practice or a suspension that is known ends the entitlement earlier."""
    alone = words_of(wallet_card(certificate, at=NOW))
    assert "Good through 10 Jan 2028" in alone
    assert "May work through" not in alone
    happened(certificate, "suspended", date(2027, 5, 11))

    said = words_of(wallet_card(certificate, at=NOW))

    assert "May work through 10 May 2027 Certificate ends 10 Jan 2028" in said
    assert "Good through" not in said


def test_vision_test_that_ends_the_entitlement_is_not_told_on_the_card():
    scope = make_scope()
    revision = make_revision(scope, validity_months=24, vision_months=12)
    certificate = make_certificate(
        make_person(), scope, revision=revision, issued_on=date(2026, 1, 10)
    )
    VisionTest.objects.create(
        test_id="CA-V-1", person=certificate.person, tested_on=date(2026, 3, 4), passed=True,
        recorded_at=NOW,
    )  # fmt: skip
    standing.rebuild_person(certificate.person)

    said = words_of(wallet_card(certificate, at=NOW))

    assert "May work through 4 Mar 2027 Certificate ends 10 Jan 2028" in said
    assert "ision" not in said


def test_renewal_on_file_leaves_the_certificates_own_end_alone(certificate):
    make_certificate(
        certificate.person,
        certificate.scope,
        revision=certificate.scheme_revision,
        issued_on=date(2027, 1, 10),
        restriction=certificate.restriction,
    )

    assert "Good through 10 Jan 2028" in words_of(wallet_card(certificate, at=NOW))


def test_longest_words_are_set_smaller_and_never_cut_off():
    scope = make_scope(title=("Terminals " * 12)[:120], document=("Document " * 20)[:160])
    certificate = make_certificate(
        make_person(full_name=("Maximiliana " * 10)[:120].strip(), employee_number="9" * 32),
        scope,
        restriction=("only this and that " * 30)[:394] + " finis",
        issued_by=("Somebody of quality " * 8)[:160],
        number="CA-C-" + "0" * 35,
    )

    pdf = wallet_card(certificate, at=NOW)

    assert len(PdfReader(io.BytesIO(pdf)).pages) == 2
    assert "this and that" in words_of(pdf)
    assert "finis" in words_of(pdf)


def test_what_people_typed_is_words_and_never_code():
    person = make_person(full_name='#panic("x") *Ann* $x$ "; \\ @here')
    certificate = make_certificate(person, make_scope())

    assert '#panic("x") *Ann* $x$' in words_of(wallet_card(certificate, at=NOW))


@pytest.mark.parametrize("kind", ["suspended", "revoked", "ended"])
def test_no_card_is_printed_of_what_does_not_stand(certificate, kind):
    day = TODAY if kind != "ended" else TODAY - timedelta(days=1)
    happened(certificate, kind, day)

    with pytest.raises(NothingToPrint, match="is not certified by"):
        wallet_card(certificate, at=NOW)


def test_no_card_is_printed_of_a_certificate_that_another_replaced(certificate):
    make_certificate(certificate.person, certificate.scope, issued_on=date(2026, 5, 1))

    with pytest.raises(NothingToPrint):
        wallet_card(certificate, at=NOW)


@pytest.mark.parametrize("reader", ["owner", "instructor", "quality"])
def test_card_comes_as_a_pdf_to_whoever_reads_the_certificate(client, reader):
    person = make_person()
    certificate = make_certificate(person, make_scope(), issued_on=make_site().today())
    client.force_login(make_user(person=person) if reader == "owner" else make_user(reader))
    page = client.get(reverse("certification:certificate_detail", args=[certificate.number]))
    address = reverse("certification:certificate_card", args=[certificate.number])
    assert f'href="{address}"' in page.content.decode()

    response = client.get(address)

    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF-")


def test_page_of_what_does_not_stand_says_why_there_is_no_card(client, certificate):
    happened(certificate, "revoked", date(2026, 2, 1))
    client.force_login(make_user("quality"))
    address = reverse("certification:certificate_card", args=[certificate.number])
    page = reverse("certification:certificate_detail", args=[certificate.number])
    assert address not in client.get(page).content.decode()

    response = client.get(address, follow=True)

    assert response.redirect_chain == [(page, 302)]
    assert "there is no card to print" in response.content.decode()


def test_longest_restrictions_of_certificate_and_event_are_both_set_whole():
    certificate = make_certificate(
        make_person(), make_scope(), restriction=("only this and that " * 30)[:394] + " finis"
    )
    words = ("and of it these alone " * 30)[:394] + " ultim"
    happened(certificate, "restricted", TODAY, restriction=words)

    pdf = wallet_card(certificate, at=NOW)

    assert len(PdfReader(io.BytesIO(pdf)).pages) == 2
    assert "finis; and of it" in words_of(pdf)
    assert "ultim" in words_of(pdf)
