"""From a site without scopes to one that can certify: at the desk and on a phone."""

import pytest

from certification.models import SchemeRevision, Scope
from records.queries.verification import verify_records
from tests import factories
from tests.browser.hands import Hands
from tests.factories import PASSWORD, load_published_content

pytestmark = pytest.mark.django_db(transaction=True)

MOST_ACTS = 66
"""Of which 29 type the reason and 26 the password."""


@pytest.fixture
def quality(transactional_db):
    load_published_content()
    return factories.make_user("quality", password=PASSWORD)


def test_the_starter_is_checked_changed_and_published(visitor, quality):
    window = visitor()
    window.sign_in(quality.employee_number)
    hands = Hands(window)
    page = window.page
    window.go("/schemes/")
    window.audit(in_each_look=True)
    hands.button("Begin with the starter schemes")
    hands.link("HS-OP, rev. 1")
    hands.audit()

    example = page.locator("#example")
    before = example.inner_text()
    hands.type("Good for, months*", "12", exact=True)
    hands.press("Tab")
    page.wait_for_function(
        "before => document.querySelector('#example').innerText !== before", arg=before
    )
    window.settle()
    hands.button("Save the draft")
    assert "The source went with the figure" in page.inner_text("main")
    window.audit(in_each_look=True)

    hands.link("What publishing changes")
    window.audit(in_each_look=True)
    hands.type("Why", "Compared with WI-204, rev. C.")
    hands.type("Password", PASSWORD)
    hands.button("Publish")
    hands.audit()

    published = SchemeRevision.objects.in_force().get()
    assert (published.name, published.validity_months) == ("HS-OP, rev. 1", 12)
    assert Scope.objects.count() == 12
    assert verify_records().fits
    assert hands.acts <= MOST_ACTS, hands.acts
