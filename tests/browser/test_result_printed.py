"""A result sheet printed from the browser: no page ends with a heading alone."""

import io
import re

from pypdf import PdfReader

from tests import factories
from tests.browser.test_readings import eye_criterion, read

JOINTS = 9


def test_no_page_ends_with_the_heading_of_what_follows(shop, visitor):
    exercise = factories.make_exercise(("turret",) * JOINTS)
    board = factories.make_board(shop.trainee.person, exercise)
    code = eye_criterion()
    read(board, shop.instructor, *(f"E{n:02d} {code}" for n in range(1, JOINTS + 1)))
    window = visitor()
    window.sign_in(shop.instructor.employee_number)
    window.go(f"/boards/{board.number}/result/sheet/")
    window.page.evaluate(
        "document.querySelector('.sheet-body').prepend("
        "Object.assign(document.createElement('div'), {id: 'moved'}))"
    )
    # Wherever the joints come to stand on their pages.
    for high in range(0, 160, 20):
        window.page.evaluate(
            "(high) => { document.querySelector('#moved').style.height = `${high}px` }", high
        )
        pages = PdfReader(io.BytesIO(window.page.pdf(prefer_css_page_size=True))).pages
        said = [lines_on(page) for page in pages]
        if not said[0]:
            # chromium-headless-shell puts a blank page first at times, Chromium never did.
            said = said[1:]
        assert len(said) > 2
        for page in said:
            assert not re.search(r"^E\d\d|rejected, score|One by one", page[-1]), (high, page[-3:])


def lines_on(page) -> list[str]:
    """What a page says, line by line, but for its number."""
    found = [line.strip() for line in page.extract_text().splitlines()]
    return [line for line in found if line and not re.fullmatch(r"\d+ ?/ ?\d+", line)]
