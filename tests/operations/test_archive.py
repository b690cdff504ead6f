"""An archive gives back what was put into it, or nothing."""

import errno
import fcntl
import io
import os

import pytest

from operations.backends.archive import (
    ArchiveDamaged,
    ArchiveWriter,
    KeyMissing,
    NotAKey,
    WrongKey,
    identities_of,
    new_key_file,
    opened,
    read_archive,
    recipient_of,
    written,
)
from operations.backends.files_folder import UNKNOWN_KEY, FilesFolder, StoredFile

MEMBERS = {
    "about.json": b"{}",
    "rows/x/000001": os.urandom(70_000),
    "content/ä/b.jpg": b"",
    "z": b"1",
}


@pytest.fixture(scope="module")
def keys():
    text, public = new_key_file()
    return identities_of(text), recipient_of(public)


def write(path, recipient=None):
    with written(path, recipient) as stream, ArchiveWriter(stream) as file:
        for name, data in MEMBERS.items():
            file.add(name, data)
        file.finish(rows=7)
    return path


def read(path, identities=()):
    members = {}
    with opened(path, list(identities)) as stream:
        end = read_archive(stream, lambda name, data: members.update({name: data.read()}))
    return members, end


@pytest.mark.parametrize("is_encrypted", [False, True])
def test_what_was_put_in_comes_out(tmp_path, keys, is_encrypted):
    identities, recipient = keys
    path = write(tmp_path / "a", recipient if is_encrypted else None)

    members, end = read(path, identities)

    assert members == MEMBERS
    assert (end["rows"], end["members"]) == (7, 4)
    assert (MEMBERS["rows/x/000001"] in path.read_bytes()) is not is_encrypted
    assert path.stat().st_mode & 0o077 == 0
    assert os.listdir(tmp_path) == ["a"]


@pytest.mark.parametrize("is_encrypted", [False, True])
def test_a_flipped_bit_anywhere_that_is_read_is_noticed(tmp_path, keys, is_encrypted):
    """In a tar owner and date of a member, and what fills its last block up, say nothing."""
    identities, recipient = keys
    path = write(tmp_path / "a", recipient if is_encrypted else None)
    whole = path.read_bytes()
    data_at = range(1024 + 512, 1024 + 512 + 70_000, 7_001)
    places = range(0, len(whole), 4_999) if is_encrypted else [0, 130, 512, 1030, *data_at]
    for place in places:
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 4]) + whole[place + 1 :])
        with pytest.raises((ArchiveDamaged, WrongKey)):
            read(path, identities)


@pytest.mark.parametrize("is_encrypted", [False, True])
def test_an_archive_that_was_cut_is_noticed(tmp_path, keys, is_encrypted):
    identities, recipient = keys
    path = write(tmp_path / "a", recipient if is_encrypted else None)
    whole = path.read_bytes()
    for length in (0, 30, 700, 40_000, 71_000):
        path.write_bytes(whole[:length])
        with pytest.raises(ArchiveDamaged):
            read(path, identities)


def test_a_member_that_was_taken_out_is_noticed(tmp_path):
    whole = write(tmp_path / "a").read_bytes()
    # Of the first member head and content take a block of 512 bytes each.
    (tmp_path / "a").write_bytes(whole[1024:])

    with pytest.raises(ArchiveDamaged):
        read(tmp_path / "a")


def test_another_key_or_none_opens_nothing(tmp_path, keys):
    path = write(tmp_path / "a", keys[1])

    with pytest.raises(WrongKey):
        read(path, identities_of(new_key_file()[0]))
    with pytest.raises(KeyMissing):
        read(path)


def test_one_of_several_keys_is_enough(tmp_path, keys):
    path = write(tmp_path / "a", keys[1])

    members, _end = read(path, [*identities_of(new_key_file()[0]), *keys[0]])

    assert members == MEMBERS


@pytest.mark.parametrize("text", ["", "# public key: age1\n", "AGE-SECRET-KEY-1QQ", "hello"])
def test_a_file_without_a_private_key_is_refused(text):
    with pytest.raises(NotAKey):
        identities_of(text)


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "a").write_text("mine")

    with pytest.raises(FileExistsError):
        write(tmp_path / "a")

    assert (tmp_path / "a").read_text() == "mine"


