"""A certificate leaves the house: its holder takes it along, and a stranger looks it up."""

from datetime import timedelta

import pytest

from certification.services.public_codes import code_of
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def certificate(transactional_db, settings, tmp_path):
    settings.SIGNING_KEYS_DIR = tmp_path
    site = factories.make_site()
    return factories.make_certificate(
        factories.make_person(site, employee_number="10377", full_name="Bruno Castellane"),
        factories.make_scope(
            code="TERM-OP", title="Terminals, operator", document="Workmanship, hand soldering"
        ),
        issued_on=site.today() - timedelta(days=30),
        restriction="turrets for AWG 20 and smaller",
        issued_by="Ottoline Vesper",
    )


def test_holder_takes_it_along_and_a_stranger_looks_it_up(visitor, certificate):
    holder = visitor(phone=True)
    holder.sign_in_as(factories.make_user(person=certificate.person))
    holder.go("/my-card/")
    holder.audit()
    with holder.page.expect_download() as taken:
        holder.page.get_by_role("button", name="Signed file for other programs").click()
    assert taken.value.suggested_filename == f"certificate-{certificate.number}.jwt"

    stranger = visitor(phone=True)
    stranger.go("/c/")
    stranger.audit(in_each_look=True)
    stranger.page.get_by_label("Number of the certificate").fill(certificate.number)
    stranger.page.fill("[name=code]", "wrong")
    stranger.page.get_by_role("button", name="Look it up").click()
    stranger.page.get_by_text("Number and code do not go together").wait_for()
    stranger.complaints.clear()  # A page that is not there is an error to a browser.
    assert stranger.page.get_by_label("Number of the certificate").input_value()
    stranger.page.fill("[name=code]", code_of(certificate).upper())
    stranger.page.keyboard.press("Enter")
    stranger.page.get_by_text("It stands today.").wait_for()
    assert stranger.page.get_by_text("Bruno Castellane").is_visible()
    stranger.audit(in_each_look=True)
    stranger.keeps_its_width()
    assert stranger.page.context.cookies() == []
