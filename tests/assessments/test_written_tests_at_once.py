"""A paper handed out, answered and ended by two at the same instant."""

from datetime import timedelta

import pytest

from assessments.exceptions import AssessmentError
from assessments.models import Paper, PaperAnswer, PaperEnd, PaperResult
from assessments.queries import written_tests as queries
from assessments.services import papers
from tests import factories
from tests.assessments.together import at_once
from tests.assessments.written import answer, hand_out, make_test, right_answer
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)

LATE = NOW + timedelta(minutes=31)


def test_of_two_who_hand_out_at_once_one_gives_a_paper(user_and_test):
    user, test, instructors = user_and_test
    answers = at_once(*[lambda by=by: hand_out(test, user.person, by) for by in instructors])
    assert sum(isinstance(one, AssessmentError) for one in answers) == 1
    assert Paper.objects.count() == 1


def test_an_answer_and_the_end_at_once_leave_one_result_that_fits_what_counts(user_and_test):
    user, test, instructors = user_and_test
    paper = hand_out(test, user.person, instructors[0])
    papers.start_paper(paper=paper, actor=user, at=NOW)
    answer(paper, user, wrong=(2,))
    second = queries.questions_of(paper)[1]

    def give(key, at):
        return papers.save_answer(
            paper=paper,
            order=2,
            given=right_answer(second.question, second.shown),
            key=key,
            actor=user,
            at=at,
        )

    soon = NOW + timedelta(minutes=6)
    at_once(
        lambda: give("twice", soon),
        lambda: give("twice", soon),
        lambda: papers.hand_in(paper=paper, actor=user, at=LATE),
        lambda: papers.close_overdue(at=LATE),
    )
    assert (PaperEnd.objects.count(), PaperResult.objects.count()) == (1, 1)
    assert PaperAnswer.objects.filter(key="twice").count() == 1
    counted = queries.counted_answers(paper, late_count=False)
    given = {each.order: counted[each.pk].given for each in queries.questions_of(paper)}
    assert {line["order"]: line["given"] for line in PaperResult.objects.get().marked} == given


@pytest.fixture
def user_and_test():
    instructors = [factories.make_user("instructor") for _ in range(2)]
    return factories.make_user(), make_test(author=factories.make_user("instructor")), instructors
