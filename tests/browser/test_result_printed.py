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
    for lines in range(0, 160, 20):
        window.page.evaluate(
            "(high) => { document.querySelector('#moved').style.height = `${high}px` }", lines
        )
        pages = PdfReader(io.BytesIO(window.page.pdf(prefer_css_page_size=True))).pages
        assert len(pages) > 2
        for page in pages:
            said = [one.strip() for one in page.extract_text().splitlines() if one.strip()]
            said = [one for one in said if not re.fullmatch(r"\d+ ?/ ?\d+", one)]
            last = said[-1] if said else ""
            assert not re.search(r"^E\d\d|rejected, score|One by one", last), (lines, said[-3:])
