"""Certificates issued again under a new name: signed, and nothing but the name is another."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from certification.exceptions import CertificationError, MayNotCertify
from certification.models import Certificate, CertificateName
from certification.queries import standing_on_day
from certification.services import events
from certification.services.acts import Act
from certification.services.names import issue_again
from people.models import Person
from people.services.particulars import change_from_day
from tests.factories import NOW, PASSWORD, TODAY, make_certificate, make_person, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return make_user("quality", password=PASSWORD)


@pytest.fixture
def certificate():
    return make_certificate(make_person(full_name="Ari Vance"), issued_on=TODAY)


def rename(person, name="Ari Holt"):
    change_from_day(
        person=person,
        changes={"full_name": name},
        from_day=TODAY,
        reason="Marriage.",
        actor=make_user("administrator"),
        at=NOW,
    )
    return Person.objects.get(pk=person.pk)


def again(person, actor, **fields):
    act = Act(**{"actor": actor, "at": NOW, "proof": "password", "reason": "Seen.", **fields})
    return issue_again(person=person, act=act)


def test_the_paper_bears_the_new_name_and_all_else_stays(quality, certificate):
    person = rename(certificate.person)
    before = standing_on_day.answer(person, certificate.scope, TODAY)

    [row] = again(person, quality)

    assert (row.name, row.from_day) == ("Ari Holt", TODAY)
    kept = Certificate.objects.get(pk=certificate.pk)
    assert (kept.printed_name, kept.holder_name) == ("Ari Holt", "Ari Vance")
    assert kept.valid_through == certificate.valid_through
    assert standing_on_day.answer(person, certificate.scope, TODAY) == before


def test_before_it_is_issued_again_the_paper_bears_the_name_as_issued(certificate):
    rename(certificate.person)
    assert Certificate.objects.get().printed_name == "Ari Vance"


def test_once_is_enough(quality, certificate):
    person = rename(certificate.person)
    again(person, quality)
    with pytest.raises(CertificationError, match="bears the name Ari Holt already"):
        again(person, quality)
    assert CertificateName.objects.count() == 1


def test_what_is_over_is_not_issued_again(quality, certificate):
    events.revoke_certificates(
        person=certificate.person,
        scope=certificate.scope,
        act=Act(actor=quality, at=NOW, proof="password", reason="Bad work."),
    )
    old = make_certificate(certificate.person, issued_on=TODAY - timedelta(days=4000))
    person = rename(certificate.person)
    with pytest.raises(CertificationError, match="already"):
        again(person, quality)
    assert old.printed_name == "Ari Vance"


def test_it_is_qualitys_and_never_ones_own(quality, certificate):
    person = rename(certificate.person)
    with pytest.raises(MayNotCertify):
        again(person, make_user("instructor"))
    own = make_certificate(quality.person, issued_on=TODAY)
    with pytest.raises(MayNotCertify):
        again(rename(own.person), quality)


def test_the_page_shows_what_is_signed_and_the_certificate_tells_it(client, quality, certificate):
    person = rename(certificate.person)
    client.force_login(quality)
    url = reverse("certification:certificates_issue_again", args=[person.employee_number])
    page = client.get(url)
    assert "bears Ari Vance, will bear Ari Holt" in page.text
    shown = page.context["form"].initial["shown"].as_text()

    wrong = client.post(url, {"shown": shown, "reason": "Seen.", "password": "wrong"})
    assert wrong.status_code == 422
    answer = client.post(url, {"shown": shown, "reason": "Seen.", "password": PASSWORD})

    assert answer.status_code == 302
    detail = client.get(reverse("certification:certificate_detail", args=[certificate.number])).text
    assert "Issued again under the name" in detail
    assert "Ari Vance" in detail
    assert timezone.now().date().isoformat()[:4] in detail
