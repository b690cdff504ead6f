"""Old photographs move to a second place, and can be read at any instant from one of the two."""

import errno
import hashlib
import os
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage, storages
from django.urls import reverse
from django.utils import timezone

from assessments.services import removing
from config.celery import app
from operations.backends import two_places
from operations.models import MovedPhoto, SiteRetention
from operations.queries import database_rows
from operations.queries import retention as retention_queries
from operations.services.back_ups import back_up
from operations.services.old_photos import move_old_photos
from operations.services.restoring import check_archive
from operations.services.retention import remove_at_every_site
from operations.tasks import move_old_photographs
from records.queries.verification import verify_records
from tests import factories
from tests.assessments import pictures
from tests.factories import NOW

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.each_database]

OLD, LATER = NOW - timedelta(days=31), NOW + timedelta(days=9)
CONTENT = pictures.jpeg(120, 80)


@pytest.fixture
def second(tmp_path, settings):
    here, second = tmp_path / "files", tmp_path / "second"
    here.mkdir()
    second.mkdir()
    first = {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": here, "base_url": None},
    }
    settings.OLD_PHOTOS_AFTER_DAYS = 30
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "operations.backends.two_places.FilesInTwoPlaces",
            "OPTIONS": {"first": first, "folder": str(second), "mark_in": str(tmp_path)},
        },
    }
    return second


def add(at=OLD, content=CONTENT, board=None):
    photo = factories.make_photo(
        board or factories.make_board(),
        sha256=hashlib.sha256(CONTENT).hexdigest(),
        size_bytes=len(CONTENT),
        recorded_at=at,
    )
    default_storage.save(photo.original.name, ContentFile(content))
    return photo


def move(now=NOW):
    return move_old_photos(clock=lambda: now)


def in_places(photo):
    places = storages["default"]
    return [place.exists(photo.original.name) for place in (places.first, places.second)]


def content_of(photo):
    with default_storage.open(photo.original.name) as file:
        return file.read()


def test_old_photographs_alone_move_and_are_read_verified_backed_up_and_served(
    second, client, tmp_path, monkeypatch, settings
):
    old, young = add(), add(NOW - timedelta(days=29))
    factories.write_down()
    assert move() == 1
    assert (in_places(old), in_places(young)) == ([False, True], [True, False])
    assert content_of(old) == content_of(young) == CONTENT
    assert (old.original.size, default_storage.exists(old.original.name)) == (len(CONTENT), True)
    report = verify_records()
    assert (report.faults, report.files) == ([], 2)
    instructor = factories.make_user("instructor", site=old.board.site)
    client.force_login(instructor)
    answer = client.get(reverse("assessments:photo_original", args=[old.key]))
    assert b"".join(answer) == CONTENT

    settings.MIGRATION_MODULES = {}
    everything = sorted(database_rows.known_migrations())
    monkeypatch.setattr(database_rows, "applied_migrations", lambda connection: everything)
    back_up(tmp_path / "a", clock=timezone.now)
    contents = check_archive(tmp_path / "a")
    assert contents.end["files"] == 2
    # A restored site begins with all of them in the first place.
    assert "operations_movedphoto" not in contents.end["rows"]
    assert move() == 0


