import sqlite3

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, OperationalError, connection, migrations, models, transaction

from records.models import (
    NumberSeries,
    Signature,
    TrailEntry,
    TrailHead,
    TrailPayload,
    append_only,
)
from records.models.append_only import ALWAYS, NEVER, protect
from records.services.numbers import next_number
from records.services.trail import erase_payload, record, sign

pytestmark = pytest.mark.each_database
on_postgresql = pytest.mark.skipif("connection.vendor != 'postgresql'", reason="PostgreSQL only")
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="SQLite only")


@pytest.fixture
def written(account, at):
    """One row in each of the app's tables."""
    next_number("CA", "B")
    return sign(actor=account, meaning="graded", about=account, content={"a": 1}, at=at)


@pytest.fixture
def rules(monkeypatch):
    """The app's rules, to which a test may add."""
    mine = dict(append_only._rules)
    monkeypatch.setattr(append_only, "_rules", mine)
    return mine


def refused(statement, *, sentence):
    """Run SQL by hand, past every model, and see the database refuse it."""
    refusal = pytest.raises(IntegrityError, match=sentence)
    with connection.cursor() as cursor, refusal, transaction.atomic():
        cursor.execute(statement)


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE records_signature SET meaning = 'x'", "records_signature is append-only"),
        ("DELETE FROM records_signature", "records_signature is append-only"),
        ("UPDATE records_trailentry SET act = 'x'", "records_trailentry is append-only"),
        ("DELETE FROM records_trailentry", "records_trailentry is append-only"),
        ("UPDATE records_trailpayload SET body = '{}'", "records_trailpayload is append-only"),
        ("DELETE FROM records_trailpayload", "records_trailpayload is append-only"),
        ("UPDATE records_trailhead SET number = 0", "records_trailhead only moves forward"),
        ("DELETE FROM records_trailhead", "records_trailhead only moves forward"),
        ("UPDATE records_numberseries SET last = 0", "records_numberseries only counts up"),
        ("UPDATE records_numberseries SET kind = 'C'", "records_numberseries only counts up"),
        ("DELETE FROM records_numberseries", "records_numberseries only counts up"),
    ],
)
def test_a_change_by_hand_is_refused_by_name(written, statement, sentence):
    refused(statement, sentence=sentence)


@pytest.mark.parametrize(
    "model",
    [Signature, TrailEntry, TrailPayload, TrailHead, NumberSeries],
    ids=lambda m: m.__name__,
)
def test_deleting_through_the_orm_is_refused(written, model):
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.all()._raw_delete(using="default")
    assert model.objects.count() == 1


def test_saving_a_changed_record_is_refused(written):
    written.printed_name = "Someone Else"
    with pytest.raises(IntegrityError, match="correct it with a new record"), transaction.atomic():
        written.save()
    written.refresh_from_db()
    assert written.printed_name != "Someone Else"


@on_postgresql
@pytest.mark.parametrize(
    "table",
    ["records_signature", "records_trailentry", "records_trailhead", "records_numberseries"],
)
def test_truncating_is_refused(written, table):
    connection.check_constraints()
    refused(f"TRUNCATE {table} CASCADE", sentence=r"records_\w+ (is append-only|only)")


@on_sqlite
def test_replacing_is_refused(written):
    copy = (
        "INSERT OR REPLACE INTO records_trailhead (id, number, entry_hash) "
        "SELECT id, number + 1, 'forged' FROM records_trailhead"
    )
    refused(copy, sentence="records_trailhead only moves forward")


@on_sqlite
def test_rows_that_a_replace_pushes_out_by_another_unique_column_count_as_deleted(written):
    pushes_out = (
        "INSERT OR REPLACE INTO records_numberseries (prefix, kind, last) VALUES ('CA', 'B', 9)"
    )
    refused(pushes_out, sentence="records_numberseries only counts up")


@on_sqlite
@pytest.mark.django_db(transaction=True)
def test_another_program_that_opens_the_file_is_refused_too():
    with transaction.atomic():
        record(actor=None, act="board made", about=("board", "1"))
    other = sqlite3.connect(connection.settings_dict["NAME"], uri=True)
    try:
        for statement in (
            "UPDATE records_trailentry SET act = 'x'",
            "DELETE FROM records_trailentry",
            "INSERT OR REPLACE INTO records_trailhead (id, number, entry_hash) VALUES (1, 9, 'x')",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="records_trail"):
                other.execute(statement)
    finally:
        other.close()
    assert TrailHead.objects.get().number == 1


