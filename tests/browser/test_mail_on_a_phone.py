"""A mail as a phone shows it: it does not scroll sideways, and axe-core finds no fault."""

from email import message_from_bytes
from email.policy import SMTP

import pytest
from playwright.sync_api import ViewportSize

from reminders.models import Message
from tests.browser.axe import violations
from tests.browser.conftest import RULES
from tests.factories import make_scope, make_site, make_user
from tests.reminders.reminder_scenes import ends_in, somebody, sweep, vision_ends_in

pytestmark = pytest.mark.django_db

WIDE: ViewportSize = {"width": 390, "height": 800}
NARROW: ViewportSize = {"width": 320, "height": 800}
DARK = {"type": "rule", "values": ["color-contrast"]}
LONGEST = "Wärmeleitpastenauftragsvorrichtungsbedienung" * 2


@pytest.fixture
def mails():
    """The mails to a person, their line lead and an instructor, with words that hardly fit."""
    make_site(address=LONGEST, contact="training-office-of-the-whole-plant@skarnfell.example" * 2)
    made = []
    for language in ("en", "de"):
        lead = somebody(f"Lena{language} Voss", language=language)
        person = somebody(f"Marta{language} {LONGEST}", lead=lead, language=language)
        make_user("instructor", person=somebody(f"Ines{language} Aldecoa", language=language))
        ends_in(7, person, make_scope(title=LONGEST))
        vision_ends_in(6, person, number=f"V-{language}")
    sweep()
    for message in Message.objects.order_by("pk"):
        mime = message_from_bytes(bytes(message.raw), policy=SMTP)
        made.append(mime.get_body(("html",)).get_content())
    assert len(made) == 6
    return made


def test_mail_reads_on_a_phone(chromium, mails):
    context = chromium.new_context(viewport=WIDE)
    page = context.new_page()
    for html in mails:
        page.set_content(html)
        for size in (WIDE, NARROW):
            page.set_viewport_size(size)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size["width"], f"{wide} px wide where there are {size['width']}"
        smallest = page.evaluate(
            "Math.min(...[...document.querySelectorAll('p, li, dt, dd, h2, h3')]"
            ".map(one => parseFloat(getComputedStyle(one).fontSize)))"
        )
        assert smallest >= 14
        for scheme, rules in (("light", RULES), ("dark", DARK)):
            page.emulate_media(color_scheme=scheme)
            assert [one["id"] for one in violations(page, rules)] == []
    context.close()
