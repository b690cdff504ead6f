"""A back-up holds the site as one instant shows it, while people work."""

import gzip
import json
import os
import re
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection, transaction
from django.utils import timezone

from assessments.models import Photo
from assessments.services import photos
from assessments.services.removing import remove_photo_files
from operations.backends import files_folder
from operations.backends.archive import identities_of, new_key_file, opened, read_archive
from operations.domain.back_ups import Policy, name_of
from operations.exceptions import BackUpRefused
from operations.models import BackUp, Heartbeat
from operations.queries import database_rows
from operations.services import back_ups, heads
from operations.services.back_ups import back_up, back_up_nightly, prune_back_ups
from operations.services.restoring import check_archive
from people.models import Person
from records.models import TrailEntry, append_only
from records.services import site_to_oneself, trail
from tests.assessments import pictures
from tests.factories import make_board, make_person, make_site, make_user

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.each_database]


@pytest.fixture(autouse=True)
def _the_tables_are_as_after_all_migrations(monkeypatch, settings):
    """The tests' own are made from the models, without the migrations, which nothing notes."""
    settings.MIGRATION_MODULES = {}
    everything = sorted(database_rows.known_migrations())
    monkeypatch.setattr(database_rows, "applied_migrations", lambda connection: everything)


@pytest.fixture
def photo():
    return photos.add_photo(
        board=make_board(),
        file=BytesIO(pictures.jpeg(120, 80)),
        name="E01.jpg",
        actor=make_user("instructor"),
        at=timezone.now(),
    )


def members(path):
    found = {}
    with opened(path, []) as stream:
        end = read_archive(stream, lambda name, data: found.update({name: data.read()}))
    return found, end


def rows_of(path, table):
    found, _end = members(path)
    parts = sorted(name for name in found if name.startswith(f"rows/{table}/"))
    return [row for name in parts for row in database_rows.rows_of_part(BytesIO(found[name]))]


def test_it_holds_rows_and_the_files_that_they_name(tmp_path, photo):
    made = back_up(tmp_path / "a", clock=timezone.now)

    found, end = members(tmp_path / "a")
    name = photo.original.name
    with default_storage.open(name) as kept:
        assert found[f"content/{name}"] == kept.read()
    assert end["rows"]["assessments_photo"] == 1
    assert end["rows"]["records_trailentry"] == TrailEntry.objects.count() > 0
    assert (made.files, made.rows) == (end["files"], sum(end["rows"].values()))
    assert BackUp.objects.made().get() == made


def test_what_tells_of_this_running_site_alone_stays_here(tmp_path):
    Heartbeat.objects.create(kind=Heartbeat.Kind.WEB, at=timezone.now())

    back_up(tmp_path / "a", clock=timezone.now)

    _found, end = members(tmp_path / "a")
    assert not {"django_session", "operations_heartbeat", "operations_backup"} & set(end["rows"])


def test_what_is_written_meanwhile_is_in_it_as_a_whole_or_not_at_all(tmp_path, monkeypatch):
    """Between two tables somebody writes to both, as a program of theirs does."""
    make_person(full_name="Before")
    read_rows = database_rows.read_rows
    written = []

    def read_and_write(snapshot, model, on_file):
        if not written and model is Person:
            yield from read_rows(snapshot, model, on_file)
            written.append(True)
            with transaction.atomic():
                person = make_person(full_name="Meanwhile")
                trail.record(actor=None, act="person entered", about=person)
        else:
            yield from read_rows(snapshot, model, on_file)

    monkeypatch.setattr(database_rows, "read_rows", read_and_write)
    back_up(tmp_path / "a", clock=timezone.now)

    assert Person.objects.filter(full_name="Meanwhile").exists()
    [person] = rows_of(tmp_path / "a", "people_person")
    assert "Before" in person
    assert rows_of(tmp_path / "a", "records_trailentry") == []
    assert rows_of(tmp_path / "a", "records_trailhead") == []


