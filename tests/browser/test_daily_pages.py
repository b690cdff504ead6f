"""The daily pages as their readers want them; acts are clicks and keys."""

from datetime import timedelta

import pytest

from certification.models import Scope
from people.presenters.days import format_page_day
from tests.factories import make_certificate

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ACT = 0
# What has been clicked and typed since the page's first script ran.
COUNT = """
  sessionStorage.acts ??= '0';
  for (const kind of ['click', 'keydown']) {
    addEventListener(kind, (act) => {
      if (act.isTrusted) sessionStorage.acts = Number(sessionStorage.acts) + 1;
    }, true);
  }
"""


def acts(window) -> int:
    return int(window.page.evaluate("sessionStorage.acts"))


def seen_at_once(window, text: str) -> bool:
    """Whether a text stands within the window as it opened."""
    box = window.page.get_by_text(text).first.bounding_box()
    return box is not None and box["y"] + box["height"] <= window.page.viewport_size["height"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_operator_sees_at_once_until_when_and_what_keeps_it(visitor, shop, scheme):
    person = shop.trainee.person
    scope = Scope.objects.get(level="operator")
    made = make_certificate(person, scope, issued_on=person.site.today() - timedelta(days=5))
    window = visitor(phone=True)
    window.page.emulate_media(color_scheme=scheme)
    window.page.add_init_script(COUNT)
    window.sign_in(shop.trainee.employee_number)

    window.go("/my-card/")

    assert seen_at_once(window, f"until {format_page_day(made.valid_through)}")
    assert seen_at_once(window, "be re-certified by then")
    assert acts(window) == NO_ACT
    window.audit()
