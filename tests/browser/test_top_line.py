"""The top line holds the pages of every role at a desk's width, in either language."""

from tests import factories
from tests.browser.conftest import PASSWORD, Visitor

OUTSIDE = """() => {
  const top = document.querySelector('header.top');
  const edge = top.getBoundingClientRect().right - parseFloat(getComputedStyle(top).paddingRight);
  return [...document.querySelectorAll('.top > *, .top nav a')]
    .filter((one) => getComputedStyle(one).display !== 'none')
    .filter((one) => one.getBoundingClientRect().right > edge + 1)
    .map((one) => one.textContent);
}"""
PLACEHOLDER_CUT = """() => {
  const field = document.querySelector('#find');
  const style = getComputedStyle(field);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = style.font;
  const room = field.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
  return pen.measureText(field.placeholder).width > room;
}"""


def test_pages_and_find_field_stay_within_the_margin(visitor, shop):
    window = visitor()
    for roles in (("instructor",), ("quality",), ("instructor", "quality")):
        for language in ("en", "de"):
            stays_within_the_margin(window, shop, roles, language)


def stays_within_the_margin(window: Visitor, shop, roles, language) -> None:
    person = factories.make_person(
        shop.instructor.person.site,
        language=language,
        full_name="Bartholomea Winterscheidt-Overbeck",
    )
    user = factories.make_user(*roles, person=person, password=PASSWORD)
    window.sign_in(user.employee_number)
    window.go("/account/pin/")
    assert window.page.get_attribute("html", "lang") == language
    assert window.page.locator(".top nav a").count() > 7
    assert window.page.evaluate(OUTSIDE) == []
    assert not window.page.evaluate(PLACEHOLDER_CUT)
