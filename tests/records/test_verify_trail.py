"""Tampering: with the triggers lifted, each change is found and the entry named."""

import hashlib
from io import BytesIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from records.models import Signature, TrailEntry, TrailHead, TrailPayload, append_only
from records.queries import rebuilding
from records.queries import verification as verify
from records.queries.verification import register_files, verify_records
from records.services.trail import record, record_many, sign


@pytest.fixture(autouse=True)
def _no_rows_but_the_trails_own(monkeypatch):
    """What entries say of rows of other apps is compared elsewhere."""
    monkeypatch.setattr(rebuilding, "_of_entries", {})
    monkeypatch.setattr(rebuilding, "_of_signatures", {})


@pytest.fixture
def trail(account, at):
    """Six entries; the fourth is a signature's."""
    board = ("board", "7")
    for act in ("board made", "board labelled", "photograph added"):
        record(actor=account, act=act, about=board, payload={"act": act}, at=at)
    sign(actor=account, meaning="graded", about=board, content={"score": "97.5"}, at=at)
    record(actor=account, act="board returned", about=board, at=at)
    record(actor=account, act="certificate proposed", about=board, at=at)


@pytest.fixture
def sources(monkeypatch):
    """No files but the test's own."""
    monkeypatch.setattr(verify, "_file_sources", [])


def tamper(queryset, **changes):
    with append_only.lifted(connection):
        assert queryset.update(**changes) == 1


def entry(number):
    return TrailEntry.objects.filter(number=number)


def faults():
    return [str(fault) for fault in verify_records(with_files=False).faults]


def test_an_untouched_trail_fits(trail, sources):
    report = verify_records()
    assert (report.entries, report.erased, report.signatures, report.files) == (6, 0, 1, 0)
    assert report.fits


def test_an_empty_trail_fits(db):
    assert verify_records(with_files=False).fits


@pytest.mark.parametrize("batch", [1, 2, 3, 6, 7])
def test_batches_of_any_size_meet_without_a_gap(trail, monkeypatch, batch):
    monkeypatch.setattr(verify, "BATCH", batch)
    assert verify_records(with_files=False).entries == 6
    tamper(entry(3), act="something else")
    assert faults() == ["trail entry 3 was changed: its hash does not fit what it says."]


@pytest.mark.parametrize(
    "change",
    [
        {"act": "something else"},
        {"actor_label": "40018"},
        {"actor": None},
        {"about_id": "8"},
        {"about_type": "assessments.photo"},
        {"payload_digest": "0" * 64},
        {"recorded_at": "2026-05-04T07:30:16Z"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_a_changed_entry_is_named(trail, change):
    tamper(entry(2), **change)
    assert faults() == ["trail entry 2 was changed: its hash does not fit what it says."]


def test_only_the_first_entry_that_does_not_fit_is_named(trail):
    tamper(entry(5), act="something else")
    tamper(entry(2), act="something else")
    assert faults() == ["trail entry 2 was changed: its hash does not fit what it says."]


def test_an_entry_with_its_hash_worked_out_anew_breaks_the_next_one(trail):
    changed = entry(2).get()
    changed.act = "something else"
    tamper(entry(2), act=changed.act, entry_hash=verify.entry_hash(changed.as_link()))
    assert faults() == ["trail entry 3 does not follow the entry before it."]


def test_a_last_entry_with_its_hash_worked_out_anew_does_not_fit_the_end(trail):
    changed = entry(6).get()
    changed.act = "something else"
    tamper(entry(6), act=changed.act, entry_hash=verify.entry_hash(changed.as_link()))
    assert faults() == ["trail entry 6 is not the one that the trail's recorded end names."]


def test_a_changed_payload_is_named(trail):
    tamper(TrailPayload.objects.filter(entry=3), body='{"act":"something else"}')
    assert faults() == ["trail entry 3 has a payload that was changed: it does not fit its digest."]


def test_a_payload_that_is_gone_is_named(trail):
    with append_only.lifted(connection):
        TrailPayload.objects.filter(entry=3).delete()
    assert faults() == ["trail entry 3 has lost its payload."]


def test_a_payload_erased_without_an_entry_is_named(trail, at):
    """The database lets anyone erase; only the service says who did."""
    TrailPayload.objects.filter(entry=3).update(
        body="", salt="", erased_at=at, erased_reason="quietly"
    )
    assert faults() == ["trail entry 3 has an erased payload, and no entry says who erased it."]


def test_an_entry_that_is_gone_is_named(trail):
    with append_only.lifted(connection):
        TrailPayload.objects.filter(entry=3).delete()
        entry(3).delete()
    assert faults() == ["trail entry 3 is missing: the next one there is 4."]


def test_entries_missing_from_the_end_are_named(trail):
    with append_only.lifted(connection):
        TrailPayload.objects.filter(entry__gte=5).delete()
        TrailEntry.objects.filter(number__gte=5).delete()
    assert faults() == ["trail entry 5 is missing: the trail once reached entry 6."]


def test_entries_beyond_the_recorded_end_are_named(trail):
    tamper(TrailHead.objects, number=5, entry_hash=entry(5).get().entry_hash)
    assert faults() == ["trail entry 6 lies beyond the recorded end of the trail."]


def test_what_was_signed_is_compared_with_its_hash(trail):
    signature = Signature.objects.get()
    tamper(Signature.objects, content='{"score":"100.0"}')
    assert faults() == [
        f"signature {signature.id} does not fit what was signed: the text or its hash was changed."
    ]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"about_id": "8"}, "was changed: trail entry 4 says something else of it."),
        (
            {"signed_at": "2026-05-05T00:00Z"},
            "was changed: trail entry 4 says something else of it.",
        ),
        (
            {"printed_name": "Someone Else"},
            "was changed: the payload of trail entry 4 says something else of it.",
        ),
        (
            {"content": "{}", "content_sha256": hashlib.sha256(b"{}").hexdigest()},
            "was changed: the payload of trail entry 4 says something else of it.",
        ),
    ],
    ids=["about", "signed_at", "printed_name", "content with its hash"],
)
def test_a_changed_signature_is_named(trail, change, why):
    signature = Signature.objects.get()
    tamper(Signature.objects, **change)
    assert faults() == [f"signature {signature.id} {why}"]


