"""Making a back-up while people work, and throwing old ones away.

An archive holds the rows as one instant shows them and either the files that those rows name, or
the list of them, where they are kept in a folder that every back-up shares. A file of the site
stays as it is under its name, so it is the same when it is read later; one that was deleted
meanwhile is counted as missing.
"""

import gzip
import io
import json
import logging
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper

from certification.services import signing_keys
from operations.backends import archive
from operations.backends.archive import ArchiveWriter, KeyMissing
from operations.backends.back_up_bucket import SITE, BackUpBucket, BucketArchive, FilesBucket
from operations.backends.back_up_folder import BackUpFolder, Place
from operations.backends.files_folder import FilesFolder, FileStore, StoredFile, key_of
from operations.domain.back_ups import Policy, instant_of, kept, name_of
from operations.exceptions import BackUpRefused, HalfShared
from operations.models import BackUp
from operations.queries import database_rows
from operations.queries.missing_files import still_wanted
from operations.queries.restored_database import refuse_marked_database
from operations.queries.time_stamps import FOLDER as STAMPS_FOLDER
from operations.queries.time_stamps import stamps_folder
from records.exceptions import Refusal
from records.services.site_to_oneself import held_while_serving

from . import heads
from .back_up_places import alone_in_bucket, bucket_of_settings
from .shared_marks import refuse_another_back_ups_folder

log = logging.getLogger(__name__)

FORMAT = 1
FILES_FOLDER = "files"
LIST_ENDING = ".files"
"""Of the list, beside an archive, of what it needs of the shared folder: read when old ones go."""
LISTED_IN_ONE_PART = 20_000
MOST_MISSING_NAMED = 100
SECRET_KEY_FILE = "secret_key"  # noqa: S105 - a file's name
SIGNING_KEYS_FOLDER = "signing_keys"


@dataclass
class _Files:
    """The files of one back-up as they are taken in."""

    lines: list[list[Any]] = field(default_factory=list)
    stored: list[str] = field(default_factory=list)
    size: int = 0
    count: int = 0
    added: int = 0
    missing: list[str] = field(default_factory=list)


def back_up(
    path: Path | BucketArchive,
    *,
    clock: Callable[[], datetime],
    files_folder: Path | None = None,
    by_clock: bool = False,
) -> BackUp:
    """Write a back-up of the whole site into a file that must not be there yet.

    Parameters
    ----------
    path : Path or BucketArchive
        In a folder that is there, or in a bucket, where files that are not there from a back-up
        before are added beside it.
    files_folder : Path, optional
        Where such files are added, with an archive in a folder; without it they are in the
        archive.

    Raises
    ------
    BackUpRefused
        If there is such a file, another run is writing it or into the folder or bucket, the folder
        is that of the nights and the archive is not beside it, the bucket does not answer, the
        database is empty, or a row is too long.
    SiteIsTaken
        If somebody has the site to themselves.
    OSError
        If something cannot be read or written; what was begun is removed.
    """
    recipient = _recipient()
    if isinstance(path, BucketArchive):
        if files_folder is not None or path.name == FILES_FOLDER or path.name.endswith(LIST_ENDING):
            raise BackUpRefused(
                f"In a bucket the files are in {path.bucket.path_of(FILES_FOLDER)}/, and an "
                f"archive has another name than that, not ending in {LIST_ENDING}: name it so, "
                "without --files."
            )
    elif files_folder is not None:
        _refuse_apart_from_its_files(path, files_folder)
    with held_while_serving():
        refuse_marked_database(connection)
        run = BackUp(
            begun_at=clock(), path=str(path), by_clock=by_clock, is_encrypted=recipient is not None
        )
        tables = connection.introspection.table_names()
        if not tables:
            raise BackUpRefused(
                f"No back-up was made: the database {connection.settings_dict['NAME']} holds no "
                "table. See that DATABASE_URL and DATA_DIR are those of the site."
            )
        # Before an upgrade the table may not be there yet, and that is when one is wanted.
        is_noted = BackUp._meta.db_table in tables
        if is_noted:
            run.save()
        try:
            _write(run, path, files_folder, recipient)
        except FileExistsError as error:
            failure: Exception = BackUpRefused(
                f"There is a file {path}, and no back-up is overwritten: name another."
            )
            _note_failure(run, failure, clock(), is_noted)
            raise failure from error
        except Exception as error:
            _note_failure(run, error, clock(), is_noted)
            raise
        run.ended_at = clock()
        if is_noted:
            run.save()
        return run


