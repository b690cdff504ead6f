"""A written test on a phone: begun, reloaded, answered while the network is away, handed in."""

from datetime import timedelta

import pytest
from django.utils import timezone

from assessments.models import Paper, PaperAnswer
from assessments.queries import written_tests as queries
from tests import factories
from tests.assessments import written

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_test_survives_a_reload_and_a_lost_network(transactional_db, visitor):
    site = factories.make_site()
    instructor, user = factories.make_user("instructor", site=site), factories.make_user(site=site)
    now = timezone.now()
    paper = written.hand_out(
        written.make_test(), user.person, instructor, at=now, not_before=site.today(now)
    )
    visit = visitor(phone=True)
    page = visit.page
    visit.sign_in_as(user)
    visit.go("/written-tests/")
    page.click(f"text={paper.test.title}")
    page.click("text=Begin the test")
    page.wait_for_selector("#written-test.is-scripted")
    assert "29 min" in page.inner_text("#time-left") or "30 min" in page.inner_text("#time-left")
    visit.audit()
    rows = queries.questions_of(paper)
    right = {each.order: written.right_answer(each.question, each.shown) for each in rows}

    def form(order):
        return page.locator(f"form[data-order='{order}']")

    form(1).locator(f"[name=answer][value='{right[1][0]}']").check()
    form(1).locator(".said:text-is('saved')").wait_for()
    page.context.set_offline(True)
    for place in right[2]:
        form(2).locator(f"[name=answer][value='{place}']").check()
    form(3).locator("input[name=answer]").fill("0,76 mm")
    form(3).locator("input[name=answer]").press("Tab")
    page.wait_for_selector("#unsent:has-text('2 not sent yet, kept on this device')")
    page.click("text=Hand it in")
    assert page.locator(".hand-in .wait").is_visible()
    assert PaperAnswer.objects.count() == 1
    # The window is closed meanwhile; another opens once the network is there, and sends.
    context = page.context
    page.close()
    context.set_offline(False)
    visit.page = page = context.new_page()
    page.set_default_timeout(15_000)
    visit.go(f"/written-tests/papers/{paper.number}/")
    form(3).locator(".said:text-is('saved')").wait_for()
    assert form(3).locator("input[name=answer]").input_value() == "0,76 mm"
    assert page.inner_text("#answered") == "3 of 5 answered"
    for choice, rank in zip(form(4).locator("select").all(), right[4], strict=True):
        choice.select_option(rank)
    # By keys: the squares of a picture are reached and chosen as any radio button is.
    form(5).locator("[value=C3]").focus()
    page.keyboard.press("Space")
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    form(5).locator("[value=C4]:checked").wait_for(state="attached")
    page.wait_for_selector("#unsent:text-is('all saved')")
    page.reload()
    assert page.inner_text("#answered") == "5 of 5 answered"
    page.click("text=Hand it in")
    page.wait_for_selector("text=5 of 5 right")
    assert all("ERR_INTERNET_DISCONNECTED" in said for said in visit.complaints)
    paper = Paper.objects.get()
    result = queries.result_of(paper)
    assert result.passed
    assert result.marked[2]["given"] == ["0,76 mm"]
    assert paper.end.how == "handed_in"
    assert not PaperAnswer.objects.filter(late=True).exists()
    assert paper.start.ends_at - paper.start.recorded_at == timedelta(minutes=30)
