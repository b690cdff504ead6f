"""A lesson on the wall: from the exercise through its steps by a clicker's keys, and out."""

import pytest

from assessments.models import CriteriaSet
from tests import factories
from tests.factories import NOW
from training.content.exercises import EXERCISES
from training.models import Exercise, Stage
from training.services.content import load_exercises

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def turret() -> Exercise:
    [content] = [one for one in EXERCISES if one.code == "EX-TUR-1"]
    load_exercises(actor="load_content", at=NOW, exercises=[content])
    Exercise.objects.update(published_at=NOW)
    factories.make_criteria_set(
        *({"code": f"S-{n}", "stage": Stage.SOLDERED.value} for n in range(1, 9)),
    )
    assert CriteriaSet.objects.current().exists()
    return Exercise.objects.get()


def test_a_clicker_leads_through_the_steps_and_what_fails_is_one_key_away(visitor, turret):
    there = visitor()
    page = there.page
    there.sign_in_as(factories.make_user("instructor"))
    there.go(f"/exercises/{turret.code}/")
    page.get_by_role("link", name="Show on the wall").click()
    steps = list(turret.steps.all())

    def heading() -> str:
        [shown] = [one for one in page.locator(".step h1").all() if one.is_visible()]
        return shown.inner_text()

    def after(key: str) -> str:
        page.keyboard.press(key)
        there.settle()
        return heading()

    assert heading() == steps[0].text
    assert after("PageDown") == steps[1].text
    assert after("ArrowLeft") == steps[0].text
    assert after("End") == steps[-1].text
    assert after("PageDown") == steps[-1].text, "after the last comes nothing"
    page.goto(f"{page.url.partition('#')[0]}#step-12")
    assert after("x").startswith("What fails")
    assert after("PageDown").startswith("What fails"), "eight criteria take two screens"
    assert page.locator(".step.fails:visible .faults li").count() == 2
    assert after("x") == steps[11].text
    page.keyboard.press("d")
    assert not page.locator("#step-12 h1").is_visible()
    assert page.locator("#step-12 figure").is_visible()
    assert after("Escape") == steps[11].text
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    there.audit()
    page.keyboard.press("Escape")
    page.wait_for_url(f"**/exercises/{turret.code}/")
    page.set_viewport_size({"width": 390, "height": 844})
    there.go(f"/exercises/{turret.code}/lesson/")
    assert heading() == steps[0].text, "without a step in the address the first is shown"
    there.audit()
