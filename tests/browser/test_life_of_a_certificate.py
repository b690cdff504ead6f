"""The life of a certificate in a real browser: every act of it, its picture, and what it leaves."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from certification.models import Certificate
from certification.queries import standing_on_day
from certification.services import events
from certification.services.acts import Act
from people.models import Person
from tests.factories import PASSWORD, make_certificate
from training.models import PracticeRecord, VisionTest

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def certificate(shop) -> Certificate:
    """Signe Aldous's, for wire preparation, 200 days old."""
    person = shop.trainee.person
    theirs = Certificate.objects.get()
    scope = theirs.scheme_revision.scopes.get(level="operator")
    today = person.site.today()
    PracticeRecord.objects.create(
        person=person,
        scope_code=scope.code,
        performed_on=today - timedelta(days=60),
        recorded_at=theirs.recorded_at,
    )
    Person.objects.filter(pk=person.pk).update(line_lead=shop.lead.person)
    return make_certificate(
        person, scope, revision=theirs.scheme_revision, issued_on=today - timedelta(days=200)
    )


def standing_page(certificate: Certificate) -> str:
    return f"/standing/{certificate.person_id}/{certificate.scope_id}/"


def begin(quality, certificate: Certificate, act: str):
    """From the page of person and scope to the form of an act."""
    quality.go(standing_page(certificate))
    quality.page.get_by_role("link", name=act, exact=True).click()
    quality.page.wait_for_load_state("networkidle")
    quality.audit()
    return quality.page


def sign(quality, **fields) -> None:
    page = quality.page
    for label, text in fields.items():
        page.get_by_label(label.replace("_", " ")).fill(text)
    page.locator("input[type=password]").fill(PASSWORD)
    page.locator("form button[type=submit].btn").last.click()
    page.wait_for_load_state("networkidle")


def stands(certificate: Certificate) -> str:
    """As the page shows it, which is as the engine answers."""
    person, scope = certificate.person, certificate.scope
    return standing_on_day.answer(person, scope, person.site.today()).standing.value


def test_every_act_is_done_from_the_page_and_seen_in_the_picture(visitor, shop, certificate):
    quality = visitor()
    quality.sign_in(shop.quality.employee_number)
    today = certificate.person.site.today()

    quality.go(standing_page(certificate))
    quality.audit()
    picture = quality.page.get_by_role("img", name=re.compile("Signe Aldous"))
    assert picture.count() == 1, "One of the three widths is shown"
    assert "certified" in (picture.text_content() or "")

    begin(quality, certificate, "Suspend")
    sign(quality, First_day_suspended=str(today - timedelta(days=20)), Reason="Rejects.")
    assert stands(certificate) == "suspended"

    begin(quality, certificate, "Reinstate")
    sign(quality, First_day_in_force_again=str(today - timedelta(days=5)), Reason="Retrained.")
    assert stands(certificate) == "certified"
    quality.go(standing_page(certificate))
    assert "suspended" in (picture.text_content() or "")

    begin(quality, certificate, "Extend")
    until = certificate.valid_through + timedelta(days=30)
    sign(quality, New_last_day=str(until), Granted_by="Review board", Reason="Class moved.")
    quality.go(standing_page(certificate))
    assert "Review board" in quality.page.locator("main").inner_text()

    begin(quality, certificate, "Restrict")
    sign(
        quality, First_day_restricted=str(today), Restriction="AWG 20 and less", Reason="New hand."
    )
    assert quality.page.url.endswith(f"/certificates/{certificate.number}/")
    assert "AWG 20 and less" in quality.page.locator("main").inner_text()
    quality.audit()

    begin(quality, certificate, "Lift the restriction")
    quality.audit()
    sign(quality, First_day_without_it=str(today), Reason="Shown on the bench.")
    assert stands(certificate) == "certified"
    quality.go(standing_page(certificate))
    quality.audit()
    row = quality.page.get_by_role("row", name=re.compile("restricted, only: AWG 20 and less"))
    assert row.count() == 1

    test = VisionTest.objects.get(person=certificate.person)
    quality.page.get_by_role(
        "link", name=re.compile("Withdraw this entry vision test passed")
    ).first.click()
    quality.audit()
    sign(quality, Why="Typed for somebody else.")
    assert test.withdrawal.signature.signer == shop.quality
    assert stands(certificate) == "vision_not_current"

    begin(quality, certificate, "End")
    sign(quality, Last_good_day=str(today - timedelta(days=1)), Reason="Changed work.")
    assert stands(certificate) == "expired"
    quality.go(standing_page(certificate))
    quality.page.get_by_role("link", name=re.compile("Withdraw this entry ended")).click()
    sign(quality, Reason="She stays.")
    assert stands(certificate) == "vision_not_current"

    begin(quality, certificate, "Revoke")
    sign(quality, First_day_revoked=str(today), Reason="Signed for others.")
    assert stands(certificate) == "revoked"
    quality.go(standing_page(certificate))
    quality.audit()
    assert "revoked" in (picture.text_content() or "")


def test_pages_hold_to_the_guidelines_in_light_and_dark(visitor, shop, certificate):
    quality = visitor()
    quality.sign_in(shop.quality.employee_number)
    for path in (
        standing_page(certificate),
        standing_page(certificate) + "?known_at=2020-01-01",
        "/months-ahead/",
        "/wall-list/",
    ):
        quality.go(path)
        quality.audit(in_each_look=True)


def test_operator_and_line_lead_find_the_life_from_their_own_pages(visitor, shop, certificate):
    operator = visitor(phone=True)
    operator.sign_in(shop.trainee.employee_number)
    operator.go("/my-card/")
    operator.page.get_by_role("link", name=re.compile("History and evidence")).click()
    operator.page.wait_for_load_state("networkidle")
    operator.audit()
    assert operator.page.get_by_role("img", name=re.compile("Signe Aldous")).count() == 1

    lead = visitor()
    lead.sign_in(shop.lead.employee_number)
    lead.go(f"/people/{certificate.person.employee_number}/")
    lead.page.get_by_role("link", name="Wire preparation, operator").click()
    lead.page.wait_for_load_state("networkidle")
    lead.audit()
    assert "ision" not in lead.page.locator("main").inner_text()


def test_long_restriction_stays_within_the_pages_that_show_it(shop, visitor, certificate):
    signed = Act(shop.quality, timezone.now(), "password", "Seen at the bench.")
    text = "cups under supervision, " * 12 + "x" * 100
    [event] = events.restrict_certificates(
        person=certificate.person, scope=certificate.scope, restriction=text, act=signed
    )
    number = certificate.number
    quality = visitor()
    quality.sign_in(shop.quality.employee_number)
    acts = ("", "act/restrict/", "act/lift/", f"events/{event.pk}/remove/")
    for path in (
        standing_page(certificate),
        "/register/",
        *(f"/certificates/{number}/{act}" for act in acts),
    ):
        quality.go(path)
        quality.keeps_its_width()
        quality.keeps_its_width_on_a_phone()
