"""Back-up and restore killed, cut short by a full disk, and given what does not fit."""

import gzip
import json
import os
import random
import resource
import signal
import tarfile
import time
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.core.files.storage import storages
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from assessments.services import photos
from config.object_storage import storage_of_back_ups
from operations.backends import object_storage
from operations.backends.archive import ArchiveWriter, identities_of, new_key_file, written
from operations.backends.back_up_bucket import SITE, BackUpBucket, BucketArchive
from operations.models import BackUp
from operations.queries import database_rows
from operations.services import restoring
from operations.services.back_ups import FORMAT, back_up
from records.services.site_to_oneself import RESTORING
from tests import other_site
from tests.assessments import pictures
from tests.factories import make_board, make_certificate, make_passed_board, make_user, write_down
from tests.object_server import BUCKET, ObjectServer, object_server
from tests.other_site import OtherSite, child, sqlite_site, status_of

KILLS = int(os.environ.get("FAULT_KILLS", "3"))
pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(600 * KILLS),
    pytest.mark.django_db(transaction=True),
]

TRAIL_FITS = "Everything fits."


@pytest.fixture(autouse=True)
def _the_tables_are_as_after_all_migrations(monkeypatch, settings):
    """The tests' own are made from the models, without the migrations, which nothing notes."""
    settings.MIGRATION_MODULES = {}
    everything = sorted(database_rows.known_migrations())
    monkeypatch.setattr(database_rows, "applied_migrations", lambda connection: everything)


@pytest.fixture
def photo():
    """A photograph in a site with a passed board and a certificate, all of it written down."""
    board = make_board()
    make_passed_board(board.person, board.exercise)
    make_certificate(board.person)
    made = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(1200, 800)),
        name="E01.jpg",
        actor=make_user("instructor"),
        at=timezone.now(),
    )
    write_down()
    return made


@pytest.fixture
def postgres_site(tmp_path):
    with other_site.postgres_site(tmp_path / "grown", f"restored_{os.getpid()}") as site:
        yield site


@pytest.fixture
def site(request, tmp_path) -> OtherSite:
    """An empty site on a database of the kind that this test runs on."""
    if connection.vendor == "sqlite":
        return sqlite_site(tmp_path / "site")
    return request.getfixturevalue("postgres_site")


def killed_after(act: Callable[[], object], sign: Callable[[], bool], delay_s: float) -> int:
    """Kill a process so long after it has shown a sign of work; its status, 0 if it was quicker."""
    pid = child(act)
    while not sign():
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.001)
    time.sleep(delay_s)
    os.kill(pid, signal.SIGKILL)
    return status_of(pid)


@pytest.fixture
def chance():
    seed = int(os.environ.get("FAULT_SEED") or random.SystemRandom().randrange(10**6))
    print(f"FAULT_SEED={seed} FAULT_KILLS={KILLS}")
    return random.Random(seed)


def test_a_back_up_killed_at_any_instant_leaves_none_that_looks_like_one(tmp_path, photo, chance):
    folder, files = tmp_path / "kept", tmp_path / "kept/files"
    folder.mkdir()
    path = folder / "a.backup"

    def act():
        back_up(path, clock=timezone.now, files_folder=files)

    begun = time.monotonic()
    assert status_of(child(act)) == 0
    takes_s = time.monotonic() - begun
    for _ in range(KILLS):
        path.unlink(missing_ok=True)
        # New ones, so that there is something to add to the folder as well.
        for each in files.rglob("*~*"):
            each.unlink()
        part = folder / "a.backup.part"
        killed_after(act, part.exists, chance.random() * takes_s)
        if path.exists():
            assert restoring.check_archive(path).end["files"] > 0

    path.unlink(missing_ok=True)
    assert status_of(child(act)) == 0
    assert restoring.check_archive(path).end["files"] > 0
    assert sorted(each.name for each in folder.iterdir() if each.is_file()) == [
        ".lock",
        "a.backup",
        "a.backup.files",
    ]
    assert BackUp.objects.made().exists()


