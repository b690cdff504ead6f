"""Proposing, issuing and acting on certificates sign what their pages showed, or nothing."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection, connections, transaction
from django.urls import reverse
from django.utils import timezone

from certification.models import Certificate, CertificateEvent, Proposal
from certification.presenters.signing_shown import certificates_shown
from certification.queries.requirements import requirements
from certification.services import events
from certification.services.acts import Act
from certification.services.locking import lock_person_and_scope
from people.models import Person
from records.exceptions import ShownOtherwise
from tests.assessments.together import somebody_waits_for_us
from tests.factories import (
    PASSWORD,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_user,
)
from tests.markup import Markup
from tests.signing import send_as_shown, shown_on

pytestmark = pytest.mark.django_db

REASON = "Cups were rejected twice."


@pytest.fixture
def person():
    return make_person(full_name="Tamsin Okoro")


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def exercise():
    return make_exercise()


@pytest.fixture
def revision(scope, exercise):
    return make_revision(scope, exercise=exercise)


@pytest.fixture
def instructor():
    return make_user("instructor", password=PASSWORD)


@pytest.fixture
def quality():
    return make_user("quality", password=PASSWORD)


@pytest.fixture
def board(person, exercise, instructor, revision):
    return make_passed_board(person, exercise, grader=instructor, signed_at=timezone.now())


@pytest.fixture
def proposal(client, person, scope, instructor, board):
    client.force_login(instructor)
    page = reverse("certification:requirements", args=[person.employee_number, scope.code])
    send_as_shown(client, propose_at(person, scope), PROPOSED, page=page)
    return Proposal.objects.get()


@pytest.fixture
def certificate(person, scope, revision):
    return make_certificate(
        person, scope, revision=revision, issued_on=person.site.today() - timedelta(days=30)
    )


PROPOSED = {"note": "", "restriction": "", "password": PASSWORD}
ISSUED = {"issue-restriction": "", "issue-password": PASSWORD}


def propose_at(person, scope):
    return reverse("certification:proposal_new", args=[person.employee_number, scope.code])


def rename(person, name):
    Person.objects.filter(pk=person.pk).update(full_name=name)


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


CHANGED = "What you were shown has changed since, so nothing was signed."
NOT_SAID = "This page came without what it showed, so nothing was signed."


@pytest.mark.usefixtures("board")
def test_whoever_proposes_is_told_of_a_board_that_counts_meanwhile(
    client, person, scope, exercise, instructor
):
    client.force_login(instructor)
    page = reverse("certification:requirements", args=[person.employee_number, scope.code])
    shown = shown_on(client.get(page))
    later = make_passed_board(person, exercise, grader=instructor, signed_at=timezone.now())
    refused = client.post(propose_at(person, scope), shown | PROPOSED | {"note": "Steady hand."})
    assert refused.status_code == 422
    assert CHANGED in text(refused)
    assert later.number in text(refused)
    assert "Steady hand." in text(refused)
    assert not Proposal.objects.exists()
    again = client.post(propose_at(person, scope), shown_on(refused) | PROPOSED)
    assert again.status_code == 302
    assert Proposal.objects.count() == 1


@pytest.mark.usefixtures("board")
def test_whoever_issues_is_told_of_a_name_that_changed_meanwhile(client, quality, proposal):
    client.force_login(quality)
    page = reverse("certification:proposal_detail", args=[proposal.pk])
    issue = reverse("certification:proposal_issue", args=[proposal.pk])
    shown = shown_on(client.get(page))
    assert set(shown) == {"issue-shown"}
    rename(proposal.person, "Tamsin Halloran")
    refused = client.post(issue, shown | ISSUED)
    assert refused.status_code == 422
    assert CHANGED in text(refused)
    assert "<del>Tamsin Okoro</del>" in text(refused)
    assert "<b>Tamsin Halloran</b>" in text(refused)
    assert not Certificate.objects.exists()
    assert client.post(issue, shown_on(refused) | ISSUED).status_code == 302
    assert Certificate.objects.get().holder_name == "Tamsin Halloran"


def test_issuing_pressed_twice_issues_once(client, quality, proposal):
    client.force_login(quality)
    page = reverse("certification:proposal_detail", args=[proposal.pk])
    issue = reverse("certification:proposal_issue", args=[proposal.pk])
    shown = shown_on(client.get(page))
    assert client.post(issue, shown | ISSUED).status_code == 302
    again = client.post(issue, shown | ISSUED, follow=True)
    assert "This proposal was decided already: issued." in text(again)
    assert Certificate.objects.count() == 1


ACTS = {
    "suspend": {},
    "revoke": {},
    "end": {},
    "restrict": {"restriction": "turrets"},
    "extend": {"until": "2040-01-01", "authority": "Concession 12"},
    "withdraw": {},
}


def suspend(certificate, quality):
    act = Act(quality, timezone.now(), "password", "Rejects.")
    events.suspend_certificates(person=certificate.person, scope=certificate.scope, act=act)


@pytest.mark.parametrize("act", ACTS)
def test_no_act_is_signed_past_what_was_said_meanwhile(client, quality, certificate, act):
    client.force_login(quality)
    page = reverse("certification:certificate_act", args=[certificate.number, act])
    fields = {"reason": REASON, "password": PASSWORD, **ACTS[act]}
    if act != "withdraw":
        fields["effective_on"] = certificate.person.site.today().isoformat()
    shown = shown_on(client.get(page))
    suspend(certificate, quality)
    refused = client.post(page, shown | fields)
    assert refused.status_code == 422
    assert CHANGED in text(refused)
    assert ", Rejects.</b>" in text(refused)
    assert REASON in text(refused)
    assert CertificateEvent.objects.count() == 1
    assert not hasattr(Certificate.objects.get(), "withdrawal")
    assert client.post(page, fields).status_code == 422
    assert NOT_SAID in text(client.post(page, fields))
    assert client.post(page, shown_on(refused) | fields).status_code == 302


def test_an_event_is_not_removed_past_what_was_said_meanwhile(client, quality, certificate):
    client.force_login(quality)
    suspend(certificate, quality)
    event = certificate.events.get()
    page = reverse("certification:event_remove", args=[certificate.number, event.pk])
    fields = {"reason": "Wrong person.", "password": PASSWORD}
    shown = shown_on(client.get(page))
    act = Act(quality, timezone.now(), "password", "Shown again.")
    events.reinstate_certificates(person=certificate.person, scope=certificate.scope, act=act)
    refused = client.post(page, shown | fields)
    assert CHANGED in text(refused)
    assert certificate.events.count() == 2
    assert client.post(page, shown_on(refused) | fields).status_code == 302


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_what_was_said_while_somebody_waits_to_sign_is_seen_under_the_lock(certificate, quality):
    person, scope = certificate.person, certificate.scope
    shown = certificates_shown(person, scope, timezone.now()).digest

    def revoke():
        act = Act(quality, timezone.now(), "password", REASON, shown=shown)
        try:
            events.revoke_certificates(person=person, scope=scope, act=act)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            lock_person_and_scope(person, scope)
            waiting = pool.submit(revoke)
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
            suspend(certificate, quality)
        with pytest.raises(ShownOtherwise):
            waiting.result(30)
    assert [event.kind for event in CertificateEvent.objects.all()] == ["suspended"]


def test_what_is_kept_is_in_the_sites_language_whoever_acts(
    client, person, scope, instructor, quality, board
):
    Person.objects.filter(user__in=(instructor, quality)).update(language="de")
    client.force_login(instructor)
    page = reverse("certification:requirements", args=[person.employee_number, scope.code])
    assert '<html lang="de">' in client.get(page).text
    send_as_shown(client, propose_at(person, scope), PROPOSED, page=page)
    proposal = Proposal.objects.get()
    client.force_login(quality)
    shown = reverse("certification:proposal_detail", args=[proposal.pk])
    issue = reverse("certification:proposal_issue", args=[proposal.pk])
    send_as_shown(client, issue, ISSUED, page=shown)

    certificate = Certificate.objects.get()
    asked = checked_in_english(proposal)
    assert proposal.evidence["requirements"] == asked
    assert certificate.evidence["requirements"] == asked


def checked_in_english(proposal) -> list[dict[str, str]]:
    person, day = proposal.person, proposal.person.site.today()
    found = requirements(person, proposal.scope, proposal.scheme_revision, day)
    assert any("board" in each.detail for each in found)
    return [{"text": each.text, "detail": each.detail} for each in found]
