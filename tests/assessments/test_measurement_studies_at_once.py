"""A turn sent twice in the same instant, and a study closed while somebody marks."""

import pytest

from assessments.exceptions import AssessmentError
from assessments.models import StudyClosing, StudyReading
from assessments.queries import measurement_studies as queries
from assessments.services import measurement_studies as services
from tests import factories
from tests.assessments.together import at_once
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)

MARKS = {"bottom": [[200, 500]], "top": [[200, 100]], "level": [[200, 300]]}


@pytest.fixture
def quality():
    return factories.make_user("quality")


@pytest.fixture
def grader():
    return factories.make_user("instructor")


@pytest.fixture
def study(quality, grader):
    board = factories.make_board()
    photos = [factories.make_photo(board, joint) for joint in board.joints.all()[:2]]
    return services.make_study(
        site=board.site, title="Fill", quantity="fill", photos=photos, graders=[grader],
        repeats=2, actor=quality, at=NOW,
    )  # fmt: skip


def read(study, grader, turn):
    return services.keep_reading(study=study, grader=grader, turn=turn, marks=MARKS, at=NOW)


def close(study, quality):
    return services.close_study(study=study, reason="Done.", actor=quality, at=NOW)


def test_a_turn_sent_twice_at_once_is_kept_once(study, grader):
    answers = at_once(*[lambda: read(study, grader, 0)] * 3)
    assert sum(isinstance(answer, AssessmentError) for answer in answers) == 2
    assert StudyReading.objects.count() == 1


def test_what_a_closing_says_covers_every_reading_there_is(study, grader, quality):
    for turn in range(3):
        read(study, grader, turn)
    at_once(lambda: read(study, grader, 3), lambda: close(study, quality))
    closing = StudyClosing.objects.get()
    assert closing.spreads == queries.spreads_shown(queries.readings_of(study))
    assert StudyReading.objects.count() in (3, 4)


def test_a_study_is_closed_once(study, grader, quality):
    read(study, grader, 0)
    answers = at_once(*[lambda: close(study, quality)] * 2)
    assert sum(isinstance(answer, AssessmentError) for answer in answers) == 1
    assert StudyClosing.objects.count() == 1


def test_two_studies_of_one_title_at_once_are_one(study, grader, quality):
    photos = [each.photo for each in queries.photos_of(study)]

    def make():
        return services.make_study(
            site=study.site, title="Wraps", quantity="fill", photos=photos, graders=[grader],
            repeats=2, actor=quality, at=NOW,
        )  # fmt: skip

    answers = at_once(make, make)
    assert sum(isinstance(answer, AssessmentError) for answer in answers) == 1
