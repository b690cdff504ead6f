"""Courses drafted, published and retired, a revision at a time.

A published revision never changes: a class names the one that it is taught from.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from records.exceptions import ShownOtherwise
from records.services import trail
from training.domain.course_order import circle_through
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.models import Course, CourseRevision, Exercise, Lesson
from training.queries import courses as queries
from training.queries.completed import named, titles_of
from training.queries.written_down import COURSE_PUBLISHED, COURSE_RETIRED

DRAFTED = "course drafted"
CHANGED = "course draft changed"
DISCARDED = "course draft discarded"
MOST_LESSONS = 200


@transaction.atomic
def begin_course(*, code: str, title: str, actor: User, at: datetime) -> CourseRevision:
    """Begin a course of the site's own as a draft without lessons.

    Raises
    ------
    TrainingError
        If the code is another course's, in whatever capitals.
    """
    # A course that is being begun has no row yet that others could wait for.
    trail.lock_trail()
    if Course.objects.filter(code__iexact=code).exists():
        raise TrainingError(
            _("%(code)s is the code of another course. Draft its next revision, or give another.")
            % {"code": code}
        )
    made = CourseRevision.objects.create(
        course=Course.objects.create(code=code, title=title),
        revision=1,
        changed_at=at,
        changed_by=actor,
        recorded_at=at,
    )
    _record(DRAFTED, made, actor, at)
    return made


@transaction.atomic
def draft_next_revision(*, course: Course, actor: User, at: datetime) -> CourseRevision:
    """Copy the newest revision of a course into a draft with the next number.

    Lessons on an exercise are on the revision of it that is in use.

    Raises
    ------
    TrainingError
        If there is a draft of it already.
    """
    rows = _lock_course(course)
    if any(row.is_draft for row in rows):
        raise TrainingError(
            _("There is a draft of %(course)s already. Go on with that one.")
            % {"course": course.title}
        )
    source = rows[-1]
    made = CourseRevision.objects.create(
        course=source.course,
        revision=source.revision + 1,
        source=source.source,
        begun_from=source,
        changed_at=at,
        changed_by=actor,
        recorded_at=at,
        **queries.head_of(source),
    )
    lessons = queries.lessons_of(source)
    codes = dict(
        Exercise.objects.filter(
            pk__in=[lesson["exercise_id"] for lesson in lessons if lesson["exercise_id"]]
        ).values_list("pk", "code")
    )
    in_use = {
        exercise.code: exercise.pk
        for exercise in Exercise.objects.current()
        .filter(code__in=codes.values())
        .order_by("revision")
    }
    for lesson in lessons:
        number = lesson["exercise_id"]
        lesson["exercise_id"] = in_use.get(codes.get(number, ""), number)
    _write_lessons(made, lessons)
    _record(DRAFTED, made, actor, at, copied_from=source.revision)
    return made


@transaction.atomic
def change_course_draft(
    *,
    revision: CourseRevision,
    lessons: Sequence[Mapping[str, Any]],
    seen: str | None,
    actor: User,
    at: datetime,
    **head: Any,
) -> CourseRevision:
    """Have a draft say this, with these lessons and no other, in the order of the days.

    Parameters
    ----------
    lessons : sequence of mapping
        Each by the names of `queries.courses.LESSON`.
    seen : str or None
        `queries.courses.draft_digest` of it as the page showed it; None where no page did.

    Raises
    ------
    DraftChangedMeanwhile
        If it says otherwise by now.
    TrainingError
        If it is published or gone, or a lesson lies after the last day.
    """
    unknown = set(head) - set(queries.HEAD)
    if unknown:
        raise TypeError(f"Courses have no {', '.join(sorted(unknown))} to change.")
    made = _locked_draft(revision)
    before = queries.content_of(made)
    if seen is not None and seen != queries.draft_digest(made):
        raise DraftChangedMeanwhile(
            _(
                "%(who)s changed this since you opened it. What differs now from what you typed "
                "is below; what you typed is kept. Save again to have yours."
            )
            % {"who": made.changed_by or _("Somebody else")}
        )
    if len(lessons) > MOST_LESSONS:
        raise TrainingError(
            _("These are %(n)d lessons. A course has %(most)d at most.")
            % {"n": len(lessons), "most": MOST_LESSONS}
        )
    days = head.get("days", made.days)
    late = next((lesson for lesson in lessons if lesson["day"] > days), None)
    if late is not None:
        raise TrainingError(
            _("“%(lesson)s” is on day %(day)d of a course of %(days)d. Change one of them.")
            % {"lesson": late["title"], "day": late["day"], "days": days}
        )
    for name, value in head.items():
        setattr(made, name, value)
    Lesson.objects.filter(course_revision=made).delete()
    _write_lessons(made, sorted(lessons, key=lambda lesson: lesson["day"]))
    after = queries.content_of(made)
    if after == before:
        return made
    made.changed_at, made.changed_by = at, actor
    made.save(update_fields=[*head, "changed_at", "changed_by"])
    # What is said later than by the first revisions stands there only where it says something.
    names = dict.fromkeys([*before, *after])
    changed = [name for name in names if before.get(name) != after.get(name)]
    _record(
        CHANGED,
        made,
        actor,
        at,
        before={name: before.get(name, []) for name in changed},
        after={name: after.get(name, []) for name in changed},
    )
    return made


@transaction.atomic
def discard_course_draft(
    *, revision: CourseRevision, why: str, seen: str, actor: User, at: datetime
) -> None:
    """Throw a draft away whole; the trail keeps what it said and why it went."""
    made = _locked_draft(revision)
    if seen != queries.draft_digest(made):
        raise DraftChangedMeanwhile(
            _("The draft was changed since you opened this page. Look at it again first.")
        )
    _record(DISCARDED, made, actor, at, why=why.strip(), said=queries.content_of(made))
    course = made.course
    made.delete()
    if not course.revisions.exists():
        course.delete()


@transaction.atomic
def publish_courses(
    *,
    drafts: Mapping[int, str | None],
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
) -> list[CourseRevision]:
    """Publish drafts, all of them or none; what each replaces retires. Classes keep theirs.

    Parameters
    ----------
    drafts : mapping of int to str or None
        By key of each, `queries.courses.draft_digest` as the page showed it; None where no page
        was shown, as by a command.

    Raises
    ------
    ShownOtherwise
        If one of them is not what was shown.
    TrainingError
        If one is published already or gone, or says too little to be taught.
    """
    courses = set(CourseRevision.objects.filter(pk__in=drafts).values_list("course", flat=True))
    held = CourseRevision.objects.filter(course__in=courses).order_by("pk")
    list(held.select_for_update(no_key=True))
    made = list(
        CourseRevision.objects.filter(pk__in=drafts).select_related("course").order_by("course")
    )
    if any(draft.after_courses for draft in made):
        # Others may publish what comes before, and each would see no circle.
        trail.lock_trail()
    if len(made) < len(drafts):
        raise TrainingError(_("One of the drafts is not there any more. Look at the list again."))
    for draft in made:
        if not draft.is_draft:
            raise TrainingError(_("%(course)s is published already.") % {"course": draft})
        faults = course_faults(draft, made)
        if faults:
            raise TrainingError(f"{draft}: {' '.join(faults)}")
        shown = drafts[draft.pk]
        if shown is not None and shown != queries.draft_digest(draft):
            raise ShownOtherwise
    for draft in made:
        replaced = CourseRevision.objects.published().filter(
            course=draft.course_id, retired_at__isnull=True
        )
        for old in list(replaced):
            _retire(old, actor=actor, at=at, reason=reason.strip(), proof=proof)
        draft.published_at, draft.published_by = at, actor
        draft.publishing_reason = reason.strip()
        draft.save(update_fields=["published_at", "published_by", "publishing_reason"])
        content = queries.content_of(draft)
        _record(COURSE_PUBLISHED, draft, actor, at, **content, reason=reason.strip(), proof=proof)
    return made


@transaction.atomic
def retire_course(
    *, revision: CourseRevision, actor: User, at: datetime, reason: str, proof: str
) -> CourseRevision:
    """Stop planning classes of a course; those that are planned keep their revision."""
    _lock_course(revision.course)
    made = CourseRevision.objects.select_related("course").get(pk=revision.pk)
    if made.is_draft or made.retired_at is not None:
        raise TrainingError(_("%(course)s is not in use.") % {"course": made})
    _retire(made, actor=actor, at=at, reason=reason.strip(), proof=proof)
    return made


def course_faults(draft: CourseRevision, with_it: Sequence[CourseRevision] = ()) -> list[str]:
    """What is missing of a draft before a class can be taught from it, in sentences.

    ``with_it`` are drafts that are published together with it.
    """
    lessons = list(Lesson.objects.filter(course_revision=draft).select_related("exercise"))
    faults = []
    if not lessons:
        faults.append(_("Give at least one lesson."))
    unpublished = sorted(
        {
            lesson.exercise.title
            for lesson in lessons
            if lesson.exercise is not None and lesson.exercise.is_draft
        }
    )
    if unpublished:
        faults.append(
            _("Publish these exercises first: %(exercises)s.")
            % {"exercises": ", ".join(unpublished)}
        )
    return faults + _faults_of_order(draft, with_it)


def _faults_of_order(draft: CourseRevision, with_it: Sequence[CourseRevision]) -> list[str]:
    if not draft.after_courses:
        return []
    before = queries.courses_before([*with_it, draft])
    circle = circle_through(draft.course.code, before)
    unknown = [code for code in draft.after_courses if code not in before]
    titles = titles_of({*circle, *unknown})
    faults = []
    if circle:
        faults.append(
            _("It would come before itself: %(courses)s. Take one of them out.")
            % {"courses": " → ".join(titles.get(code, code) for code in reversed(circle))}
        )
    if unknown:
        faults.append(
            _("No class is planned of what comes first: %(courses)s. Publish it, or take it out.")
            % {"courses": named(unknown, titles)}
        )
    return faults


def _retire(
    made: CourseRevision, *, actor: User | None, at: datetime, reason: str, proof: str
) -> None:
    made.retired_at = at
    made.save(update_fields=["retired_at"])
    _record(COURSE_RETIRED, made, actor, at, reason=reason, proof=proof)


def _write_lessons(made: CourseRevision, lessons: Sequence[Mapping[str, Any]]) -> None:
    Lesson.objects.bulk_create(
        Lesson(course_revision=made, order=order, **lesson)
        for order, lesson in enumerate(lessons, start=1)
    )


def _lock_course(course: Course) -> list[CourseRevision]:
    """Hold every revision of a course, in one order; read anew once they are held."""
    list(CourseRevision.objects.filter(course=course).order_by("pk").select_for_update(no_key=True))
    rows = CourseRevision.objects.filter(course=course).select_related("course")
    return list(rows.order_by("revision"))


def _locked_draft(revision: CourseRevision) -> CourseRevision:
    made = (
        CourseRevision.objects.select_for_update(of=("self",), no_key=True)
        .select_related("course")
        .filter(pk=revision.pk)
        .first()
    )
    if made is None:
        raise TrainingError(_("The draft is not there any more: somebody discarded it."))
    if not made.is_draft:
        raise TrainingError(
            _("%(course)s is published and never changes. Draft the next revision.")
            % {"course": made}
        )
    return made


def _record(
    act: str, made: CourseRevision, actor: User | str | None, at: datetime, **said: Any
) -> None:
    payload = {"code": made.course.code, "title": made.course.title, "revision": made.revision}
    trail.record(actor=actor, act=act, about=made, payload=payload | said, at=at)