def _refuse_apart_from_its_files(path: Path, files_folder: Path) -> None:
    nights = Path(settings.BACK_UP_DIR).resolve() if settings.BACK_UP_DIR else None
    if nights is None or files_folder.resolve() != nights / FILES_FOLDER:
        return
    if path.parent.resolve() != nights:
        raise BackUpRefused(
            f"{files_folder} is the folder of the nights, which throw away what no archive in "
            f"{nights} needs: put this one there too, or name another folder."
        )


def _is_folder_of_the_nights(folder: Path) -> bool:
    nights = settings.BACK_UP_DIR
    return bool(nights) and folder.resolve() == Path(nights).resolve()


def back_up_nightly(*, clock: Callable[[], datetime]) -> BackUp | None:
    """The back-up of a night, into BACK_UP_DIR or the bucket of BACK_UP_URL; old ones go.

    Returns
    -------
    BackUp or None
        None where neither is named, or another run is at it.

    Raises
    ------
    HalfShared
        If the folder is another than at other machines' workers; nothing is written into it.
    """
    now = clock()
    if BackUp.objects.running(now).filter(by_clock=True).exists():
        return None
    if bucket := bucket_of_settings():
        run = back_up(BucketArchive(bucket, name_of(now)), clock=clock, by_clock=True)
        _prune_after_the_night(bucket)
        return run
    if not settings.BACK_UP_DIR:
        return None
    folder = Path(settings.BACK_UP_DIR)
    path = folder / name_of(now)
    try:
        refuse_another_back_ups_folder()
    except HalfShared as error:
        run = BackUp.objects.create(begun_at=now, path=str(path), by_clock=True)
        _note_failure(run, error, clock(), is_noted=True)
        raise
    run = back_up(path, clock=clock, files_folder=folder / FILES_FOLDER, by_clock=True)
    _prune_after_the_night(folder)
    return run


def _prune_after_the_night(where: Path | BackUpBucket) -> None:
    try:
        prune_back_ups(where, policy=policy_of_settings())
    except Refusal as error:  # What was made is whole, and the next night does it.
        log.error("Old back-ups were not thrown away: %s", error)


def policy_of_settings() -> Policy:
    return Policy(
        days=settings.BACK_UP_KEEP_DAYS,
        weeks=settings.BACK_UP_KEEP_WEEKS,
        months=settings.BACK_UP_KEEP_MONTHS,
    )


def prune_back_ups(where: Path | BackUpBucket, *, policy: Policy) -> list[str]:
    """Throw away the archives of a folder or bucket that a policy does not keep.

    Files that none needs go with them. Archives of other names stay. While one of those that stay
    has no list beside it, neither a file nor a list goes, since they may be its own.

    Returns
    -------
    list of str
        Names of the archives that went.
    """
    if isinstance(where, BackUpBucket):
        with alone_in_bucket(where) as refuse_if_lost:
            return _prune(where, FilesBucket(where), policy, refuse_if_lost)
    place = BackUpFolder(where)
    with place.alone():
        return _prune(place, FilesFolder(where / FILES_FOLDER), policy, lambda: None)


def _prune(
    place: Place, store: FileStore, policy: Policy, refuse_if_lost: Callable[[], None]
) -> list[str]:
    names = set(place.names())
    archives = {at: name for name in names if (at := instant_of(name)) is not None}
    stays = kept(archives, policy)
    gone = sorted(name for at, name in archives.items() if at not in stays)
    for name in gone:
        # The list last: without an archive it keeps no file.
        place.remove(name)
    names -= {*gone}
    if unlisted := [name for name in sorted(names) if _may_need_files(place, name, names)]:
        log.warning(
            "No file that archives share is thrown away in %s while %s has no list %s beside it: "
            "give it the list that lies there under the name it had, or move it elsewhere if it "
            "holds its files itself or is no archive.",
            place.path_of(FILES_FOLDER),
            ", ".join(unlisted),
            LIST_ENDING,
        )
        return gone
    # Whatever refers to files of the place has such a list, whatever it is called.
    lists = {name for name in names if name.endswith(LIST_ENDING)}
    # One that holds its files itself is made beside this; its list is there before it is.
    made = {name.removesuffix(".part") for name in names}
    left = {name for name in lists if name.removesuffix(LIST_ENDING) not in made}
    for name in left:
        place.remove(name)
    _remove_unneeded(store, map(place.read, sorted(lists - left)), refuse_if_lost)
    return gone


