"""The daily pages as their readers want them; acts are clicks and keys."""

import io
from datetime import timedelta

import pytest
from pypdf import PdfReader

from certification.domain.months import add_months
from certification.models import Scope
from people.presenters.days import format_page_day
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_session,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ACT, ONE_ACT = 0, 1
# What has been clicked and typed since the page's first script ran.
COUNT = """
  sessionStorage.acts ??= '0';
  for (const kind of ['pointerdown', 'keydown']) {
    addEventListener(kind, (act) => {
      if (act.isTrusted) sessionStorage.acts = Number(sessionStorage.acts) + 1;
    }, true);
  }
"""


def acts(window) -> int:
    return int(window.page.evaluate("sessionStorage.acts"))


def printed(window) -> list[str]:
    """What the browser prints, page by page."""
    pages = PdfReader(io.BytesIO(window.page.pdf(prefer_css_page_size=True))).pages
    texts = [page.extract_text() for page in pages]
    # chromium-headless-shell puts a blank page first at times, Chromium never did.
    return texts if texts[0].strip() else texts[1:]


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


@pytest.mark.parametrize("phone", [False, True], ids=["desk", "phone"])
def test_months_ahead_fit_two_screens(visitor, shop, phone):
    """With eight kinds of work and a certificate of each that ends in every month."""
    today = shop.trainee.person.site.today()
    for number in range(8):
        scope = make_scope(title=f"Kind of work number {number}, operator")
        revision = make_revision(scope, validity_months=24)
        for months in range(12):
            make_certificate(
                make_person(shop.trainee.person.site),
                scope,
                revision=revision,
                issued_on=add_months(today.replace(day=15), months - 23),
            )
    make_session(shop.trainee.person.site, starts_on=today, ends_on=today)
    window = visitor(phone=phone)
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)

    window.go("/months-ahead/")

    ends = window.page.evaluate(
        "document.querySelector('main').getBoundingClientRect().bottom"
        " - parseFloat(getComputedStyle(document.querySelector('main')).paddingBottom)"
    )
    assert ends <= 2 * window.page.viewport_size["height"]
    assert acts(window) == NO_ACT
    summary = window.page.locator(".month > summary").first
    summary.click()
    assert window.page.locator(".month[open] tbody tr").first.is_visible()
    assert acts(window) == ONE_ACT
    window.audit()
    lines = window.page.locator(".month tbody tr:has-text('renew:')").count()
    assert lines > 80
    assert "".join(printed(window)).count("renew:") == lines, "What is folded is printed too"


@pytest.mark.parametrize("path", ["/register/", "/months-ahead/", "/people/"])
def test_filters_fold_away_on_a_phone_alone(visitor, shop, path):
    window = visitor(phone=True)
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)
    window.go(path)
    filters = window.page.locator("form.filters:has(.fold)")
    assert not filters.get_by_role("button", name="Show").is_visible()
    window.audit()

    filters.get_by_text("Filters").click()

    assert filters.get_by_role("button", name="Show").is_visible()
    assert acts(window) == ONE_ACT
    window.audit()
    window.page.set_viewport_size({"width": 1280, "height": 800})
    assert not filters.get_by_text("Filters").is_visible()


def test_folded_filters_say_how_many_are_set(visitor, shop):
    window = visitor(phone=True)
    window.sign_in(shop.quality.employee_number)
    window.go("/register/?q=Signe&standing=certified")
    fold = window.page.locator(".filters .fold")
    assert "2 set" in fold.inner_text()
    window.go("/register/")
    assert "set" not in fold.inner_text()
