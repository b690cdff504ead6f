"""Courses are drafted with their lessons, published and retired; classes keep their revision."""

import re

import pytest
from django.db import connection
from django.urls import reverse

from records.models import append_only
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    PASSWORD,
    TODAY,
    load_published_content,
    make_exercise,
    make_scope,
    make_site,
    make_user,
)
from tests.signing import shown_on
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.models import Course, CourseRevision, Exercise, Lesson
from training.queries import courses as queries
from training.services import course_drafts as drafts
from training.services import courses

pytestmark = pytest.mark.django_db

LESSON = {
    "day": 1,
    "kind": "practice",
    "title": "Wrap",
    "minutes": 90,
    "text": "Wrap it.",
    "material": "",
    "exercise_id": None,
}
PUBLISH = reverse("training:course_publish")


def begin(actor, code="C-1", lessons=(LESSON,), **head):
    made = drafts.begin_course(code=code, title="Cups", actor=actor, at=NOW)
    return drafts.change_course_draft(
        revision=made, lessons=list(lessons), seen=None, actor=actor, at=NOW, **head
    )


def publish(draft, **said):
    return drafts.publish_courses(
        drafts={draft.pk: queries.draft_digest(draft)},
        **{"actor": make_user("quality"), "at": NOW, "reason": "Taught twice.", **said},
    )[0]


def plan(revision):
    site = make_site()
    instructor = make_user("instructor", site=site)
    return courses.plan_class(
        course_revision=revision,
        site=site,
        instructor=instructor,
        starts_on=TODAY,
        ends_on=TODAY,
        places=4,
        actor=instructor,
        at=NOW,
    )


@pytest.fixture
def instructor():
    return make_user("instructor")


def test_classes_are_planned_of_what_is_published_and_keep_it(instructor):
    draft = begin(instructor)
    assert not CourseRevision.objects.newest().exists()
    with pytest.raises(TrainingError, match="is a draft"):
        plan(draft)
    first = publish(draft)
    session = plan(first)
    second = drafts.draft_next_revision(course=first.course, actor=instructor, at=NOW)
    assert queries.lessons_of(second) == queries.lessons_of(first)
    assert list(CourseRevision.objects.newest()) == [first]

    publish(second)

    session.refresh_from_db()
    assert session.course_revision == first
    assert list(CourseRevision.objects.newest()) == [second]
    with pytest.raises(TrainingError, match="is out of use"):
        plan(first)
    drafts.retire_course(
        revision=second, actor=make_user("quality"), at=NOW, reason="Over.", proof="password"
    )
    assert not CourseRevision.objects.newest().exists()


def test_the_next_revision_takes_the_exercise_that_is_in_use(instructor):
    old = make_exercise(code="EX-1", retired_at=NOW)
    new = make_exercise(code="EX-1", revision=2)
    first = publish(begin(instructor, lessons=[{**LESSON, "exercise_id": old.pk}]))
    second = drafts.draft_next_revision(course=first.course, actor=instructor, at=NOW)
    assert second.lessons.get().exercise == new
    assert first.lessons.get().exercise == old


@pytest.mark.parametrize(
    ("lessons", "head", "message"),
    [
        ([{**LESSON, "day": 3}], {"days": 2}, "on day 3 of a course of 2"),
        ([LESSON] * 201, {}, "has 200 at most"),
    ],
)
def test_what_does_not_fit_is_refused_whole(instructor, lessons, head, message):
    draft = begin(instructor)
    with pytest.raises(TrainingError, match=message):
        drafts.change_course_draft(
            revision=draft, lessons=lessons, seen=None, actor=instructor, at=NOW, **head
        )
    assert draft.lessons.count() == 1


def test_a_course_is_not_published_with_drafted_exercises_or_without_lessons(instructor):
    exercise = make_exercise(title="Cups by feel", published=False)
    with pytest.raises(TrainingError, match="Publish these exercises first: Cups by feel"):
        publish(begin(instructor, lessons=[{**LESSON, "exercise_id": exercise.pk}]))
    with pytest.raises(TrainingError, match="at least one lesson"):
        publish(begin(instructor, "C-2", lessons=[]))


