"""Classes and exercises as the search finds them."""

from django.db.models import Exists, OuterRef, Q, When
from django.db.models.expressions import Value
from django.urls import reverse

from people.models import User
from people.presenters.days import format_day
from people.presenters.search import Hit, join
from people.queries.finding import (
    BEGINS,
    EXACT,
    PART,
    Sought,
    name_match,
    number_matches,
    rank,
)
from training.access import sessions_readable_by
from training.models import Exercise


def classes(user: User, sought: Sought, most: int) -> list[Hit]:
    """By their number or the words of the course's title, latest first."""
    name = name_match(sought, "course_revision__course__title")
    found = (
        sessions_readable_by(user)
        .alias(**name.alias)
        .filter(name.matches | number_matches(sought, "number"))
        .annotate(
            rank=rank(
                When(Q(number__iexact=sought.text) | name.exact, then=Value(EXACT)),
                When(Q(number__istartswith=sought.text) | name.begins, then=Value(BEGINS)),
                default=PART,
            )
        )
        .select_related("course_revision__course", "site")
        .order_by("rank", "-starts_on", "number")
    )
    return [
        Hit(
            session.number,
            session.course_revision.course.title,
            join((format_day(session.starts_on), session.site.name, session.room)),
            reverse("training:class_detail", args=[session.number]),
            session.rank,
        )
        for session in found[: most + 1]
    ]


def exercises(user: User, sought: Sought, most: int) -> list[Hit]:
    """By their code or the words of the title; of each the revision that is made to now."""
    name = name_match(sought, "title")
    newer = Exercise.objects.current().filter(
        code=OuterRef("code"), revision__gt=OuterRef("revision")
    )
    found = (
        Exercise.objects.current()
        .alias(**name.alias)
        .filter(~Exists(newer), name.matches | number_matches(sought, "code"))
        .annotate(
            rank=rank(
                When(Q(code__iexact=sought.text) | name.exact, then=Value(EXACT)),
                When(Q(code__istartswith=sought.text) | name.begins, then=Value(BEGINS)),
                default=PART,
            )
        )
        .order_by("rank", "order", "code")
    )
    return [
        Hit(
            exercise.code,
            exercise.title,
            exercise.summary,
            reverse("training:exercise_detail", args=[exercise.code]),
            exercise.rank,
        )
        for exercise in found[: most + 1]
    ]
