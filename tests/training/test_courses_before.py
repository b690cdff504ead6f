"""Courses that come before others: checked wherever people are put on a class, without circles."""

from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse

from records.queries.verification import verify_records
from tests.assessments.together import at_once
from tests.factories import (
    NOW,
    TODAY,
    make_person,
    make_session,
    make_site,
    make_user,
    write_down,
)
from training.exceptions import TrainingError
from training.models import ClassSession, CourseRevision, Enrolment
from training.queries import courses as queries
from training.services import booking, course_drafts, courses, waiting

pytestmark = pytest.mark.django_db

LESSON = {
    "day": 1, "kind": "practice", "title": "Wrap", "minutes": 90, "text": "", "material": "",
    "exercise_id": None,
}  # fmt: skip


@pytest.fixture
def basics():
    """A class of two days, a week ago."""
    week_ago = TODAY - timedelta(days=7)
    return make_session(starts_on=week_ago, ends_on=week_ago + timedelta(days=1), places=9)


@pytest.fixture
def session(basics):
    made = make_session(
        starts_on=TODAY + timedelta(days=7), ends_on=TODAY + timedelta(days=7), places=1
    )
    asks_first(made, basics)
    return made


def asks_first(session, *others):
    revision = session.course_revision
    revision.after_courses = [other.course_revision.course.code for other in others]
    revision.save(update_fields=["after_courses"])


def attend(session, person, *days):
    enrolment = Enrolment.objects.create(session=session, person=person)
    for day in days or [one.day for one in session.days.all()]:
        enrolment.attendances.create(day=day, present=True)


def enrol(session, *people):
    return courses.enrol_people(session=session, people=people, actor=session.instructor, at=NOW)


def test_who_has_not_completed_what_comes_first_is_named_with_what_is_missing(basics, session):
    ClassSession.objects.filter(pk=session.pk).update(places=9)
    also = make_session()
    asks_first(session, basics, also)
    done, half, none = (make_person(full_name=name) for name in ("Ada", "Bo", "Cy"))
    for course in (basics, also):
        attend(course, done)
    attend(basics, half, basics.starts_on)
    attend(also, half)

    with pytest.raises(TrainingError) as refused:
        enrol(session, done, half, none)

    title, other = (one.course_revision.course.title for one in (basics, also))
    assert str(refused.value) == (
        f"Not completed before this class begins: Bo ({title}); Cy ({title} and {other}). That "
        "comes first."
    )
    assert not session.enrolments.exists()
    assert len(enrol(session, done)) == 1


@pytest.mark.parametrize(
    ("starts_in", "fits"),
    [pytest.param(-5, True, id="the-day-after"), pytest.param(-6, False, id="on-its-last-day")],
)
def test_what_comes_first_is_completed_before_the_first_day(basics, session, starts_in, fits):
    person, day = make_person(), TODAY + timedelta(days=starts_in)
    attend(basics, person)
    ClassSession.objects.filter(pk=session.pk).update(starts_on=day)
    if fits:
        assert len(enrol(session, person)) == 1
    else:
        with pytest.raises(TrainingError, match="Not completed"):
            enrol(session, person)


def test_a_cancelled_class_completes_nothing_and_whoever_is_in_stays(basics, session):
    person = make_person()
    attend(basics, person)
    [enrolment] = enrol(session, person)
    ClassSession.objects.filter(pk=basics.pk).update(cancelled_at=NOW)

    assert enrol(session, person) == []
    assert session.enrolments.get() == enrolment
    ClassSession.objects.filter(pk=session.pk).update(places=9)
    attend(basics, other := make_person())
    with pytest.raises(TrainingError, match="Not completed"):
        enrol(session, other)


