"""What axe-core is given here to go quicker leaves what it finds as it is."""

import pytest
from axe_playwright_python.base import AXE_SCRIPT

from tests.browser.axe import FIND, violations

CONTRAST = {"type": "rule", "values": ["color-contrast"]}
# Grounds and texts in each way that a style is computed to: opaque, half seen through, in another
# space of colours; too faint by a little, enough by a little, and one written again.
PAGE = """<!doctype html><html lang="en"><title>Colours</title>
<style>
  :root { color-scheme: light dark }
  body { background: #fff; color: #000 }
  @media (prefers-color-scheme: dark) { body { background: #111; color: #eee } }
  div { background: rgb(0 90 160 / 0.5) }
</style>
<main>
  <p style="color: #777">faint on white</p><p style="color: #767676">enough on white</p>
  <p style="color: #777">faint again</p><p style="color: rgb(0 0 0 / 0.4)">half seen</p>
  <div><p style="color: #555">on a half ground</p><p>as the page has it</p>
    <div><p style="color: #777">on two half grounds</p></div></div>
  <p style="color: oklch(0.7 0.1 250)">of another space</p>
  <p style="color: color-mix(in srgb, red 40%, gray)">mixed</p>
  <p style="opacity: 0.5">all of it half seen</p>
</main>"""


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_same_colours_are_found_too_faint_as_by_axe_core_alone(chromium, scheme):
    context = chromium.new_context(color_scheme=scheme)
    pages = [context.new_page(), context.new_page()]
    for page in pages:
        page.set_content(PAGE)
    pages[0].evaluate(AXE_SCRIPT)
    alone = pages[0].evaluate(FIND, {"runOnly": CONTRAST, "resultTypes": ["violations"]})
    found = violations(pages[1], CONTRAST)
    # In the window's next document the script is at hand.
    pages[1].goto("about:blank")
    pages[1].set_content(PAGE)
    found_again = violations(pages[1], CONTRAST)
    context.close()
    assert found == found_again == alone
    assert len(found[0]["nodes"]) > 3
