"""What axe-core finds on a page."""

from collections.abc import Sequence
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

FIND = "(options) => axe.run(options).then((found) => found.violations)"


def violations(
    page: Page, run_only: list[str] | dict[str, Any], *, but: Sequence[str] = ()
) -> list[dict[str, Any]]:
    """Every rule that the page breaks of those named, with the elements that break it.

    Rules in ``but`` are left out.

    The script is half a megabyte and is given to each document once; of what is in order,
    nothing is told.
    """
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    rules = {name: {"enabled": False} for name in but}
    return page.evaluate(FIND, {"runOnly": run_only, "rules": rules, "resultTypes": ["violations"]})