def test_booking_and_waiting_ask_for_it_too(client, basics, session):
    ClassSession.objects.filter(pk=session.pk).update(open_to="all")
    user = make_user()
    client.force_login(user)
    answer = client.post(reverse("training:class_book", args=[session.number]), follow=True)
    assert "Not completed before this class begins" in answer.content.decode()

    attend(basics, first := make_person())
    enrol(session, first)
    with pytest.raises(TrainingError, match="Not completed"):
        booking.book_waiting(session=session, person=user.person, actor=user, at=NOW)
    with pytest.raises(TrainingError, match="Not completed"):
        waiting.wait_for_place(session=session, people=[user.person], actor=user, at=NOW)
    assert not session.waiting_places.exists()


def begin(code, after=(), actor=None):
    actor = actor or make_user("instructor")
    made = course_drafts.begin_course(code=code, title=f"Course {code}", actor=actor, at=NOW)
    return course_drafts.change_course_draft(
        revision=made, lessons=[LESSON], seen=None, actor=actor, at=NOW, after_courses=list(after)
    )


def publish(*drafts):
    return course_drafts.publish_courses(
        drafts={draft.pk: queries.draft_digest(draft) for draft in drafts},
        actor=make_user("quality"), at=NOW, reason="Taught.",
    )  # fmt: skip


def test_what_comes_first_is_published_copied_shown_and_kept(client):
    publish(begin("A"))
    [made] = publish(begin("B", ["A"]))
    following = course_drafts.draft_next_revision(
        course=made.course, actor=make_user("instructor"), at=NOW
    )

    assert following.after_courses == ["A"]
    assert queries.content_of(made)["after_courses"] == ["A"]
    client.force_login(make_user("instructor"))
    page = client.get(reverse("training:course_detail", args=["B"])).content.decode()
    assert "<dt>After</dt><dd>Course A</dd>" in page
    page = client.get(reverse("training:course_edit", args=["B"])).content.decode()
    assert "Course A (A)" in page
    assert "Course B (B)" not in page
    write_down()
    assert verify_records().faults == []


def test_a_course_that_asks_for_none_is_written_down_as_it_always_was():
    assert "after_courses" not in queries.content_of(publish(begin("A"))[0])


def test_no_course_comes_before_itself_on_whatever_way():
    publish(begin("A"))
    publish(begin("B", ["A"]))
    publish(begin("C", ["B"]))
    again = course_drafts.draft_next_revision(
        course=CourseRevision.objects.get(course__code="A").course,
        actor=make_user("instructor"), at=NOW,
    )  # fmt: skip
    course_drafts.change_course_draft(
        revision=again, lessons=[LESSON], seen=None, actor=make_user("instructor"), at=NOW,
        after_courses=["C"],
    )  # fmt: skip
    again.refresh_from_db()
    said = "It would come before itself: Course A → Course B → Course C → Course A."
    assert said in course_drafts.course_faults(again)[0]
    with pytest.raises(TrainingError, match="come before itself"):
        publish(again)


def test_drafts_published_together_may_come_one_after_the_other_and_not_in_a_circle():
    first, second = begin("A"), begin("B", ["A"])
    with pytest.raises(TrainingError, match="No class is planned of what comes first: Course A"):
        publish(second)
    assert len(publish(first, second)) == 2

    one, other = begin("X", ["Y"]), begin("Y", ["X"])
    with pytest.raises(TrainingError, match="come before itself"):
        publish(one, other)
    assert CourseRevision.objects.published().count() == 2


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_two_who_publish_at_once_make_no_circle():
    make_site()
    publish(begin("X"), begin("Y"))
    drafts = []
    for code, after in (("X", "Y"), ("Y", "X")):
        actor = make_user("instructor")
        draft = course_drafts.draft_next_revision(
            course=CourseRevision.objects.get(course__code=code).course, actor=actor, at=NOW
        )
        drafts.append(
            course_drafts.change_course_draft(
                revision=draft, lessons=[LESSON], seen=None, actor=actor, at=NOW,
                after_courses=[after],
            )
        )  # fmt: skip

    def one(draft):
        try:
            return publish(draft)
        except TrainingError as error:
            return error

    answers = at_once(*[lambda draft=draft: one(draft) for draft in drafts])

    assert sum(isinstance(answer, TrainingError) for answer in answers) == 1
