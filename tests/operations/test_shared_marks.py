"""Machines of one site have the same key and the same folders, or one of them does not start."""

from io import StringIO
from threading import local

import pytest
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from operations.exceptions import HalfShared
from operations.models import BackUp, SharedMark
from operations.queries import database_rows
from operations.queries.health import MACHINES, State, component_health
from operations.services import back_ups, shared_marks
from tests.assessments.together import at_once

pytestmark = pytest.mark.django_db

FIRST, SECOND = "the first key of the tests" * 3, "the second key of the tests" * 3


@pytest.fixture(autouse=True)
def several_machines(settings):
    settings.SEVERAL_MACHINES = True
    settings.SECRET_KEY = FIRST
    return settings


def on_health():
    return next(each for each in component_health(timezone.now()) if each.part == MACHINES)


def test_a_machine_with_another_key_does_not_start_and_health_says_so(several_machines):
    shared_marks.refuse_half_shared()
    assert on_health().state == State.GOOD
    [noted] = SharedMark.objects.all()
    assert FIRST not in noted.mark

    several_machines.SECRET_KEY = SECOND
    with pytest.raises(HalfShared, match="SECRET_KEY is another one"):
        shared_marks.refuse_half_shared()
    assert on_health().state == State.BAD
    assert "SECRET_KEY is another one" in on_health().says[0]

    several_machines.SEVERAL_MACHINES = False
    shared_marks.refuse_half_shared()
    assert not [each for each in component_health(timezone.now()) if each.part == MACHINES]


def test_a_key_is_changed_on_one_machine_after_the_other_by_way_of_the_fallbacks(several_machines):
    def starts(key, *fallbacks):
        several_machines.SECRET_KEY, several_machines.SECRET_KEY_FALLBACKS = key, list(fallbacks)
        shared_marks.refuse_half_shared()

    starts(FIRST)
    starts(FIRST, SECOND)
    starts(SECOND, FIRST)
    starts(FIRST, SECOND)  # Another machine, started once more before its turn.
    starts(SECOND, FIRST)
    starts(SECOND)
    with pytest.raises(HalfShared):
        starts(FIRST)


def test_a_key_that_nobody_has_any_more_is_left_by_a_command(several_machines):
    shared_marks.refuse_half_shared()
    several_machines.SECRET_KEY = SECOND
    said = StringIO()
    call_command("share_anew", "SECRET_KEY", stdout=said)
    shared_marks.refuse_half_shared()
    assert "notes its SECRET_KEY" in said.getvalue()
    call_command("share_anew", "BACK_UP_DIR", stdout=said)
    assert "Of BACK_UP_DIR nothing was noted." in said.getvalue()


def test_a_night_writes_no_back_up_into_another_folder(several_machines, tmp_path):
    shared, other = tmp_path / "shared", tmp_path / "other"
    shared.mkdir()
    other.mkdir()
    several_machines.BACK_UP_DIR = str(shared)
    shared_marks.refuse_another_back_ups_folder()
    shared_marks.refuse_another_back_ups_folder()
    several_machines.BACK_UP_DIR = str(other)
    with pytest.raises(HalfShared, match="BACK_UP_DIR leads to another folder"):
        back_ups.back_up_nightly(clock=timezone.now)
    assert not list(other.iterdir())
    assert "BACK_UP_DIR leads to another folder" in BackUp.objects.get().failure
    several_machines.BACK_UP_DIR = str(tmp_path / "none")
    with pytest.raises(HalfShared, match="BACK_UP_DIR leads to another folder"):
        shared_marks.refuse_another_back_ups_folder()
    # The same folder after a disk was replaced: copied with its mark, or taken on purpose.
    several_machines.BACK_UP_DIR = str(other)
    shared_marks.share_anew(SharedMark.What.BACK_UP_DIR)
    shared_marks.refuse_another_back_ups_folder()
    assert [path.name for path in other.iterdir()] == [".jointworthy-back-ups"]


def test_a_machine_without_the_disk_of_old_photographs_does_not_start(several_machines, tmp_path):
    disk, mount = tmp_path / "disk", tmp_path / "empty mount"
    disk.mkdir()
    mount.mkdir()
    several_machines.OLD_PHOTOS_DIR = str(tmp_path / "none")
    with pytest.raises(HalfShared, match="which cannot be read or written"):
        shared_marks.refuse_half_shared()
    several_machines.OLD_PHOTOS_DIR = str(disk)
    shared_marks.refuse_half_shared()
    assert on_health().state == State.GOOD
    several_machines.OLD_PHOTOS_DIR = str(mount)
    with pytest.raises(HalfShared, match="OLD_PHOTOS_DIR leads to another folder"):
        shared_marks.refuse_half_shared()
    assert on_health().state == State.BAD
    assert not list(mount.iterdir())


@pytest.mark.skipif(connection.vendor != "postgresql", reason="several machines need PostgreSQL")
@pytest.mark.django_db(transaction=True)
def test_of_two_machines_that_start_at_once_with_different_keys_one_does(monkeypatch):
    own = local()

    def start(mark):
        own.mark = mark
        try:
            shared_marks.refuse_half_shared()
        except HalfShared:
            return "refused"
        return mark

    monkeypatch.setattr(shared_marks, "secret_key_marks", lambda: [own.mark])
    ended = at_once(lambda: start("a" * 64), lambda: start("b" * 64))
    noted = SharedMark.objects.get().mark
    assert sorted(ended) == sorted([noted, "refused"])


def test_no_back_up_holds_what_machines_share():
    assert SharedMark._meta.db_table in database_rows.LEFT_OUT
