"""Proposing, issuing and declining as pages: what is said beforehand, done, and refused."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments.models import ReadingRequest
from certification.models import Certificate, Proposal
from certification.queries import standing_on_day
from certification.services import events
from certification.services.acts import Act
from records.services import trail
from tests.assessments.several import read as read_board
from tests.factories import (
    PASSWORD,
    make_board,
    make_certificate,
    make_criteria_set,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from tests.signing import send_as_shown

pytestmark = pytest.mark.django_db


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def exercise():
    return make_exercise()


@pytest.fixture
def person():
    return make_person(full_name="Tamsin Okoro")


@pytest.fixture
def revision(scope, exercise):
    """Good for 24 months, renewable in its last 90 days."""
    return make_revision(scope, exercise=exercise)


@pytest.fixture
def instructor(client):
    return make_user("instructor", password=PASSWORD)


@pytest.fixture
def quality():
    return make_user("quality", password=PASSWORD)


@pytest.fixture
def board(person, exercise, instructor, now):
    return make_passed_board(person, exercise, grader=instructor, signed_at=now)


def asked(person, scope):
    return reverse("certification:requirements", args=[person.employee_number, scope.code])


def propose(client, person, scope, **fields):
    return send_as_shown(
        client,
        reverse("certification:proposal_new", args=[person.employee_number, scope.code]),
        {"note": "Ready.", "restriction": "", "password": PASSWORD, **fields},
        page=asked(person, scope),
    )


def issue(client, proposal, **fields):
    return send_as_shown(
        client,
        reverse("certification:proposal_issue", args=[proposal.pk]),
        {"issue-restriction": "", "issue-password": PASSWORD, **fields},
        page=reverse("certification:proposal_detail", args=[proposal.pk]),
    )


def shown(day):
    return f"{day:%a} {day.day} {day:%b %Y}"


def text_of(response):
    return response.content.decode().replace("\u00a0", " ")


def certified(person, scope, revision, today, left):
    """Somebody whose certificate of 24 months has some days left today."""
    issued_on = today.replace(year=today.year - 2, day=min(today.day, 28)) + timedelta(days=left)
    return make_certificate(person, scope, revision=revision, issued_on=issued_on)


def test_first_certificate_runs_from_its_day_of_issue(
    client, instructor, person, scope, revision, board, today
):
    client.force_login(instructor)

    response = client.get(asked(person, scope))

    said = response.context["screen"].period_said
    assert (said.runs_from, said.why) == (today, "")
    assert shown(said.runs_from) in text_of(response)
    assert shown(said.runs_through) in text_of(response)


def test_renewed_within_the_window_it_runs_on_from_the_end(
    client, instructor, quality, person, scope, revision, board, today
):
    old = certified(person, scope, revision, today, left=40)
    client.force_login(instructor)
    page = client.get(asked(person, scope))

    said = page.context["screen"].period_said
    assert said.runs_from == old.valid_through
    assert f"It renews {old.number} within its window" in text_of(page)

    propose(client, person, scope)
    proposal = Proposal.objects.get()
    client.force_login(quality)
    before = client.get(reverse("certification:proposal_detail", args=[proposal.pk]))
    assert shown(old.valid_through) in text_of(before)
    assert shown(said.runs_through) in text_of(before)

    response = issue(client, proposal)

    made = Certificate.objects.exclude(pk=old.pk).get()
    assert response.url == reverse("certification:certificate_detail", args=[made.number])
    assert (made.renews, made.issued_on, made.valid_through) == (old, today, said.runs_through)
    assert made.signature.signer == quality
    last = standing_on_day.answer(person, scope, said.runs_through)
    assert (last.standing.value, last.certificate_number) == ("certified", made.number)


def test_renewed_late_it_runs_from_the_day_of_issue(
    client, instructor, quality, person, scope, revision, board, today
):
    old = certified(person, scope, revision, today, left=-30)
    client.force_login(instructor)
    page = client.get(asked(person, scope))

    said = page.context["screen"].period_said
    assert said.runs_from == today
    assert "so it is renewed late" in text_of(page)

    propose(client, person, scope)
    client.force_login(quality)
    issue(client, Proposal.objects.get())

    made = Certificate.objects.exclude(pk=old.pk).get()
    assert made.renews is None
    assert made.valid_through == said.runs_through
    answers = [
        standing_on_day.answer(person, scope, day).standing.value
        for day in (old.valid_through, today - timedelta(days=1), today)
    ]
    assert answers == ["certified", "expired", "certified"]


def test_renewed_too_early_it_says_which_days_are_lost(
    client, instructor, person, scope, revision, board, today
):
    old = certified(person, scope, revision, today, left=200)
    client.force_login(instructor)

    page = client.get(asked(person, scope))

    assert page.context["screen"].period_said.runs_from == today
    assert "the days left are lost" in text_of(page)
    opens = old.valid_through - timedelta(days=90)
    assert f"{opens.day} {opens:%b %Y}" in text_of(page)


def test_what_is_missing_stands_in_place_of_the_form(client, instructor, person, scope, revision):
    client.force_login(instructor)

    page = text_of(client.get(asked(person, scope)))

    assert "Not everything asked for is there" in page
    assert "Propose and sign" not in page
    assert "Issued today it would run from" in page


def test_issuing_with_a_restriction_prints_it_on_the_certificate(
    client, instructor, quality, person, scope, revision, board
):
    client.force_login(instructor)
    propose(client, person, scope)
    client.force_login(quality)

    issue(client, Proposal.objects.get(), **{"issue-restriction": "leaded solder only"})

    made = Certificate.objects.get()
    assert made.restriction == "leaded solder only"
    page = client.get(reverse("certification:certificate_detail", args=[made.number]))
    assert "leaded solder only" in text_of(page)


def test_restriction_that_holds_is_in_the_forms_for_a_new_certificate(
    client, instructor, quality, person, scope, revision, board, today
):
    make_certificate(person, scope, revision=revision, issued_on=today - timedelta(days=30))
    client.force_login(instructor)
    propose(client, person, scope)
    events.restrict_certificates(
        person=person,
        scope=scope,
        restriction="turrets",
        act=Act(quality, timezone.now(), "password", "Cups were rejected twice."),
    )
    proposal = Proposal.objects.get()

    asked_for = client.get(asked(person, scope)).context["form"]
    client.force_login(quality)
    shown_form = client.get(reverse("certification:proposal_detail", args=[proposal.pk]))
    refused = issue(client, proposal)

    assert asked_for.initial["restriction"] == "turrets"
    assert shown_form.context["issue_form"].initial["restriction"] == "turrets"
    assert refused.status_code == 422
    assert "Repeat these words as the restriction" in text_of(refused)
    issue(client, proposal, **{"issue-restriction": "turrets"})
    assert Proposal.objects.get().certificate.restriction == "turrets"


def test_wrong_password_proposes_and_issues_nothing(
    client, instructor, quality, person, scope, revision, board
):
    client.force_login(instructor)
    response = propose(client, person, scope, password="not mine")
    assert response.status_code == 422
    assert "nothing was signed" in text_of(response)
    assert not Proposal.objects.exists()

    propose(client, person, scope)
    client.force_login(quality)
    response = issue(client, Proposal.objects.get(), **{"issue-password": "not mine"})
    assert response.status_code == 422
    assert "nothing was signed" in text_of(response)
    assert not Certificate.objects.exists()


def test_instructor_who_graded_does_not_issue(client, instructor, person, scope, revision, board):
    client.force_login(instructor)
    propose(client, person, scope)

    response = issue(client, Proposal.objects.get())

    assert response.status_code == 422
    assert not Certificate.objects.exists()


def test_how_well_a_board_passed_is_closed_to_who_may_read_it_again(
    client, instructor, quality, person, scope, revision, board, now
):
    board.outcome.score, board.outcome.joints_rejected = "87.5", 1
    board.outcome.save()
    client.force_login(instructor)
    propose(client, person, scope)
    proposal = Proposal.objects.get()
    request = ReadingRequest.objects.create(
        board=board,
        asked_by=make_user(person=person),
        reason="E01 is wetted all round.",
        recorded_at=now,
    )
    other = make_user("instructor")
    pages = [reverse("certification:proposal_detail", args=[proposal.pk])]

    def shows(user):
        client.force_login(user)
        told = [text_of(client.get(page)) for page in pages]
        assert all(board.number in one for one in told)
        return {("87.5" in one, "to be regraded" in one) for one in told}

    client.force_login(quality)
    issue(client, proposal)
    certificate = Certificate.objects.get()
    pages.append(reverse("certification:certificate_detail", args=[certificate.number]))
    assert shows(other) == {(False, True)}
    for reader in (instructor, quality):
        assert shows(reader) == {(True, False)}
    request.answered_at, request.grading = now, board.gradings.get()
    request.save()
    assert shows(other) == {(True, False)}


def test_declined_with_its_reason(client, instructor, quality, person, scope, revision, board):
    client.force_login(instructor)
    propose(client, person, scope)
    proposal = Proposal.objects.get()
    client.force_login(quality)
    address = reverse("certification:proposal_decline", args=[proposal.pk])

    assert client.post(address, {"decline-reason": " "}).status_code == 422
    response = client.post(address, {"decline-reason": "One more board."})

    assert response.url == reverse("certification:proposal_detail", args=[proposal.pk])
    client.force_login(instructor)
    assert "One more board." in text_of(client.get(response.url))
    late = client.get(issue(client, proposal).url)
    assert "This proposal was decided already: declined." in text_of(late)
    assert not Certificate.objects.filter(person=person).exists()


@pytest.mark.parametrize("role", ["operator", "line_lead", "administrator", "quality"])
def test_nobody_but_an_instructor_proposes(client, person, scope, revision, board, role):
    client.force_login(make_user(role, password=PASSWORD))

    assert propose(client, person, scope).status_code == 404
    assert not Proposal.objects.exists()


def test_nobody_proposes_or_issues_their_own(client, person, scope, revision, board, instructor):
    own = make_user("instructor", "quality", person=person, password=PASSWORD)
    client.force_login(own)
    assert propose(client, person, scope).status_code == 404

    client.force_login(instructor)
    propose(client, person, scope)
    client.force_login(own)
    assert issue(client, Proposal.objects.get()).status_code == 404
    assert not Certificate.objects.exists()


def test_menu_says_to_quality_how_many_proposals_wait(
    client, quality, instructor, person, scope, revision
):
    def waiting(user):
        client.force_login(user)
        links = client.get("/proposals/").context["navigation"]["all"]
        return {str(link["label"]): link["waiting"] for link in links}["Proposals"]

    def propose(someone):
        return Proposal.objects.create(
            person=someone,
            scope=scope,
            scheme_revision=revision,
            signature=trail.sign(
                actor=instructor, meaning="proposed", about=someone, content={}, at=timezone.now()
            ),
        )

    propose(person)
    decided = propose(make_person())
    propose(quality.person)  # Somebody else's to decide.
    propose(make_person(make_site("Hallowmere", "HM")))

    assert waiting(quality) == 2
    assert waiting(instructor) == 0
    Proposal.objects.filter(pk=decided.pk).update(decision=Proposal.Decision.DECLINED)
    assert waiting(quality) == 1
    assert "waiting" in client.get("/proposals/").content.decode()


def test_a_proposal_says_what_the_measured_criteria_of_its_boards_were_judged_by(
    client, instructor, quality, person, scope, exercise, revision, now
):
    make_criteria_set({"code": "W-1", "how": "measured", "low": 180, "high": 270, "unit": "deg"})
    board = make_board(person, exercise)
    read_board(board, instructor, at=now)
    client.force_login(instructor)
    propose(client, person, scope)
    proposal = Proposal.objects.get()
    client.force_login(quality)
    told = text_of(client.get(reverse("certification:proposal_detail", args=[proposal.pk])))
    assert "3 measured: 3 by eye because …." in told
    assert "<b>By eye because “far inside its limit”</b>: E01 W-1, E02 W-1, E03 W-1." in told
    issue(client, proposal)
    certificate = Certificate.objects.get()
    [kept] = certificate.evidence["boards"]
    assert kept["measured"]["counts"] == {"by_eye": 3}


def test_a_proposal_of_before_such_things_were_kept_says_nothing_of_them(
    client, instructor, quality, person, scope, revision, board
):
    client.force_login(instructor)
    propose(client, person, scope)
    proposal = Proposal.objects.get()
    assert "measured" not in proposal.evidence["boards"][0]
    client.force_login(quality)
    told = text_of(client.get(reverse("certification:proposal_detail", args=[proposal.pk])))
    assert "measured:" not in told
