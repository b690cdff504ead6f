"""The page that anybody may open about one certificate, and what it keeps to itself."""

from datetime import timedelta
from urllib.parse import urlencode

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from certification.domain.public_standing import PublicState
from certification.models import CertificateEvent, CertificateWithdrawal
from certification.presenters.public_words import SHAPES, STATES
from certification.queries.public_standing import standing_of
from certification.services import standing
from certification.services.public_codes import code_of
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_user,
)
from training.models import PracticeRecord, VisionTest

pytestmark = pytest.mark.django_db

CHECK = "/c/"
FREE = 10  # wrong tries of one address before it waits
WRONG = "aaaa-bbbb-cccc"
ISSUED = TODAY - timedelta(days=100)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def certificate():
    scope = make_scope(title="Terminals, operator", document="Workmanship, hand soldering")
    return make_certificate(
        make_person(full_name="Bruno Castellane", employee_number="10482"),
        scope,
        revision=make_revision(scope, validity_months=24),
        issued_on=ISSUED,
        restriction="turrets alone",
        issued_by="Ottoline Vesper",
    )


def happened(certificate, kind, day=TODAY, **fields):
    CertificateEvent.objects.create(
        event_id=f"E-{kind}-{day}", certificate=certificate, kind=kind, effective_on=day,
        recorded_at=NOW, **fields,
    )  # fmt: skip
    standing.rebuild_spans(certificate.person, certificate.scope)


def address_of(certificate, code=None):
    code = code or code_of(certificate)
    return reverse("certification:public_certificate", args=[certificate.number, code])


def typed(number, code):
    return f"{CHECK}?{urlencode({'number': number, 'code': code})}"


def test_page_says_what_the_paper_shows_and_that_it_stands(client, certificate):
    response = client.get(address_of(certificate))

    said = response.content.decode()
    assert response.status_code == 200
    for words in (
        "It stands today.",
        "Bruno Castellane",
        "10482",
        "Terminals, operator",
        "Workmanship, hand soldering",
        "turrets alone",
        certificate.number,
        "Ottoline Vesper",
        str(certificate.scheme_revision.name),
    ):
        assert words in said, words


def test_page_sets_no_cookie_runs_no_script_and_is_not_to_be_found(certificate):
    client = Client(enforce_csrf_checks=True)
    for address in (CHECK, address_of(certificate), typed(certificate.number, WRONG)):
        response = client.get(address)

        assert not response.cookies
        assert "script" not in response.content.decode()
        assert response["X-Robots-Tag"] == "noindex, nofollow"
        assert response["Referrer-Policy"] == "no-referrer"
        assert response["Cache-Control"] == "no-store, private"
    assert Client().post(CHECK).status_code == 405


@pytest.mark.parametrize(
    "as_typed",
    [
        lambda number, code: (number, code),
        lambda number, code: (f" {number.lower()} ", code.upper()),
        lambda number, code: (number, code.replace("-", " ")),
    ],
    ids=["as printed", "in other capitals", "with spaces"],
)
def test_number_and_code_are_read_as_people_type_them(client, certificate, as_typed):
    response = client.get(typed(*as_typed(certificate.number, code_of(certificate))))

    assert "It stands today." in response.content.decode()


def test_number_with_a_slash_opens_from_the_code_on_paper(client):
    certificate = make_certificate(number="OLD/12/7")

    assert "OLD/12/7" in client.get(address_of(certificate)).content.decode()


def test_wrong_code_and_unknown_number_answer_alike(client, certificate):
    """Neither is it told that the number is somebody's, nor whether a paper was ever printed."""
    without_paper = make_certificate()
    code_of(certificate)

    answers = [
        client.get(typed(number, WRONG))
        for number in (certificate.number, without_paper.number, "CA-C-77777")
    ]

    assert {answer.status_code for answer in answers} == {404}
    pages = {
        answer.content.decode().replace(number, "")
        for answer, number in zip(
            answers, (certificate.number, without_paper.number, "CA-C-77777"), strict=True
        )
    }
    assert len(pages) == 1
    assert "do not go together" in pages.pop()


def test_empty_form_says_what_to_type_and_is_no_try(client, certificate):
    for _again in range(FREE + 2):
        assert client.get(typed("", "")).status_code == 422
    assert client.get(address_of(certificate)).status_code == 200


def test_wrong_tries_wait_and_a_right_one_between_buys_no_more(client, certificate, clock):
    right, wrong = address_of(certificate), typed(certificate.number, WRONG)
    for _again in range(FREE - 1):
        assert client.get(wrong).status_code == 404
        assert client.get(right).status_code == 200
    client.get(wrong)

    refused = client.get(right)

    assert refused.status_code == 429
    assert "Too many wrong tries. Wait 31 seconds" in refused.content.decode()
    assert "Castellane" not in refused.content.decode()
    elsewhere = client.get(right, REMOTE_ADDR="203.0.113.9")
    assert elsewhere.status_code == 200
    clock.shift(31)
    assert client.get(right).status_code == 200
    assert client.get(wrong).status_code == 404
    assert client.get(wrong).status_code == 429  # A minute now.
    clock.shift(3600 + 61)
    assert [client.get(wrong).status_code for _again in range(FREE - 1)] == [404] * (FREE - 1)


