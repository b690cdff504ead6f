"""Plain makers of rows for tests; each names what it was given and fills in the rest."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time
from itertools import count
from typing import Any

from django.db import connection, transaction

from assessments.domain.view import Bounds
from assessments.models import (
    Board,
    BoardOutcome,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Photo,
    StageSigning,
)
from assessments.queries import board_results, written_down
from assessments.services import photo_setups
from certification.domain.standing import valid_through
from certification.models import (
    Certificate,
    Scheme,
    SchemeRequirement,
    SchemeRevision,
    Scope,
)
from certification.queries import standing_on_day
from certification.services import standing
from people.models import Person, Role, Site, SiteRole, User
from records.models import append_only
from records.queries import rebuilding
from records.services import trail
from training.domain.class_days import days_held
from training.models import (
    ClassSession,
    Course,
    CourseRevision,
    Enrolment,
    Exercise,
    JointType,
    Position,
    Stage,
    Tool,
)
from training.services import content, courses
from training.services.course_drafts import publish_courses
from training.services.exercise_publishing import publish_exercises

NOW = datetime(2026, 11, 25, 12, 50, tzinfo=UTC)
TODAY = date(2026, 11, 25)
PASSWORD = "a solder pot by the window"

# None with 89 in it, which browser tests look for: it would stand in a certificate's number, too.
_numbers = (number for number in count(1) if "89" not in str(number))


def make_site(name: str = "Castelmar", prefix: str = "CA", **fields: Any) -> Site:
    """The site of that prefix, made if there is none."""
    fields = {"name": name, "time_zone": "Europe/Madrid", **fields}
    return Site.objects.get_or_create(prefix=prefix, defaults=fields)[0]


def make_person(site: Site | None = None, **fields: Any) -> Person:
    number = next(_numbers)
    return Person.objects.create(
        **{
            # In octal, so that none holds an 8 and the PIN 2580 can be read off nobody's number.
            "employee_number": f"{0o20000 + number:o}",
            "full_name": f"Person {number}",
            "site": site or make_site(),
            **fields,
        }
    )


def make_user(
    *roles: str,
    site: Site | None = None,
    person: Person | None = None,
    password: str | None = None,
    **fields: Any,
) -> User:
    """A user who is a person at the site, with these roles there beside operator."""
    person = person or make_person(site)
    user = User(employee_number=person.employee_number, person=person, **fields)
    if password is None:
        user.set_unusable_password()
    else:
        user.set_password(password)
    user.save()
    for role in roles:
        SiteRole.objects.create(user=user, site=site or person.site, role=role)
    return user


def make_kiosk(site: Site | None = None, name: str = "", password: str | None = None) -> User:
    """The sign-in of a kiosk at the site, which is nobody's."""
    kiosk = User.objects.create_user(name or f"kiosk-{next(_numbers)}", password)
    SiteRole.objects.create(user=kiosk, site=site or make_site(), role=Role.KIOSK)
    return kiosk


def make_exercise(
    joint_types: tuple[str, ...] = (JointType.TURRET,) * 3,
    *,
    stages: tuple[str, ...] = (Stage.SOLDERED,),
    spare: int = 0,
    published: bool = True,
    **fields: Any,
) -> Exercise:
    """An exercise with positions E01, E02 and so on; the last ``spare`` are not required."""
    number = next(_numbers)
    exercise = Exercise.objects.create(
        **{
            "code": f"X-{number}",
            "title": f"Exercise {number}",
            "purpose": "To learn it.",
            "drawing": "turret-wrap-top-accept",
            "stages": [str(stage) for stage in stages],
            **fields,
            "published_at": None,
        }
    )
    Position.objects.bulk_create(
        Position(
            exercise=exercise,
            name=f"E{order:02d}",
            order=order,
            joint_type=joint_type,
            required=order <= len(joint_types) - spare,
        )
        for order, joint_type in enumerate(joint_types, start=1)
    )
    if published:
        exercise.published_at = NOW
        exercise.save(update_fields=["published_at"])
    exercise.refresh_from_db()  # Figures as the database has them, whatever was given.
    return exercise


@contextmanager
def unprotected() -> Iterator[None]:
    """What is published is changed in here; the product never does, and tests of it do past it."""
    with append_only.lifted(connection):
        yield


def load_published_content() -> None:
    """The exercises and courses that come along, in use."""
    content.load_exercises(actor="load_content", at=NOW)
    content.load_courses(actor="load_content", at=NOW)
    for model, publish in ((Exercise, publish_exercises), (CourseRevision, publish_courses)):
        keys = model.objects.drafts().values_list("pk", flat=True)
        publish(drafts=dict.fromkeys(keys), actor=None, at=NOW)