def test_a_restore_killed_at_any_instant_is_empty_or_begins_anew_and_ends_whole(
    tmp_path, photo, site, chance
):
    path = tmp_path / "a.backup"
    back_up(path, clock=timezone.now)
    with photo.original.open() as original:
        bytes_of_photo = original.read()

    def act():
        site.take_over()
        restoring.restore(path)

    begun = time.monotonic()
    assert status_of(child(act)) == 0
    takes_s = time.monotonic() - begun
    site.clear()
    at = []
    for _ in range(KILLS):
        delay_s = chance.random() * takes_s
        status = killed_after(act, (site.folder / RESTORING).exists, delay_s)
        if status == 0 or not (site.folder / RESTORING).exists():
            site.clear()  # It was quicker this time.
            continue
        assert status == -signal.SIGKILL
        at.append((round(delay_s / takes_s, 2), len(site.tables()), len(site.files())))
        if site.tables():
            assert "restore_under_way" in site.tables()
    print(f"Killed after which part, with so many tables and files: {at}")
    if (site.folder / RESTORING).exists():
        assert "A restore was broken off" in site.run("prepare").stderr

    ended = site.run("restore", path)
    assert ended.returncode == 0, ended.stderr
    assert TRAIL_FITS in ended.stdout
    assert not (site.folder / RESTORING).exists()
    assert "restore_under_way" not in site.tables()
    assert site.query("SELECT count(*) FROM assessments_photo") == [(1,)]
    assert (site.folder / "files" / photo.original.name).read_bytes() == bytes_of_photo
    again = site.run("restore", path)
    assert "into an empty site alone" in again.stderr


@pytest.fixture
def bucket_server(monkeypatch):
    """A bucket in which back-ups are kept, where an archive as small as a test's goes in parts."""
    monkeypatch.setattr(object_storage, "PART_BYTES", 8 * 1024)
    monkeypatch.setattr("moto.s3.models.S3_UPLOAD_PART_MIN_SIZE", 1024)
    with object_server() as server:
        yield server


def archive_in(server: ObjectServer, folder: Path) -> BucketArchive:
    """For this process alone: one that is forked makes its own, since connections are no two's."""
    storage = storages.create_storage(storage_of_back_ups(f"{server.url}/site", None))
    return BucketArchive(
        BackUpBucket(storage, setting="BACK_UP_URL", incoming=folder / "incoming"), "a.backup"
    )


def test_killed_at_any_instant_a_bucket_holds_no_half_archive_and_a_restore_begins_anew(
    tmp_path, photo, site, chance, bucket_server
):
    server, client = bucket_server, bucket_server.client
    text, public = new_key_file()
    (tmp_path / "key").write_text(text)

    def uploads() -> set[str]:
        listed = client.list_multipart_uploads(Bucket=BUCKET).get("Uploads", ())
        return {each["UploadId"] for each in listed}

    def act() -> None:
        settings.BACK_UP_KEY = public
        back_up(archive_in(server, tmp_path), clock=timezone.now)

    left = []
    for _ in range(KILLS):
        server.empty()
        before = uploads()
        killed_after(act, lambda before=before: bool(uploads() - before), chance.random())
        left.append((len(uploads()), len(server.names())))
        if "site/a.backup" in server.names():
            restoring.check_archive(archive_in(server, tmp_path), identities=identities_of(text))
    print(f"So many uploads and objects were left: {left}")
    if "site/a.backup" in server.names():
        client.delete_object(Bucket=BUCKET, Key="site/a.backup")
    assert status_of(child(act)) == 0
    assert uploads() == set()
    top = [name for name in server.names() if "/files/" not in name]
    assert top == ["site/a.backup", "site/a.backup.files", f"site/{SITE}"]
    assert BackUp.objects.made().exists()

    def act_restoring() -> None:
        site.take_over()
        restoring.restore(archive_in(server, tmp_path), identities=identities_of(text))

    for _ in range(KILLS - 1):
        killed_after(act_restoring, (site.folder / RESTORING).exists, chance.random())
        if not (site.folder / RESTORING).exists():
            site.clear()  # It was quicker this time.
    site.more["BACK_UP_URL"] = f"{server.url}/site"
    ended = site.run("restore", archive_in(server, tmp_path), "--key", tmp_path / "key")
    assert ended.returncode == 0, ended.stderr
    assert TRAIL_FITS in ended.stdout
    assert site.query("SELECT count(*) FROM assessments_photo") == [(1,)]
    with photo.original.open() as original:
        assert (site.folder / "files" / photo.original.name).read_bytes() == original.read()