def test_a_crash_at_any_step_leaves_a_photograph_to_be_read_and_the_next_run_ends_it(
    second, monkeypatch
):
    class Crash(BaseException):
        """As when the power goes: nothing is cleaned up by what comes after."""

    photo = add()
    left = Path(storages["default"].second.path(photo.original.name))

    def crashes(*_arguments, **_named):
        raise Crash

    for module, name in (
        (two_places, "_copied"),
        (two_places.os, "replace"),
        (two_places.FilesInTwoPlaces, "take_copy_in"),
        (MovedPhoto.objects, "create"),
        (two_places.FilesInTwoPlaces, "leave_first"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(module, name, crashes)
            with pytest.raises(Crash):
                move()
        assert content_of(photo) == CONTENT, name
        # What a killed copy leaves behind it.
        left.parent.mkdir(parents=True, exist_ok=True)
        left.with_name(left.name + ".1.part").write_bytes(b"half")
    assert in_places(photo) == [True, True]
    assert MovedPhoto.objects.count() == 1

    move()

    assert in_places(photo) == [False, True]
    assert content_of(photo) == CONTENT


def test_a_photograph_that_is_removed_is_gone_from_both_places_also_while_it_moves(
    second, monkeypatch
):
    moved, moving = add(), add(OLD + timedelta(hours=1))
    remove = {"reason": "kept long enough", "actor": None, "at": NOW}
    copy = two_places.FilesInTwoPlaces.copy

    def copy_while_it_is_removed(places, name, sha256):
        part = copy(places, name, sha256)
        if name == moving.original.name:
            removing.remove_photo_files(photos=[moving], **remove)
            part.write_bytes(CONTENT)  # It was not finished when the files were deleted.
        return part

    monkeypatch.setattr(two_places.FilesInTwoPlaces, "copy", copy_while_it_is_removed)
    assert move() == 1
    removing.remove_photo_files(photos=[moved], **remove)
    assert (in_places(moved), in_places(moving)) == ([False, False], [False, False])
    assert [path.name for path in second.rglob("*") if path.is_file()] == [two_places.MARK]


def test_of_two_runs_at_once_one_moves_it_and_neither_writes_into_the_copy_of_the_other(
    second, monkeypatch
):
    photo = add()
    copy = two_places.FilesInTwoPlaces.copy
    counts = []

    def copy_while_another_moves_it(places, name, sha256):
        part = copy(places, name, sha256)
        monkeypatch.setattr(two_places.FilesInTwoPlaces, "copy", copy)
        counts.append(move())
        return part

    monkeypatch.setattr(two_places.FilesInTwoPlaces, "copy", copy_while_another_moves_it)
    assert [move(), *counts] == [0, 1]
    assert in_places(photo) == [False, True]
    assert content_of(photo) == CONTENT
    assert not list(second.rglob("*.part"))


def test_a_file_that_is_not_as_it_came_and_a_full_disk_leave_it_where_it_is(
    second, monkeypatch, caplog
):
    changed, good = add(content=b"something else"), add(OLD + timedelta(hours=1))
    assert move() == 1
    assert (in_places(changed), in_places(good)) == ([True, False], [False, True])
    assert f"Photograph {changed.pk} is not moved" in caplog.text

    more = add()

    def is_full(*_arguments):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(two_places, "_copied", is_full)
    assert move() == 0
    assert in_places(more) == [True, False]
    assert not list(second.rglob("*.part"))


def test_nothing_moves_to_an_empty_mount_in_the_place_of_the_disk_of_before(second, caplog, client):
    photo = add()
    move()
    (second / two_places.MARK).rename(second.parent / "elsewhere")
    more = add()
    assert move() == 0
    assert in_places(more) == [True, False]
    assert "the disk of OLD_PHOTOS_DIR is not there" in caplog.text
    client.force_login(factories.make_user("administrator", site=photo.board.site))
    page = reverse("operations:retention_site", args=[photo.board.site.prefix])
    assert "The second disk is not there." in client.get(page).content.decode()
    (second.parent / "elsewhere").rename(second / two_places.MARK)
    answer = client.get(page).content.decode()
    assert "Moved so far: 1. Next run: 1." in " ".join(answer.split())
    assert f"{more.board.number}, {more.pk}" in answer
    assert "The second disk is not there." not in answer


@pytest.mark.parametrize("kind", ["photographs", "boards"])
def test_what_is_kept_no_longer_waits_for_the_disk_that_may_hold_it(second, caplog, kind):
    board = factories.make_passed_board(
        factories.make_person(), factories.make_exercise(), signed_at=OLD, handed_out_on=OLD.date()
    )
    photo, site = add(board=board), board.site
    SiteRetention.objects.create(site=site, **{kind: 1})
    move()
    away = second.rename(second.with_name("unplugged"))
    second.mkdir()  # What the disk is mounted on.
    [outlook] = retention_queries.outlook(site, LATER)
    assert [line.stays for line in outlook.stays] == ["The second disk is not there."]
    assert remove_at_every_site(clock=lambda: LATER) == 0
    assert "No photograph is removed: the disk of OLD_PHOTOS_DIR is not there." in caplog.text
    second.rmdir()
    away.rename(second)
    assert in_places(photo) == [False, True]

    assert remove_at_every_site(clock=lambda: LATER) == 1
    assert in_places(photo) == [False, False]


def test_what_went_while_the_disk_was_away_is_deleted_there_once_it_is_back(second, monkeypatch):
    photo, stays = add(), add()
    move()
    away = second.rename(second.with_name("unplugged"))
    removing.remove_photo_files(photos=[photo], reason="kept long enough", actor=None, at=NOW)
    away.rename(second)
    assert in_places(photo) == [False, True]

    def is_read_only(*_arguments):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    with monkeypatch.context() as patch:
        patch.setattr(two_places.FilesInTwoPlaces, "delete", is_read_only)
        move(LATER)
    assert in_places(photo) == [False, True]
    move(LATER)
    assert (in_places(photo), in_places(stays)) == ([False, False], [False, True])
    assert MovedPhoto.objects.get().pk == stays.pk


def test_without_a_second_place_nothing_moves_and_the_page_has_no_word_of_it(client):
    photo = add()
    assert move_old_photographs() == 0
    assert content_of(photo) == CONTENT
    client.force_login(factories.make_user("administrator", site=photo.board.site))
    page = reverse("operations:retention_site", args=[photo.board.site.prefix])
    assert "second disk" not in client.get(page).content.decode()
    assert "photographs.move_old" in {each["task"] for each in app.conf.beat_schedule.values()}
