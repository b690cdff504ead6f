import hashlib
import json

import pytest
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.db import transaction

from records.domain.canonical import NotCanonical
from records.models import TrailEntry, TrailHead, TrailPayload
from records.services.trail import record, record_many


def test_entries_are_numbered_from_one_and_each_names_the_hash_before(account, at):
    first = record(actor=account, act="board made", about=("board", "7"), at=at)
    second = record(actor=account, act="board labelled", about=("board", "7"), at=at)

    assert [first.number, second.number] == [1, 2]
    assert first.previous_hash == "0" * 64
    assert second.previous_hash == first.entry_hash
    assert (TrailHead.objects.get().number, TrailHead.objects.get().entry_hash) == (
        2,
        second.entry_hash,
    )


def test_another_implementation_can_work_the_hashes_out_again(account, at):
    """Only what the docstring of records.domain.chain says, with json and hashlib alone."""
    record(actor=None, act="site made", about=("site", "1"), at=at)
    written = record(
        actor=account,
        act="vision test entered",
        about=("vision-test", "12"),
        payload={"passed": True, "by": "Åsa Öhrn"},
        at=at,
    )
    entry = TrailEntry.objects.get(number=written.number)
    payload = TrailPayload.objects.get(entry=entry)

    assert payload.body == '{"by":"Åsa Öhrn","passed":true}'
    digest = hashlib.sha256(bytes.fromhex(payload.salt) + payload.body.encode()).hexdigest()
    covered = {
        "n": 2,
        "previous": TrailEntry.objects.get(number=1).entry_hash,
        "recorded_at": "2026-05-04T07:30:15.000250Z",
        "actor": {"id": str(account.pk), "label": "40017"},
        "act": "vision test entered",
        "about_type": "vision-test",
        "about_id": "12",
        "digest": digest,
    }
    text = json.dumps(covered, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert entry.entry_hash == hashlib.sha256(text.encode()).hexdigest()


def test_equal_payloads_have_different_digests(account):
    entries = record_many(
        actor=account,
        act="practice recorded",
        items=[(("practice", "1"), {"unit": "A1"})] * 2,
    )
    assert entries[0].payload_digest != entries[1].payload_digest


def test_an_import_writes_one_entry_for_each_row_in_order(account):
    items = [(("person", str(n)), {"row": n}) for n in range(1, 1203)]
    record_many(actor=account, act="person imported", items=items)

    rows = TrailEntry.objects.order_by("number").values_list("number", "about_id")
    assert list(rows) == [(n, str(n)) for n in range(1, 1203)]
    assert TrailHead.objects.get().number == 1202


def test_nothing_to_write_leaves_the_trail_as_it_is(account):
    assert record_many(actor=account, act="person imported", items=[]) == []
    assert not TrailEntry.objects.exists()


def test_a_thing_that_is_stored_can_be_named_by_itself(account):
    entry = record(actor=account, act="account made", about=account)
    assert (entry.about_type, entry.about_id) == ("sign-in", str(account.pk))


@pytest.mark.parametrize(
    ("actor", "label"),
    [
        pytest.param(None, "system", id="the system"),
        pytest.param("import_register", "import_register", id="a program"),
    ],
)
def test_an_act_without_an_account_says_what_did_it(db, actor, label):
    entry = record(actor=actor, act="reminder sent", about=("message", "3"))
    assert (entry.actor_id, entry.actor_label) == (None, label)


@pytest.mark.django_db(transaction=True)
def test_writing_outside_a_transaction_is_refused():
    with pytest.raises(transaction.TransactionManagementError, match=r"transaction\.atomic"):
        record(actor=None, act="board made", about=("board", "7"))
    assert not TrailEntry.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_change_that_is_undone_takes_its_entry_with_it():
    with transaction.atomic():
        record(actor=None, act="board made", about=("board", "7"))
        transaction.set_rollback(True)
    with transaction.atomic():
        entry = record(actor=None, act="board made", about=("board", "8"))
    assert entry.number == 1


def test_an_account_that_is_not_stored_cannot_act(db):
    with pytest.raises(ValueError, match="sign in first"):
        record(actor=AnonymousUser(), act="board made", about=("board", "7"))


def test_a_thing_that_is_not_stored_cannot_be_written_about(account):
    unsaved = type(account)(employee_number="40018")
    with pytest.raises(ValueError, match="save it first"):
        record(actor=account, act="account made", about=unsaved)


@pytest.mark.parametrize("act", ["signed", "payload erased"])
def test_acts_that_mean_more_than_an_entry_are_left_to_their_services(account, act):
    with pytest.raises(ValueError, match="service of that name"):
        record(actor=account, act=act, about=account)


@pytest.mark.parametrize("act", ["", "x" * 81])
def test_an_act_is_short_and_not_empty(account, act):
    with pytest.raises(ValidationError):
        record(actor=account, act=act, about=account)


def test_a_payload_that_has_no_canonical_form_is_refused(account):
    with pytest.raises(NotCanonical):
        record(actor=account, act="measured", about=account, payload={"mm": float("nan")})
    assert not TrailEntry.objects.exists()