def test_the_second_of_two_is_told(instructor):
    draft = begin(instructor)
    seen = queries.draft_digest(draft)
    other = make_user("instructor")
    drafts.change_course_draft(
        revision=draft, lessons=[], seen=seen, actor=other, at=NOW, summary="Short."
    )
    with pytest.raises(DraftChangedMeanwhile, match=str(other)):
        drafts.change_course_draft(
            revision=draft, lessons=[LESSON], seen=seen, actor=instructor, at=NOW
        )


@pytest.mark.each_database
def test_a_published_lesson_altered_by_hand_is_named(instructor):
    published = publish(begin(instructor))
    assert not [fault for fault in verify_records().faults if "course" in str(fault)]
    with append_only.lifted(connection):
        Lesson.objects.filter(course_revision=published).update(minutes=5)
    assert "training_lesson" in " ".join(map(str, verify_records().faults))


def test_a_discarded_draft_of_a_new_course_takes_the_course_with_it(instructor):
    draft = begin(instructor)
    drafts.discard_course_draft(
        revision=draft,
        why="By mistake.",
        seen=queries.draft_digest(draft),
        actor=instructor,
        at=NOW,
    )
    assert not Course.objects.exists()


def page(code="C-1"):
    return reverse("training:course_edit", args=[code])


def test_a_course_from_nothing_to_published_in_the_browser(client):
    quality = make_user("quality", password=PASSWORD)
    client.force_login(quality)
    scope, exercise = make_scope(title="Cups, operator"), make_exercise(title="Cup")
    new = {"code": "C-1", "title": "Cups"}
    assert client.post(reverse("training:course_new"), new).url == page()

    def sent(**more):
        shown = client.get(page()).content.decode()
        seen = re.search(r'name="seen" value="([0-9a-f]{64})"', shown)
        return {
            "seen": seen[1],
            "summary": "Cups in a day.",
            "days": "1",
            "material": "Cups\n\n Wire ",
            "scope_codes": [scope.code],
            "lesson-rows": "2",
            "lesson-0-day": "1",
            "lesson-0-kind": "demonstration",
            "lesson-0-title": "Filling a cup",
            "lesson-0-minutes": "45",
            "lesson-0-exercise_id": str(exercise.pk),
            **more,
        }

    wrong = client.post(page(), sent(**{"lesson-0-minutes": ""}))
    assert wrong.status_code == 422
    assert "Something is wrong in a lesson" in wrong.content.decode()
    assert 'value="Filling a cup"' in wrong.content.decode()
    assert not Lesson.objects.exists()
    more = client.post(page(), sent(do="more:"))
    assert more.status_code == 200
    assert 'name="lesson-rows" value="11"' in more.content.decode()
    assert client.post(page(), sent()).url == page()

    revision = CourseRevision.objects.get()
    assert (revision.material, revision.scope_codes) == ("Cups\nWire", [scope.code])
    key = str(revision.pk)
    shown = shown_on(client.get(PUBLISH))
    said = {"sign": [key], "reason": "Taught.", "password": PASSWORD, **shown}
    assert client.post(PUBLISH, said).status_code == 302
    client.force_login(make_user())
    text = client.get(reverse("training:course_detail", args=["C-1"])).content.decode()
    for words in ("Cups, operator", "demonstration", "Wire", "45"):
        assert words in text


def test_a_draft_is_read_by_those_who_work_on_it_alone(client, instructor):
    load_published_content()
    terminals = Course.objects.get(code="HS-TERM")
    draft = drafts.draft_next_revision(course=terminals, actor=instructor, at=NOW)
    CourseRevision.objects.filter(pk=draft.pk).update(summary="As drafted.")
    begin(instructor, "C-9")
    detail = reverse("training:course_detail", args=["HS-TERM"])
    client.force_login(make_user())
    assert "As drafted." not in client.get(detail).content.decode()
    assert client.get(detail, {"revision": "2"}).status_code == 404
    assert client.get(reverse("training:course_detail", args=["C-9"])).status_code == 404
    client.force_login(instructor)
    assert "As drafted." not in client.get(detail).content.decode()
    assert "As drafted." in client.get(detail, {"revision": "2"}).content.decode()


def test_lessons_of_what_came_along_say_their_kind():
    load_published_content()
    kinds = set(Lesson.objects.values_list("kind", flat=True))
    assert kinds == {"demonstration", "reading", "practice", "judging", "test"}
    assert Exercise.objects.drafts().count() == 0
