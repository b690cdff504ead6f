"""Months ahead on a phone: what is to be done has the width of the row, beside its day."""

from datetime import timedelta

from django.utils import timezone

from tests import factories

NARROWEST = """() => Math.min(...[...document.querySelectorAll('.to-do tbody tr')].flatMap(
  (row) => [...row.querySelectorAll('th, td:not(.by)')].map(
    (cell) => cell.getBoundingClientRect().width / row.getBoundingClientRect().width)))"""


def test_what_is_to_be_done_is_not_squeezed_on_a_phone(visitor, shop):
    scope = factories.make_scope(title="Plated through-holes, operator")
    revision = factories.make_revision(scope, validity_months=1)
    today = timezone.localdate()
    factories.make_certificate(
        shop.trainee.person, scope, revision=revision, issued_on=today - timedelta(days=5)
    )
    window = visitor(phone=True)
    window.sign_in(shop.quality.employee_number)
    window.go("/months-ahead/")
    window.page.wait_for_selector(".to-do td:has-text('Plated through-holes')")
    assert window.page.evaluate(NARROWEST) > 0.7
    window.audit()