def test_an_entry_that_does_not_follow_the_last_one_is_refused(written):
    last = TrailEntry.objects.get()
    for number, previous in [(3, last.entry_hash), (2, "f" * 64), (2, "0" * 64)]:
        forged = TrailEntry(
            number=number,
            recorded_at=last.recorded_at,
            actor_label="nobody",
            act="forged",
            about_type="a",
            about_id="1",
            previous_hash=previous,
            payload_digest="0" * 64,
            entry_hash="1" * 64,
        )
        with pytest.raises(IntegrityError, match="that follows the last one"), transaction.atomic():
            forged.save(force_insert=True)


def test_an_erased_payload_cannot_be_written_again(written, account, at):
    erase_payload(entry=written.entry, reason="asked for", actor=account, at=at)
    refused(
        "UPDATE records_trailpayload SET body = '{}', salt = 'ab', erased_at = NULL, "
        "erased_reason = '' WHERE entry_id = 1",
        sentence="a payload can be erased, once, and nothing else",
    )


def test_every_protected_table_has_its_triggers(db):
    assert append_only.missing(connection) == []


def test_a_trigger_that_somebody_dropped_is_missed_and_comes_back(written):
    with connection.cursor() as cursor:
        names = append_only._existing_triggers(connection)
        [name] = [name for name in names if "trailentry_append_only_up" in name]
        connection.check_constraints()
        table = " ON records_trailentry" if connection.vendor == "postgresql" else ""
        cursor.execute(f'DROP TRIGGER "{name}"{table}')
    assert append_only.missing(connection) == [name]

    append_only.install(connection)
    assert append_only.missing(connection) == []
    refused("UPDATE records_trailentry SET act = 'x'", sentence="records_trailentry")


@on_postgresql
def test_a_trigger_that_is_switched_off_is_missed_and_comes_back(db):
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE records_trailhead DISABLE TRIGGER USER")
    assert len(append_only.missing(connection)) == 3

    append_only.install(connection)
    assert append_only.missing(connection) == []


def test_a_rule_can_ask_another_table(written, rules):
    """Here a series is closed once something was signed under its prefix."""
    closed = "EXISTS (SELECT 1 FROM records_signature s WHERE s.meaning = {row}.prefix)"
    protect(
        "records.NumberSeries",
        name="closed",
        when_update=closed.format(row="OLD"),
        when_delete=NEVER,
        insert_when=closed.format(row="NEW"),
        refusal="is closed",
        insert_refusal="takes nothing more once it is closed",
    )
    with append_only.lifted(connection):
        Signature.objects.update(meaning="AL")

    assert next_number("CA", "B") == "CA-B-00002"
    taking = pytest.raises(IntegrityError, match="records_numberseries takes nothing more")
    with taking, transaction.atomic():
        NumberSeries.objects.create(prefix="AL", kind="B")
    with append_only.lifted(connection):
        Signature.objects.update(meaning="CA")
    refused("UPDATE records_numberseries SET last = 7", sentence="records_numberseries is closed")


def test_a_condition_that_comes_out_null_refuses(written, rules):
    protect("records.NumberSeries", name="null", when_update="OLD.last = NULL", refusal="is unsure")
    append_only.install(connection)
    refused("UPDATE records_numberseries SET last = 7", sentence="records_numberseries is unsure")


def test_sql_may_differ_by_vendor(written, rules):
    only_here = {"sqlite": NEVER, "postgresql": NEVER, connection.vendor: ALWAYS}
    protect("records.NumberSeries", name="vendor", when_update=only_here, refusal="isn't open here")
    append_only.install(connection)
    refused("UPDATE records_numberseries SET last = 7", sentence="isn't open here")


def test_a_changed_rule_replaces_its_trigger(written, rules):
    protect("records.NumberSeries", name="moving", when_delete=NEVER, refusal="stands still")
    append_only.install(connection)
    del rules["records.numberseries", "moving"]
    protect("records.NumberSeries", name="moving", when_delete=NEVER, refusal="stays put")
    assert len(append_only.missing(connection)) == 1

    append_only.install(connection)
    refused("UPDATE records_numberseries SET last = 7", sentence="stays put")