def make_session(
    site: Site | None = None,
    *,
    people: tuple[Person, ...] = (),
    instructor: User | None = None,
    weekdays: tuple[int, ...] = (),
    **fields: Any,
) -> ClassSession:
    number = next(_numbers)
    course = Course.objects.create(code=f"C-{number}", title=f"Course {number}")
    session = ClassSession.objects.create(
        **{
            "number": f"CA-K-{number:05d}",
            "course_revision": CourseRevision.objects.create(
                course=course, revision=1, published_at=NOW
            ),
            "site": site or make_site(),
            "instructor": instructor or make_user("instructor", site=site),
            "starts_on": TODAY,
            "ends_on": TODAY,
            **fields,
        }
    )
    courses.hold_on(
        session,
        days_held(session.starts_on, session.ends_on, session.site.working_days, weekdays),
    )
    Enrolment.objects.bulk_create(Enrolment(session=session, person=person) for person in people)
    return session


def make_board(
    person: Person | None = None, exercise: Exercise | None = None, **fields: Any
) -> Board:
    """A board in its owner's hands, with one joint at each position of the exercise."""
    person = person or make_person()
    exercise = exercise or make_exercise()
    board = Board.objects.create(
        **{
            "number": f"{person.site.prefix}-B-{90000 + next(_numbers)}",
            "person": person,
            "exercise": exercise,
            "site": person.site,
            "handed_out_on": TODAY,
            **fields,
        }
    )
    Joint.objects.bulk_create(
        Joint(board=board, position=position) for position in exercise.positions.all()
    )
    return board


def make_photo(board: Board, joint: Joint | None = None, **fields: Any) -> Photo:
    """The row of a photograph, without its file."""
    number = next(_numbers)
    return Photo.objects.create(
        **{
            "board": board,
            "joint": joint,
            "order": number,
            "original": f"originals/{number}.bin",
            "original_name": f"photo-{number}.jpg",
            "media_type": "image/jpeg",
            "size_bytes": 1,
            "sha256": f"{number:064x}",
            "upright_width": 800,
            "upright_height": 600,
            **fields,
        }
    )


def make_photo_setup(site: Site | None = None, *, qualified: bool = True, **bounds: Any) -> Any:
    """A stand that looks straight down, declared and qualified; other bounds at will."""
    site = site or make_site()
    actor = make_user("instructor", site=site)
    figures = {
        "tilt_deg": 0.5,
        "depth_mm": 3,
        "relief_mm": 0.2,
        "distance_mm": 200,
        "distortion": 0.001,
        "field_mm": 20,
        **bounds,
    }
    setup = photo_setups.declare_setup(
        site=site,
        name=f"Stand {next(_numbers)}",
        kind="stand",
        bounds=Bounds(**figures),
        actor=actor,
        at=NOW,
    )
    if qualified:
        photo_setups.qualify_setup(
            setup=setup,
            done_on=TODAY,
            graticule="K-1",
            readings=[photo_setups.Reading(tilt, 10, 10) for tilt in (0, 0, figures["tilt_deg"])],
            actor=actor,
            at=NOW,
        )
    return setup


def on_a_stand(photo: Photo, **bounds: Any) -> Photo:
    """The photograph, as one taken on a qualified stand."""
    site = photo.board.site
    photo_setups.choose_setup(
        photo=photo,
        setup=make_photo_setup(site, **bounds),
        actor=make_user("instructor", site=site),
        at=NOW,
    )
    photo.refresh_from_db(fields=["setup", "scale_view"])
    return photo


def make_tool(site: Site | None = None, **fields: Any) -> Tool:
    number = next(_numbers)
    return Tool.objects.create(
        **{"code": f"G-{number}", "kind": "gauge", "site": site or make_site(), **fields}
    )


def make_criteria_set(*criteria: dict[str, Any], published: bool = True) -> CriteriaSet:
    """A set with these criteria, or with one critical, one major, one minor and one of the board.

    Each criterion is asked at the stage "soldered" of every joint type unless it says otherwise.
    """
    chosen = criteria or (
        {"code": "S-1", "severity": "critical", "demerits": 40},
        {"code": "S-2", "severity": "major", "demerits": 20},
        {"code": "S-3", "severity": "minor", "demerits": 5},
        {"code": "S-9", "severity": "minor", "demerits": 5, "of": "board"},
    )
    # Beyond the few revisions that come along under this title.
    made = CriteriaSet.objects.create(title="Workmanship", revision=100 + next(_numbers))
    Criterion.objects.bulk_create(
        Criterion(
            **{
                "criteria_set": made,
                "order": order,
                "stage": Stage.SOLDERED,
                "joint_types": [str(one) for one in JointType],
                "severity": "major",
                "demerits": 20,
                "accept_drawing": "turret-wrap-top-accept",
                "reject_drawing": "turret-wrap-top-reject",
                "texts": {"en": {"title": f"Title {order}", "text": "Do", "reject": "Not"}},
                **fields,
            }
        )
        for order, fields in enumerate(chosen, start=1)
    )
    if published:
        made.published_at = NOW
        made.save(update_fields=["published_at"])
    return made


