"""Uploads lie on the disk of what is kept until they are looked at, and none stays there."""

import os
import time
from pathlib import Path

import pytest
from django.conf import settings as site
from django.core.files.uploadedfile import TemporaryUploadedFile

from operations.management.commands.prepare import throw_away_what_broke_off


def test_an_upload_lies_beside_what_is_kept_and_goes_when_it_was_looked_at():
    with TemporaryUploadedFile("E01.png", "image/png", 3, None) as upload:
        path = Path(upload.temporary_file_path())
        assert path.parent == site.DATA_DIR / "incoming"
    assert not path.exists()


@pytest.mark.parametrize(
    ("name", "hours", "stays"),
    [("a.upload.png", 25, False), ("b.upload.png", 23, True), ("c.txt", 25, True)],
)
def test_what_broke_off_is_thrown_away_a_day_later(name, hours, stays, settings, tmp_path):
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path
    (tmp_path / name).write_bytes(b"half a pict")
    at = time.time() - hours * 3600
    os.utime(tmp_path / name, (at, at))
    throw_away_what_broke_off()
    assert (tmp_path / name).exists() == stays
