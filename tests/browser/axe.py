"""What axe-core finds on a page."""

from collections.abc import Sequence
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

# A colour that is written alike is the same colour: axe-core reads each anew for every element that
# lies behind a text, a third of all its time.
READ_COLOURS_ONCE = """() => {
  const { prototype } = axe.commons.color.Color;
  const { parseString } = prototype;
  const known = new Map();
  prototype.parseString = function (written) {
    if (known.has(written)) [this.r, this.g, this.b, this.alpha] = known.get(written);
    else {
      parseString.call(this, written);
      known.set(written, [this.r, this.g, this.b, this.alpha]);
    }
    return this;
  };
}"""
# The script is half a megabyte: it is sent to a window once, and later documents of the window have
# it at hand, read only where they are looked at.
WHOLE = f"{AXE_SCRIPT};({READ_COLOURS_ONCE})()"
AT_HAND = f"window.readAxe = () => {{{WHOLE}}}"
IS_READ = """() => {
  if (!('axe' in window)) window.readAxe?.();
  return 'axe' in window;
}"""
FIND = "(options) => axe.run(options).then((found) => found.violations)"


def violations(
    page: Page, run_only: list[str] | dict[str, Any], *, but: Sequence[str] = ()
) -> list[dict[str, Any]]:
    """Every rule that the page breaks of those named, with the elements that break it.

    Rules in ``but`` are left out.

    Of what is in order, nothing is told.
    """
    if not page.evaluate(IS_READ):
        page.add_init_script(AT_HAND)
        page.evaluate(WHOLE)
    rules = {name: {"enabled": False} for name in but}
    return page.evaluate(FIND, {"runOnly": run_only, "rules": rules, "resultTypes": ["violations"]})
