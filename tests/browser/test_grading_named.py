"""The grading screen as a screen reader has it: names, states, and what is said."""

import pytest
from playwright.sync_api import expect

from assessments.content import CriteriaSetContent
from assessments.content.criteria import REVISION_1
from tests import factories
from tests.browser.test_grading_screen import Bench, lay_out, visitor  # noqa: F401
from training.models import Calibration, Tool

ACTED_ON = {"button", "link", "textbox", "combobox", "radio", "checkbox", "spinbutton"}


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """A set in which wetting, which comes first, is judged by eye."""
    return REVISION_1


@pytest.fixture
def bench(shop, visitor) -> Bench:  # noqa: F811
    bench = lay_out(shop, visitor(), joints=2, a_joint=2)
    tool = factories.make_tool(shop.trainee.person.site, code="GAUGE-3", kind=Tool.Kind.GAUGE)
    today = tool.site.today()
    Calibration.objects.create(
        tool=tool, calibrated_on=today, valid_through=today, recorded_at=factories.NOW
    )
    bench.open()
    return bench


def unnamed(bench: Bench) -> list[str]:
    """The role and place of each control that a screen reader has no name for."""
    session = bench.page.context.new_cdp_session(bench.page)
    nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    acted_on = [
        node
        for node in nodes
        if not node.get("ignored") and node.get("role", {}).get("value") in ACTED_ON
    ]
    assert len(acted_on) > 30
    return [
        node["role"]["value"]
        for node in acted_on
        if not node.get("name", {}).get("value", "").strip()
    ]


def test_what_the_screen_shows_has_a_name_and_a_state(bench):
    page = bench.page
    judge = page.locator(".judge")
    expect(judge).to_match_aria_snapshot("""
        - region "Wetting E01, criterion 1 of 8":
          - heading "Wetting E01, criterion 1 of 8" [level=2]
          - button "A Accept"
          - button "R Reject"
          - button "N Not applicable"
          - group "How you see it":
            - radio "Photograph" [checked]
    """)
    expect(judge.get_by_role("button", pressed=True)).to_have_count(0)
    bench.press("r")
    bench.press("1")  # Back to what was judged.
    expect(judge.get_by_role("button", pressed=True)).to_have_text("RReject")
    expect(page.locator("#screen")).to_match_aria_snapshot("""
        - list "Criteria":
          - listitem:
            - link "1 Wetting , critical reject"
          - listitem:
            - link "2 Enough solder , major open"
    """)
    assert page.locator("#criterion-S-01").get_attribute("aria-current") == "true"

    bench.press("4")  # What is measured; the keyboard alone opens the fields of the instrument.
    page.focus("#by-eye summary")
    page.keyboard.press("Enter")
    expect(judge.get_by_role("button", name="by eye")).to_have_text(
        ["EAccept, by eye", "⇧EAccept, by eye. And the rest", "Reject, by eye"]
    )
    page.focus(".instrument summary")
    page.keyboard.press("Enter")
    page.focus("#value")
    page.keyboard.type("1.2")
    page.keyboard.press("Tab")
    page.keyboard.type("0.1")
    page.keyboard.press("Tab")
    page.keyboard.type("GAUGE")
    page.keyboard.press("Tab")
    bench.press("a")
    bench.press("4")
    readout = page.get_by_role("group", name="Insulation clearance")
    expect(readout).to_contain_text("1.2 d")
    expect(readout).to_contain_text("± 0.1 d")
    expect(readout).to_contain_text("within")
    expect(page.locator("#criterion-S-05")).to_have_accessible_name(
        "4 Insulation clearance , 1.2 d accept"
    )

    while bench.where()["place"] == "E01":
        bench.accept(rest=True)
    expect(page.get_by_role("list", name="Joints of the board")).to_match_aria_snapshot("""
        - list "Joints of the board":
          - listitem:
            - link "E01 , rejected"
          - listitem:
            - link "E02 , open"
          - listitem:
            - link "board , open"
    """)
    assert unnamed(bench) == []


def test_what_is_done_kept_back_and_saved_is_said(bench):
    page = bench.page
    said = page.get_by_role("status")
    bench.press("a")
    expect(
        said.filter(has_text="E01, Wetting: accept. Now E01, Enough solder: open.")
    ).to_be_attached()
    bench.press("u")
    expect(said.filter(has_text="Taken back. Now E01, Wetting: open.")).to_be_attached()
    page.context.set_offline(True)
    page.keyboard.press("a")
    expect(said.filter(has_text="1 not saved yet")).to_be_visible()
    expect(page.locator("#criterion-S-01")).to_have_accessible_name(
        "1 Wetting , critical , not saved yet accept"
    )
    page.context.set_offline(False)
    expect(said.filter(has_text="Everything is saved.")).to_be_attached()
    expect(page.locator("#unsaved")).to_be_hidden()