def test_an_archive_goes_into_the_other_kind_of_database(tmp_path, photo, request):
    other = (
        sqlite_site(tmp_path / "small")
        if connection.vendor == "postgresql"
        else request.getfixturevalue("postgres_site")
    )
    text, public = new_key_file()
    (tmp_path / "key").write_text(text)
    path = tmp_path / "a.backup"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "BACK_UP_KEY", public)
        back_up(path, clock=timezone.now, files_folder=tmp_path / "files")

    ended = other.run("restore", path, "--key", tmp_path / "key")

    assert ended.returncode == 0, ended.stderr
    assert TRAIL_FITS in ended.stdout
    # What comes out of it again is what went in, but the order of keys that a database keeps.
    ended = other.run("back_up", tmp_path / "b.backup")
    assert ended.returncode == 0, ended.stderr
    back_up(tmp_path / "c.backup", clock=timezone.now)
    assert contents_of(tmp_path / "b.backup") == contents_of(tmp_path / "c.backup")


def contents_of(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = {}
    with tarfile.open(path) as tar:
        for info in tar:
            stream = tar.extractfile(info)
            assert stream is not None
            data = stream.read()
            if info.name.startswith("rows/"):
                lines = gzip.decompress(data).decode().split("\n")
                found[info.name] = [json.loads(line) for line in lines]
            elif info.name.startswith("content/"):
                found[info.name] = data
            elif info.name == "about.json":
                found["sequences"] = json.loads(data)["sequences"]
    return found


def limited(act: Callable[[], object], limit: int) -> Callable[[], object]:
    """The same where no file can become longer than so many bytes, as where a disk is full."""

    def act_with_limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        act()

    return act_with_limit


def test_a_full_disk_ends_back_up_and_restore_with_nothing_half_there(tmp_path, photo):
    large = photo.original.storage.path(photo.original.name)
    with open(large, "ab") as stream:  # What follows a JPEG's end is no part of the picture.
        stream.write(os.urandom(12_000_000))
    folder = tmp_path / "kept"
    folder.mkdir()

    def act():
        with pytest.raises(OSError, match="File too large"):
            back_up(folder / "a.backup", clock=timezone.now)

    assert status_of(child(limited(act, 10_000_000))) == 0
    assert list(folder.iterdir()) == []

    back_up(folder / "a.backup", clock=timezone.now)
    site = sqlite_site(tmp_path / "site") if connection.vendor == "sqlite" else None
    if site is None:  # A server writes the rows; what is unpacked is the same on both.
        return

    def act_restoring():
        site.take_over()
        with pytest.raises(OSError, match="File too large"):
            restoring.restore(folder / "a.backup")

    assert status_of(child(limited(act_restoring, 10_000_000))) == 0
    assert not (site.folder / RESTORING).exists()
    assert (site.files(), site.tables()) == ([], set())


def test_a_disk_that_is_full_for_the_rows_leaves_the_site_empty(tmp_path, photo):
    if connection.vendor != "sqlite":
        pytest.skip("A server's own disk is not this process's to fill")
    back_up(tmp_path / "a.backup", clock=timezone.now)
    site = sqlite_site(tmp_path / "site")

    def act():
        site.take_over()
        with pytest.raises(Exception, match=r"full|disk I/O"):
            restoring.restore(tmp_path / "a.backup")

    assert status_of(child(limited(act, 400_000))) == 0
    assert (site.files(), site.tables()) == ([], set())
    assert not (site.folder / RESTORING).exists()


def test_an_archive_of_an_earlier_version_is_brought_to_this_one(
    tmp_path, photo, site, monkeypatch
):
    earlier = [node for node in database_rows.known_migrations() if node[0] != "operations"]
    later = list(apps.get_app_config("operations").get_models())
    monkeypatch.setattr(database_rows, "applied_migrations", lambda connection: sorted(earlier))
    with connection.schema_editor() as editor:
        for model in later:
            editor.delete_model(model)
    try:
        back_up(tmp_path / "a.backup", clock=timezone.now)
    finally:
        with connection.schema_editor() as editor:
            for model in reversed(later):
                editor.create_model(model)

    ended = site.run("restore", tmp_path / "a.backup")

    assert ended.returncode == 0, ended.stderr
    assert TRAIL_FITS in ended.stdout
    assert {model._meta.db_table for model in later} <= site.tables()
    applied = site.query("SELECT app, name FROM django_migrations")
    assert database_rows.known_migrations() <= set(applied)


def refused(tmp_path: Path, path: Path, **more: Any) -> str:
    """What the restore of an archive into an empty site says, which stays empty."""
    site = sqlite_site(tmp_path / f"site-{random.random()}")
    said = tmp_path / "said"

    def act() -> None:
        site.take_over()
        with pytest.raises(restoring.RestoreRefused) as error:
            restoring.restore(path, **more)
        said.write_text(str(error.value))

    if connection.vendor == "sqlite":
        assert status_of(child(act)) == 0
        assert (site.files(), site.tables()) == ([], set())
        assert not (site.folder / RESTORING).exists()
    else:
        with pytest.raises(restoring.RestoreRefused) as error:
            restoring.check_archive(path, **more)
        said.write_text(str(error.value))
    return said.read_text()


def test_what_does_not_fit_is_refused_in_a_sentence_before_anything_changes(tmp_path, photo):
    _text, public = new_key_file()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "BACK_UP_KEY", public)
        back_up(tmp_path / "sealed", clock=timezone.now)
    path, folder = tmp_path / "plain", tmp_path / "files"
    back_up(path, clock=timezone.now, files_folder=folder)
    assert "is encrypted: name the file" in refused(tmp_path, tmp_path / "sealed")
    other = identities_of(new_key_file()[0])
    assert "to another key" in refused(tmp_path, tmp_path / "sealed", identities=other)
    whole = path.read_bytes()
    flipped = len(whole) // 2 // 512 * 512
    path.write_bytes(whole[:flipped] + bytes([whole[flipped] ^ 1]) + whole[flipped + 1 :])
    assert "is damaged" in refused(tmp_path, path)
    path.write_bytes(whole)
    assert "There is no file" in refused(tmp_path, path, files_folder=tmp_path / "elsewhere")
    stored = next(folder.rglob("*~*"))
    stored.write_bytes(b"x" + stored.read_bytes()[1:])
    assert f"{stored.name} of the back-up is damaged" in refused(tmp_path, path)


