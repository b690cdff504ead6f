"""Without a mail server each mail becomes a file under its Message-ID, byte for byte."""

import os

import pytest
from django.core import mail

from operations.backends.mail_folder import FolderBackend
from reminders.services.mail import FixedMail

RAW = (
    b"Message-ID: <4f1c@castelmar.example>\r\nFrom: a@b.example\r\nTo: c@d.example\r\n"
    b"Subject: Certified through Wed 2 Dec 2026\r\n\r\nDear Marta,\r\n  \r\n.\r\nFrom here\r\n"
)


def files(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def backend(tmp_path):
    return FolderBackend(folder=tmp_path / "outbox")


def test_file_holds_the_bytes_that_were_fixed(backend):
    backend.send_messages([FixedMail("c@d.example", RAW)])
    assert (backend.folder / "4f1c@castelmar.example.eml").read_bytes() == RAW


def test_same_mail_twice_is_one_file(backend):
    for _ in range(2):
        backend.send_messages([FixedMail("c@d.example", RAW)])
    assert files(backend.folder) == ["4f1c@castelmar.example.eml"]


def test_any_mail_of_the_site_is_kept(backend):
    backend.send_messages([mail.EmailMessage("Set a new password", "Here.", to=["c@d.example"])])
    [name] = files(backend.folder)
    assert b"Subject: Set a new password" in (backend.folder / name).read_bytes()


@pytest.mark.parametrize("message_id", ["<../../x@y>", "<.hidden@y>", "</etc/passwd>", "<a\tb@c>"])
def test_name_stays_inside_the_folder(backend, message_id):
    raw = RAW.replace(b"<4f1c@castelmar.example>", message_id.encode())
    backend.send_messages([FixedMail("c@d.example", raw)])
    [name] = files(backend.folder)
    assert os.sep not in name
    assert not name.startswith(".")


def test_half_a_mail_never_appears(backend, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _file: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(OSError, match="disk full"):
        backend.send_messages([FixedMail("c@d.example", RAW)])
    assert files(backend.folder) == []