def test_page_speaks_the_language_that_the_browser_asks_for(client, certificate):
    response = client.get(CHECK, HTTP_ACCEPT_LANGUAGE="de")

    assert response["Content-Language"] == "de"
    assert "Accept-Language" in response["Vary"]


def test_whoever_is_signed_in_reads_the_same_page(client, certificate):
    client.force_login(make_user("operator"))

    assert "It stands today." in client.get(address_of(certificate)).content.decode()


# How it stands


def stands(certificate):
    pass


def suspended(certificate):
    happened(certificate, "suspended")


def reinstated(certificate):
    happened(certificate, "suspended", TODAY - timedelta(days=1))
    happened(certificate, "reinstated")


def revoked(certificate):
    happened(certificate, "revoked")


def revoked_tomorrow(certificate):
    happened(certificate, "revoked", TODAY + timedelta(days=1))


def revoked_and_another_issued(certificate):
    happened(certificate, "revoked", TODAY - timedelta(days=1))
    make_certificate(certificate.person, certificate.scope, issued_on=TODAY)


def ended(certificate):
    happened(certificate, "ended", TODAY - timedelta(days=1))


def on_its_last_day(certificate):
    happened(certificate, "ended", TODAY)


def withdrawn(certificate):
    CertificateWithdrawal.objects.create(certificate=certificate, reason="typo", withdrawn_at=NOW)
    standing.rebuild_spans(certificate.person, certificate.scope)


def another_issued(certificate):
    make_certificate(certificate.person, certificate.scope, issued_on=TODAY)


def another_issued_and_suspended(certificate):
    another = make_certificate(certificate.person, certificate.scope, issued_on=TODAY)
    happened(another, "suspended")


STATES_AFTER = {
    stands: PublicState.STANDS,
    suspended: PublicState.SUSPENDED,
    reinstated: PublicState.STANDS,
    revoked: PublicState.REVOKED,
    revoked_tomorrow: PublicState.STANDS,
    revoked_and_another_issued: PublicState.REVOKED,
    ended: PublicState.NOT_CURRENT,
    on_its_last_day: PublicState.STANDS,
    withdrawn: PublicState.WITHDRAWN,
    another_issued: PublicState.REPLACED,
    another_issued_and_suspended: PublicState.NOT_CURRENT,
}


@pytest.mark.parametrize("after", STATES_AFTER, ids=lambda after: after.__name__)
def test_page_says_how_it_stands_today(client, certificate, after):
    after(certificate)

    said = client.get(address_of(certificate)).content.decode()

    state = STATES_AFTER[after]
    assert str(STATES[state]) in said
    assert f'href="#m-{SHAPES[state]}"' in said
    assert [other for other in STATES if str(STATES[other]) in said] == [state]


def test_first_day_ahead_does_not_count_yet():
    certificate = make_certificate(issued_on=TODAY + timedelta(days=1))

    assert standing_of(certificate, NOW).state is PublicState.NOT_YET


def test_every_lapse_reads_the_same(client):
    """Were they told apart, what is left over would be the eyes."""
    scope = make_scope()
    revision = make_revision(scope, vision_months=12, max_absence_months=2)
    pages = set()
    for order, lapse in enumerate(("vision", "practice", "period")):
        person = make_person(full_name="Ada Byrne", employee_number=f"5510{order}")
        days = 3000 if lapse == "period" else 100
        certificate = make_certificate(
            person, scope, revision=revision, issued_on=TODAY - timedelta(days=days), number=lapse
        )
        if lapse != "vision":
            VisionTest.objects.create(
                test_id=f"V-{lapse}", person=person, tested_on=TODAY, passed=True, recorded_at=NOW
            )
        if lapse != "practice":
            PracticeRecord.objects.create(
                person=person, scope_code=scope.code, performed_on=TODAY - timedelta(days=50),
                recorded_at=NOW,
            )  # fmt: skip
        standing.rebuild_person(person)
        said = standing_of(certificate, NOW)
        assert (said.state, said.restriction) == (PublicState.NOT_CURRENT, "")
        page = client.get(address_of(certificate)).content.decode()
        pages.add(page[page.index('class="state"') : page.index("</header>")])

    assert len(pages) == 1


def test_restriction_placed_since_stands_on_the_page(client, certificate):
    happened(certificate, "restricted", restriction="leaded solder")

    assert "turrets alone; leaded solder" in client.get(address_of(certificate)).content.decode()
