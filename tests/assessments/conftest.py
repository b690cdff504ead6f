"""What tests of boards and photographs share."""

from contextlib import contextmanager

import pytest

from assessments import ports


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


@contextmanager
def standing_for_everybody():
    """Whoever grades may: what the register says of graders is tested elsewhere."""
    before = ports.register_may_grade(lambda user, joint_types, day: "")
    yield
    ports.register_may_grade(before)


@pytest.fixture
def everybody_has_standing():
    with standing_for_everybody():
        yield


@pytest.fixture(scope="module")
def standing_while_kept():
    """The same for what a module makes once."""
    return standing_for_everybody
