"""A scheme that asks for a written test: met, proposed with, kept as evidence, and drafted."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.urls import reverse

from assessments.services.written_tests import retire_test
from certification.exceptions import CertificationError, RequirementsNotMet
from certification.models import SchemeRevision
from certification.queries import scheme_drafts as queries
from certification.queries import scheme_faults
from certification.queries.requirements import requirements
from certification.queries.schemes_written_down import published_content
from certification.services import scheme_drafts, starter
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.proposals import propose
from certification.services.schemes import Asked, publish_scheme_revision
from records.queries.verification import verify_records
from tests import factories
from tests.assessments.written import hand_out, make_test, take
from tests.factories import NOW, TODAY, make_revision, write_down

pytestmark = pytest.mark.django_db


@pytest.fixture
def user():
    return factories.make_user()


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def test_of_heat(instructor):
    return make_test(author=instructor)


@pytest.fixture
def scope():
    return factories.make_scope()


@pytest.fixture
def exercise():
    return factories.make_exercise()


def asked_of(person, scope, revision, day=TODAY):
    [found] = [line for line in requirements(person, scope, revision, day) if line.written_test]
    return found


def test_a_test_not_passed_is_said_with_what_to_do_and_keeps_from_proposing(
    user, instructor, scope, exercise, test_of_heat
):
    revision = make_revision(scope, exercise=exercise, written_test=test_of_heat.code)
    factories.make_passed_board(user.person, exercise)
    take(test_of_heat, user, instructor, wrong=(1, 2, 3))

    found = asked_of(user.person, scope, revision)

    assert (found.text, found.met) == (f"Written test: {test_of_heat.title}", False)
    assert found.detail == "not passed"
    assert found.next == "Pass this written test; an instructor hands it out."
    with pytest.raises(RequirementsNotMet, match="Written test"):
        propose(
            person=user.person,
            scope=scope,
            revision=revision,
            act=Act(instructor, NOW, "password"),
        )


def test_a_test_passed_is_copied_into_proposal_and_certificate(
    client, user, instructor, scope, exercise, test_of_heat
):
    revision = make_revision(scope, exercise=exercise, written_test=test_of_heat.code)
    factories.make_passed_board(user.person, exercise, grader=instructor)
    paper = take(test_of_heat, user, instructor)
    write_down()

    proposal = propose(
        person=user.person, scope=scope, revision=revision, act=Act(instructor, NOW, "password")
    )
    quality = factories.make_user("quality")
    certificate = issue_certificate(proposal=proposal, act=Act(quality, NOW, "password"))

    copied = {
        "number": paper.number,
        "test": [test_of_heat.code, 1],
        "title": test_of_heat.title,
        "passed_on": TODAY.isoformat(),
        "right": 5,
        "of": 5,
    }
    assert proposal.evidence["written_tests"] == [copied]
    assert certificate.evidence["written_tests"] == [copied]
    assert verify_records().faults == []
    client.force_login(quality)
    for url in (
        reverse("certification:certificate_detail", args=[certificate.number]),
        reverse("certification:proposal_detail", args=[proposal.pk]),
    ):
        assert f"paper {paper.number} passed on" in client.get(url).content.decode()


@pytest.mark.parametrize(
    ("months", "later", "met"),
    [
        pytest.param(0, date(2040, 1, 1), True, id="however-long-ago"),
        pytest.param(12, date(2027, 11, 25), True, id="last-day-that-counts"),
        pytest.param(12, date(2027, 11, 26), False, id="a-day-too-late"),
        pytest.param(12, TODAY - timedelta(days=1), False, id="before-it-was-passed"),
    ],
)
def test_a_pass_counts_through_the_last_day_of_its_months(
    user, instructor, scope, test_of_heat, months, later, met
):
    assert date(2026, 11, 25) == TODAY
    revision = make_revision(scope, written_test=test_of_heat.code, written_test_months=months)
    take(test_of_heat, user, instructor)

    assert asked_of(user.person, scope, revision, later).met is met


def test_another_test_another_person_and_a_pass_before_a_revocation_do_not_count(
    user, instructor, scope, test_of_heat
):
    revision = make_revision(scope, written_test=test_of_heat.code)
    take(make_test(author=instructor), user, instructor)
    take(test_of_heat, factories.make_user(), instructor)
    assert not asked_of(user.person, scope, revision).met

    take(test_of_heat, user, instructor)
    assert asked_of(user.person, scope, revision).met
    certificate = factories.make_certificate(
        user.person, scope, issued_on=TODAY - timedelta(days=9)
    )
    certificate.events.create(
        event_id="V1", kind="revoked", effective_on=TODAY, reason="Not their work."
    )
    found = asked_of(user.person, scope, revision)
    assert (found.met, "after the revocation of" in found.detail) == (False, True)


def test_the_pages_of_the_way_say_what_is_missing_and_where_it_is_handed_out(
    client, user, instructor, scope, exercise, test_of_heat
):
    make_revision(scope, exercise=exercise, written_test=test_of_heat.code)
    factories.make_passed_board(user.person, exercise)
    paper = hand_out(test_of_heat, user.person, instructor)

    client.force_login(instructor)
    address = reverse("certification:requirements", args=[user.person.employee_number, scope.code])
    page = client.get(address).content.decode()
    assert f"Written test: {test_of_heat.title}" in page
    assert reverse("assessments:written_test_list") in page

    client.force_login(user)
    page = client.get(reverse("certification:my_card")).content.decode()
    assert "Pass this written test; an instructor hands it out." in page
    assert reverse("assessments:paper_detail", args=[paper.number]) in page


@pytest.fixture
def draft(scope, exercise, test_of_heat):
    usual = starter.usual_figures("Hand soldering")
    return replace(
        usual,
        rules={**usual.rules, "written_test": test_of_heat.code, "written_test_months": 24},
        scopes=[scope],
        requirements=[Asked(scope=scope, exercise_code=exercise.code)],
    )


def test_a_draft_names_a_test_and_is_published_with_it(client, draft, test_of_heat):
    write_down()
    quality = factories.make_user("quality")
    revision = scheme_drafts.begin_scheme(code="HS", draft=draft, actor=quality, at=NOW)

    client.force_login(quality)
    page = client.get(reverse("certification:scheme_detail", args=[revision.pk])).content.decode()
    assert f"{test_of_heat.code} {test_of_heat.title}" in page
    assert scheme_faults.faults_of(revision) == []

    publish_scheme_revision(
        revision=revision, proof="password", reason="Now.", actor=quality, at=NOW
    )
    content = published_content(SchemeRevision.objects.get(pk=revision.pk))
    assert (content["written_test"], content["written_test_months"]) == (test_of_heat.code, 24)
    following = scheme_drafts.draft_of(revision)
    assert following.rules["written_test"] == test_of_heat.code


def test_a_test_out_of_use_keeps_a_draft_from_being_published(draft, test_of_heat):
    quality = factories.make_user("quality")
    revision = scheme_drafts.begin_scheme(code="HS", draft=draft, actor=quality, at=NOW)
    retire_test(test=test_of_heat, reason="Old.", actor=quality, at=NOW, proof="password")

    [fault] = scheme_faults.faults_of(revision)
    assert fault.startswith(f"It asks for the written test {test_of_heat.code}, of which no paper")
    with pytest.raises(CertificationError, match="months from 0"):
        scheme_drafts.change_draft(
            revision=revision,
            draft=replace(draft, rules={**draft.rules, "written_test_months": 601}),
            seen=queries.draft_digest(revision),
            actor=quality,
            at=NOW,
        )