def _may_need_files(place: Place, name: str, names: set[str]) -> bool:
    """Whether something may be an archive whose list has another name, as after it was renamed."""
    is_of_the_place = name.startswith(".") or name.endswith((LIST_ENDING, ".part")) or name == SITE
    return not is_of_the_place and name + LIST_ENDING not in names and not _is_whole(place, name)


def _is_whole(place: Place, name: str) -> bool:
    """Whether an archive says that it holds its files itself; one that is encrypted cannot."""
    with suppress(OSError, KeyMissing, ValueError, TypeError, KeyError):
        with place.opened(name, []) as stream:
            about = archive.first_member(stream, "about.json")
        return bool(json.loads(about or b"{}")["files"] == "inside")
    return False


def _remove_unneeded(
    store: FileStore, lists: Iterable[bytes], refuse_if_lost: Callable[[], None]
) -> None:
    needed: set[str] = set()
    try:
        for data in lists:
            needed.update(line.decode() for line in archive.packed_lines(io.BytesIO(data)))
    except archive.ArchiveDamaged as error:
        raise BackUpRefused(
            f"A list {LIST_ENDING} beside an archive is damaged, so no file that archives share "
            "was thrown away: remove it together with its archive."
        ) from error
    for stored in list(store.listing()):
        if str(stored) not in needed:
            refuse_if_lost()
            store.remove(stored)


def _recipient() -> Any:
    return archive.recipient_of(settings.BACK_UP_KEY) if settings.BACK_UP_KEY else None


def _note_failure(run: BackUp, error: Exception, at: datetime, is_noted: bool) -> None:
    if is_noted:
        why = str(error) if isinstance(error, Refusal) else f"{type(error).__name__}: {error}"
        run.ended_at, run.failure = at, why[:400]
        run.save(update_fields=["ended_at", "failure"])


def _write(
    run: BackUp, path: Path | BucketArchive, files_folder: Path | None, recipient: Any
) -> None:
    if isinstance(path, BucketArchive):
        bucket = path.bucket
        with alone_in_bucket(bucket) as refuse_if_lost:
            bucket.remove_what_was_left()
            store = FilesBucket(bucket, recipient)
            _write_archive(run, bucket, path.name, store, recipient, refuse_if_lost)
        return
    place = BackUpFolder(path.parent)
    if files_folder is None:
        # Where old ones go, one without a list is taken for one whose list has another name.
        is_listed = _is_folder_of_the_nights(path.parent)
        _write_archive(run, place, path.name, None, recipient, is_listed=is_listed)
        return
    with place.alone(), BackUpFolder(files_folder).alone():
        place.remove_what_was_left()
        _write_archive(run, place, path.name, FilesFolder(files_folder, recipient), recipient)


def _write_archive(
    run: BackUp,
    place: Place,
    name: str,
    store: FileStore | None,
    recipient: Any,
    refuse_if_lost: Callable[[], None] = lambda: None,
    *,
    is_listed: bool = True,
) -> None:
    # Before the rows: of an end of the trail that was filed later they would know nothing.
    beside = dict(_ends_of_the_trail())
    with place.written(name, recipient) as stream, ArchiveWriter(stream) as file:
        with database_rows.snapshot() as snapshot:
            names: dict[str, None] = {}
            rows = _add_rows(file, snapshot, run, names, store is not None)
        if recipient is not None:
            # After the rows: a key is on the disk before its row is written.
            beside |= _secret_keys()
        for kept_name, data in beside.items():
            file.add(f"kept/{kept_name}", data)
        files = _Files()
        _add_files(file, store, names, files)
        files.count = len(names) - len(files.missing)
        files.missing = still_wanted(files.missing)
        file.finish(
            rows=rows,
            files=files.count,
            files_size=files.size,
            missing=len(files.missing),
            missing_names=files.missing[:MOST_MISSING_NAMED],
        )
        if is_listed:
            listing = gzip.compress("\n".join(sorted(files.stored)).encode(), mtime=0)
            place.replace(name + LIST_ENDING, listing)
        refuse_if_lost()
    run.size_bytes, run.rows = place.size(name), sum(rows.values())
    run.files, run.files_bytes = files.count, files.size
    run.added_files, run.missing_files = files.added, len(files.missing)


