"""Every page that can be opened, as axe-core, a narrow window and paper find it."""

import pytest
from django.test import Client
from playwright.sync_api import APIResponse, Error, Page, Response

from people.models import Person
from tests.access_scenario import Scenario, build
from tests.browser.axe import violations
from tests.browser.conftest import DESK, PHONE, RULES
from tests.browser.printed import print_faults
from tests.test_access_table import OF_PROGRAMS, TABLE, address, asked

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# Whoever sees most of a page comes first.
READERS = (
    "quality",
    "instructor",
    "own_quality",
    "own_instructor",
    "administrator",
    "lead",
    "owner",
    "other",
    "kiosk",
    "anonymous",
)
LOOKS = (
    (DESK, "light", {"type": "tag", "values": RULES}),
    (PHONE, "dark", {"type": "rule", "values": ["color-contrast", "target-size"]}),
)
"""Sizes and colours. Names, roles and order are the same in each, and are asked once."""
PARTS = 4
IN_ONE_LANGUAGE = {"kiosk", "anonymous"}
SIDEWAYS = "document.documentElement.scrollWidth > innerWidth"


def addresses(scenario: Scenario) -> list[tuple[str, str]]:
    """Each address that is read, with who reads it; what stands behind a question mark too."""
    found = []
    for name, row in TABLE.items():
        if "GET" not in row.method.split() or name.startswith(OF_PROGRAMS):
            continue
        if not row.may:
            continue
        reader = next((one for one in READERS if one in row.may), min(row.may))
        things = scenario.things_for(reader)
        query = Client().get("/", asked(row, things)).request["QUERY_STRING"]
        found.append((reader, address(name, row, things) + (f"?{query}" if query else "")))
    return found


def open_page(page: Page, url: str) -> bool:
    """Open what is at an address, and say whether it is a page: no file, and no part of a page.

    Parts are looked at within their page.
    """
    answer: Response | APIResponse | None
    try:
        answer = page.goto(url)
    except Error as error:
        # The browser would keep it as a file, and says nothing of how it was answered.
        if "Download is starting" not in error.message:
            raise
        answer = page.context.request.get(url)
        assert "text/html" not in answer.headers["content-type"], url
    assert answer is not None
    assert answer.status in (200, 503), (url, answer.status)
    return "text/html" in answer.headers["content-type"] and "<html" in answer.text()


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_is_open_to_everybody_in_light_and_dark(visitor, part):
    scenario = build()
    seen, faults = 0, []
    window = visitor()
    page = window.page
    for reader, url in sorted(addresses(scenario))[part::PARTS]:
        page.context.clear_cookies()
        if reader != "anonymous":
            window.sign_in_as(scenario.users[reader])
        page.set_viewport_size(DESK)
        if not open_page(page, window.address + url):
            continue
        window.settle()
        seen += 1
        for size, scheme, rules in LOOKS:
            page.set_viewport_size(size)
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            for one in violations(page, rules):
                html = one["nodes"][0]["html"][:120]
                faults.append(f"{url} {size['width']} {scheme}: {one['id']}: {html}")
            if page.evaluate(SIDEWAYS):
                faults.append(f"{url} {size['width']} {scheme}: scrolls sideways")
        faults += [f"{url} on paper {fault}" for fault in print_faults(page)]
        if reader not in IN_ONE_LANGUAGE:
            # The longer words of German, at both sizes.
            Person.objects.update(language="de")
            page.set_viewport_size(PHONE)
            page.reload()
            window.settle()
            for size in (PHONE, DESK):
                page.set_viewport_size(size)
                if page.evaluate(SIDEWAYS):
                    faults.append(f"{url} {size['width']} in German: scrolls sideways")
            Person.objects.update(language="en")
    assert faults == []
    assert seen > 100 / PARTS