def test_a_database_without_tables_is_told_as_one_of_no_site(tmp_path, site):
    def act() -> None:
        site.take_over()
        with pytest.raises(CommandError, match="holds no table"):
            call_command("back_up", str(tmp_path / "a.backup"))
        with pytest.raises(CommandError, match="Nothing is known of the records now: the database"):
            call_command("verify_trail")

    assert status_of(child(act)) == 0
    assert not (tmp_path / "a.backup").exists()


def test_an_archive_that_does_not_hold_the_rows_it_tells_of_is_refused_in_a_sentence(
    tmp_path, site
):
    """As a fault of the program that made it would have it: no bit of it is another one."""
    table = "django_content_type"
    faults = {
        "fewer": ([[9001, "made", "by hand"]], 2),
        "unread": ([["no number", "made", "by hand"]], 1),
    }
    for name, (rows, said) in faults.items():
        about = {
            "format": FORMAT,
            "made_at": timezone.now().isoformat(),
            "address": "https://training.example.org",
            "database": "sqlite",
            "migrations": sorted(database_rows.known_migrations()),
            "tables": {table: ["id", "app_label", "model"]},
            "sequences": {},
            "files": "inside",
        }
        with written(tmp_path / name) as stream, ArchiveWriter(stream) as file:
            file.add("about.json", json.dumps(about).encode())
            for _count, data in database_rows.parts(rows):
                file.add(f"rows/{table}/000001", data)
            file.finish(rows={table: said}, files=0, missing=0)

    def act() -> None:
        site.take_over()
        for name in faults:
            with pytest.raises(CommandError) as error:
                call_command("restore", str(tmp_path / name))
            assert str(error.value).startswith("Nothing was restored. "), str(error.value)
            assert f"its rows of {table} are not as it says itself" in str(error.value)

    assert status_of(child(act)) == 0
    assert (site.files(), site.tables()) == ([], set())
    assert not (site.folder / RESTORING).exists()


def test_a_site_in_use_is_left_as_it_is(tmp_path, photo):
    back_up(tmp_path / "a", clock=timezone.now)

    with pytest.raises(restoring.RestoreRefused, match=r"is in use: .* holds rows"):
        restoring.restore(tmp_path / "a")

    assert photo.original.storage.exists(photo.original.name)
    photo.refresh_from_db()