def test_no_table_is_emptied_or_rewritten_while_it_is_read(tmp_path, monkeypatch):
    """PostgreSQL would show such a table empty to the snapshot of before, and without a word."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite keeps the pages of the instant, whatever becomes of the tables")
    make_person(full_name="Before")
    read_rows = database_rows.read_rows
    refused = []

    def read_and_rewrite(snapshot, model, on_file):
        if not refused:
            with pytest.raises(OperationalError, match="lock timeout"):
                rewrite()
            refused.append(True)
        yield from read_rows(snapshot, model, on_file)

    def rewrite():
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET LOCAL lock_timeout = '100ms'")
            cursor.execute(
                "ALTER TABLE people_person ALTER COLUMN full_name TYPE varchar(120)"
                " USING lower(full_name)"
            )

    monkeypatch.setattr(database_rows, "read_rows", read_and_rewrite)
    back_up(tmp_path / "a", clock=timezone.now)

    assert refused
    assert "Before" in rows_of(tmp_path / "a", "people_person")[0]


def test_a_table_that_is_somebody_elses_is_named_and_not_in_it(tmp_path, capsys):
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE of_the_plant (id integer PRIMARY KEY)")
    try:
        call_command("back_up", str(tmp_path / "a"))
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE of_the_plant")
    assert "are not in it: of_the_plant.\n" in capsys.readouterr().out
    found, end = members(tmp_path / "a")
    assert json.loads(found["about.json"])["tables_of_others"] == ["of_the_plant"]
    assert "of_the_plant" not in end["rows"]


def test_the_filed_end_of_the_trail_is_never_past_its_rows(tmp_path, monkeypatch):
    """A head that is filed while rows are read is one that those rows do not know."""
    with transaction.atomic():
        trail.record(actor=None, act="one", about=("board", "1"))
    heads.publish_head(at=timezone.now())
    add_rows = back_ups._add_rows

    def add_rows_and_file(*arguments):
        found = add_rows(*arguments)
        with transaction.atomic():
            trail.record(actor=None, act="two", about=("board", "1"))
        heads.publish_head(at=timezone.now())
        return found

    monkeypatch.setattr(back_ups, "_add_rows", add_rows_and_file)
    try:
        back_up(tmp_path / "a", clock=timezone.now)
    finally:
        filed = heads.heads_file().read_text().splitlines()
        heads.heads_file().unlink()

    found, _end = members(tmp_path / "a")
    assert found["kept/trail-heads.txt"].decode().splitlines() == filed[:1]
    assert len(filed) == 2


def test_a_file_that_is_gone_is_counted_and_named(tmp_path, photo):
    default_storage.delete(photo.original.name)

    made = back_up(tmp_path / "a", clock=timezone.now)

    _found, end = members(tmp_path / "a")
    assert made.missing_files == 1
    assert end["missing_names"] == [photo.original.name]


def test_a_file_that_was_removed_in_good_order_is_not_missed(tmp_path, photo, monkeypatch):
    other = photos.add_photo(
        board=photo.board, file=BytesIO(pictures.jpeg(96, 64)), name="E02.jpg",
        actor=make_user("instructor"), at=timezone.now(),
    )  # fmt: skip
    gone = {"reason": "kept for 12 months", "actor": None, "at": timezone.now()}
    remove_photo_files(photos=[photo], **gone)
    read_rows = database_rows.read_rows

    def read_and_remove(connection, model, on_file):
        yield from read_rows(connection, model, on_file)
        if model is Photo:
            remove_photo_files(photos=[other], **gone)

    monkeypatch.setattr(database_rows, "read_rows", read_and_remove)

    made = back_up(tmp_path / "a", clock=timezone.now)

    _found, end = members(tmp_path / "a")
    assert (made.files, made.missing_files, end["missing"]) == (0, 0, 0)


def test_the_next_one_adds_to_the_folder_what_is_new_alone(tmp_path, photo):
    folder = tmp_path / "files"
    first = back_up(tmp_path / "a", clock=timezone.now, files_folder=folder)
    second = back_up(tmp_path / "b", clock=timezone.now, files_folder=folder)

    assert first.added_files == first.files > 0
    assert (second.added_files, second.files) == (0, first.files)
    found, _end = members(tmp_path / "b")
    assert not [name for name in found if name.startswith("content/")]
    assert check_archive(tmp_path / "b").end["files"] == first.files


def test_with_a_new_key_every_file_is_added_anew(tmp_path, settings, photo):
    """The old one was lost, or somebody has it."""
    folder = tmp_path / "files"
    old, settings.BACK_UP_KEY = new_key_file()
    first = back_up(tmp_path / "a", clock=timezone.now, files_folder=folder)
    new, settings.BACK_UP_KEY = new_key_file()
    second = back_up(tmp_path / "b", clock=timezone.now, files_folder=folder)
    third = back_up(tmp_path / "c", clock=timezone.now, files_folder=folder)

    assert second.added_files == second.files == first.files > 0
    assert third.added_files == 0
    check_archive(tmp_path / "a", identities=identities_of(old))
    check_archive(tmp_path / "b", identities=identities_of(new))
    check_archive(tmp_path / "c", identities=identities_of(new))


def test_files_of_which_the_key_is_not_known_are_added_once_more_and_go_in_their_time(
    settings, tmp_path, photo, monkeypatch
):
    text, settings.BACK_UP_KEY = new_key_file()
    settings.BACK_UP_KEEP_DAYS, settings.BACK_UP_KEEP_WEEKS, settings.BACK_UP_KEEP_MONTHS = 2, 0, 0
    with monkeypatch.context() as of_before:
        # What it wrote into the archive, which cannot be altered afterwards.
        of_before.setattr(files_folder, "digest_of", lambda recipient: files_folder.UNKNOWN_KEY)
        [first] = nights(settings, tmp_path, 1)
    [earlier] = [path.name for path in (tmp_path / "files").rglob("*~*")]
    assert re.search(r"-[0-9a-f]{64}\.age$", earlier)

    [second] = nights(settings, tmp_path, 1, after=1)

    check_archive(tmp_path / first, identities=identities_of(text))
    check_archive(tmp_path / second, identities=identities_of(text))
    assert len([*(tmp_path / "files").rglob("*~*")]) == 2
    nights(settings, tmp_path, 1, after=2)
    [left] = [path.name for path in (tmp_path / "files").rglob("*~*")]
    assert left != earlier


def test_nothing_is_overwritten_and_the_failure_is_kept(tmp_path):
    (tmp_path / "a").write_text("mine")

    with pytest.raises(CommandError, match="no back-up is overwritten"):
        call_command("back_up", str(tmp_path / "a"))

    assert (tmp_path / "a").read_text() == "mine"
    assert "no back-up is overwritten" in BackUp.objects.failed().get().failure


def test_a_row_that_would_not_be_read_again_is_told_and_nothing_is_left(tmp_path, monkeypatch):
    monkeypatch.setattr(database_rows, "LONGEST_ROW", 100)
    make_site()

    with pytest.raises(CommandError, match=r"a row of people_site has \d+ characters"):
        call_command("back_up", str(tmp_path / "a"))

    assert os.listdir(tmp_path) == []


def test_while_a_restore_is_broken_off_nothing_is_backed_up(tmp_path, settings):
    (settings.DATA_DIR / site_to_oneself.RESTORING).mkdir()
    try:
        with pytest.raises(CommandError, match="A restore was broken off"):
            call_command("back_up", str(tmp_path / "a"))
    finally:
        (settings.DATA_DIR / site_to_oneself.RESTORING).rmdir()

    assert os.listdir(tmp_path) == []


def nights(settings, tmp_path, count, after=0):
    settings.BACK_UP_DIR = str(tmp_path)
    first = datetime(2026, 11, 1 + after, 1, 40, tzinfo=UTC)
    for night in range(count):
        back_up_nightly(clock=lambda night=night: first + timedelta(night))
    return [name_of(first + timedelta(night)) for night in range(count)]


def without_photos():
    """As if no board had ever had one."""
    with append_only.lifted(connection), connection.cursor() as cursor:
        cursor.execute("DELETE FROM assessments_rendition")
        cursor.execute("DELETE FROM assessments_photo")


def test_every_night_makes_one_and_old_ones_go_with_what_only_they_need(settings, tmp_path, photo):
    settings.BACK_UP_KEEP_DAYS, settings.BACK_UP_KEEP_WEEKS, settings.BACK_UP_KEEP_MONTHS = 2, 0, 0
    names = nights(settings, tmp_path, 2)
    stored = len([*(tmp_path / "files").rglob("*~*")])
    name = photo.original.name
    without_photos()
    first = datetime(2026, 11, 3, 1, 40, tzinfo=UTC)
    back_up_nightly(clock=lambda: first)

    there = sorted(path.name for path in tmp_path.glob("*.backup"))
    assert there == [names[1], name_of(first)]
    assert len([*(tmp_path / "files").rglob("*~*")]) == stored

    back_up_nightly(clock=lambda: first + timedelta(1))

    left = [path.name for path in (tmp_path / "files").rglob("*~*")]
    assert not [each for each in left if each.startswith(os.path.basename(name))]
    assert check_archive(tmp_path / name_of(first + timedelta(1)))


def test_archives_of_other_names_stay_and_keep_their_files(tmp_path, photo):
    by_hand = tmp_path / "before-the-move.backup"
    back_up(by_hand, clock=timezone.now, files_folder=tmp_path / "files")
    stored = [*(tmp_path / "files").rglob("*~*")]

    assert prune_back_ups(tmp_path, policy=Policy(0, 0, 0)) == []

    assert by_hand.exists()
    assert [*(tmp_path / "files").rglob("*~*")] == stored != []


def test_one_that_was_given_another_name_keeps_its_files_until_it_has_its_list(
    settings, tmp_path, photo, caplog
):
    settings.BACK_UP_KEEP_DAYS, settings.BACK_UP_KEEP_WEEKS, settings.BACK_UP_KEEP_MONTHS = 1, 0, 0
    [first] = nights(settings, tmp_path, 1)
    renamed = tmp_path / "before-the-audit.backup"
    (tmp_path / first).rename(renamed)
    without_photos()

    [_second, third] = nights(settings, tmp_path, 2, after=1)

    assert check_archive(renamed).end["files"] == 1
    assert {path.name for path in tmp_path.glob("*.backup")} == {renamed.name, third}
    assert "while before-the-audit.backup has no list .files beside it: give it" in caplog.text

    (tmp_path / f"{first}.files").rename(tmp_path / "before-the-audit.backup.files")
    caplog.clear()
    [fourth] = nights(settings, tmp_path, 1, after=3)

    assert check_archive(renamed).end["files"] == 1
    assert {path.name for path in tmp_path.glob("*.files")} == {
        f"{renamed.name}.files",
        f"{fourth}.files",
    }
    assert caplog.text == ""
    renamed.unlink()
    nights(settings, tmp_path, 1, after=4)
    assert not [*(tmp_path / "files").rglob("*~*")]


def test_what_needs_no_file_of_the_folder_keeps_none(settings, tmp_path, photo, caplog):
    settings.BACK_UP_KEEP_DAYS, settings.BACK_UP_KEEP_WEEKS, settings.BACK_UP_KEEP_MONTHS = 1, 0, 0
    nights(settings, tmp_path, 1)
    (tmp_path / "lost+found").mkdir()
    (tmp_path / "site.txt").write_text("as in a copy of a bucket")
    (tmp_path / "today.backup.part").write_bytes(b"is being made")
    (tmp_path / "today.backup.files").write_bytes(gzip.compress(b""))
    text, settings.BACK_UP_KEY = new_key_file()
    back_up(tmp_path / "sealed.backup", clock=timezone.now)
    settings.BACK_UP_KEY = ""
    back_up(tmp_path / "plain.backup", clock=timezone.now)
    (tmp_path / "plain.backup.files").unlink()  # An earlier version wrote none.
    without_photos()

    nights(settings, tmp_path, 1, after=1)

    assert not [*(tmp_path / "files").rglob("*~*")]
    assert (tmp_path / "today.backup.files").exists()
    assert caplog.text == ""
    assert check_archive(tmp_path / "plain.backup").end["files"] == 1
    sealed = check_archive(tmp_path / "sealed.backup", identities=identities_of(text))
    assert sealed.end["files"] == 1


@pytest.mark.parametrize("is_archive", [True, False])
def test_what_may_need_files_of_the_folder_keeps_them_all(tmp_path, photo, is_archive):
    back_up(tmp_path / "a", clock=timezone.now, files_folder=tmp_path / "files")
    if is_archive:
        (tmp_path / "a").rename(tmp_path / "b")
    else:
        (tmp_path / "a").unlink()
        (tmp_path / "a.zip").write_bytes(b"somebody packed it")

    assert prune_back_ups(tmp_path, policy=Policy(1, 0, 0)) == []

    assert (tmp_path / "a.files").exists()
    assert len([*(tmp_path / "files").rglob("*~*")]) == 1


def test_folder_of_the_nights_takes_no_archive_that_lies_elsewhere(settings, tmp_path, photo):
    nights, elsewhere = tmp_path / "nights", tmp_path / "disk"
    nights.mkdir()
    elsewhere.mkdir()
    settings.BACK_UP_DIR = str(nights)
    with pytest.raises(BackUpRefused, match="throw away what no archive in"):
        back_up(elsewhere / "a", clock=timezone.now, files_folder=nights / "files")
    assert not [*elsewhere.iterdir()]

    back_up(nights / "a", clock=timezone.now, files_folder=nights / "files")
    back_up(elsewhere / "a", clock=timezone.now, files_folder=elsewhere / "files")


def test_no_file_goes_while_an_archive_has_no_list(settings, tmp_path, photo):
    names = nights(settings, tmp_path, 1)
    (tmp_path / f"{names[0]}.files").unlink()
    stored = [*(tmp_path / "files").rglob("*~*")]

    prune_back_ups(tmp_path, policy=Policy(7, 0, 0))

    assert [*(tmp_path / "files").rglob("*~*")] == stored != []


def test_a_damaged_list_is_told_and_keeps_no_night_from_being_made(
    settings, tmp_path, photo, caplog
):
    names = nights(settings, tmp_path, 2)
    damaged = tmp_path / f"{names[0]}.files"
    damaged.write_bytes(damaged.read_bytes()[:-9])
    stored = {*(tmp_path / "files").rglob("*~*")}

    third = datetime(2026, 11, 3, 1, 40, tzinfo=UTC)
    assert back_up_nightly(clock=lambda: third) is not None

    assert {*(tmp_path / "files").rglob("*~*")} == stored
    assert "is damaged, so no file that archives share was thrown away" in caplog.text


def test_two_nights_at_once_are_one(settings, tmp_path):
    settings.BACK_UP_DIR = str(tmp_path)
    now = timezone.now()
    BackUp.objects.create(begun_at=now, path="x", by_clock=True, is_encrypted=False)

    assert back_up_nightly(clock=lambda: now + timedelta(minutes=5)) is None
    assert back_up_nightly(clock=lambda: now + timedelta(hours=7)) is not None


def test_without_a_folder_no_night_makes_one(settings):
    settings.BACK_UP_DIR = ""

    assert back_up_nightly(clock=timezone.now) is None
    assert not BackUp.objects.exists()


def test_a_back_up_before_an_upgrade_needs_no_table_of_this_version(tmp_path, monkeypatch):
    """The database stands where an earlier version left it; its rows are read as it has them."""
    make_site("Vega", "VE")
    applied = database_rows.applied_migrations(connection)
    last = ("operations", "0001_release_1")
    later = list(apps.get_app_config("operations").get_models())
    earlier = [node for node in applied if node != last]
    assert len(earlier) == len(applied) - 1
    monkeypatch.setattr(database_rows, "applied_migrations", lambda connection: earlier)
    with connection.schema_editor() as editor:
        for model in later:
            editor.delete_model(model)
    try:
        back_up(tmp_path / "a", clock=timezone.now)
    finally:
        with connection.schema_editor() as editor:
            for model in later:
                editor.create_model(model)

    found, end = members(tmp_path / "a")
    assert list(last) not in json.loads(found["about.json"])["migrations"]
    assert end["rows"]["people_site"] == 1


def test_secret_keys_leave_encrypted_or_not_at_all(settings, tmp_path, monkeypatch):
    """All that rows tell of: a key that is made once the files were read would be lost."""
    text, public = new_key_file()
    settings.SIGNING_KEYS_DIR = tmp_path / "keys"
    settings.SIGNING_KEYS_DIR.mkdir()
    (settings.SIGNING_KEYS_DIR / "one.pem").write_text("not for others either")
    key = settings.DATA_DIR / "secret_key"
    key.write_text("not for others")
    add_rows = back_ups._add_rows

    def make_a_key_and_add_rows(file, snapshot, *arguments):
        if settings.BACK_UP_KEY:
            (settings.SIGNING_KEYS_DIR / "two.pem").write_text("made as the back-up had begun")
        return add_rows(file, snapshot, *arguments)

    monkeypatch.setattr(back_ups, "_add_rows", make_a_key_and_add_rows)
    try:
        back_up(tmp_path / "plain", clock=timezone.now)
        settings.BACK_UP_KEY = public
        back_up(tmp_path / "sealed", clock=timezone.now)
    finally:
        key.unlink()

    names = []
    with opened(tmp_path / "sealed", identities_of(text)) as stream:
        read_archive(stream, lambda name, data: names.append(name))
    secret = {"kept/secret_key", "kept/signing_keys/one.pem", "kept/signing_keys/two.pem"}
    assert secret <= set(names)
    assert secret.isdisjoint(members(tmp_path / "plain")[0])


def test_the_list_beside_an_archive_names_what_it_needs(tmp_path, photo):
    back_up(tmp_path / "a", clock=timezone.now, files_folder=tmp_path / "files")

    listed = gzip.decompress((tmp_path / "a.files").read_bytes()).decode().split("\n")
    there = [str(path.relative_to(tmp_path / "files")) for path in tmp_path.rglob("*~*")]
    assert sorted(listed) == sorted(there)


def test_no_row_of_a_back_up_names_one_that_is_in_none():
    """As a shared tablet's use names the session of whoever works there."""
    naming = {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        for field in model._meta.local_fields
        if field.remote_field and field.related_model._meta.db_table in database_rows.LEFT_OUT
    }
    assert naming <= database_rows.LEFT_OUT
    assert naming
