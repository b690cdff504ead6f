"""An evidence pack, from the page that asks for it to an auditor who reads it without a network."""

import zipfile
from datetime import timedelta
from pathlib import Path

from django.utils import timezone
from playwright.sync_api import expect

from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs
from audit.tasks import build_pack
from tests import factories
from tests.assessments import written
from tests.audit import packs
from tests.browser.axe import violations
from tests.browser.conftest import DESK, PHONE, RULES
from tests.browser.printed import print_faults


def test_pack_is_asked_for_seen_to_grow_taken_home_and_read_offline(
    transactional_db, visitor, chromium, tmp_path
):
    evidence = packs.make_evidence(photos=3)
    taker = factories.make_user(person=evidence.person)
    instructor = factories.make_user("instructor", site=evidence.person.site)
    paper = written.take(written.make_test(), taker, instructor)
    window = visitor()
    window.sign_in_as(evidence.quality)
    window.go(f"/people/{evidence.person.employee_number}/")
    window.page.get_by_role("link", name="Evidence pack", exact=True).click()
    window.page.get_by_role("button", name="Put it together").click()
    expect(window.page.locator("#progress")).to_contain_text("Waits for a worker")
    pack = EvidencePack.objects.get()

    evidence_packs.build_pack(
        pack_id=pack.pk,
        clock=timezone.now,
        contents_of=PackContents,
        round_lasts=timedelta(microseconds=-1),
    )
    expect(window.page.locator("#progress")).to_contain_text("1 file written")
    assert build_pack(pack.pk)
    # The page sees by itself that it is ready.
    take_it = window.page.get_by_role("link", name="Take it (ZIP)")
    expect(take_it).to_be_visible()
    with window.page.expect_download() as taken:
        take_it.click()
    with zipfile.ZipFile(taken.value.path()) as archive:
        archive.extractall(tmp_path)

    reads_offline(chromium, tmp_path / pack.number, evidence.certificate.number, paper.number)


def reads_offline(chromium, folder: Path, *says: str) -> None:
    """The first page from the disk, without a network: whole, with links that lead to files."""
    context = chromium.new_context(viewport=DESK, offline=True)
    page = context.new_page()
    complaints, asked_for = [], []
    page.on("console", lambda said: complaints.append(said.text))
    page.on("request", lambda request: asked_for.append(request.url))
    page.goto((folder / "index.html").as_uri())
    for words in says:
        expect(page.locator("main")).to_contain_text(words)
    for size, shown in ((DESK, "is-wide"), (PHONE, "is-narrow")):
        page.set_viewport_size(size)
        drawn = page.locator(".life-picture").filter(visible=True)
        expect(drawn).to_have_count(1)
        assert shown in drawn.get_attribute("class")
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, f"{wide} px wider than {size}"
    links = page.locator("main a").evaluate_all("all => all.map((one) => one.href)")
    within = {link.split("#")[0].removeprefix(folder.as_uri()) for link in links}
    assert len(within) > 10
    assert [link for link in within if not (folder / link.lstrip("/")).is_file()] == []
    pictures = page.locator("main img")
    assert pictures.count() == 3
    for picture in pictures.all():
        picture.scroll_into_view_if_needed()
        expect(picture).to_have_js_property("complete", value=True)
        assert picture.evaluate("(one) => one.naturalWidth") > 0
    assert print_faults(page) == []
    assert complaints == []
    assert [url for url in asked_for if not url.startswith(folder.as_uri())] == []
    # Last, since axe-core asks for the style sheet, which the page forbids.
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        found = violations(page, RULES)
        assert [(each["id"], each["nodes"][0]["html"][:160]) for each in found] == []
    context.close()
