"""Written tests: drafted and published, handed out, answered under the site's clock, marked."""

import re
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from assessments.exceptions import AssessmentError, CannotTakeTest, DraftOfTestChanged
from assessments.models import Paper, PaperAnswer, PaperQuestion, PaperResult, Question, WrittenTest
from assessments.queries import written_tests as queries
from assessments.queries.departures import matters_of_departure
from assessments.services import papers, written_tests
from records.exceptions import ShownOtherwise
from records.models import append_only
from records.queries.verification import verify_records
from tests import factories
from tests.assessments.written import answer, hand_out, make_test, right_answer, take
from tests.factories import NOW, TODAY
from training.models import Lesson

pytestmark = pytest.mark.django_db

LATE = NOW + timedelta(minutes=30, seconds=11)
JUST = NOW + timedelta(minutes=30, seconds=10)


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def user():
    return factories.make_user()


def test_a_draft_is_published_as_it_was_shown_and_never_changes_after(instructor):
    draft = make_test(published=False)
    digest = queries.draft_digest(draft)
    written_tests.change_rules(test=draft, seen=None, pass_percent=70, actor=instructor, at=NOW)
    with pytest.raises(ShownOtherwise):
        written_tests.publish_test(
            test=draft, shown=digest, reason="Now.", actor=instructor, at=NOW
        )
    written_tests.publish_test(test=draft, shown=None, reason="Now.", actor=instructor, at=NOW)
    published = WrittenTest.objects.get(pk=draft.pk)
    with pytest.raises(AssessmentError, match="never changes"):
        written_tests.change_rules(
            test=published, seen=None, pass_percent=10, actor=instructor, at=NOW
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        WrittenTest.objects.filter(pk=draft.pk).update(pass_percent=10)
    with pytest.raises(IntegrityError), transaction.atomic():
        Question.objects.filter(test=draft).update(key={})
    following = written_tests.draft_next_revision(test=published, actor=instructor, at=NOW)
    assert [one.code for one in following.questions.all()] == ["Q01", "Q02", "Q03", "Q04", "Q05"]
    with pytest.raises(AssessmentError, match="draft of"):
        written_tests.draft_next_revision(test=published, actor=instructor, at=NOW)
    assert written_tests.save_question(
        test=following, actor=instructor, at=NOW, kind="one", topic="Heat", text="New?"
    ).code == "Q06"  # fmt: skip
    with pytest.raises(AssessmentError, match=r"Question Q06: Give two choices"):
        written_tests.publish_test(
            test=following, shown=None, reason="Now.", actor=instructor, at=NOW
        )
    written_tests.remove_question(test=following, code="Q06", actor=instructor, at=NOW)
    written_tests.publish_test(test=following, shown=None, reason="Now.", actor=instructor, at=NOW)
    assert list(WrittenTest.objects.current()) == [following]
    assert verify_records().faults == []


def test_nobody_undoes_what_another_changed_in_a_draft(instructor):
    draft = make_test(published=False)
    question = draft.questions.first()
    seen = queries.question_digest(question)
    written_tests.save_question(
        test=draft, code=question.code, seen=seen, text="Anew?", actor=instructor, at=NOW
    )
    with pytest.raises(DraftOfTestChanged):
        written_tests.save_question(
            test=draft, code=question.code, seen=seen, text="Mine?", actor=instructor, at=NOW
        )
    lesson = Lesson.objects.create(
        course_revision=factories.make_session().course_revision, order=1, title="L", minutes=5
    )
    with pytest.raises(AssessmentError, match="another revision of the course"):
        written_tests.save_question(
            test=draft, code=question.code, lesson_id=lesson.pk, actor=instructor, at=NOW
        )


def test_a_test_says_what_is_missing_of_it():
    drawn = make_test(
        published=False, forms="drawn", counts=[{"topic": "Heat", "count": 3}], pass_basis=""
    )
    assert [fault.split()[0] for fault in queries.faults_of(drawn)] == ["Say", "“Safety”", "“Heat”"]
    fixed = make_test(
        {"kind": "number", "key": {"value": "1", "tolerance": "-1"}},
        {"kind": "place", "key": {"right": ["Z9"]}},
        {"kind": "one", "choices": ["a", "b"], "key": {"right": [2]}, "on_forms": ""},
        {"kind": "several", "choices": ["a", "b"], "key": {}, "on_forms": "AB", "read_again": ""},
        published=False,
        another_form=True,
    )
    said = " ".join(queries.faults_of(fixed))
    for words in ("how far an answer", "squares", "picture on which", "which choice", "read again",
                  "on no form: Q03", "A: 3, B: 1"):  # fmt: skip
        assert words in said


def test_answers_are_kept_as_given_and_the_latest_in_time_counts(user, instructor):
    test = make_test()
    paper = hand_out(test, user.person, instructor)
    with pytest.raises(CannotTakeTest, match="Begin"):
        answer(paper, user)
    start = papers.start_paper(paper=paper, actor=user, at=NOW)
    assert papers.start_paper(paper=paper, actor=user, at=LATE).pk == start.pk  # no time is won
    answer(paper, user, wrong=(3,))
    third = queries.questions_of(paper)[2]

    def give(text, key, at):
        return papers.save_answer(paper=paper, order=3, given=[text], key=key, actor=user, at=at)

    kept = give("0,77 mm", "a", JUST)
    assert give("other", "a", JUST).pk == kept.pk  # the same act, sent again
    assert (kept.late, kept.given) == (False, ["0,77 mm"])
    assert give("nonsense", "b", LATE).late
    assert papers.close_overdue(at=LATE) == 1 == PaperResult.objects.count()
    assert papers.close_overdue(at=LATE) == 0
    result = papers.hand_in(paper=paper, actor=user, at=LATE)
    assert (result.right, result.of, result.passed, result.missed) == (5, 5, True, [])
    assert result.marked[2]["given"] == ["0,77 mm"]
    assert PaperAnswer.objects.filter(paper_question=third).count() == 3
    assert Paper.objects.get().end.how == "time_over"
    with pytest.raises(CannotTakeTest, match="more than a day"):
        give("1", "c", LATE + timedelta(days=2))
    [passed] = queries.written_tests_passed(user.person, TODAY)
    assert (passed.code, passed.passed_on, passed.right, passed.of) == (test.code, TODAY, 5, 5)
    assert queries.written_tests_passed(user.person, TODAY - timedelta(days=1)) == []
    assert verify_records().faults == []


def test_late_answers_count_only_under_the_signature_of_an_instructor(user, instructor):
    paper = hand_out(make_test(), user.person, instructor)
    papers.start_paper(paper=paper, actor=user, at=NOW)
    papers.close_overdue(at=LATE)
    answer(paper, user, at=LATE)
    shown = None
    vouch = {"shown": shown, "reason": "No network.", "at": LATE, "proof": "password"}
    assert not queries.result_of(Paper.objects.get()).passed
    with pytest.raises(CannotTakeTest, match="own"):
        papers.count_late_answers(paper=paper, actor=user, **vouch)
    with pytest.raises(ShownOtherwise):
        papers.count_late_answers(paper=paper, actor=instructor, **vouch | {"shown": "0" * 64})
    result = papers.count_late_answers(paper=paper, actor=instructor, **vouch)
    assert (result.round, result.right, result.passed) == (2, 5, True)
    assert result.signature.signer == instructor
    with pytest.raises(CannotTakeTest, match="count already"):
        papers.count_late_answers(paper=paper, actor=instructor, **vouch)
    assert [one.paper for one in queries.written_tests_passed(user.person, TODAY)] == [paper.number]
    assert verify_records().faults == []


def test_what_must_be_right_fails_the_paper_whatever_else_is_right(user, instructor):
    paper = take(make_test(), user, instructor, wrong=(1,))
    result = queries.result_of(paper)
    assert (result.right, result.passed, result.missed) == (4, False, ["Q01"])


def test_tries_days_and_forms_are_kept_to(user, instructor):
    both = {"kind": "one", "choices": ["a", "b"], "key": {"right": [0]}}
    test = make_test(
        both | {"on_forms": "A"}, both | {"on_forms": "B"}, another_form=True, tries=3, wait_days=3
    )
    first = take(test, user, instructor, wrong=(1,))
    with pytest.raises(CannotTakeTest, match="28 Nov 2026"):
        hand_out(test, user.person, instructor)
    on = NOW + timedelta(days=3)
    second = hand_out(test, user.person, instructor, at=on)
    assert {first.form, second.form} == {"A", "B"}
    with pytest.raises(CannotTakeTest, match="still open"):
        hand_out(test, user.person, instructor, at=on)
    papers.start_paper(paper=second, actor=user, at=on)
    papers.hand_in(paper=second, actor=user, at=on)
    later = on + timedelta(days=3)
    with pytest.raises(CannotTakeTest, match="every form"):
        hand_out(test, user.person, instructor, at=later)
    with pytest.raises(CannotTakeTest, match="quality alone"):
        papers.withdraw_paper(paper=second, reason="Fire alarm.", actor=instructor, at=later)
    quality = factories.make_user("quality")
    papers.withdraw_paper(paper=second, reason="Fire alarm.", actor=quality, at=later)
    third = take(test, user, instructor, at=on)
    assert (third.form, third.attempt) == (second.form, 3)
    assert queries.result_of(third).passed
    # What was passed begins anew, and what is in use no more is not handed out.
    rule = queries.try_rule(queries.papers_of(user.person_id, test.code), test.wait_days)
    assert (rule.used, rule.open, rule.not_before) == (0, None, None)
    written_tests.retire_test(test=test, reason="Old.", proof="password", actor=quality, at=NOW)
    with pytest.raises(CannotTakeTest, match="not in use"):
        hand_out(test, user.person, instructor)


def test_a_paper_whose_time_is_over_is_a_try_also_before_it_is_marked(user, instructor):
    paper = hand_out(make_test(), user.person, instructor)
    papers.start_paper(paper=paper, actor=user, at=NOW)
    with pytest.raises(CannotTakeTest, match="quality alone"):
        papers.withdraw_paper(paper=paper, reason="Never mind.", actor=instructor, at=LATE)
    assert papers.close_overdue(at=LATE) == 1
    assert not queries.result_of(Paper.objects.get()).passed


def test_a_paper_under_way_is_withdrawn_for_a_reason_and_keeps_its_answers(user, instructor):
    paper = hand_out(make_test(), user.person, instructor)
    papers.start_paper(paper=paper, actor=user, at=NOW)
    answer(paper, user)
    with pytest.raises(CannotTakeTest, match="Say why the paper is withdrawn"):
        papers.withdraw_paper(paper=paper, reason=" ", actor=instructor, at=NOW)
    papers.withdraw_paper(paper=paper, reason="Fire alarm.", actor=instructor, at=NOW)
    assert PaperAnswer.objects.filter(paper_question__paper=paper).count() == 5


def test_tries_are_used_up(user, instructor):
    test = make_test(tries=1, wait_days=0)
    take(test, user, instructor, wrong=(1, 2, 3))
    with pytest.raises(CannotTakeTest, match="the one try"):
        hand_out(test, user.person, instructor)


def test_a_drawn_paper_asks_what_was_not_had_and_shows_no_order_as_it_is_right(user, instructor):
    order = {"kind": "order", "choices": ["a", "b", "c"], "topic": "Heat"}
    test = make_test(
        *[order] * 6, forms="drawn", counts=[{"topic": "Heat", "count": 3}], wait_days=0,
        another_form=True,
    )  # fmt: skip
    first = take(test, user, instructor, wrong=(1, 2, 3))
    second = hand_out(test, user.person, instructor)
    codes = [
        {one.question.code for one in queries.questions_of(paper)} for paper in (first, second)
    ]
    assert len(codes[0]) == len(codes[1]) == 3
    assert not codes[0] & codes[1]
    assert all(one.shown != [0, 1, 2] for one in PaperQuestion.objects.all())


def test_papers_go_to_people_at_work_of_ones_own_sites_and_never_to_oneself(user, instructor):
    author = factories.make_user("instructor")
    test = make_test(author=author)
    there = factories.make_person(factories.make_site("Aldergate", "AL"))
    gone = factories.make_person(left_on=TODAY - timedelta(days=1))
    for person, words in (
        (there, "do not teach"),
        (gone, "not at work"),
        (instructor.person, "themselves"),
        (author.person, "worked on the questions"),
    ):
        with pytest.raises(CannotTakeTest, match=words):
            papers.hand_out(
                test=test, people=[user.person, person], medium="screen", not_before=TODAY,
                actor=instructor, at=NOW,
            )  # fmt: skip
    assert not Paper.objects.exists()
    paper = hand_out(test, user.person, instructor, not_before=TODAY + timedelta(days=1))
    with pytest.raises(CannotTakeTest, match="26 Nov 2026 at the earliest"):
        papers.start_paper(paper=paper, actor=user, at=NOW)
    with pytest.raises(CannotTakeTest, match="alone"):
        papers.start_paper(paper=paper, actor=instructor, at=NOW)
    papers.withdraw_paper(paper=paper, reason="Wrong test.", actor=instructor, at=NOW)
    with pytest.raises(CannotTakeTest, match="Wrong test"):
        papers.start_paper(paper=paper, actor=user, at=NOW + timedelta(days=1))
    assert hand_out(test, user.person, instructor).attempt == 1  # Nobody had seen the other.
    [matter] = [
        matter for matter in matters_of_departure(user.person, TODAY) if "Written" in matter.label
    ]
    assert len(matter.items) == 1


def test_whoever_ever_worked_on_the_questions_does_not_take_the_test(instructor):
    """Whether or not somebody else changed the draft last, and in later revisions as well."""
    author, last = factories.make_user("instructor"), factories.make_user("instructor")
    draft = make_test(author=author, published=False)
    written_tests.change_rules(test=draft, seen=None, title="Heat", actor=last, at=NOW)
    publish = {"shown": None, "reason": "Now.", "proof": "password", "at": NOW}
    test = written_tests.publish_test(test=draft, actor=factories.make_user("quality"), **publish)
    for worker in (author, last):
        with pytest.raises(CannotTakeTest, match="worked on the questions"):
            hand_out(test, worker.person, instructor)
    following = written_tests.draft_next_revision(test=test, actor=last, at=NOW)
    test = written_tests.publish_test(
        test=following, actor=factories.make_user("quality"), **publish
    )
    with pytest.raises(CannotTakeTest, match="worked on the questions"):
        hand_out(test, author.person, instructor)


def test_a_printed_paper_is_marked_under_the_signature_of_whoever_read_it(user, instructor):
    paper = hand_out(make_test(), user.person, instructor, medium="printed")
    with pytest.raises(CannotTakeTest, match="on paper"):
        papers.start_paper(paper=paper, actor=user, at=NOW)
    given = {
        one.order: right_answer(one.question, one.shown)
        for one in queries.questions_of(paper)
        if one.order != 2
    }
    vouch = {"shown": None, "at": NOW, "proof": "password", "given": given}
    with pytest.raises(CannotTakeTest, match="The day lies"):
        papers.enter_answers(
            paper=paper, sat_on=TODAY + timedelta(days=1), actor=instructor, **vouch
        )
    # Nobody sat over a paper before there was one, whatever day it was allowed from.
    back = hand_out(
        make_test(),
        user.person,
        instructor,
        medium="printed",
        not_before=TODAY - timedelta(days=9),
    )
    with pytest.raises(CannotTakeTest, match="between 25 Nov 2026, from which"):
        papers.enter_answers(
            paper=back, sat_on=TODAY - timedelta(days=1), actor=instructor, **vouch
        )
    result = papers.enter_answers(paper=paper, sat_on=TODAY, actor=instructor, **vouch)
    assert (result.right, result.of, result.passed) == (4, 5, True)
    assert result.signature.signer == instructor
    assert PaperAnswer.objects.filter(entered_by=instructor).count() == 4
    with pytest.raises(CannotTakeTest, match="already"):
        papers.enter_answers(paper=paper, sat_on=TODAY, actor=instructor, **vouch)
    assert verify_records().faults == []


ALTERED = (
    "UPDATE assessments_writtentest SET pass_percent = 1",
    "UPDATE assessments_question SET must_be_right = NOT must_be_right WHERE code = 'Q01'",
    "UPDATE assessments_paper SET attempt = 2",
    "UPDATE assessments_paperquestion SET shown = '[]' WHERE \"order\" = 1",
    "UPDATE assessments_paperstart SET ends_at = recorded_at",
    "UPDATE assessments_paperanswer SET late = NOT late WHERE key = 'k1'",
    "UPDATE assessments_paperend SET how = 'time_over'",
    "UPDATE assessments_paperresult SET passed = NOT passed",
)
INVENTED = (
    "INSERT INTO assessments_paperwithdrawal (paper_id, reason, withdrawn_by_id, recorded_at) "
    "SELECT id, 'Never mind.', handed_out_by_id, recorded_at FROM assessments_paper"
)
GONE = "DELETE FROM assessments_paperresult"


def test_whatever_is_altered_of_a_paper_by_hand_is_refused_and_named(user, instructor):
    take(make_test(), user, instructor, wrong=(1,))
    assert verify_records().faults == []
    for statement in (*ALTERED, GONE):
        with pytest.raises(IntegrityError), transaction.atomic():
            _by_hand(statement)
    for statements in ((*ALTERED, INVENTED), (GONE,)):
        with transaction.atomic():
            with append_only.lifted(connection):
                assert [_by_hand(statement) for statement in statements] == [1] * len(statements)
            faults = " ".join(f"{fault} " for fault in verify_records().faults)
            tables = {re.search(r"assessments_\w+", statement)[0] for statement in statements}
            assert {table for table in tables if f"{table} " in faults} == tables
            transaction.set_rollback(True)


def _by_hand(statement: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.rowcount
