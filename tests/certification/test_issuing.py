"""From a proposal to a certificate: who may, what must hold, what is copied and signed."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from certification.exceptions import (
    AlreadyDecided,
    CertificationError,
    MayNotCertify,
    RequirementsNotMet,
)
from certification.models import Certificate, Proposal, StandingSpan
from certification.queries import standing_on_day
from certification.services import events, schemes
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.proposals import decline, propose
from records.models import Signature, TrailEntry
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from training.models import Exercise, VisionTest

pytestmark = pytest.mark.django_db


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
def instructor():
    return make_user("instructor")


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def revision(scope, exercise):
    return make_revision(scope, exercise=exercise)


@pytest.fixture
def board(person, exercise, instructor):
    return make_passed_board(person, exercise, grader=instructor)


def proposed(person, scope, revision, instructor, **fields):
    return propose(
        person=person,
        scope=scope,
        revision=revision,
        act=Act(instructor, NOW, "password"),
        **fields,
    )


@pytest.fixture
def proposal(person, scope, revision, instructor, board):
    return proposed(person, scope, revision, instructor, note="Ready.")


def issue(proposal, issuer, **options):
    act = Act(issuer, options.pop("at", NOW), "password")
    return issue_certificate(proposal=proposal, act=act, **options)


def test_certificate_copies_what_it_stands_on(proposal, person, scope, board, quality):
    certificate = issue(proposal, quality, restriction="leaded solder only")

    assert certificate.number == "CA-C-00001"
    assert (certificate.issued_on, certificate.valid_through) == (TODAY, date(2028, 11, 25))
    assert certificate.holder_name == "Tamsin Okoro"
    assert certificate.restriction == "leaded solder only"
    assert certificate.figures["validity_months"] == 24
    assert certificate.figures["name"] == proposal.scheme_revision.name
    assert [one["number"] for one in certificate.evidence["boards"]] == [board.number]
    assert certificate.evidence["proposed"]["note"] == "Ready."
    assert certificate.issued_by == quality.get_full_name()
    answer = standing_on_day.answer(person, scope, TODAY)
    assert (answer.standing.value, answer.certificate_number) == ("certified", certificate.number)


def test_signature_covers_the_whole_certificate(proposal, quality):
    certificate = issue(proposal, quality)

    signature = certificate.signature
    assert signature.meaning == "certifies competence for this scope"
    assert (signature.signer, signature.zone) == (quality, "Europe/Madrid")
    signed = json.loads(signature.content)
    assert signed["certificate"] == certificate.number
    assert signed["evidence"] == certificate.evidence
    assert signed["figures"] == certificate.figures
    assert signed["valid_through"] == "2028-11-25"
    write_down()
    assert verify_records().fits


def test_spans_and_trail_are_written_with_the_certificate(proposal, person, scope, quality):
    certificate = issue(proposal, quality)

    span = StandingSpan.objects.on(TODAY).get(person=person, scope=scope)
    assert (span.standing, span.certificate) == ("certified", certificate)
    acts = list(TrailEntry.objects.order_by("number").values_list("act", flat=True))
    assert acts[-2:] == ["signed", "certificate issued"]


def test_issuers_own_certificate_is_named(proposal, scope, quality):
    own_scope = make_scope(level="instructor")
    own = make_certificate(quality.person, own_scope, issued_on=date(2026, 1, 1))
    other = make_scope(("cup",), level="instructor")
    make_certificate(quality.person, other, issued_on=date(2026, 1, 1))

    assert issue(proposal, quality).issuer_certificate == own.number


def test_renewal_in_the_window_keeps_the_earlier_end(person, scope, revision, instructor, quality):
    earlier = make_certificate(person, scope, revision=revision, issued_on=date(2025, 1, 10))
    make_passed_board(person, _exercise_of(revision))
    at = datetime(2026, 12, 1, 9, tzinfo=UTC)
    found = propose(
        person=person,
        scope=scope,
        revision=revision,
        act=Act(actor=instructor, at=at, proof="password"),
    )

    certificate = issue(found, quality, at=at)

    assert found.renews == certificate.renews == earlier
    assert certificate.valid_through == date(2029, 1, 10)


def _exercise_of(revision):
    return Exercise.objects.get(code=revision.requirements.get().exercise_code)


def test_certificate_before_the_window_runs_from_its_own_day(
    person, scope, revision, instructor, quality
):
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 10))
    make_passed_board(person, _exercise_of(revision))

    certificate = issue(proposed(person, scope, revision, instructor), quality)

    assert certificate.renews is None
    assert certificate.valid_through == date(2028, 11, 25)


def test_nobody_issues_their_own(proposal, person):
    own = make_user("quality", person=person)

    with pytest.raises(MayNotCertify, match="their own"):
        issue(proposal, own)

    assert not Certificate.objects.exists()


def test_nobody_proposes_themselves(scope, revision, exercise):
    user = make_user("instructor")
    make_passed_board(user.person, exercise)

    with pytest.raises(MayNotCertify, match="themselves"):
        proposed(user.person, scope, revision, user)


@pytest.mark.parametrize("role", ["operator", "line_lead", "administrator", "quality"])
def test_only_an_instructor_at_the_site_proposes(role, person, scope, revision, board):
    with pytest.raises(MayNotCertify, match="Only an instructor"):
        proposed(person, scope, revision, make_user(role))
    elsewhere = make_user("instructor", site=make_site("Aldergate", "AL"))
    with pytest.raises(MayNotCertify, match="Only an instructor"):
        proposed(person, scope, revision, elsewhere)


@pytest.mark.parametrize("role", ["operator", "line_lead", "administrator"])
def test_only_quality_issues_where_the_scheme_says_nothing_else(role, proposal):
    with pytest.raises(MayNotCertify, match="issued by quality"):
        issue(proposal, make_user(role))


def test_instructor_issues_only_where_the_scheme_lets_them(proposal, instructor):
    with pytest.raises(MayNotCertify, match="quality issues"):
        issue(proposal, make_user("instructor"))


def test_instructor_who_graded_none_of_the_boards_may_issue_where_the_scheme_lets_them(
    person, scope, exercise, instructor
):
    revision = make_revision(scope, exercise=exercise, instructor_may_issue=True)
    make_passed_board(person, exercise, grader=instructor)
    found = proposed(person, scope, revision, make_user("instructor"))

    with pytest.raises(MayNotCertify, match="You graded a board"):
        issue(found, instructor)

    assert issue(found, make_user("instructor")).pk


def test_quality_of_another_site_may_not_issue(proposal):
    with pytest.raises(MayNotCertify):
        issue(proposal, make_user("quality", site=make_site("Aldergate", "AL")))


def test_unmet_requirement_refuses_the_proposal(person, scope, revision, instructor):
    with pytest.raises(RequirementsNotMet, match="0 of 1 board passed"):
        proposed(person, scope, revision, instructor)

    assert not Proposal.objects.exists()
    assert not Signature.objects.exists()


def test_requirement_that_lapsed_since_refuses_the_issue(proposal, quality):
    year_on = NOW + timedelta(days=366)

    with pytest.raises(RequirementsNotMet, match="0 of 1 board passed"):
        issue(proposal, quality, at=year_on)

    proposal.refresh_from_db()
    assert proposal.decision == ""


def test_vision_that_is_not_current_refuses(person, scope, exercise, instructor):
    revision = make_revision(scope, exercise=exercise, vision_months=12)
    make_passed_board(person, exercise, grader=instructor)

    with pytest.raises(RequirementsNotMet, match="Vision test"):
        proposed(person, scope, revision, instructor)

    VisionTest.objects.create(test_id="T1", person=person, tested_on=TODAY, passed=True)
    assert proposed(person, scope, revision, instructor).pk


def test_suspended_person_is_reinstated_before_anything_new_is_issued(
    proposal, person, scope, revision, quality
):
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 1))
    events.suspend_certificates(
        person=person,
        scope=scope,
        act=Act(
            actor=quality,
            at=NOW,
            proof="password",
            reason="Rejects above the limit.",
            effective_on=TODAY + timedelta(days=7),
        ),
    )

    with pytest.raises(RequirementsNotMet, match="suspended for Terminals, operator from 2 Dec"):
        issue(proposal, quality)


def test_revocation_to_come_is_not_undone_by_a_certificate_issued_before_it(
    proposal, person, scope, revision, quality
):
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 2, 1))
    events.revoke_certificates(
        person=person,
        scope=scope,
        act=Act(
            actor=quality,
            at=NOW,
            proof="password",
            reason="Forged sign-off.",
            effective_on=date(2026, 12, 2),
        ),
    )
    with pytest.raises(RequirementsNotMet, match="revoked for Terminals, operator from 2 Dec"):
        issue(proposal, quality)

    assert standing_on_day.answer(person, scope, date(2026, 12, 2)).standing.value == "revoked"


def test_person_who_left_gets_no_certificate(proposal, person, quality):
    person.left_on = TODAY - timedelta(days=1)
    person.save(update_fields=["left_on"])

    with pytest.raises(RequirementsNotMet, match="left on 24 Nov 2026"):
        issue(proposal, quality)


def test_revision_that_was_retired_since_refuses(proposal, revision, quality):
    schemes.retire_scheme_revision(revision=revision, actor=quality, at=NOW)

    with pytest.raises(RequirementsNotMet, match="not in force"):
        issue(proposal, quality)


def test_same_proposal_is_issued_once(proposal, quality):
    issue(proposal, quality)

    with pytest.raises(AlreadyDecided):
        issue(proposal, quality)

    assert Certificate.objects.count() == 1


def test_second_certificate_on_the_same_day_is_refused(
    proposal, person, scope, revision, instructor, quality
):
    issue(proposal, quality)

    with pytest.raises(RequirementsNotMet, match="today already"):
        proposed(person, scope, revision, instructor)


def test_one_open_proposal_for_a_person_and_scope(proposal, person, scope, revision, instructor):
    with pytest.raises(CertificationError, match="open already"):
        proposed(person, scope, revision, instructor)


def test_declined_proposal_keeps_the_reason_and_makes_room_for_another(
    proposal, person, scope, revision, instructor, quality
):
    decline(proposal=proposal, act=Act(actor=quality, at=NOW, reason="Board 2 is missing a photo."))

    proposal.refresh_from_db()
    assert proposal.decision == "declined"
    assert proposal.decision_reason == "Board 2 is missing a photo."
    with pytest.raises(AlreadyDecided):
        issue(proposal, quality)
    assert proposed(person, scope, revision, instructor).pk


def test_proposer_takes_a_proposal_back_and_another_instructor_does_not(proposal, instructor):
    with pytest.raises(MayNotCertify):
        decline(proposal=proposal, act=Act(actor=make_user("instructor"), at=NOW, reason="No."))

    assert decline(
        proposal=proposal, act=Act(actor=instructor, at=NOW, reason="Too soon.")
    ).decided_at


def test_declining_needs_a_reason(proposal, quality):
    with pytest.raises(CertificationError, match="Say why"):
        decline(proposal=proposal, act=Act(actor=quality, at=NOW, reason=" "))


def test_database_keeps_certificate_and_decided_proposal_as_they_are(proposal, quality):
    certificate = issue(proposal, quality)

    with pytest.raises(IntegrityError), transaction.atomic():
        Certificate.objects.filter(pk=certificate.pk).update(valid_through=date(2099, 1, 1))
    with pytest.raises(IntegrityError), transaction.atomic():
        Proposal.objects.filter(pk=proposal.pk).update(decision="", certificate=None)
    with pytest.raises(IntegrityError), transaction.atomic():
        Certificate.objects.filter(pk=certificate.pk).delete()


# Somebody who is restricted


@pytest.fixture
def restricted(person, scope, revision, quality):
    """Certified since a month ago, and since a week ago restricted."""
    certificate = make_certificate(
        person, scope, revision=revision, issued_on=TODAY - timedelta(days=30)
    )
    events.restrict_certificates(
        person=person,
        scope=scope,
        restriction="turrets",
        act=Act(quality, NOW, "password", "Cups.", TODAY - timedelta(days=7)),
    )
    return certificate


@pytest.mark.parametrize("restriction", [None, "", "cups", "turrets and cups"])
def test_new_certificate_does_not_do_without_a_restriction_that_holds(
    restricted, proposal, quality, restriction
):
    with pytest.raises(RequirementsNotMet, match="only turrets"):
        issue(proposal, quality, restriction=restriction)

    assert Certificate.objects.get() == restricted


def test_new_certificate_that_says_it_takes_the_place_of_a_restricted_one(
    restricted, proposal, person, scope, quality
):
    made = issue(proposal, quality, restriction="turrets; AWG 20 and less")

    answer = standing_on_day.answer(person, scope, TODAY)
    assert (answer.certificate_number, answer.restriction) == (
        made.number,
        "turrets; AWG 20 and less",
    )


def test_restriction_that_was_lifted_need_not_be_said(restricted, proposal, quality):
    events.lift_restriction(
        person=restricted.person,
        scope=restricted.scope,
        act=Act(quality, NOW, "password", "Shown again.", TODAY),
    )

    assert issue(proposal, quality).restriction == ""


def test_restriction_that_is_still_to_begin_has_to_be_said(restricted, proposal, quality):
    events.lift_restriction(
        person=restricted.person,
        scope=restricted.scope,
        act=Act(quality, NOW, "password", "Shown again.", TODAY),
    )
    events.restrict_certificates(
        person=restricted.person,
        scope=restricted.scope,
        restriction="cups",
        act=Act(quality, NOW, "password", "From the next class on.", TODAY + timedelta(days=7)),
    )

    with pytest.raises(RequirementsNotMet, match="only cups"):
        issue(proposal, quality)
