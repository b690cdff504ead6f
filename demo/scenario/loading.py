"""The demo, from an empty database to a running training shop."""

import random
from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from assessments.content.criteria import REVISION_1, REVISION_2, REVISION_3
from assessments.services import criteria
from certification.services import class_plans, standing
from people.models import Installation, Person
from records.services import numbers, trail
from training.models import (
    ClassSession,
    Course,
    CourseRevision,
    Enrolment,
    Exercise,
    Room,
)
from training.services import absences, content, courses
from training.services.course_drafts import publish_courses
from training.services.exercise_publishing import publish_exercises

from . import boards, people, tools, work_log, written
from . import several_readings as several
from .roster import ORGANISATION

SEED = 20
TRIED = "Looked through and tried at the bench."
Say = Callable[[str], None]


class NotEmpty(Exception):
    """The database holds people already, so the demo stays out."""


def load(*, now: datetime | None = None, seed: int = SEED, say: Say = lambda text: None) -> None:
    """Fill an empty database with the demo, in one transaction.

    Parameters
    ----------
    now : datetime, optional
        The instant that "today" is read from; everything is dated relative to it.
    seed : int
        The same seed gives the same people, boards, photographs and faults.
    say : callable
        Told what is being done, a line at a time.

    Raises
    ------
    NotEmpty
        If there are people in the database.
    """
    if Person.objects.exists() or Installation.objects.exists():
        raise NotEmpty("The database is not empty, and the demo goes only into an empty one.")
    now = now or timezone.now()
    with transaction.atomic():
        Installation.objects.create(id=1, organisation=ORGANISATION, demo_loaded_at=now)
        stage = _prepare(now, seed)
        say(f"{len(stage.people)} people at two sites")
        people.make_certificates(stage)
        made = boards.make_boards(stage)
        say(f"{len(made)} boards; drawing their photographs, and judging them")
        by_themselves = [
            board.board for board in made if board.trainee.number in ("10201", "10203", "20201")
        ][:8]
        for demo_board in boards.photograph(stage, made):
            if demo_board.board in by_themselves:
                boards.read_own(stage, demo_board)
            if demo_board.judged:
                boards.judge(stage, demo_board)
        boards.certify(stage)
        several.load(stage, made)
        unjudged = [
            demo_board
            for demo_board in made
            if not demo_board.judged and demo_board.board.site.prefix == "CA"
        ]
        boards.judge_in_part(stage, unjudged[0])
        _classes(stage)
        written.make_written_test(stage)
        tools.name_tools(stage)
        boards.hand_out(stage)
        standing.rebuild_all()
        _plan_of_classes(stage)
        work_log.check_a_log(stage)
        trail.record(
            actor=people.BY,
            act="demo loaded",
            about=("installation", "1"),
            payload={"seed": seed},
            at=now,
        )


def _prepare(now: datetime, seed: int) -> people.Stage:
    """Sites, people, content and schemes: what there is before the first board."""
    sites = people.make_sites(timezone.localdate(now))
    stage = people.Stage(
        today=sites["CA"].today(now),
        now=now,
        rng=random.Random(seed),  # noqa: S311 - a scenario, not a secret
        sites=sites,
        people={},
        users={},
        scopes={},
        revisions={},
    )
    people.make_people(stage)
    _exercises(stage)
    people.make_schemes(stage)
    _criteria(stage)
    tools.make_tools(stage)
    people.make_vision_tests(stage)
    people.make_instructors(stage)
    return stage


def _exercises(stage: people.Stage) -> None:
    """Before the schemes, which ask for boards of them."""
    content.load_exercises(at=stage.at(755), actor=people.BY)
    content.load_courses(at=stage.at(755), actor=people.BY)
    quality = stage.users["10003"]
    publish_exercises(
        drafts=dict.fromkeys(Exercise.objects.drafts().values_list("pk", flat=True)),
        actor=quality,
        at=stage.at(753),
        reason=TRIED,
    )
    publish_courses(
        drafts=dict.fromkeys(CourseRevision.objects.drafts().values_list("pk", flat=True)),
        actor=quality,
        at=stage.at(753),
        reason=TRIED,
    )


def _criteria(stage: people.Stage) -> None:
    quality = stage.users["10003"]
    for which, days_ago in ((REVISION_1, 739), (REVISION_2, 470), (REVISION_3, 200)):
        at = stage.at(days_ago)
        made = criteria.load_criteria_set(content=which, actor=people.BY, at=at)
        if made is not None:
            criteria.publish_criteria_set(criteria_set=made, actor=quality, at=at)


def _plan_of_classes(stage: people.Stage) -> None:
    """Who of the first site goes to the class to come; one of them is away until after it."""
    instructor = stage.users["10001"]
    absences.enter_absence(
        person=stage.people["10114"],
        from_day=stage.today + timedelta(days=7),
        through_day=stage.today + timedelta(days=30),
        actor=instructor,
        at=stage.now,
    )
    plan = class_plans.ask_for_plan(
        sites=[stage.sites["CA"]],
        first_day=stage.today,
        through=stage.today + timedelta(days=150),
        travel=False,
        actor=instructor,
        at=stage.now,
    )
    class_plans.work_out(plan, clock=lambda: stage.now)


def _classes(stage: people.Stage) -> None:
    """One class that runs today, one planned at each site, one past."""
    revision = Course.objects.get(code="HS-TERM").revisions.get()
    rooms = {
        site: Room.objects.create(
            site=stage.sites[site], name=name, benches=8, recorded_at=stage.at(700)
        )
        for site, name in (("CA", "Bench room 2"), ("AL", "Hall B"))
    }
    for site, instructor, starts, days, learners in (
        ("CA", "10001", -83, 3, ("10201", "10202", "10203")),
        ("CA", "10001", 0, 3, ("10205", "10206", "10207", "10208", "10118")),
        ("AL", "20001", 20, 3, ("20203", "20204")),
        ("CA", "10001", 16, 3, ()),
    ):
        session = ClassSession.objects.create(
            number=numbers.next_number(site, "K"),
            course_revision=revision,
            site=stage.sites[site],
            instructor=stage.users[instructor],
            room=rooms[site].name,
            held_in=rooms[site],
            open_to=ClassSession.OpenTo.SITE,
            starts_on=stage.today + timedelta(days=starts),
            ends_on=stage.today + timedelta(days=starts + days - 1),
            recorded_at=stage.at(max(-starts, 0) + 20),
        )
        courses.hold_on(session, [session.starts_on + timedelta(days=n) for n in range(days)])
        for learner in learners:
            Enrolment.objects.create(
                session=session, person=stage.people[learner], recorded_at=session.recorded_at
            )
