"""A list of thirty people out of a spreadsheet: pasted, asked about, looked at, taken in."""

import pytest

from certification.models import Certificate
from people.models import Person, Role, User
from tests.browser.hands import Hands
from tests.factories import make_revision, make_scope, make_site, make_user

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AT_MOST = 14
HEADING = "Pers.-Nr.\tName\tE-mail\tGeltungsbereich\tZertifikatsnr.\tAusgestellt am\tEintritt"
ROWS = [
    f"{n:05d}\tByrne, Person {n}\t{'' if n % 3 else f'p{n}@example.org'}\tterm-op\tX-{n}\t"
    f"{n % 12 + 1}/3/2026\t{n % 28 + 1}.1.2020"
    for n in range(1, 31)
]


@pytest.fixture
def user():
    make_revision(make_scope(code="TERM-OP", title="Terminals"), name="HS rev. 1", vision_months=24)
    return make_user(Role.ADMINISTRATOR, Role.QUALITY, site=make_site())


def test_thirty_people_are_brought_and_nobody_is_surprised(visitor, user):
    opened = visitor()
    opened.sign_in_as(user)
    hands = Hands(opened)
    opened.go("/people-lists/")
    opened.audit(in_each_look=True)
    hands.acts += 2  # A click into the field, and the keys that paste.
    hands.page.get_by_label("Or paste the rows here").fill("\n".join([HEADING, *ROWS]))
    hands.button("Go on")
    hands.audit()
    hands.button("Show what it would do")
    hands.audit()

    page = hands.page
    hands.click(page.get_by_label("the first: day, month, year"))
    hands.click(page.get_by_label("turn them round: Person 1 Byrne"))
    hands.click(page.get_by_label("each since its own day"))
    hands.choose("Scheme of all rows", "HS rev. 1")
    # What differs in capitals alone is suggested, and said by sending it.
    assert page.get_by_label("Scope “term-op”, in 30 rows, means").input_value() == "to:TERM-OP"
    hands.button("Show it again with this")
    hands.audit()

    assert page.locator(".list-sum").inner_text().split("\n")[-1].split() == [
        "30", "no", "vision", "test"
    ]  # fmt: skip
    assert page.locator("tr", has_text="00007").get_by_text("vision not current").is_visible()
    hands.button("Take the list in")
    hands.audit()
    assert Certificate.objects.filter(number__startswith="X-").count() == 30
    assert Person.objects.filter(full_name="Person 7 Byrne", employee_number="00007").exists()
    assert User.objects.filter(person__certificates__number__startswith="X-").count() == 30
    hands.link("Undo it")
    hands.audit()
    assert hands.acts <= AT_MOST, hands.acts
