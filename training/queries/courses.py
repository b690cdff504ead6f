"""What a revision of a course says: compared, copied, written down and shown by this alone."""

from collections.abc import Collection
from typing import Any

from records.domain.shown import digest_of
from training.models import CourseRevision, Lesson

from .exercises import said

HEAD = ("summary", "days", "material", "scope_codes", "after_courses")
HEAD_LATER = frozenset({"after_courses"})
"""What a revision says later than the first did: written down where it says something."""
LESSON = ("day", "kind", "title", "minutes", "text", "material", "exercise_id")


def head_of(revision: CourseRevision) -> dict[str, Any]:
    return said(revision, HEAD)


def lessons_of(revision: CourseRevision) -> list[dict[str, Any]]:
    return [said(row, LESSON) for row in Lesson.objects.filter(course_revision=revision)]


def content_of(revision: CourseRevision) -> dict[str, Any]:
    """Everything that a revision says, read anew; what happened to it is no part of it."""
    head = head_of(revision)
    return {
        "code": revision.course.code,
        "title": revision.course.title,
        "revision": revision.revision,
        **{name: value for name, value in head.items() if value or name not in HEAD_LATER},
        "source": revision.source,
        "lessons": lessons_of(revision),
    }


def draft_digest(revision: CourseRevision) -> str:
    return digest_of(content_of(revision))


def earlier_of(revision: CourseRevision) -> CourseRevision | None:
    """The published revision before this one, which its next one is compared with."""
    return (
        CourseRevision.objects.published()
        .filter(course=revision.course_id, revision__lt=revision.revision)
        .order_by("-revision")
        .first()
    )


def courses_before(drafts: Collection[CourseRevision] = ()) -> dict[str, list[str]]:
    """By course those that come before it: as in use, and as drafts say once they are published."""
    in_use = CourseRevision.objects.newest().values_list("course__code", "after_courses")
    return dict(in_use) | {draft.course.code: draft.after_courses for draft in drafts}