def make_scope(
    joint_types: tuple[str, ...] = (JointType.TURRET,), level: str = "operator", **fields: Any
) -> Scope:
    number = next(_numbers)
    return Scope.objects.create(
        **{
            "code": f"S-{number}",
            "title": f"Scope {number}",
            "level": level,
            "joint_types": [str(name) for name in joint_types],
            **fields,
        }
    )


def make_revision(
    scope: Scope,
    *,
    exercise: Exercise | None = None,
    boards: int = 1,
    published: bool = True,
    **fields: Any,
) -> SchemeRevision:
    """A scheme of one revision for a scope, asking for boards of an exercise if one is given."""
    number = next(_numbers)
    revision = SchemeRevision.objects.create(
        **{
            "scheme": Scheme.objects.create(code=f"Z-{number}", title=f"Scheme {number}"),
            "revision": 1,
            "name": f"Z-{number}, rev. 1",
            "validity_months": 24,
            "renewal_window_days": 90,
            **fields,
        }
    )
    revision.scopes.add(scope)
    if exercise is not None:
        SchemeRequirement.objects.create(
            revision=revision, scope=scope, exercise_code=exercise.code, boards=boards
        )
    if published:
        revision.published_at = NOW
        revision.save(update_fields=["published_at"])
    return revision


def _sign(signing: StageSigning) -> None:
    signing.signature = trail.sign(
        actor=signing.grading.grader,
        meaning=written_down.JUDGED,
        about=signing.grading,
        content=board_results.signed_content(signing),
        at=signing.signed_at,
    )
    signing.save()


def make_passed_board(
    person: Person,
    exercise: Exercise,
    *,
    grader: User | None = None,
    signed_at: datetime = NOW,
    **fields: Any,
) -> Board:
    """A board whose every stage one grader has signed, and that passed."""
    grader = grader or make_user("instructor", site=person.site)
    board = make_board(person, exercise, handed_in_at=signed_at, **fields)
    grading = Grading.objects.create(
        board=board, grader=grader, criteria_set=make_criteria_set(), recorded_at=signed_at
    )
    for stage in exercise.stages:
        _sign(StageSigning(grading=grading, stage=stage, signed_at=signed_at, result={}))
    BoardOutcome.objects.create(
        board=board,
        complete=True,
        passed=True,
        score=100,
        joints_judged=exercise.positions.filter(required=True).count(),
        decided_at=signed_at,
    )
    return board


def make_differing_board(person: Person, first: User, second: User) -> Board:
    """A board that two graders have signed and on whose first joint they differ."""
    board = make_board(person, make_exercise(graders=2), handed_in_at=NOW)
    criteria_set = make_criteria_set()
    joints = list(board.joints.order_by("position__order"))
    for grader, first_says in ((first, "reject"), (second, "accept")):
        grading = Grading.objects.create(board=board, grader=grader, criteria_set=criteria_set)
        for criterion in criteria_set.criteria.all():
            for joint in joints if criterion.of == "joint" else [None]:
                is_first = joint == joints[0] and criterion.order == 1
                Judgement.objects.create(
                    grading=grading,
                    joint=joint,
                    criterion=criterion,
                    stage=criterion.stage,
                    outcome=first_says if is_first else "accept",
                    how="at_board",
                )
        _sign(StageSigning(grading=grading, stage="soldered", signed_at=NOW, result={}))
    BoardOutcome.objects.create(board=board)
    return board


def make_certificate(
    person: Person | None = None,
    scope: Scope | None = None,
    *,
    revision: SchemeRevision | None = None,
    issued_on: date = TODAY,
    **fields: Any,
) -> Certificate:
    """A certificate brought over from an earlier register, with its standing worked out."""
    person = person or make_person()
    scope = scope or make_scope()
    revision = revision or make_revision(scope)
    certificate = Certificate.objects.create(
        **{
            "number": f"{person.site.prefix}-C-{90000 + next(_numbers)}",
            "person": person,
            "scope": scope,
            "scheme_revision": revision,
            "issued_on": issued_on,
            "valid_through": valid_through(standing_on_day.figures_of(revision), issued_on),
            "origin": Certificate.Origin.IMPORTED,
            "holder_name": person.full_name,
            "recorded_at": datetime.combine(issued_on, time(9), UTC),
            **fields,
        }
    )
    standing.rebuild_spans(person, scope)
    return certificate


def write_down() -> None:
    """Write into the trail what these makers, and tests, put into tables past the services."""
    for kept in rebuilding.kept_tables():
        if kept.content_of is None:
            continue
        keys = list(kept.rows_without_record())
        rows = kept.model._base_manager.filter(**{f"{kept.key}__in": keys}).order_by("pk")
        by_key = dict(zip(rows.values_list(kept.key, flat=True), rows, strict=True))
        with transaction.atomic():
            trail.record_many(
                actor="factories",
                act=kept.acts[0],
                items=[((kept.about, str(key)), kept.content_of(by_key[key])) for key in keys],
                at=NOW,
            )
