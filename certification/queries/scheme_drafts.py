"""Drafts of schemes: what they say, what they follow, what publishing them would come to."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from assessments.models import WrittenTest
from assessments.queries.criteria_sets import two_confirm
from certification.domain.facts import SchemeFigures
from certification.domain.path import PathFigures
from certification.domain.scheme_rules import AskedExercise, CoveredScope, SchemeRules
from certification.models import SchemeRequirement, SchemeRevision, Scope, StandingSpan
from people.models import User
from people.queries.site_days import Days
from records.domain.canonical import as_json_value
from records.domain.shown import digest_of
from training.models import CourseRevision, Exercise, Lesson

from . import standing_on_day
from .graders import GRADER_LEVELS
from .schemes_written_down import published_content, scope_as_json

PATH_FIGURES = ("attempts", "wait_days", "retraining_boards")
"""What the way to a certificate goes by (`certification.domain.path`)."""
WRITTEN_TEST = ("written_test", "written_test_months")
"""The written test that is passed before anybody is certified."""
RULES = (
    *standing_on_day.FIGURES,
    "reminder_steps",
    "instructor_may_issue",
    "grader_needs_standing",
    *PATH_FIGURES,
    *WRITTEN_TEST,
)
"""What a draft says of itself beside its scopes and the boards it asks for."""
SOURCED = (*RULES, "requirements")
"""What a source can be given for."""


def state_of(revision: SchemeRevision) -> dict[str, Any]:
    """Everything that a draft may say, in what JSON can hold; read anew each time."""
    requirements = SchemeRequirement.objects.filter(revision=revision).select_related("scope")
    return {
        "title": revision.scheme.title,
        **{name: getattr(revision, name) for name in RULES},
        "expiry_rule": str(revision.expiry_rule),
        "sources": {name: text for name, text in sorted(revision.sources.items()) if text},
        "scopes": sorted(
            Scope.objects.filter(scheme_revisions=revision).values_list("code", flat=True)
        ),
        "requirements": sorted(
            [asked.scope.code, asked.exercise_code, sorted(asked.purposes), asked.boards,
             asked.within_months, asked.after_exercise, asked.after_course]
            for asked in requirements
        ),
    }  # fmt: skip


def draft_digest(revision: SchemeRevision) -> str:
    """Tells two states of a draft apart: what a page showed, and what stands there now."""
    return digest_of(as_json_value(state_of(revision)))


def content_to_publish(revision: SchemeRevision) -> dict[str, Any]:
    """What publishing would write down and change, less what only the act itself brings."""
    content = published_content(revision)
    return {
        **{
            name: value for name, value in content.items() if name not in ("published_at", "reason")
        },
        "title": revision.scheme.title,
        "scopes": [scope_as_json(scope) for scope in revision.scopes.order_by("code")],
        "replaces": [replaced.name for replaced in replaced_by(revision)],
        "covered_also": covered_also(revision),
    }


def earlier_of(revision: SchemeRevision) -> SchemeRevision | None:
    """What a revision is compared with: the one it began from, or the published one before it."""
    if revision.begun_from is not None and revision.begun_from.scheme_id == revision.scheme_id:
        return revision.begun_from
    return (
        SchemeRevision.objects.filter(
            scheme=revision.scheme_id, revision__lt=revision.revision, published_at__isnull=False
        )
        .order_by("-revision")
        .first()
    )


def replaced_by(revision: SchemeRevision) -> list[SchemeRevision]:
    """Revisions in force that retire when a draft is published."""
    in_force = SchemeRevision.objects.in_force().filter(scheme=revision.scheme_id)
    return list(in_force.exclude(pk=revision.pk).order_by("revision"))


def covered_also(revision: SchemeRevision) -> dict[str, list[str]]:
    """By scope's code, other schemes in force that cover a scope of this one.

    Of several that name boards for a scope, the one published last is proposed first.
    """
    others: dict[str, list[str]] = defaultdict(list)
    rows = (
        SchemeRevision.objects.in_force()
        .filter(scopes__in=revision.scopes.all())
        .exclude(scheme=revision.scheme_id)
        .order_by("scopes__code", "name")
        .values_list("scopes__code", "name")
    )
    for code, name in rows:
        others[code].append(name)
    return dict(others)


def left_without_scheme(revision: SchemeRevision) -> list[Scope]:
    """Scopes for which nothing could be issued any more if a revision in force retired."""
    others = SchemeRevision.objects.in_force().exclude(pk=revision.pk)
    covered = Scope.objects.filter(scheme_revisions__in=others).values("pk")
    return list(revision.scopes.exclude(pk__in=covered).order_by("level", "title"))


def no_longer_covered(revision: SchemeRevision) -> list[Scope]:
    """Scopes that a revision in force covers, and would not once this draft has replaced it."""
    replaced = replaced_by(revision)
    staying = SchemeRevision.objects.in_force().exclude(pk__in=[one.pk for one in replaced])
    kept = Scope.objects.filter(scheme_revisions__in=[*staying, revision]).values("pk")
    gone = Scope.objects.filter(scheme_revisions__in=replaced).exclude(pk__in=kept)
    return list(gone.distinct().order_by("level", "title"))


def joint_types_without_grader(revision: SchemeRevision, days: Days) -> set[str]:
    """Joint types that nobody could judge once a draft is published: nobody has the standing.

    Empty where the draft asks no standing of graders. Joint types of schemes in force that ask
    for it already are left out: publishing changes nothing for them.
    """
    if not revision.grader_needs_standing:
        return set()
    needed = {
        name
        for scope in revision.scopes.all()
        if scope.level == Scope.Level.OPERATOR
        for name in scope.joint_types
    }
    held = {
        name
        for span in StandingSpan.objects.on_days(days)
        .filter(scope__level__in=GRADER_LEVELS, standing="certified")
        .select_related("scope")
        for name in span.scope.joint_types
    }
    return needed - held


def refusing_for_second(revision: SchemeRevision, user: User) -> str:
    """Why somebody may not publish a draft alone: ``unseen``, ``own`` or empty.

    Where a site asks that two people confirm criteria, two stand behind a scheme too: whoever
    changed it last, or looked through it, and whoever publishes it.
    """
    if not two_confirm():
        return ""
    if revision.changed_by_id is None:
        return "unseen"
    return "own" if revision.changed_by_id == user.pk else ""


@dataclass(frozen=True, slots=True)
class _Shows:
    """What the required joints of an exercise are, and what they are credited to."""

    credits: frozenset[str]
    joint_types: frozenset[str]


def rules_of(revision: SchemeRevision) -> SchemeRules:
    """What a revision says, for `certification.domain.scheme_rules`; its rows are read anew."""
    asked: dict[int, list[SchemeRequirement]] = defaultdict(list)
    rows = SchemeRequirement.objects.filter(revision=revision).order_by("scope", "id")
    for row in rows:
        asked[row.scope_id].append(row)
    shows = _exercises({row.exercise_code for of_scope in asked.values() for row in of_scope})
    courses = dict(CourseRevision.objects.newest().values_list("course__code", "pk"))
    taught = set(
        Lesson.objects.filter(course_revision__in=courses.values())
        .order_by()
        .values_list("exercise__code", flat=True)
    )
    covered = set(revision.scopes.values_list("pk", flat=True))
    scopes = Scope.objects.filter(pk__in=covered | set(asked)).order_by("level", "title")
    return SchemeRules(
        figures=figures_of(revision),
        reminder_steps=tuple(revision.reminder_steps),
        scopes=[
            CoveredScope(
                code=scope.code,
                joint_types=frozenset(scope.joint_types),
                is_covered=scope.pk in covered,
                is_retired=scope.retired_at is not None,
                asked=tuple(_asked(row, shows, courses, taught) for row in asked[scope.pk]),
            )
            for scope in scopes
        ],
        path=path_figures_of(revision),
        written_test=revision.written_test,
        is_test_in_use=WrittenTest.objects.current().filter(code=revision.written_test).exists(),
    )


def figures_of(revision: SchemeRevision) -> SchemeFigures:
    return standing_on_day.figures_of(revision)


def path_figures_of(revision: SchemeRevision) -> PathFigures:
    return PathFigures(**{name: getattr(revision, name) for name in PATH_FIGURES})


def _asked(
    row: SchemeRequirement,
    shows: Mapping[str, _Shows],
    courses: Collection[str],
    taught: Collection[str],
) -> AskedExercise:
    shown = shows.get(row.exercise_code)
    return AskedExercise(
        code=row.exercise_code,
        boards=row.boards,
        is_current=shown is not None,
        credits=shown.credits if shown else frozenset(),
        joint_types=shown.joint_types if shown else frozenset(),
        after_exercise=row.after_exercise,
        after_course=row.after_course,
        is_course_in_use=row.after_course in courses,
        is_taught=row.exercise_code in taught,
    )


def _exercises(codes: Collection[str]) -> dict[str, _Shows]:
    """Exercises whose boards can be handed out, each as its latest revision has it."""
    latest: dict[str, Exercise] = {}
    exercises = Exercise.objects.current().filter(code__in=codes).prefetch_related("positions")
    for exercise in exercises.order_by("revision"):
        latest[exercise.code] = exercise
    found = {}
    for code, exercise in latest.items():
        required = [position for position in exercise.positions.all() if position.required]
        found[code] = _Shows(
            frozenset(position.scope_code for position in required if position.scope_code),
            frozenset(position.joint_type for position in required),
        )
    return found


def revisions_listed(*, with_drafts: bool) -> QuerySet[SchemeRevision]:
    """Revisions by scheme, newest first; without drafts for those who may not read them."""
    revisions = SchemeRevision.objects.all() if with_drafts else _published_ones()
    return (
        revisions.select_related("scheme")
        .prefetch_related("scopes")
        .order_by("scheme__code", "-revision")
    )


def _published_ones() -> QuerySet[SchemeRevision]:
    return SchemeRevision.objects.filter(published_at__isnull=False)
