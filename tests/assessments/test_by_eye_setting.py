"""Whether what is measured may be judged by eye is said by its criteria set, as all else is."""

import json

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from assessments.exceptions import CannotChangeCriteria
from assessments.models import CriteriaSet
from assessments.presenters.criteria_files import criteria_file
from assessments.presenters.criteria_words import compare_sets
from assessments.queries import written_down
from assessments.services import criteria as services
from assessments.services import criteria_drafts, criteria_files
from records.models import TrailEntry
from tests.factories import NOW, make_criteria_set, make_user

pytestmark = pytest.mark.django_db

WRAP = {
    "code": "F-1", "how": "measured", "quantity": "wrap", "low": 180, "high": 270, "unit": "deg",
    "confirmed_at": NOW,
}  # fmt: skip
LOOKS = {"code": "S-1", "confirmed_at": NOW}


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


@pytest.fixture
def draft(quality):
    return services.draft_next_revision(
        criteria_set=make_criteria_set(WRAP, LOOKS), actor=quality, at=NOW
    )


def forbid(draft, quality, code="F-1"):
    return criteria_drafts.change_criterion(
        criterion=draft.criteria.get(code=code), actor=quality, at=NOW, texts={}, by_eye="never"
    )


def test_earlier_sets_allow_it_and_are_written_down_as_they_were():
    old, new = make_criteria_set(WRAP), make_criteria_set({**WRAP, "by_eye": "never"})
    [without], [with_it] = (written_down.published_content(each)["criteria"] for each in (old, new))
    assert "by_eye" not in without
    assert with_it["by_eye"] == "never"
    assert old.criteria.get().may_be_judged_by_eye
    assert not new.criteria.get().may_be_judged_by_eye


def test_a_draft_that_forbids_it_is_stricter_and_has_to_be_confirmed_again(draft, quality):
    forbid(draft, quality)
    changed = draft.criteria.get(code="F-1")
    assert (changed.by_eye, changed.confirmed_at) == ("never", None)
    [row] = compare_sets(draft.begun_from, CriteriaSet.objects.get(pk=draft.pk))
    assert (row.code, row.so) == ("F-1", "stricter")
    assert strip_tags(row.says) == "by eye instead with a reason never"
    entry = TrailEntry.objects.filter(act="criterion changed").get()
    assert json.loads(entry.payload.body)["after"] == {"by_eye": "never"}


def test_only_what_is_measured_can_forbid_it(draft, quality):
    with pytest.raises(CannotChangeCriteria, match="Only what is measured"):
        forbid(draft, quality, "S-1")


def test_it_goes_out_in_a_file_and_comes_in_again(draft, quality):
    forbid(draft, quality)
    content = criteria_file(draft, "csv")
    made = criteria_files.import_criteria(
        name="set.csv", content=content, title="Another", actor=quality, at=NOW
    )
    said = dict(made.criteria.values_list("code", "by_eye"))
    assert said == {"F-1": "never", "S-1": ""}
    wrong = content.decode("utf-8-sig").replace("never", "seldom").encode()
    with pytest.raises(criteria_files.CriteriaFileRefused) as refused:
        criteria_files.import_criteria(
            name="set.csv", content=wrong, title="A third", actor=quality, at=NOW
        )
    [problem] = refused.value.problems
    assert (problem.column, problem.reason) == (
        "by_eye_instead", "“seldom” is none of: nothing, never.",
    )  # fmt: skip


@pytest.mark.usefixtures("quality")
def test_the_page_of_a_criterion_offers_it(client, draft):
    address = reverse("assessments:criterion_edit", args=[draft.pk, "F-1"])
    assert 'name="by_eye"' in client.get(address).content.decode()


@pytest.mark.usefixtures("quality")
def test_the_page_of_a_set_says_where_it_is_forbidden(client):
    published = make_criteria_set({**WRAP, "by_eye": "never"}, LOOKS)
    shown = client.get(reverse("assessments:criteria_set_detail", args=[published.pk]))
    assert shown.content.decode().count("measured, never by eye") == 1