def test_two_that_write_one_file_do_not_mix(tmp_path):
    with written(tmp_path / "a") as first:
        first.write(b"first")
        with pytest.raises(FileExistsError):
            write(tmp_path / "a")
    assert (tmp_path / "a").read_bytes() == b"first"


@pytest.mark.parametrize("is_encrypted", [False, True])
def test_what_breaks_off_leaves_no_file(tmp_path, keys, is_encrypted):
    recipient = keys[1] if is_encrypted else None

    def break_off():
        with written(tmp_path / "a", recipient) as stream, ArchiveWriter(stream) as file:
            file.add("b", b"x" * 100_000)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()

    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("name", ["../a", "/etc/a", "a/../../b"])
def test_no_member_leads_out_of_its_folder(tmp_path, name):
    with written(tmp_path / "a") as stream, ArchiveWriter(stream) as file:
        file.add(name, b"x")
        file.finish()

    with pytest.raises(ArchiveDamaged):
        read(tmp_path / "a")


def test_a_folder_of_files_keeps_each_as_it_came(tmp_path, keys):
    identities, recipient = keys
    for store in (FilesFolder(tmp_path / "plain"), FilesFolder(tmp_path / "sealed", recipient)):
        stored = store.add("photos/a b~1.jpg", io.BytesIO(b"picture"))

        assert list(store.listing()) == [stored]
        assert StoredFile.from_str(str(stored)) == stored
        with store.opened(str(stored), identities) as stream:
            assert stream.read() == b"picture"
        store.remove(stored)
        assert list(store.listing()) == []


def test_name_of_a_file_tells_the_key_that_it_is_encrypted_to(tmp_path, keys):
    _identities, recipient = keys
    stored = FilesFolder(tmp_path, recipient).add("a.jpg", io.BytesIO(b"picture"))
    other = FilesFolder(tmp_path, recipient_of(new_key_file()[1])).add("a.jpg", io.BytesIO(b"2"))

    assert None not in {stored.key, other.key}
    assert stored.key != other.key
    # As an earlier version called them.
    earlier = f"{stored.name}~{stored.size}-{stored.sha256}.age"
    assert StoredFile.from_str(earlier).key == UNKNOWN_KEY
    assert str(StoredFile.from_str(earlier)) == earlier
    assert StoredFile.from_str(earlier.removesuffix(".age")).key is None


def test_what_a_killed_run_left_in_the_folder_is_no_file_of_it(tmp_path):
    store = FilesFolder(tmp_path)
    incoming = tmp_path / ".incoming"
    incoming.mkdir()
    (incoming / "file.part").write_bytes(b"hal")
    (incoming / "file").write_bytes(b"whole, and not yet named")

    stored = store.add("a.jpg", io.BytesIO(b"new"))

    assert list(store.listing()) == [stored]
    assert (tmp_path / str(stored)).read_bytes() == b"new"


def test_where_files_have_one_name_alone_it_is_renamed_and_overwrites_none(tmp_path, monkeypatch):
    def link(part, path):
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", link)
    path = write(tmp_path / "a")
    assert read(path)[0] == MEMBERS
    monkeypatch.setattr(os, "fsync", lambda _descriptor: (tmp_path / "b").write_bytes(b"other"))
    with pytest.raises(FileExistsError):
        write(tmp_path / "b")
    assert (tmp_path / "b").read_bytes() == b"other"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


def test_whoever_comes_as_another_ends_leaves_their_file_whole(tmp_path, monkeypatch):
    path, part = tmp_path / "a", tmp_path / "a.part"
    part.write_bytes(b"all of it")

    def flock(file, operation):
        os.link(part, path)
        part.unlink()

    monkeypatch.setattr(fcntl, "flock", flock)
    with pytest.raises(FileExistsError), written(path) as stream:
        stream.write(b"x")
    assert path.read_bytes() == b"all of it"