def test_two_different_rules_need_two_names(rules):
    protect("records.Removal")  # the same rule again is no new rule
    with pytest.raises(ImproperlyConfigured, match="its own name"):
        protect("records.Removal", refusal="is something else")


def test_long_table_names_leave_distinct_trigger_names(db):
    names = append_only._expected_triggers(connection)
    assert len(names) == len(set(names))
    assert max(map(len, names)) <= 63


def test_another_database_is_refused_by_name(monkeypatch, db):
    monkeypatch.setattr(connection, "vendor", "oracle", raising=False)
    with pytest.raises(ImproperlyConfigured, match="not oracle"):
        append_only.missing(connection)


def test_lifting_lets_go_for_the_block_alone(written):
    with append_only.lifted(connection):
        NumberSeries.objects.all().delete()
    assert append_only.missing(connection) == []
    refused("DELETE FROM records_signature", sentence="records_signature")


@pytest.mark.django_db(transaction=True)
def test_a_lifted_block_that_fails_leaves_the_tables_as_they_were():
    with transaction.atomic():
        next_number("CA", "B")

    def fail_half_way():
        with append_only.lifted(connection):
            NumberSeries.objects.all().delete()
            raise RuntimeError("half way")

    with pytest.raises(RuntimeError, match="half way"):
        fail_half_way()
    assert NumberSeries.objects.count() == 1
    assert append_only.missing(connection) == []


def plan_of(*operations):
    """What `migrate` says that it will apply, as its signal has it."""
    return [(type("Migration", (), {"operations": operations}), False)]


FILLS = migrations.RunPython(migrations.RunPython.noop)


@pytest.mark.parametrize(
    "operation",
    [FILLS, migrations.SeparateDatabaseAndState(database_operations=[FILLS])],
    ids=["at once", "inside another"],
)
def test_migrating_that_fills_rows_lifts_the_triggers_and_puts_them_back(db, operation):
    append_only.remove_before_migrating(using="default", plan=plan_of(operation))
    assert append_only._existing_triggers(connection) == {}

    append_only.install_after_migrating(using="default")
    assert append_only.missing(connection) == []


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_migrating_that_fills_nothing_leaves_the_triggers_where_a_version_may_serve(db):
    field = migrations.AddField("person", "note", models.TextField(null=True))
    append_only.remove_before_migrating(using="default", plan=plan_of(field))
    assert append_only.missing(connection) == []


def test_triggers_that_migrations_took_away_are_put_back_as_they_were(db, rules):
    before = append_only.definitions(connection)
    held = append_only._existing_triggers(connection)
    protect("records.NumberSeries", name="later", when_delete=NEVER)
    append_only.remove(connection)

    append_only.put_back(connection, before)

    assert append_only._existing_triggers(connection) == held
    assert len(held) > 30
    del rules["records.numberseries", "later"]


@on_sqlite
@pytest.mark.django_db(transaction=True)
def test_a_table_that_another_table_s_trigger_mentions_can_be_migrated(rules):
    mentions = "EXISTS (SELECT 1 FROM records_signature)"
    protect("records.NumberSeries", name="mentions", when_update=mentions, when_delete=NEVER)
    append_only.install(connection)
    narrow = Signature._meta.get_field("meaning")
    wide = models.CharField(max_length=90)
    wide.set_attributes_from_name("meaning")
    try:
        with pytest.raises(OperationalError, match="mentions_update"):
            remake(Signature, narrow, wide)
        append_only.remove_before_migrating(using="default", plan=plan_of(FILLS))
        remake(Signature, narrow, wide)
        remake(Signature, wide, narrow)
    finally:
        del rules["records.numberseries", "mentions"]
        append_only.install_after_migrating(using="default")
    assert append_only.missing(connection) == []


def remake(model, old, new):
    """What a migration does to a column: on SQLite, a new table under the old one's name."""
    with connection.schema_editor() as editor:
        editor.alter_field(model, old, new)


def test_migrating_without_anything_to_migrate_leaves_them_alone(db):
    append_only.remove_before_migrating(using="default", plan=[])
    assert append_only.missing(connection) == []
