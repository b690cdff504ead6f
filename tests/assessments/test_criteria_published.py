"""Criteria are drafted, confirmed and published, and a published set never changes."""

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from io import StringIO
from threading import Barrier

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, connections, transaction

from assessments.content.criteria import NEWEST, REVISION_1, REVISION_2
from assessments.exceptions import CannotChangeCriteria
from assessments.models import CriteriaSet, Criterion
from assessments.queries import written_down
from assessments.services import criteria as services
from assessments.services import criteria_drafts
from people.models import Installation
from records.models import TrailEntry
from tests.factories import NOW, make_criteria_set, make_user
from training.models import Exercise

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def draft():
    return make_criteria_set(published=False)


@pytest.fixture
def demo():
    Installation.objects.update_or_create(
        id=1, defaults={"organisation": "Skarnfell Instruments", "demo_loaded_at": NOW}
    )


def confirm_all(made, quality):
    codes = [one.code for one in made.criteria.all()]
    return services.confirm_criteria(criteria_set=made, codes=codes, actor=quality, at=NOW)


def publish(made, quality):
    return services.publish_criteria_set(criteria_set=made, actor=quality, at=NOW)


def test_a_set_that_comes_along_becomes_a_draft_once():
    made = services.load_criteria_set(content=REVISION_2, actor="load_content", at=NOW)

    assert made.criteria.count() == len(REVISION_2.criteria)
    assert made.published_at is None
    assert not made.criteria.filter(confirmed_at__isnull=False).exists()
    again = services.load_criteria_set(content=REVISION_2, actor="load_content", at=NOW)
    assert again is None
    assert CriteriaSet.objects.get() == made


def test_loading_content_leaves_a_draft_and_no_retired_set():
    said = StringIO()
    call_command("load_content", stdout=said)
    call_command("load_content", stdout=StringIO())

    assert "added as a draft" in said.getvalue()
    assert CriteriaSet.objects.get().revision == NEWEST.revision
    assert not CriteriaSet.objects.current().exists()
    assert Exercise.objects.filter(code="EX-MIX").exists()


def test_a_site_that_judges_by_an_earlier_set_finds_the_newest_as_a_draft(quality, demo):
    earlier = services.load_criteria_set(content=REVISION_2, actor="load_content", at=NOW)
    publish(earlier, quality)
    before = list(earlier.criteria.values())

    call_command("load_content", stdout=StringIO())

    assert CriteriaSet.objects.current().get() == earlier
    assert list(earlier.criteria.values()) == before
    draft = CriteriaSet.objects.exclude(pk=earlier.pk).get()
    assert (draft.title, draft.revision, draft.published_at) == (NEWEST.title, 3, None)
    publish(draft, quality)
    assert CriteriaSet.objects.current().get() == draft


def test_a_site_with_a_revision_of_its_own_finds_the_newest_under_the_next_number(quality, demo):
    earlier = services.load_criteria_set(content=REVISION_2, actor="load_content", at=NOW)
    publish(earlier, quality)
    own = services.draft_next_revision(criteria_set=earlier, actor=quality, at=NOW)
    publish(own, quality)

    said = StringIO()
    call_command("load_content", stdout=StringIO())
    call_command("load_content", stdout=said)

    assert [one.revision for one in CriteriaSet.objects.order_by("revision")] == [2, 3, 4]
    added = CriteriaSet.objects.get(revision=4)
    assert added.criteria.count() == len(NEWEST.criteria)
    assert CriteriaSet.objects.current().get() == own
    assert "Workmanship, rev. 4, kept." in said.getvalue()


def test_a_set_is_published_once_everything_is_confirmed(draft, quality):
    with pytest.raises(CannotChangeCriteria, match="4 criteria are not verified"):
        publish(draft, quality)

    assert confirm_all(draft, quality) == 4
    made = publish(draft, quality)

    assert (made.published_at, made.published_by) == (NOW, quality)
    assert CriteriaSet.objects.current().get() == draft
    assert TrailEntry.objects.latest("pk").act == "criteria set published"


def test_one_unverified_criterion_is_enough_to_refuse(draft, quality):
    services.confirm_criteria(
        criteria_set=draft, codes=["S-1", "S-2", "S-3"], actor=quality, at=NOW
    )

    with pytest.raises(CannotChangeCriteria, match="1 criterion is not verified"):
        publish(draft, quality)


def test_a_demo_publishes_what_nobody_confirmed(draft, quality, demo):
    made = publish(draft, quality)

    assert made.published_at == NOW
    assert not made.criteria.filter(confirmed_at__isnull=False).exists()
    assert '"unverified":4' in TrailEntry.objects.latest("pk").payload.body


def test_a_set_without_criteria_is_not_published(quality, demo):
    empty = CriteriaSet.objects.create(title="Nothing", revision=1)

    with pytest.raises(CannotChangeCriteria, match="nothing to publish"):
        publish(empty, quality)


def test_publishing_retires_the_revision_before_and_no_other_set(quality, demo):
    other = make_criteria_set({"code": "O-1"})
    first, second = (
        services.load_criteria_set(content=content, actor="load_demo", at=NOW)
        for content in (REVISION_1, REVISION_2)
    )
    CriteriaSet.objects.filter(pk__in=[first.pk, second.pk]).update(title="Our own")
    publish(first, quality)

    publish(second, quality)

    first.refresh_from_db()
    assert first.retired_at == NOW
    assert set(CriteriaSet.objects.current()) == {other, second}


