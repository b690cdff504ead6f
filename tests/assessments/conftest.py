"""What tests of boards and photographs share."""

import pytest


@pytest.fixture
def files(tmp_path, settings):
    """A folder of the test's own that files are stored in."""
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": tmp_path, "base_url": None},
        },
    }
    return tmp_path
