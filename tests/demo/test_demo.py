"""The demo: everything in it is real, every state is there, and a seed says what happens."""

from contextlib import suppress

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from assessments.models import (
    Board,
    CriteriaSet,
    Grading,
    Joint,
    Judgement,
    Photo,
    ReadingRequest,
    StageSigning,
)
from assessments.presenters.class_day import class_day
from certification.models import Certificate, Proposal, StandingSpan
from demo.drawn import FAULTS
from demo.scenario import boards, people, pictures, roster
from demo.scenario import loading as scenario
from operations.queries import own_machine
from people.models import Installation, Person, Site, User
from records.queries.verification import verify_records
from tests import drawn_once
from training.models import ClassSession

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


class Undone(Exception):
    """Takes back what a test made inside a transaction."""


@pytest.fixture(autouse=True)
def _files_of_their_own(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path)},
        },
    }


def test_the_whole_demo_holds_together(monkeypatch):
    monkeypatch.setattr(boards, "draw_all", drawn_once.draw_all)
    now = timezone.now()
    scenario.load(now=now)
    today = Site.objects.get(prefix="CA").today(now)
    assert Installation.is_demo()
    assert Person.objects.count() >= 40
    assert 110 <= Board.objects.count() <= 130
    assert 1400 <= Photo.objects.count() <= 1700
    running = ClassSession.objects.select_related("site").running_on(today).get(site__prefix="CA")
    day = class_day(running, User.objects.get(employee_number="10001"), now)
    cells = [
        cell for trainee in day.trainees for row in trainee.boards for cell in row.cells if cell
    ]
    assert {cell.state for cell in cells} >= {"signed", "to_sign", "open"}
    assert any(cell.judged and cell.state == "open" for cell in cells)
    assert any(cell.rest for cell in cells)
    assert not StageSigning.objects.filter(signed_at__gt=now).exists()
    assert not Judgement.objects.filter(judged_at__gt=now).exists()
    standings = set(StandingSpan.objects.on(today).values_list("standing", flat=True))
    assert standings >= {
        "certified",
        "expired",
        "suspended",
        "revoked",
        "vision_not_current",
        "practice_lapsed",
    }
    assert CriteriaSet.objects.filter(retired_at__isnull=False).count() == 2
    assert CriteriaSet.objects.current().get().revision == 3
    assert Board.objects.get(exercise__alloy__gt="").alloy == "Sn96.5Ag3Cu0.5"
    assert Joint.objects.filter(position__joint_type="pierced").count() == 20
    assert Certificate.objects.filter(origin="own").exists()
    assert Certificate.objects.filter(origin="elsewhere").exists()
    assert Proposal.objects.open().exists()
    assert Grading.objects.filter(kind="own").exists()
    assert Board.objects.waiting().count() >= 8
    outcomes = set(
        Board.objects.filter(outcome__complete=True).values_list("outcome__passed", flat=True)
    )
    assert outcomes == {True, False}
    assert_several_readings()
    assert not Judgement.objects.filter(outcome="reject", photo__isnull=True).exists()
    assert Judgement.objects.filter(how="marks", measurement__verdict="outside").count() >= 3
    report = verify_records()
    assert report.fits, report.faults
    sign_in = Client().login(username="10001", password=people.PASSWORD)
    assert sign_in
    monkeypatch.setattr(own_machine, "_database_is_the_folders_own", lambda: True)
    with pytest.raises(CommandError, match="not empty"):
        call_command("load_demo")
    call_command("load_demo", "--if-empty")


def assert_several_readings():
    """A joint was reworked, a third person decided between two, a request was answered."""
    remade = Board.objects.get(joints__make=2)
    assert remade.outcome.complete
    assert Grading.objects.filter(board=remade, kind="rework").count() == 1
    decided = Grading.objects.get(kind="decision")
    assert decided.judgements.count() == 1
    assert decided.board.outcome.passed
    request = ReadingRequest.objects.get()
    assert request.grading.kind == "another"
    assert request.after["rejected"] < request.before["rejected"]
    half = Board.objects.filter(exercise__graders=2, outcome__complete=False)
    assert half.count() == 1


@pytest.mark.one_database
def test_a_seed_says_which_joints_go_wrong():
    now = timezone.now()

    def faults(seed: int) -> list:
        faults: list = []
        with suppress(Undone), transaction.atomic():
            Installation.objects.create(id=1, organisation="X", demo_loaded_at=now)
            stage = scenario._prepare(now, seed)
            people.make_certificates(stage)
            faults.extend(
                (
                    demo_board.board.person.employee_number,
                    demo_board.board.exercise.code,
                    demo_board.faults,
                )
                for demo_board in boards.make_boards(stage)
            )
            raise Undone
        return faults

    first = faults(7)
    assert first == faults(7)
    assert first != faults(8)


@pytest.mark.one_database
def test_photographs_that_are_kept_are_those_that_would_be_drawn(monkeypatch, tmp_path):
    monkeypatch.setattr(drawn_once, "KEPT", tmp_path / "kept")
    kind = next(iter(FAULTS))
    orders = [
        pictures.Order(1, "E01", kind, FAULTS[kind][0], 1),
        pictures.Order(1, "E02", kind, None, 2),
    ]
    assert list(drawn_once.draw_all(orders)) == list(pictures.draw_all(orders, drawn_once.SIZE))
    monkeypatch.setattr(pictures, "draw", pytest.fail)
    assert [one.order for one in drawn_once.draw_all(reversed(orders))] == orders[::-1]


@pytest.mark.one_database
def test_nobody_is_on_the_roster_twice():
    numbers = [demo_person.number for demo_person in roster.EVERYONE]
    names = [demo_person.name for demo_person in roster.EVERYONE]
    assert len(set(numbers)) == len(numbers)
    assert len(set(names)) == len(names)
    assert {trainee.number for trainee in roster.TRAINEES} <= set(numbers)


def test_without_the_demo_there_are_no_demo_sign_ins(capsys):
    call_command("demo_sign_ins")
    output = capsys.readouterr().out
    assert people.PASSWORD not in output
    assert not User.objects.exists()
