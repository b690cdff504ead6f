"""An archive that somebody else wrote names no file beside those that are its own."""

import gzip
import hashlib
import json
import tracemalloc

import pytest
from django.contrib.contenttypes.models import ContentType
from django.db import DataError, connection

from operations.backends.archive import ArchiveWriter, written
from operations.exceptions import RestoreRefused
from operations.services import restoring
from operations.services.back_ups import FORMAT
from operations.services.restoring import check_archive

CONTENT = b"x"
SHA256 = hashlib.sha256(CONTENT).hexdigest()
STORED = f"a/b.jpg~1-{SHA256}"


ABOUT = {
    "format": FORMAT,
    "made_at": "2026-03-02T01:40:00+00:00",
    "address": "https://training.example.org",
    "database": "sqlite",
    "migrations": [],
    "tables": {},
    "sequences": {},
}


def archive(folder, *members, files="folder", listed=(), about=None):
    """One that is whole, whatever it says."""
    about = {**ABOUT, "files": files} if about is None else about
    listing = gzip.compress("\n".join(json.dumps(line) for line in listed).encode())
    path = folder / "a.backup"
    with written(path) as stream, ArchiveWriter(stream) as file:
        file.add("about.json", json.dumps(about).encode())
        for name in members:
            file.add(name, CONTENT)
        file.add("listing/000001", listing)
        file.finish(rows={}, files=0, missing=0)
    return path


@pytest.fixture
def folder(tmp_path):
    stored = tmp_path / "back-ups" / "files" / STORED
    stored.parent.mkdir(parents=True)
    stored.write_bytes(CONTENT)
    return tmp_path / "back-ups"


def test_a_list_of_its_own_files_is_taken(folder):
    check_archive(archive(folder, listed=[["a/b.jpg", 1, SHA256, STORED]]))


@pytest.mark.parametrize(
    ("name", "stored"),
    [
        pytest.param("../../evil.jpg", STORED, id="written-outside"),
        pytest.param("/nowhere/evil.jpg", STORED, id="written-at-the-top"),
        pytest.param("a/b.jpg", f"../outside~1-{SHA256}", id="read-outside"),
        pytest.param("a/b.jpg", "a", id="no-stored-name"),
    ],
)
def test_a_list_that_leads_elsewhere_is_refused(folder, name, stored):
    (folder / f"outside~1-{SHA256}").write_bytes(CONTENT)
    path = archive(folder, listed=[[name, 1, SHA256, stored]])
    staging = folder.parent / "data" / "restoring"
    staging.mkdir(parents=True)

    with pytest.raises(RestoreRefused, match="is damaged, or no back-up"):
        restoring._unpack(path, [], None, staging)

    assert not list(folder.parent.rglob("evil.jpg"))


def test_a_list_that_unpacks_without_end_is_refused_before_it_fills_the_memory(folder, monkeypatch):
    monkeypatch.setattr("operations.backends.archive.LONGEST_LINE", 100_000)
    path = archive(folder, listed=["x" * 30_000_000])
    assert path.stat().st_size < 100_000
    tracemalloc.start()
    try:
        with pytest.raises(RestoreRefused, match="is damaged, or no back-up"):
            check_archive(path)
        assert tracemalloc.get_traced_memory()[1] < 10_000_000
    finally:
        tracemalloc.stop()


def test_a_key_that_was_put_aside_is_never_overwritten(settings, tmp_path):
    """A second restore finds the key of the first one's archive in the place of the site's own."""
    settings.MEDIA_ROOT = tmp_path / "files"
    (tmp_path / "secret_key").write_text("the site's own")
    for key in ("of one archive", "of another", "of another"):
        kept = tmp_path / "restoring" / "kept"
        kept.mkdir(parents=True, exist_ok=True)
        (kept / "secret_key").write_text(key)
        restoring._put_files_in_place(tmp_path / "restoring", tmp_path)

    assert (tmp_path / "secret_key.before-restore").read_text() == "the site's own"
    assert (tmp_path / "secret_key").read_text() == "of another"
    names = ["secret_key.before-restore", "secret_key.before-restore-2"]
    assert restoring.keys_put_aside(tmp_path) == names
    assert [(tmp_path / name).read_text() for name in names] == ["the site's own", "of one archive"]
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    "name", ["kept/db.sqlite3", "kept/served.lock", "kept/secret_key/x", "other", "rows"]
)
def test_what_no_back_up_holds_is_not_put_beside_the_site(folder, name):
    with pytest.raises(RestoreRefused, match="is damaged, or no back-up"):
        check_archive(archive(folder, name, files="inside"))


@pytest.mark.parametrize(
    "name", ["kept/secret_key", "kept/trail-heads.txt", "kept/signing_keys/a.pem", "rows/t/000001"]
)
def test_what_a_back_up_holds_is_taken(folder, name):
    check_archive(archive(folder, name, files="inside"))


@pytest.mark.parametrize(
    "about",
    [
        pytest.param([], id="no-names"),
        pytest.param({}, id="no-format"),
        pytest.param({"format": FORMAT, "migrations": []}, id="no-tables"),
        pytest.param({**ABOUT, "migrations": 7, "files": "inside"}, id="no-list"),
    ],
)
def test_what_says_of_itself_what_no_back_up_says_is_refused_in_a_sentence(folder, about):
    with pytest.raises(RestoreRefused, match="is damaged, or no back-up"):
        check_archive(archive(folder, about=about))


def test_one_without_a_beginning_or_an_end_is_refused_in_a_sentence(folder):
    for path, end in ((folder / "no-beginning", {"rows": {}}), (folder / "no-end", {})):
        with written(path) as stream, ArchiveWriter(stream) as file:
            if not end:
                file.add("about.json", json.dumps({**ABOUT, "files": "inside"}).encode())
            file.finish(**end)
        with pytest.raises(RestoreRefused, match="is damaged, or no back-up"):
            check_archive(path)


@pytest.mark.django_db
def test_what_a_database_has_against_a_row_comes_as_a_word_of_the_database():
    """SQLite takes a text of any length, so a site that moves to PostgreSQL may bring one."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite takes a text of any length")
    rows = iter([[9001, "x" * 500, "made by hand"]])
    with pytest.raises(DataError, match="too long"):
        restoring._load(ContentType, ["id", "app_label", "model"], rows)