@pytest.mark.parametrize(
    "act",
    [publish, confirm_all, lambda made, quality: change(made, quality, demerits=1)],
    ids=["publish", "confirm", "change"],
)
def test_a_published_set_takes_no_change(draft, quality, demo, act):
    publish(draft, quality)

    with pytest.raises(CannotChangeCriteria, match="is published and never changes"):
        act(draft, quality)


def test_the_database_itself_refuses_to_change_a_published_set(draft, quality, demo):
    publish(draft, quality)

    with pytest.raises(IntegrityError), transaction.atomic():
        Criterion.objects.filter(criteria_set=draft).update(demerits=1)
    with pytest.raises(IntegrityError), transaction.atomic():
        Criterion.objects.create(
            criteria_set=draft, code="Z-1", order=99, stage="soldered", severity="minor", demerits=1
        )


def change(made, actor, code="S-2", texts=None, **fields):
    criterion = made.criteria.get(code=code)
    return criteria_drafts.change_criterion(
        criterion=criterion,
        texts={"en": texts} if texts else {},
        actor=actor,
        at=NOW,
        **fields,
    )


def test_a_changed_criterion_has_to_be_confirmed_again(draft, quality):
    confirm_all(draft, quality)

    changed = change(draft, quality, demerits=15, texts={"text": "Do it well"})

    assert (changed.demerits, changed.text, changed.reject_text) == (15, "Do it well", "Not")
    assert not changed.is_verified
    body = TrailEntry.objects.latest("pk").payload.body
    assert '"before":{"demerits":20,"text_en":"Do"}' in body
    assert draft.criteria.filter(confirmed_at__isnull=True).get().code == "S-2"


def test_a_criterion_left_as_it_was_stays_confirmed(draft, quality):
    confirm_all(draft, quality)

    assert change(draft, quality, demerits=20).is_verified
    assert TrailEntry.objects.latest("pk").act == "criteria confirmed"


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"low": None, "high": None}, "needs a limit"),
        ({"low": Decimal(3), "high": Decimal(2)}, "lies above"),
    ],
    ids=["no limit", "crossed"],
)
def test_limits_that_cannot_be_are_refused(quality, fields, said):
    made = make_criteria_set(
        {"code": "S-2", "how": "measured", "high": Decimal(2), "unit": "D"}, published=False
    )

    with pytest.raises(CannotChangeCriteria, match=said):
        change(made, quality, **fields)


def test_nothing_new_is_not_confirmed(draft, quality):
    confirm_all(draft, quality)

    with pytest.raises(CannotChangeCriteria, match="Tick at least one"):
        confirm_all(draft, quality)


def test_the_next_revision_begins_as_a_copy(draft, quality):
    confirm_all(draft, quality)
    publish(draft, quality)

    made = services.draft_next_revision(criteria_set=draft, actor=quality, at=NOW)

    assert (made.title, made.revision) == (draft.title, draft.revision + 1)
    assert made.published_at is None
    before = draft.criteria.values_list("code", "demerits", "confirmed_at")
    assert list(made.criteria.values_list("code", "demerits", "confirmed_at")) == list(before)
    with pytest.raises(CannotChangeCriteria, match="There is a draft already"):
        services.draft_next_revision(criteria_set=draft, actor=quality, at=NOW)


def test_a_set_is_retired_once_it_was_published(draft, quality):
    with pytest.raises(CannotChangeCriteria, match="is a draft"):
        services.retire_criteria_set(criteria_set=draft, actor=quality, at=NOW)
    confirm_all(draft, quality)
    publish(draft, quality)

    with pytest.raises(CannotChangeCriteria, match="is the only published set"):
        services.retire_criteria_set(criteria_set=draft, actor=quality, at=NOW)
    other = make_criteria_set()

    services.retire_criteria_set(criteria_set=draft, actor=quality, at=NOW)

    assert CriteriaSet.objects.current().get() == other
    with pytest.raises(CannotChangeCriteria, match="retired already"):
        services.retire_criteria_set(criteria_set=draft, actor=quality, at=NOW)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_two_who_retire_one_set_each_leave_one(quality):
    sets = [make_criteria_set(), make_criteria_set()]
    together = Barrier(2)

    def retire(criteria_set):
        together.wait()
        try:
            services.retire_criteria_set(criteria_set=criteria_set, actor=quality, at=NOW)
        except CannotChangeCriteria as error:
            return str(error)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        refusals = [refusal for refusal in pool.map(retire, sets) if refusal]
    assert len(refusals) == 1
    assert "is the only published set" in refusals[0]
    assert CriteriaSet.objects.current().count() == 1


def test_a_set_that_says_nothing_new_is_written_down_as_sets_always_were(draft, quality, demo):
    made = publish(draft, quality)

    content = written_down.published_content(made)

    assert set(content) == {
        "set",
        "revision",
        "summary",
        "published_at",
        "published_by",
        "criteria",
    }
    assert {tuple(one) for one in content["criteria"]} == {written_down.FIRST_CRITERION_FIELDS}
