"""Written tests drafted, published and retired, a revision at a time.

A published revision never changes: papers name the one that they were drawn from.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.domain.answers import MOST_CHOICES
from assessments.exceptions import CannotChangeTest, DraftOfTestChanged
from assessments.models import Photo, Question, WrittenTest
from assessments.queries import written_down
from assessments.queries import written_tests as queries
from assessments.queries.written_test_authors import CHANGED, DRAFTED
from people.models import User
from records.exceptions import ShownOtherwise
from records.services import trail
from training.models import CourseRevision, Lesson

from .photo_lock import taken_back_in_words

MOST_QUESTIONS = 300


@transaction.atomic
def begin_test(
    *, code: str, title: str, course_revision: CourseRevision, actor: User, at: datetime
) -> WrittenTest:
    """Begin a test on a course as a draft without questions.

    Raises
    ------
    CannotChangeTest
        If the code is another test's, in whatever capitals, or the course is not in use.
    """
    # A test that is being begun has no row yet that others could wait for.
    trail.lock_trail()
    if WrittenTest.objects.filter(code__iexact=code).exists():
        raise CannotChangeTest(
            _("%(code)s is the code of another test. Draft its next revision, or give another.")
            % {"code": code}
        )
    if course_revision.is_draft or course_revision.retired_at is not None:
        raise CannotChangeTest(
            _("%(course)s is not in use. Choose a course that is.") % {"course": course_revision}
        )
    made = WrittenTest.objects.create(
        code=code,
        title=title,
        course_revision=course_revision,
        changed_at=at,
        changed_by=actor,
        recorded_at=at,
    )
    _record(DRAFTED, made, actor, at)
    return made


@transaction.atomic
def draft_next_revision(*, test: WrittenTest, actor: User, at: datetime) -> WrittenTest:
    """Copy the newest revision into a draft, on the revision of its course that is in use.

    Lessons are those of that revision with the same title; where there is none, the question says
    what the lesson was called.

    Raises
    ------
    CannotChangeTest
        If there is a draft of it already.
    """
    rows = _lock_code(test.code)
    source = rows[-1]
    if source.is_draft:
        raise CannotChangeTest(
            _("There is a draft of %(test)s already. Go on with that one.") % {"test": source.title}
        )
    course = source.course_revision.course
    in_use = course.revisions.newest().first() or source.course_revision
    made = WrittenTest.objects.create(
        code=source.code,
        revision=source.revision + 1,
        course_revision=in_use,
        source=source.source,
        begun_from=source,
        changed_at=at,
        changed_by=actor,
        recorded_at=at,
        **queries.rules_of(source),
    )
    lessons = {lesson.title: lesson.pk for lesson in Lesson.objects.filter(course_revision=in_use)}
    copies = []
    for question in source.questions.select_related("lesson"):
        said = {name: getattr(question, name) for name in queries.QUESTION}
        if question.lesson is not None:
            said["lesson_id"] = lessons.get(question.lesson.title)
            if said["lesson_id"] is None and not question.read_again:
                said["read_again"] = question.lesson.title
        copies.append(Question(test=made, code=question.code, order=question.order, **said))
    Question.objects.bulk_create(copies)
    _record(DRAFTED, made, actor, at, copied_from=source.revision)
    return made


@transaction.atomic
def change_rules(
    *, test: WrittenTest, seen: str | None, actor: User, at: datetime, **rules: Any
) -> WrittenTest:
    """Have a draft go by these rules.

    Parameters
    ----------
    seen : str or None
        `queries.written_tests.rules_digest` as the page showed it; None where no page did.
    rules
        By the names of `queries.written_tests.RULES`.

    Raises
    ------
    DraftOfTestChanged
        If it says otherwise by now.
    CannotChangeTest
        If it is published or gone.
    """
    unknown = set(rules) - set(queries.RULES)
    if unknown:
        raise TypeError(f"Tests have no {', '.join(sorted(unknown))} to change.")
    made = _locked_draft(test)
    if seen is not None and seen != queries.rules_digest(made):
        raise DraftOfTestChanged(_changed_meanwhile(made))
    before = queries.rules_of(made)
    for name, value in rules.items():
        setattr(made, name, value)
    after = queries.rules_of(made)
    changed = [name for name in after if before[name] != after[name]]
    if changed:
        made.changed_at, made.changed_by = at, actor
        made.save(update_fields=[*rules, "changed_at", "changed_by"])
        _record_change(
            made, actor, at, {n: before[n] for n in changed}, {n: after[n] for n in changed}
        )
    return made


@transaction.atomic
def save_question(
    *,
    test: WrittenTest,
    code: str = "",
    seen: str | None = None,
    actor: User,
    at: datetime,
    **said: Any,
) -> Question:
    """Add a question to a draft, or have one of it say this.

    Parameters
    ----------
    code : str
        Of the question; a new one is given its code here.
    seen : str or None
        `queries.written_tests.question_digest` as the page showed it; None where no page did.
    said
        By the names of `queries.written_tests.QUESTION`.

    Raises
    ------
    DraftOfTestChanged
        If the question says otherwise by now, or is gone.
    CannotChangeTest
        If the draft is published or gone, has too many questions, or the picture is gone.
    """
    unknown = set(said) - set(queries.QUESTION)
    if unknown:
        raise TypeError(f"Questions have no {', '.join(sorted(unknown))}.")
    made = _locked_draft(test)
    questions = list(made.questions.all())
    if code:
        question = next((one for one in questions if one.code == code), None)
        if question is None:
            raise DraftOfTestChanged(_("The question is not there any more: somebody removed it."))
        if seen is not None and seen != queries.question_digest(question):
            raise DraftOfTestChanged(_changed_meanwhile(made))
        before = queries.question_content(question)
    else:
        if len(questions) >= MOST_QUESTIONS:
            raise CannotChangeTest(_("A test has %(n)d questions at most.") % {"n": MOST_QUESTIONS})
        question = Question(
            test=made,
            code=_next_code(made),
            order=max((one.order for one in questions), default=0) + 1,
        )
        before = {}
    if len(said.get("choices", ())) > MOST_CHOICES:
        raise CannotChangeTest(_("A question has %(n)d choices at most.") % {"n": MOST_CHOICES})
    _refuse_picture(said.get("photo_id"))
    lesson = said.get("lesson_id")
    if (
        lesson is not None
        and not Lesson.objects.filter(pk=lesson, course_revision=made.course_revision_id).exists()
    ):
        raise CannotChangeTest(_("The lesson belongs to another revision of the course."))
    for name, value in said.items():
        setattr(question, name, value)
    after = queries.question_content(question)
    if before == after:
        return question
    question.save()
    _touch(made, actor, at)
    _record_change(
        made,
        actor,
        at,
        {name: value for name, value in before.items() if value != after[name]},
        {name: value for name, value in after.items() if value != before.get(name)},
        question=question.code,
    )
    return question


@transaction.atomic
def remove_question(*, test: WrittenTest, code: str, actor: User, at: datetime) -> None:
    """Take a question out of a draft; the trail keeps what it said."""
    made = _locked_draft(test)
    question = made.questions.filter(code=code).first()
    if question is None:
        raise CannotChangeTest(_("The question is not there any more: somebody removed it."))
    before = queries.question_content(question)
    question.delete()
    _touch(made, actor, at)
    _record_change(made, actor, at, before, {}, question=code)


@transaction.atomic
def publish_test(
    *,
    test: WrittenTest,
    shown: str | None,
    reason: str,
    actor: User | None,
    at: datetime,
    proof: str = "",
) -> WrittenTest:
    """Publish a draft; the revision that it replaces retires. Papers handed out keep theirs.

    Parameters
    ----------
    shown : str or None
        `queries.written_tests.draft_digest` as the page showed it; None where no page was shown.

    Raises
    ------
    ShownOtherwise
        If it is not what was shown.
    CannotChangeTest
        If it is published already or gone, or something is missing of it.
    """
    _lock_code(test.code)
    made = _locked_draft(test)
    if shown is not None and shown != queries.draft_digest(made):
        raise ShownOtherwise
    faults = queries.faults_of(made)
    if faults:
        raise CannotChangeTest(" ".join(faults))
    for photo in Photo.every.filter(in_questions__test=made).order_by("pk"):
        _refuse_picture(photo.pk)
    for old in WrittenTest.objects.current().filter(code=made.code):
        _retire(old, actor, at, reason.strip(), proof)
    made.published_at, made.published_by = at, actor
    made.publishing_reason = reason.strip()
    made.save(update_fields=["published_at", "published_by", "publishing_reason"])
    trail.record(
        actor=actor,
        act=written_down.TEST_PUBLISHED,
        about=made,
        payload=written_down.written_test_content(made) | {"proof": proof},
        at=at,
    )
    return made


@transaction.atomic
def retire_test(
    *, test: WrittenTest, reason: str, proof: str, actor: User, at: datetime
) -> WrittenTest:
    """Hand out no more papers of a test; those that are handed out keep it."""
    _lock_code(test.code)
    made = WrittenTest.objects.get(pk=test.pk)
    if not made.in_use:
        raise CannotChangeTest(_("%(test)s is not in use.") % {"test": made})
    _retire(made, actor, at, reason.strip(), proof)
    return made


def _retire(made: WrittenTest, actor: User | None, at: datetime, reason: str, proof: str) -> None:
    made.retired_at = at
    made.save(update_fields=["retired_at"])
    _record(written_down.TEST_RETIRED, made, actor, at, reason=reason, proof=proof)


def _refuse_picture(photo_id: int | None) -> None:
    """Hold the photograph, so that nobody takes it back meanwhile; refuse one that is."""
    if photo_id is None:
        return
    photo = Photo.every.select_for_update(no_key=True, of=("self",)).filter(pk=photo_id).first()
    if photo is None or photo.taken_back_at is not None:
        raise CannotChangeTest(
            taken_back_in_words(photo) if photo else _("The photograph is not there any more.")
        )


def _next_code(made: WrittenTest) -> str:
    """A code that no question of any revision has, so that one means one question for ever."""
    codes = Question.objects.filter(test__code=made.code).values_list("code", flat=True)
    had = [int(code[1:]) for code in codes if code[1:].isdecimal()]
    return f"Q{max(had, default=0) + 1:02d}"


def _touch(made: WrittenTest, actor: User, at: datetime) -> None:
    made.changed_at, made.changed_by = at, actor
    made.save(update_fields=["changed_at", "changed_by"])


def _changed_meanwhile(made: WrittenTest) -> str:
    return _(
        "%(who)s changed this since you opened it. What you typed is kept below; open the draft "
        "in another window, compare, and save again to have yours."
    ) % {"who": made.changed_by or _("Somebody else")}


def _lock_code(code: str) -> Sequence[WrittenTest]:
    """Hold every revision of a test, in one order; read anew once they are held."""
    list(WrittenTest.objects.filter(code=code).order_by("pk").select_for_update(no_key=True))
    rows = WrittenTest.objects.filter(code=code).select_related("course_revision__course")
    return list(rows.order_by("revision"))


def _locked_draft(test: WrittenTest) -> WrittenTest:
    made = (
        WrittenTest.objects.select_for_update(of=("self",), no_key=True)
        .select_related("course_revision__course", "changed_by__person")
        .filter(pk=test.pk)
        .first()
    )
    if made is None:
        raise CannotChangeTest(_("The draft is not there any more: somebody discarded it."))
    if not made.is_draft:
        raise CannotChangeTest(
            _("%(test)s is published and never changes. Draft the next revision.") % {"test": made}
        )
    return made


def _record_change(
    made: WrittenTest,
    actor: User,
    at: datetime,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    **said: Any,
) -> None:
    _record(CHANGED, made, actor, at, before=before, after=after, **said)


def _record(act: str, made: WrittenTest, actor: User | None, at: datetime, **said: Any) -> None:
    payload = {"code": made.code, "title": made.title, "revision": made.revision}
    trail.record(actor=actor, act=act, about=made, payload=payload | said, at=at)
