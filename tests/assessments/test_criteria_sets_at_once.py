"""Sets begun, published and illustrated in the same instant."""

import pytest
from django.db import transaction

from assessments.exceptions import AssessmentError
from assessments.models import CriteriaSet, CriterionDrawing
from assessments.services import criteria as services
from assessments.services import criterion_drawings
from records.services import trail
from tests.assessments.together import at_once
from tests.factories import NOW, make_criteria_set, make_user

pytestmark = pytest.mark.django_db(transaction=True)

TITLES = ("Tanks", "Cables", "Panels", "Masts")


@pytest.fixture
def quality():
    return make_user("quality")


def in_force(title):
    made = make_criteria_set(published=False)
    made.criteria.update(confirmed_at=NOW, confirmed_by=make_user("quality"))
    CriteriaSet.objects.filter(pk=made.pk).update(title=title, published_at=NOW)
    made.refresh_from_db()
    return made


def test_next_revisions_of_several_titles_are_published_at_once(quality):
    earlier = [in_force(title) for title in TITLES]
    drafts = [
        services.draft_next_revision(criteria_set=made, actor=quality, at=NOW) for made in earlier
    ]

    came_to = at_once(
        *[
            lambda draft=draft: services.publish_criteria_set(
                criteria_set=draft, actor=quality, at=NOW
            )
            for draft in drafts
        ]
    )

    assert came_to == drafts
    assert set(CriteriaSet.objects.current()) == set(drafts)


def test_of_sets_begun_at_once_one_judges_by_default(quality):
    begun = at_once(
        *[
            lambda title=title: services.begin_criteria_set(title=title, actor=quality, at=NOW)
            for title in TITLES
        ]
    )

    assert [isinstance(made, CriteriaSet) for made in begun] == [True] * 4
    assert CriteriaSet.objects.filter(by_default=True).count() == 1


def test_titles_that_differ_by_their_capitals_are_begun_once(quality):
    came_to = at_once(
        *[
            lambda title=title: services.begin_criteria_set(title=title, actor=quality, at=NOW)
            for title in ("Löten", "LÖTEN", "löten")
        ]
    )

    refusals = [str(one) for one in came_to if isinstance(one, AssessmentError)]
    made = CriteriaSet.objects.get()
    assert len(refusals) == 2
    assert all(f"There is a set “{made.title}” already" in refusal for refusal in refusals)


def test_a_drawing_sent_alone_and_within_a_file_at_once_is_kept_once(quality):
    def keep(data):
        return criterion_drawings.keep_drawing(
            (CriterionDrawing.Kind.SVG, data), title="A wrap", actor=quality, at=NOW
        )

    def keep_after_something_else(data):
        with transaction.atomic():
            trail.record(actor=quality, act="looked", about=quality, at=NOW)
            return keep(data)

    for each in range(8):
        data = b"<svg/>" + b" " * each
        kept = at_once(
            lambda data=data: keep(data), lambda data=data: keep_after_something_else(data)
        )
        assert kept[0] == kept[1]
    assert CriterionDrawing.objects.count() == 8
