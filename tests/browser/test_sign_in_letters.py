"""Somebody without mail signs in: from a list and a printed letter to their own card."""

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from people.models import User
from people.presenters.sign_in_letters import code_address
from tests import factories
from tests.browser.conftest import PASSWORD

OWN = "a lamp over the far bench"


@pytest.fixture
def people(transactional_db):
    site = factories.make_site(contact="Training office, extension 2207")
    administrator = factories.make_user("administrator", site=site, password=PASSWORD)
    people = [factories.make_person(site, full_name=name) for name in ("Ari Vance", "Bo Quill")]
    return administrator, people


def test_from_the_list_by_a_letter_to_ones_own_card(visitor, people):
    administrator, (ari, _bo) = people
    desk = visitor()
    desk.sign_in(administrator.employee_number)
    desk.go("/letters/")
    desk.audit()

    desk.page.get_by_role("link", name="Tick all who wait for one").click()
    desk.page.fill("[name=password]", PASSWORD)
    with desk.page.expect_download() as download:
        desk.page.get_by_role("button", name="Make the codes and the file to print").click()
    reader = PdfReader(Path(download.value.path()))
    assert len(reader.pages) == 2
    read = re.sub(r"[\s\u200b]", "", reader.pages[0].extract_text())
    code = re.search(r"([a-z2-9]{4}-){4}[a-z2-9]{4}", read)
    assert code

    phone = visitor(phone=True)
    asked: list[str] = []
    phone.page.on("request", lambda request: asked.append(request.url))
    said = code_address(ari.employee_number, code[0]).partition("/code/")[2]
    phone.go("/code/" + said)
    phone.audit()
    # Number and code are filled in from what the camera read, and stand in no address any more.
    assert phone.page.input_value("[name=code]") == code[0]
    assert phone.page.url.endswith("/code/")
    assert not any(code[0] in url.partition("#")[0] for url in asked)
    phone.page.keyboard.type(OWN)
    phone.page.keyboard.press("Tab")
    phone.page.keyboard.type(OWN)
    phone.page.keyboard.press("Enter")
    phone.page.wait_for_url(lambda url: "/code/" not in url)

    assert User.objects.get(person=ari).check_password(OWN)
    assert "Ari Vance" in phone.page.content()
