"""Work reported on the phone and confirmed at the desk; the way to a certificate at both sizes."""

import pytest
from django.urls import reverse

from certification.models import SchemeRequirement
from tests import factories
from training.models import PracticeRecord

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_work_is_reported_confirmed_and_the_way_is_drawn(visitor):
    lead = factories.make_user("line_lead")
    operator = factories.make_user(person=factories.make_person(line_lead=lead.person))
    scope = factories.make_scope(code="TERM-OP", title="Terminals, operator")
    wire, cup = factories.make_exercise(title="Wire"), factories.make_exercise(title="Cups")
    revision = factories.make_revision(scope, exercise=wire, published=False, attempts=1)
    SchemeRequirement.objects.create(
        revision=revision, scope=scope, exercise_code=cup.code, after_exercise=wire.code
    )
    revision.published_at = factories.NOW
    revision.save(update_fields=["published_at"])
    factories.make_board(operator.person, wire, purpose="qualification")

    phone = visitor(phone=True)
    phone.sign_in_as(operator)
    phone.go("/my-work/")
    phone.audit()
    phone.page.select_option("select[name=scope_code]", "TERM-OP")
    phone.page.fill("input[name=reference]", "WO-2231")
    phone.page.get_by_role("button", name="Report").click()
    phone.page.get_by_text("waits to be confirmed").wait_for()
    assert not PracticeRecord.objects.exists()

    desk = visitor()
    desk.sign_in_as(lead)
    desk.go("/practice/reported/")
    desk.audit()
    desk.page.get_by_label("WO-2231").check()
    desk.page.get_by_role("button", name="Confirm what is ticked").click()
    desk.page.get_by_text("1 report is confirmed and counts.").wait_for()
    assert PracticeRecord.objects.get().confirmed_by == lead

    way = reverse("certification:requirements", args=[operator.person.employee_number, scope.code])
    phone.go(way)
    phone.audit()
    stops = phone.page.locator(".path li")
    assert stops.evaluate_all("stops => stops.map(stop => stop.className)") == [
        "now", "to-do", "to-do",
    ]  # fmt: skip
    tops = stops.evaluate_all("stops => stops.map(stop => stop.getBoundingClientRect().top)")
    assert tops == sorted(set(tops))
