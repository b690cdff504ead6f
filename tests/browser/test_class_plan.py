"""A plan of classes from the period to the invitations: worked out, a name moved, carried out."""

from datetime import timedelta

import pytest
from django.utils import timezone

from certification import tasks
from certification.domain.months import add_months
from certification.services import class_plans
from tests import factories
from tests.browser.hands import Hands
from tests.two_machines import TwoMachines
from training.models import Enrolment

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def at_once(monkeypatch, live_server):
    """A worker is there, and works a plan out as soon as it is woken."""
    if isinstance(live_server, TwoMachines):
        with live_server.worker():
            yield
        return
    monkeypatch.setattr(
        tasks.work_out_class_plans,
        "delay",
        lambda: class_plans.work_out_next(clock=timezone.now),
    )
    yield


def test_plan_goes_from_a_period_to_invitations(visitor, shop, at_once):
    site, today = shop.trainee.person.site, shop.trainee.person.site.today()
    scope = factories.make_scope(title="Splices, operator")
    revision = factories.make_revision(scope, validity_months=12)
    for name in ("Ada Byrne", "Bo Lind"):
        factories.make_certificate(
            factories.make_person(site, full_name=name),
            scope,
            revision=revision,
            issued_on=add_months(today + timedelta(days=20), -12),
        )
    for days in (12, 30):
        session = factories.make_session(
            site,
            instructor=shop.instructor,
            starts_on=today + timedelta(days=days),
            ends_on=today + timedelta(days=days),
        )
        session.course_revision.scope_codes = [scope.code]
        session.course_revision.save(update_fields=["scope_codes"])
    hands = Hands(visitor())
    hands.visitor.sign_in(shop.instructor.employee_number)
    page = hands.page
    hands.visitor.go("/months-ahead/")
    hands.click(page.locator("main").get_by_role("link", name="Plans of classes"))
    hands.click(page.locator("main").get_by_role("link", name="Begin a plan").first)
    hands.button("Work it out")
    page.get_by_role("heading", name="Who goes when").wait_for()
    hands.audit()
    ada = page.locator("tr", has=page.get_by_role("link", name="Ada Byrne"))
    assert ada.get_by_role("radio").nth(0).is_checked()

    # By keys: the choice of a line is one group of buttons.
    ada.get_by_role("radio").nth(0).focus()
    hands.press("ArrowRight")
    hands.button("Show what it costs")
    assert page.get_by_text("9 above the bound, 9 by moving names.").is_visible()
    page.set_viewport_size({"width": 390, "height": 844})
    hands.audit()
    hands.click(page.get_by_role("button", name="Undo Ada Byrne"))
    hands.button("Enrol and invite 2 people")

    assert page.get_by_text("2 people are enrolled and invited.").is_visible()
    assert Enrolment.objects.filter(session__starts_on=today + timedelta(days=12)).count() == 2
    assert hands.acts < 12