def _add_rows(
    file: ArchiveWriter,
    snapshot: BaseDatabaseWrapper,
    run: BackUp,
    names: dict[str, None],
    has_store: bool,
) -> dict[str, int]:
    migrations = database_rows.applied_migrations(snapshot)
    unknown = set(migrations) - database_rows.known_migrations()
    if unknown:
        raise BackUpRefused(
            f"The database was made by another version of this program ({max(unknown)[1]} is not "
            "known here): back it up with that one."
        )
    found = database_rows.models_after(migrations)
    about = {
        "format": FORMAT,
        "made_at": run.begun_at.isoformat(),
        "address": settings.PUBLIC_URL,
        "database": snapshot.vendor,
        "migrations": migrations,
        "files": "folder" if has_store else "inside",
        "tables": {
            table: [each.column for each in database_rows.fields_of(model)]
            for table, model in found.items()
        },
        "tables_of_others": database_rows.tables_of_others(snapshot, found),
        "sequences": database_rows.sequences(snapshot, found),
    }
    file.add("about.json", json.dumps(about).encode())
    counted = dict.fromkeys(found, 0)
    for table, model in found.items():
        rows = database_rows.read_rows(snapshot, model, lambda name: names.setdefault(name))
        try:
            for number, (count, data) in enumerate(database_rows.parts(rows), start=1):
                file.add(f"rows/{table}/{number:06}", data)
                counted[table] += count
        except database_rows.RowTooLong as error:
            raise BackUpRefused(
                f"No back-up was made: a row of {table} has {error.characters:,} characters, and "
                f"a back-up holds none of more than {database_rows.LONGEST_ROW:,}. Tell whoever "
                "looks after this program."
            ) from error
    return counted


def _add_files(
    file: ArchiveWriter, store: FileStore | None, names: dict[str, None], files: _Files
) -> None:
    there: dict[str, StoredFile] = {}
    if store is not None:
        key = key_of(store.recipient)
        there = {each.name: each for each in store.listing() if each.key == key}
    part = 0
    for name in names:
        stored = there.get(name) or _add_file(file, store, name, files)
        if stored is None:
            files.missing.append(name)
            continue
        files.size += stored.size
        if store is not None:
            files.stored.append(str(stored))
        files.lines.append([stored.name, stored.size, stored.sha256, str(stored)])
        if len(files.lines) >= LISTED_IN_ONE_PART:
            part += 1
            _add_listing(file, part, files)
    _add_listing(file, part + 1, files)


def _add_listing(file: ArchiveWriter, part: int, files: _Files) -> None:
    data = "\n".join(json.dumps(line, ensure_ascii=False) for line in files.lines)
    file.add(f"listing/{part:06}", gzip.compress(data.encode(), mtime=0))
    files.lines.clear()


def _add_file(
    file: ArchiveWriter, store: FileStore | None, name: str, files: _Files
) -> StoredFile | None:
    """Take one file in; None where it is gone, as a work log is that somebody deleted."""
    try:
        content = default_storage.open(name)
    except FileNotFoundError:
        return None
    with content:
        files.added += 1
        if store is not None:
            return store.add(name, content)
        size = content.size
        return StoredFile(name, size, file.add_stream(f"content/{name}", content, size))


def _ends_of_the_trail() -> Iterator[tuple[str, bytes]]:
    """What was filed of them and time-stamped, by the same names whatever it is kept in."""
    if lines := heads.filed_lines():
        yield heads.FILE_NAME, "".join(f"{line}\n" for line in lines).encode()
    stamps = stamps_folder()
    for name in stamps.names():
        yield f"{STAMPS_FOLDER}/{name}", stamps.read(name)


def _secret_keys() -> Iterator[tuple[str, bytes]]:
    """The key that signs sessions and locks second factors, and those that sign credentials.

    They leave the machine encrypted or not at all. One that was lost meanwhile is not among them.
    """
    secret = Path(settings.DATA_DIR) / SECRET_KEY_FILE
    if secret.is_file() and not settings.SEVERAL_MACHINES:
        yield SECRET_KEY_FILE, secret.read_bytes()
    for name in signing_keys.keys_folder().names():
        if name.endswith(".pem"):
            with suppress(FileNotFoundError):
                yield f"{SIGNING_KEYS_FOLDER}/{name}", signing_keys.read_file(name)