def test_a_signature_that_is_gone_is_named_by_its_entry(trail):
    with append_only.lifted(connection):
        Signature.objects.all().delete()
    assert faults() == ["trail entry 4 tells of a signature that is gone."]


def test_a_missing_trigger_is_a_fault(trail):
    connection.check_constraints()
    append_only.remove(connection)
    messages = faults()
    assert any("records_trailentry_append_only_delete" in fault for fault in messages)
    assert all("Run manage.py prepare" in fault for fault in messages)


@pytest.mark.each_database
def test_a_trigger_of_the_right_name_that_refuses_nothing_is_named(db):
    name = next(
        name for name in append_only._expected_triggers(connection) if "visiontest_append" in name
    )
    connection.check_constraints()
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f'DROP TRIGGER "{name}"')
            cursor.execute(
                f'CREATE TRIGGER "{name}" BEFORE UPDATE ON "training_visiontest" '
                "BEGIN SELECT 1; END"
            )
        else:
            cursor.execute(
                f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql '
                "AS $keep$ BEGIN RETURN NEW; END $keep$"
            )

    assert faults() == [
        f"database trigger {name} does something else than it should: the table can be changed "
        "unseen. Run manage.py prepare to put it back."
    ]
    append_only.install(connection)
    assert faults() == []


def test_files_are_hashed_by_path_and_by_opener(db, sources, tmp_path):
    kept = tmp_path / "kept.jpg"
    kept.write_bytes(b"a photograph")
    sha256 = hashlib.sha256(b"a photograph").hexdigest()
    register_files(
        lambda: [
            ("photo 1", kept, sha256),
            ("photo 2", lambda: BytesIO(b"a photograph"), sha256),
            ("photo 3", lambda: BytesIO(b"another"), sha256),
            ("photo 4", str(tmp_path / "gone.jpg"), sha256),
        ]
    )
    report = verify_records()
    assert report.files == 4
    assert [str(fault) for fault in report.faults] == [
        "photo 3 was changed: its SHA-256 is another one.",
        "photo 4 cannot be read: No such file or directory.",
    ]


def test_file_that_is_removed_while_others_are_read_is_no_fault(db, sources, tmp_path):
    kept = ["photo 1", "photo 2"]

    def files():
        for label in list(kept):
            yield label, tmp_path / "gone.jpg", "0" * 64
            if label in kept[:1] and len(kept) == 2:
                kept.remove("photo 2")  # By a rule of the site, with its entry.

    register_files(files)
    assert [str(fault) for fault in verify_records().faults] == [
        "photo 1 cannot be read: No such file or directory."
    ]


def test_the_command_prints_counts_and_that_everything_fits(trail, sources, capsys):
    call_command("verify_trail")
    output = capsys.readouterr().out
    assert "Trail entries that fit: 6" in output
    assert "Signatures that fit: 1" in output
    assert "Files read: 0" in output
    assert "Everything fits." in output


def test_the_command_ends_with_status_1_and_names_the_first_fault(trail, capsys):
    tamper(entry(2), act="something else")
    with pytest.raises(CommandError, match="does not fit: trail entry 2 was changed") as refusal:
        call_command("verify_trail", "--skip-files")
    assert refusal.value.returncode == 1
    assert "Trail entries that fit: 1" in capsys.readouterr().out


def test_verifying_reads_a_batch_with_one_query(account, django_assert_num_queries):
    items = [(("person", str(n)), None) for n in range(50)]
    record_many(actor=account, act="person imported", items=items)
    report = verify.Report()
    with django_assert_num_queries(4):  # the batch, the empty one after it, the end twice
        verify._check_trail(report)
    assert report.entries == 50
