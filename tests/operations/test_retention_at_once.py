"""Removing at night beside people at work, and two nights' runs at once, on two connections."""

from datetime import timedelta

import pytest
from django.db import connection

from assessments.models import Board, Photo, ReadingRequest
from assessments.services.reading_requests import ask_for_another_reading
from operations.models import SiteRetention
from operations.services import retention
from people.models import Person
from people.services.people import lock_person
from records.models import Removal
from records.queries.verification import verify_records
from tests import factories
from tests.assessments.together import at_once, wait_behind
from tests.factories import NOW, TODAY
from training.models import VisionTest, WorkReport
from training.services import facts
from training.services.work_reports import decide_report, report_work

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]

LONG_AGO = TODAY - timedelta(days=500)


@pytest.fixture
def person():
    person = factories.make_person(left_on=TODAY - timedelta(days=1))
    SiteRetention.objects.create(site=person.site, vision_tests=12)
    facts.record_vision_test(
        person=person, tested_on=LONG_AGO, passed=True, actor=factories.make_user("quality"), at=NOW
    )
    return person


def run():
    return retention.remove_at_every_site(clock=lambda: NOW)


def test_two_runs_at_once_remove_once_and_say_so_once(person):
    counts = at_once(run, run)
    assert sorted(counts) == [0, 1]
    assert Removal.objects.count() == 1
    assert not VisionTest.objects.exists()
    assert verify_records().faults == []


def test_certificate_that_is_issued_meanwhile_keeps_what_it_rests_on(person):
    scope = factories.make_scope()
    revision = factories.make_revision(scope, vision_months=24)

    def issue():
        lock_person(person)  # As every act on certificates does first.
        factories.make_certificate(person, scope, revision=revision, issued_on=TODAY)

    assert wait_behind(issue, run) == 0
    assert VisionTest.objects.count() == 1


def test_report_that_is_confirmed_meanwhile_stays_with_its_work():
    person, scope = factories.make_person(), factories.make_scope()
    SiteRetention.objects.create(site=person.site, practice=12)
    reported = report_work(
        person=person, scope_code=scope.code, performed_on=LONG_AGO, reference="W-1",
        actor=factories.make_user(person=person), at=NOW - timedelta(days=499),
    )  # fmt: skip
    quality = factories.make_user("quality", site=person.site)
    factories.make_certificate(person, scope, issued_on=LONG_AGO)

    def confirm():
        decide_report(
            report=reported, confirmed=True, people=Person.objects.all(), actor=quality, at=NOW
        )

    assert wait_behind(confirm, run) == 0
    assert WorkReport.objects.get().decision.practice is not None


@pytest.fixture
def board(person):
    factories.make_user("instructor", site=person.site)
    board = factories.make_passed_board(
        person, factories.make_exercise(), signed_at=NOW - timedelta(days=500),
        handed_out_on=LONG_AGO,
    )  # fmt: skip
    factories.make_photo(board, recorded_at=NOW - timedelta(days=500))
    return board


def asking(board):
    trainee = factories.make_user("operator", person=board.person)
    return lambda: ask_for_another_reading(
        board=board, trainee=trainee, reason="E01 is fine.", at=NOW
    )


@pytest.mark.parametrize("kind", ["photographs", "boards"])
def test_what_a_regrading_is_asked_of_meanwhile_stays(board, kind):
    SiteRetention.objects.update(vision_tests=0, **{kind: 12})
    assert wait_behind(asking(board), run) == 0
    assert Photo.objects.count() == 1
    assert not Removal.objects.exists()


@pytest.mark.parametrize(
    ("kind", "sentence"), [("photographs", "no photograph"), ("boards", "is kept no longer")]
)
def test_regrading_of_what_goes_meanwhile_is_refused(board, kind, sentence):
    Board.objects.filter(pk=board.pk).update(disposed_at=NOW)
    SiteRetention.objects.update(vision_tests=0, **{kind: 12})
    assert sentence in str(wait_behind(run, asking(board)))
    assert not ReadingRequest.objects.exists()
