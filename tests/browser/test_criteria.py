"""A draft of criteria in a real browser: written without a fault, at the desk and on a phone."""

from decimal import Decimal
from io import BytesIO

import pytest

from assessments.models import CriteriaSet
from assessments.services import criteria as services
from assessments.services import criteria_drafts, criterion_drawings
from people.models import User
from tests import factories
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)

PAGES = ("", "F-1/edit/", "S-2/edit/", "add/", "confirm/", "publish/", "compare/")
WRAP = {
    "code": "F-1",
    "stage": "formed",
    "how": "measured",
    "quantity": "wrap",
    "low": 180,
    "high": 270,
    "unit": "deg",
    "document": "WI-204",
}
SVG = b'<svg viewBox="0 0 160 120"><path d="M0 0H99"/></svg>'


@pytest.fixture
def quality() -> User:
    return factories.make_user("quality")


@pytest.fixture
def draft(quality: User) -> CriteriaSet:
    """With all that one can show: changed, dropped, drawn from limits, a drawing of one's own."""
    made = factories.make_criteria_set(
        WRAP, {"code": "S-1"}, {"code": "S-2"}, {"code": "S-9", "of": "board"}
    )
    begun = services.draft_next_revision(criteria_set=made, actor=quality, at=NOW)
    drawing = criterion_drawings.add_drawing(
        file=BytesIO(SVG), title="A line", actor=quality, at=NOW
    )
    for code, fields in (
        ("F-1", {"low": Decimal(90), "high": Decimal(200)}),
        ("S-2", {"accept_drawing": drawing.name, "more_reject_drawings": ["lead-nicked"]}),
    ):
        criteria_drafts.change_criterion(
            criterion=begun.criteria.get(code=code),
            texts={"en": {"text": "Do it well"}},
            actor=quality,
            at=NOW,
            **fields,
        )
    criteria_drafts.remove_criterion(
        criterion=begun.criteria.get(code="S-1"), why="Says little.", actor=quality, at=NOW
    )
    return begun


def test_pages_of_a_draft_have_no_fault(visitor, draft, quality):
    window = visitor(phone=True)
    window.sign_in(quality.employee_number)
    for page in PAGES:
        window.go(f"/criteria/sets/{draft.pk}/{page}")
        window.audit()
    for page in ("/criteria/", "/criteria/sets/new/", "/criteria/sets/import/"):
        window.go(page)
        window.audit()


def test_a_criterion_is_changed_confirmed_and_the_set_published(visitor, draft, quality):
    quality.set_password("solder-and-see")
    quality.save()
    window = visitor()
    window.sign_in(quality.employee_number)
    window.go(f"/criteria/sets/{draft.pk}/F-1/edit/")
    page = window.page
    page.fill("input[name=high]", "190")
    page.get_by_role("button", name="Save F-1").click()
    page.get_by_text("F-1 is changed.").wait_for()
    page.get_by_label("I have read WI-204").check()
    page.get_by_role("button", name="Confirm").click()
    page.get_by_text("1 criterion is confirmed.").wait_for()
    window.go(f"/criteria/sets/{draft.pk}/confirm/")
    for box in page.get_by_label("and it says so").all():
        box.check()
    page.get_by_role("button", name="Confirm the ticked ones").click()
    page.get_by_text("Everything is confirmed.").wait_for()
    window.go(f"/criteria/sets/{draft.pk}/publish/")
    page.fill("input[name=reason]", "WI-204 has a new revision.")
    page.fill("input[name=password]", "solder-and-see")
    page.get_by_role("button", name="Publish rev.").click()
    page.get_by_text("WI-204 has a new revision.").wait_for()

    made = CriteriaSet.objects.get(pk=draft.pk)
    assert (made.published_by, made.dropped) == (quality, {"S-1": "Says little."})
    assert made.criteria.get(code="F-1").high == 190
