"""From a code scanned at hand-in to what is decided once the tool was found out of its limits."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from assessments.models import ToolWorkDecision
from tests import factories
from tests.browser.hands import Hands
from training.services import tools

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PAPER = SimpleUploadedFile("K-2291.pdf", b"%PDF-1.7\n%%EOF\n")


def test_a_tool_found_out_of_its_limits_leads_to_its_boards(visitor, shop):
    site = shop.trainee.person.site
    today = site.today()
    iron = factories.make_tool(site, code="IRON-07", kind="iron")
    tools.record_calibration(
        tool=iron,
        calibrated_on=today - timedelta(days=200),
        valid_through=today + timedelta(days=165),
        passed=True,
        passed_as_found=True,
        actor=shop.instructor,
        at=timezone.now(),
    )
    board = factories.make_board(
        shop.trainee.person, purpose="qualification", handed_out_on=today - timedelta(days=1)
    )
    trainee = Hands(visitor(phone=True))
    trainee.visitor.sign_in(shop.trainee.employee_number)
    trainee.visitor.go(f"/boards/{board.number}/hand-in/")
    trainee.type("Scan or type codes", "iron-07")
    trainee.audit()
    trainee.button("Hand in")
    assert board.tools.get() == iron

    hands = Hands(visitor())
    hands.visitor.sign_in(shop.instructor.employee_number)
    page = hands.page
    hands.visitor.go("/tools/IRON-07/")
    hands.audit()
    hands.link("Record a calibration")
    hands.type("Good through", f"{today + timedelta(days=365):%Y-%m-%d}")
    found = page.get_by_role("group", name="As found")
    hands.click(found.get_by_text("not passed", exact=True))
    row = page.locator(".reading-rows > li").first
    for label, text in {
        "What was read": "tip at 315 °C",
        "At most": "320",
        "As found": "331",
        "As left": "316",
    }.items():
        row.get_by_label(label).fill(text)
    page.get_by_label("Certificate of the calibration").set_input_files(
        {"name": PAPER.name, "mimeType": "application/pdf", "buffer": PAPER.read()}
    )
    hands.audit()
    hands.button("Record it")
    hands.audit()

    hands.visitor.go("/bench/")
    line = page.locator(".boards > li", has_text="IRON-07")
    assert shop.trainee.person.full_name in line.inner_text()
    hands.click(line.get_by_role("link"))
    assert board.number in page.inner_text("main table").replace("\u2011", "-")
    hands.choose("What was decided", "is judged again")
    hands.type("Why", "Eleven degrees hotter than set.")
    hands.audit()
    hands.button("Write it down")

    assert ToolWorkDecision.objects.get().board == board
    hands.audit()
    hands.visitor.go("/bench/")
    assert page.locator(".boards > li", has_text="IRON-07").count() == 0
