"""The daily pages as their readers want them; acts are clicks and keys."""

import io
from datetime import timedelta

import pytest
from pypdf import PdfReader

from certification.domain.months import add_months
from certification.models import CertificateEvent, SchemeRevision, Scope
from certification.services import standing
from people.presenters.days import format_page_day
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_session,
)
from training.models import PracticeRecord, VisionTest

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ACT, ONE_ACT = 0, 1
GUTTER = 40
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


def test_operator_sees_at_once_until_when_and_what_keeps_it(visitor, shop):
    person = shop.trainee.person
    scope = Scope.objects.get(level="operator")
    made = make_certificate(person, scope, issued_on=person.site.today() - timedelta(days=5))
    window = visitor(phone=True)
    window.page.add_init_script(COUNT)
    window.sign_in(shop.trainee.employee_number)

    window.go("/my-card/")

    assert seen_at_once(window, f"until {format_page_day(made.valid_through)}")
    assert seen_at_once(window, "be re-certified by then")
    assert acts(window) == NO_ACT


def test_months_ahead_fit_two_screens(visitor, shop):
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
    for phone in (False, True):
        months_fit(visitor(phone=phone), shop)


def months_fit(window, shop) -> None:
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


def test_filters_fold_away_on_a_phone_alone(visitor, shop):
    for path in ("/register/", "/months-ahead/", "/people/"):
        fold_away(visitor(phone=True), shop, path)


def fold_away(window, shop, path: str) -> None:
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


def test_life_in_a_scope_prints_as_one_page(visitor, shop):
    """With more of everything than a page holds: what is left out is said."""
    person = shop.trainee.person
    scope = Scope.objects.get(level="operator")
    revision = SchemeRevision.objects.get()
    today = person.site.today()
    for year in range(8):
        made = make_certificate(
            person, scope, revision=revision, issued_on=today - timedelta(days=300 * (8 - year))
        )
        for place, kind in enumerate(("suspended", "reinstated")):
            CertificateEvent.objects.create(
                event_id=f"E-{year}-{kind}",
                certificate=made,
                kind=kind,
                effective_on=made.issued_on + timedelta(days=20 + place * 9),
                recorded_at=NOW,
                reason="Rejects beyond what the site allows, seen with three boards. " * 3,
            )
        VisionTest.objects.create(
            test_id=f"CA-V-1{year}",
            person=person,
            tested_on=made.issued_on,
            passed=True,
            recorded_at=NOW,
        )
    for week in range(120):
        PracticeRecord.objects.create(
            person=person,
            scope_code=scope.code,
            performed_on=today - timedelta(days=7 * week),
            reference=f"WO-{week}",
            recorded_at=NOW,
        )
    standing.rebuild_person(person)
    window = visitor()
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)

    for asked in ("", "?practice=all", "?known_at=2020-01-01"):
        window.go(f"/standing/{person.pk}/{scope.pk}/{asked}")
        [page] = printed(window)
        assert "Signe Aldous" in page
        assert "Printed" in page
    window.go(f"/standing/{person.pk}/{scope.pk}/")
    [page] = printed(window)
    assert acts(window) == NO_ACT
    assert "The answer" in page
    assert "The latest 8 of 120" in page
    assert "certified" in page


@pytest.mark.parametrize(("scopes", "fit"), [(1, 13), (8, 4)])
def test_any_answer_of_who_was_that_prints_as_one_page(visitor, shop, scopes, fit):
    """Twenty people on one work order, each with several kinds of work or one."""
    site, today = shop.trainee.person.site, shop.trainee.person.site.today()
    made = [make_scope(title=f"Kind of work number {number}") for number in range(scopes)]
    for number in range(20):
        person = make_person(site, full_name=f"Person Number {number}")
        for scope in made:
            make_certificate(person, scope, issued_on=today - timedelta(days=30))
        PracticeRecord.objects.create(
            person=person,
            scope_code="" if scopes > 1 else made[0].code,
            performed_on=today,
            reference="WO-77",
            recorded_at=NOW,
        )
    window = visitor()
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)

    window.go("/register/who-was-that/?q=WO-77")
    window.audit()
    [page] = printed(window)
    shown = page.count("Person Number")
    assert shown == fit
    assert f"{20 - fit} more answers are on the screen" in page
    assert window.page.get_by_text("Person Number").count() == 20
    assert acts(window) == NO_ACT


def test_form_uses_the_width_it_has(visitor, shop):
    window = visitor()
    window.sign_in(shop.instructor.employee_number)
    for path in ("/people/new/", "/tools/new/"):
        window.go(path)
        fields = window.page.locator("main form .mb-3 :is(input, select)")
        boxes = [fields.nth(place).bounding_box() for place in range(fields.count())]
        page = window.page.locator("main .page").bounding_box()
        reach = max(box["x"] + box["width"] for box in boxes) - min(box["x"] for box in boxes)
        assert reach > 0.9 * page["width"] - 2 * GUTTER
        send = window.page.locator("main form button[type=submit]").bounding_box()
        assert send["y"] + send["height"] <= 800
        window.audit()

        window.page.set_viewport_size({"width": 390, "height": 844})
        window.audit()
