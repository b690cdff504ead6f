"""Restoring a back-up into an empty site, all of it or nothing.

The archive is unpacked beside the site's files and read to its end first; only what is whole goes
on. Then the database is marked (`operations.queries.restored_database`), filled and brought to
this version by its migrations, the files take their place, and the mark goes. Whatever ends it in
between, the folder that it was unpacked into keeps the site from being served, and the mark lets
the next restore begin anew; without the mark nothing that is there is ever removed.
"""

import gzip
import itertools
import json
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any

from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor

from certification.services import signing_keys
from operations.backends import archive
from operations.backends.archive import (
    CHUNK,
    MOST_SAID,
    ArchiveDamaged,
    HashingReader,
    KeyMissing,
    Readable,
    WrongKey,
    is_plain_name,
    packed_lines,
)
from operations.backends.back_up_bucket import BucketArchive, FilesBucket
from operations.backends.files_folder import FilesFolder, FileStore, StoredFile
from operations.exceptions import RestoreRefused
from operations.queries import database_rows
from operations.queries.database_rows import Model, Node
from operations.queries.restored_database import MARK, is_marked, refuse_used_database
from operations.queries.shared_files import bucket
from operations.queries.time_stamps import FOLDER as STAMPS_FOLDER
from operations.queries.time_stamps import stamps_folder
from records.models import append_only
from records.services.site_to_oneself import RESTORING, alone

from .back_ups import FILES_FOLDER, FORMAT, SECRET_KEY_FILE, SIGNING_KEYS_FOLDER
from .heads import FILE_NAME as HEADS_FILE
from .heads import file_line
from .new_database import make_tables

KEPT = tuple(
    f"kept/{name}"
    for name in (HEADS_FILE, SECRET_KEY_FILE, f"{STAMPS_FOLDER}/", f"{SIGNING_KEYS_FOLDER}/")
)
"""What of DATA_DIR an archive may hold; a name that ends in ``/`` is a folder."""
OLD_KEY_FILE = f"{SECRET_KEY_FILE}.before-restore"
ROWS_AT_ONCE = 1000
LINE_END = gzip.compress(b"\n", mtime=0)
"""After one packed list and before the next: gzip reads several as one."""
ABOUT: dict[str, type] = {
    **dict.fromkeys(("made_at", "address", "database", "files"), str),
    **dict.fromkeys(("tables", "sequences"), dict),
    "migrations": list,
}
"""What an archive of this format says of itself first, and as what."""
END: dict[str, type] = {"rows": dict, "files": int, "missing": int}
"""What it says at its end, likewise."""


@dataclass
class Contents:
    """What an archive says that it holds."""

    about: dict[str, Any] = field(default_factory=dict)
    end: dict[str, Any] = field(default_factory=dict)

    @property
    def made_at(self) -> datetime:
        return datetime.fromisoformat(self.about["made_at"])

    @property
    def migrations(self) -> list[Node]:
        return [(app, name) for app, name in self.about["migrations"]]

    @property
    def rows(self) -> int:
        return sum(self.end["rows"].values())

    @property
    def files_are_apart(self) -> bool:
        return bool(self.about["files"] == "folder")


def restore(
    path: Path | BucketArchive, *, identities: Sequence[Any] = (), files_folder: Path | None = None
) -> Contents:
    """Restore an archive into the site, which must be empty and not served.

    Parameters
    ----------
    identities : sequence
        Private keys, for an archive that is encrypted.
    files_folder : Path, optional
        Where the files are, for an archive without them; beside it by default.

    Raises
    ------
    RestoreRefused, BackUpsOutOfReach
        If the archive, its bucket or the site is not fit for it; the site is as it was.
    SiteIsServed
        If somebody serves it.
    OSError, DatabaseError
        If something cannot be read or written. What was restored so far is taken away again.
    """
    with alone("a back-up is restored"):
        top = Path(settings.DATA_DIR)
        staging = top / RESTORING
        shutil.rmtree(staging, ignore_errors=True)
        if not is_marked(connection):
            refuse_used_database(connection)
            refuse_used_folder(top)
        staging.mkdir(mode=0o700)
        try:
            contents = _unpack(path, list(identities), files_folder, staging)
            os.sync()
        except BaseException:
            shutil.rmtree(staging, ignore_errors=True)
            raise
        try:
            _empty_the_site(top)
            _fill_database(contents, staging)
            _put_files_in_place(staging, top)
        except Exception as error:
            # If that fails too, mark and folder stay, and the next restore does it.
            with suppress(Exception):
                _empty_the_site(top)
                shutil.rmtree(staging)
                _take_mark_away()
            if isinstance(error, ArchiveDamaged):
                raise _damaged(path) from error
            if isinstance(error, ArchiveMismatch):
                raise _does_not_fit(path, error.table) from error
            raise
        os.sync()
        shutil.rmtree(staging)
        _take_mark_away()
        return contents


def check_archive(
    path: Path | BucketArchive, *, identities: Sequence[Any] = (), files_folder: Path | None = None
) -> Contents:
    """Read an archive and all its files to the end, and make nothing of them.

    Raises
    ------
    RestoreRefused
        If it could not be restored.
    """
    return _unpack(path, list(identities), files_folder, None)


def refuse_used_folder(top: Path) -> None:
    """Raise RestoreRefused where files of a site are kept already."""
    if settings.SEVERAL_MACHINES:
        if next(iter(bucket().names()), None) is not None:
            raise RestoreRefused(
                "There are files in the bucket of FILES_URL already. A back-up is restored into an "
                "empty site alone, so name another bucket, or empty it."
            )
        return
    used = [top / HEADS_FILE, top / STAMPS_FOLDER]
    there = [path for path in used if path.exists()]
    media = Path(settings.MEDIA_ROOT)
    if media.is_dir() and any(media.iterdir()):
        there.append(media)
    if there:
        raise RestoreRefused(
            f"{there[0]} is there already. A back-up is restored into an empty site alone, so "
            "name another DATA_DIR, or move it aside."
        )


def _unpack(
    path: Path | BucketArchive,
    identities: list[Any],
    files_folder: Path | None,
    staging: Path | None,
) -> Contents:
    """Read an archive to its end, into a folder if one is given; everything in it is whole then."""
    contents = Contents()

    def take(name: str, data: HashingReader) -> None:
        if name == "about.json":
            contents.about = json.loads(data.read(MOST_SAID))
            if not _says(contents.about, {"format": int}):
                raise ArchiveDamaged
            _refuse_unfit(contents)
        elif not contents.about:
            raise ArchiveDamaged
        elif name.startswith("listing/"):
            if contents.files_are_apart:
                shutil.copyfileobj(data, listings, CHUNK)
                listings.write(LINE_END)
        elif not _is_expected(name):
            raise ArchiveDamaged
        elif staging is not None:
            _write(staging / name, data)

    try:
        # As they came, packed: what they unpack to is read line by line.
        with TemporaryFile(dir=staging) as listings:
            with _opened(path, identities) as stream:
                contents.end = archive.read_archive(stream, take)
            if not contents.about or not _says(contents.end, END):
                raise ArchiveDamaged
            if contents.files_are_apart:
                listings.seek(0)
                store = _files_of(path, files_folder)
                _fetch(store, _listed(listings), identities, staging)
    except FileNotFoundError as error:
        raise RestoreRefused(
            f"There is no file {error.filename}: give the path of the back-up and, where its files "
            "are kept apart, of their folder with --files."
        ) from error
    except KeyMissing as error:
        raise RestoreRefused(
            f"{path} is encrypted: name the file that holds the private key with --key."
        ) from error
    except WrongKey as error:
        raise RestoreRefused(
            f"{path} was encrypted to another key than the one that --key names: find the one that "
            "belonged to BACK_UP_KEY when it was made."
        ) from error
    except (ArchiveDamaged, EOFError) as error:
        raise _damaged(path) from error
    return contents


def _damaged(path: Path | BucketArchive) -> RestoreRefused:
    return RestoreRefused(
        f"{path} is damaged, or no back-up of this program: it does not hold what its end "
        "says. Take another one."
    )


def _does_not_fit(path: Path | BucketArchive, table: str) -> RestoreRefused:
    return RestoreRefused(
        f"{path} came whole, and yet its rows of {table} are not as it says itself, which is a "
        "fault of the program that made it. Take another one, and keep this one for whoever "
        "looks into that."
    )


def _says(said: Any, form: dict[str, type]) -> bool:
    return isinstance(said, dict) and all(
        isinstance(said.get(name), kind) for name, kind in form.items()
    )


def _listed(listings: IO[bytes]) -> Iterator[list[Any]]:
    """Each file that the lists of an archive name: name, size, SHA-256 and stored name."""
    for line in packed_lines(listings):
        if not line:
            continue
        try:
            name, size, sha256, stored = json.loads(line)
        except (ValueError, TypeError) as error:
            raise ArchiveDamaged from error
        yield [name, size, sha256, stored]


def _opened(path: Path | BucketArchive, identities: list[Any]) -> AbstractContextManager[IO[bytes]]:
    if isinstance(path, BucketArchive):
        return path.bucket.opened(path.name, identities)
    return archive.opened(path, identities)


def _files_of(path: Path | BucketArchive, files_folder: Path | None) -> FileStore:
    if isinstance(path, Path):
        return FilesFolder(files_folder or path.parent / FILES_FOLDER)
    return FilesFolder(files_folder) if files_folder else FilesBucket(path.bucket)


def _is_expected(name: str) -> bool:
    """Whether an archive of this program has such a member: nothing else is put into DATA_DIR."""
    for kept in KEPT:
        if name == kept or (kept.endswith("/") and name.startswith(kept)):
            return True
    return name.startswith(("rows/", "content/"))


def _refuse_unfit(contents: Contents) -> None:
    if contents.about["format"] != FORMAT:
        raise RestoreRefused(
            f"The back-up is of format {contents.about['format']}, which this version cannot read: "
            "restore it with a newer one."
        )
    if not _says(contents.about, ABOUT):
        raise ArchiveDamaged
    unknown = set(contents.migrations) - database_rows.known_migrations()
    if unknown:
        app, name = max(unknown)
        raise RestoreRefused(
            f"The back-up was made by a newer version of this program ({app}.{name} is not known "
            "here): restore it with that one."
        )


def _fetch(
    store: FileStore, listed: Iterator[list[Any]], identities: list[Any], staging: Path | None
) -> None:
    for name, size, sha256, stored in listed:
        # A list is read as it comes: whoever wrote one must not name files elsewhere by it.
        if not is_plain_name(name) or StoredFile.from_str(stored) is None:
            raise ArchiveDamaged
        try:
            with store.opened(stored, identities) as stream:
                read = HashingReader(stream)
                if staging is None:
                    read.drain()
                else:
                    _write(staging / "content" / name, read)
        except (ArchiveDamaged, WrongKey, KeyMissing) as error:
            raise RestoreRefused(_damaged_file(stored)) from error
        if (read.size, read.sha256) != (size, sha256):
            raise RestoreRefused(_damaged_file(stored))


def _damaged_file(stored: str) -> str:
    return (
        f"The file {stored} of the back-up is damaged, or encrypted to another key: take its "
        "folder from another copy."
    )


def _write(path: Path, data: Readable) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        while piece := data.read(CHUNK):
            file.write(piece)


def _empty_the_site(top: Path) -> None:
    """Take away what a restore before has left, and mark the database.

    Without a mark the site was found empty: what then goes are tables that hold nothing.
    """
    # One that failed in the middle of a transaction would not be opened again.
    connection.close()
    del connections["default"]
    if is_marked(connection):
        _remove_files(top)
    if connection.vendor == "sqlite":
        path = str(connection.settings_dict["NAME"])
        connection.close()
        for ending in ("-wal", "-shm", ""):
            Path(path + ending).unlink(missing_ok=True)
        with connection.cursor() as cursor:
            cursor.execute(f"CREATE TABLE {MARK} (id integer PRIMARY KEY)")
        return
    with transaction.atomic(), connection.cursor() as cursor:
        append_only.remove(connection)
        for table in connection.introspection.table_names():
            cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)} CASCADE")
        cursor.execute(f"CREATE TABLE {MARK} (id integer PRIMARY KEY)")


def _take_mark_away() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE {MARK}")


def _remove_files(top: Path) -> None:
    if settings.SEVERAL_MACHINES:
        for name in list(bucket().names()):
            bucket().delete(name)
        return
    media = Path(settings.MEDIA_ROOT)
    if media.is_dir():
        for path in media.iterdir():
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    shutil.rmtree(top / STAMPS_FOLDER, ignore_errors=True)
    (top / HEADS_FILE).unlink(missing_ok=True)


def _fill_database(contents: Contents, staging: Path) -> None:
    migrations = contents.migrations
    if set(migrations) == database_rows.known_migrations():
        make_tables(connection)
    else:
        # Past them all, in the order they came, to where the archive's site stood.
        MigrationExecutor(connection).migrate(database_rows.last_of_each_line(migrations))
    found = database_rows.models_after(migrations)
    with transaction.atomic():
        for table, columns in contents.about["tables"].items():
            if table in database_rows.LEFT_OUT:  # A version of before took it in.
                continue
            rows = _rows(staging / "rows" / table)
            try:
                # One more than it says tells as well as all of them that it says something else.
                said = contents.end["rows"][table]
                count = _load(found[table], columns, islice(rows, said + 1))
            except (ArithmeticError, LookupError, TypeError, ValueError, ValidationError) as error:
                raise ArchiveMismatch(table) from error
            if count != said:
                raise ArchiveMismatch(table)
        _set_sequences(found, contents.about["sequences"])
    ContentType.objects.clear_cache()
    # To this version, with the triggers that keep records as they are.
    call_command("migrate", interactive=False, verbosity=0)


class ArchiveMismatch(Exception):
    """A whole archive does not say what its own lists say: a fault of this program."""

    def __init__(self, table: str) -> None:
        super().__init__(table)
        self.table = table


def _rows(folder: Path) -> Iterator[list[Any]]:
    for part in sorted(folder.glob("*")):
        with part.open("rb") as stream:
            yield from database_rows.rows_of_part(stream)


def _load(model: Model, columns: list[str], rows: Iterator[list[Any]]) -> int:
    """Put rows into a table as they were, without what a model does when it is saved."""
    by_column = {field.column: field for field in model._meta.local_concrete_fields}
    fields: list[Any] = [by_column[column] for column in columns]
    readers = [database_rows.reader_of(field) for field in fields]

    def prepared(row: list[Any]) -> list[Any]:
        return [
            None if value is None else field.get_db_prep_save(read(value), connection)
            for value, read, field in zip(row, readers, fields, strict=True)
        ]

    quote = connection.ops.quote_name
    table, names = quote(model._meta.db_table), ", ".join(map(quote, columns))
    return (_copy if connection.vendor == "postgresql" else _insert)(
        table, names, len(columns), map(prepared, rows)
    )


def _copy(table: str, names: str, width: int, rows: Iterator[list[Any]]) -> int:
    count = 0
    with connection.cursor() as cursor:
        psycopg_cursor: Any = cursor
        # Django makes what psycopg raises its own DatabaseError only of the calls that it knows.
        with (
            connection.wrap_database_errors,
            psycopg_cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copying,
        ):
            for row in rows:
                copying.write_row(row)
                count += 1
    return count


def _insert(table: str, names: str, width: int, rows: Iterator[list[Any]]) -> int:
    statement = f"INSERT INTO {table} ({names}) VALUES ({', '.join(['%s'] * width)})"  # noqa: S608
    count, batch = 0, []
    with connection.cursor() as cursor:
        for row in rows:
            batch.append(row)
            if len(batch) >= ROWS_AT_ONCE:
                cursor.executemany(statement, batch)
                count, batch = count + len(batch), []
        if batch:
            cursor.executemany(statement, batch)
    return count + len(batch)


def _set_sequences(found: dict[str, Model], last_numbers: dict[str, int]) -> None:
    with connection.cursor() as cursor:
        for table, last in last_numbers.items():
            if connection.vendor == "sqlite":
                cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
                cursor.execute(
                    "INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, last]
                )
            elif last > 0:
                name = database_rows.sequence_name(cursor, found[table])
                cursor.execute("SELECT setval(%s::regclass, %s)", [name, last])


def _put_files_in_place(staging: Path, top: Path) -> None:
    if settings.SEVERAL_MACHINES:
        _put_files_into_bucket(staging)
        return
    media = Path(settings.MEDIA_ROOT)
    media.mkdir(
        parents=True, exist_ok=True, mode=settings.FILE_UPLOAD_DIRECTORY_PERMISSIONS or 0o750
    )
    content = staging / "content"
    if content.is_dir():
        for path in content.iterdir():
            shutil.move(path, media / path.name)
    beside = staging / "kept"
    if not beside.is_dir():
        return
    for path in beside.iterdir():
        place = top / path.name
        if path.name == SIGNING_KEYS_FOLDER:
            _put_signing_keys_in_place(path)
            continue
        if path.name == SECRET_KEY_FILE:
            path.chmod(0o600)
            if place.exists() and place.read_bytes() != path.read_bytes():
                _put_aside(place)
        shutil.move(path, place)


def _put_aside(key: Path) -> None:
    """Give a key a further name, which none has: each was some site's own once."""
    for number in itertools.count(1):
        name = key.with_name(OLD_KEY_FILE if number == 1 else f"{OLD_KEY_FILE}-{number}")
        if not name.exists():
            part = name.with_name(f"{name.name}.part")
            shutil.copy2(key, part)
            os.replace(part, name)
            return
        if name.read_bytes() == key.read_bytes():
            return  # As where a restore was killed just after it had put it there.


def keys_put_aside(top: Path) -> list[str]:
    """Names of the files with keys of before a restore."""
    found = {path.name for path in top.glob(f"{OLD_KEY_FILE}*")}
    return sorted(name for name in found if not name.endswith(".part"))


def _put_files_into_bucket(staging: Path) -> None:
    """Of what was kept beside the files, the key of sessions is for whoever sets SECRET_KEY."""
    content = staging / "content"
    for path in sorted(content.rglob("*")):
        if path.is_file():
            name = path.relative_to(content).as_posix()
            with path.open("rb") as file:
                if bucket().save(name, File(file)) != name:
                    raise RestoreRefused(f"Somebody else puts files into the bucket, as {name}.")
    beside = staging / "kept"
    for path in sorted(beside.rglob("*")):
        data = path.read_bytes() if path.is_file() else b""
        match path.relative_to(beside).parts:
            case (name,) if name == HEADS_FILE:
                for line in data.decode(errors="replace").splitlines():
                    file_line(line)
            case (folder, name) if folder == STAMPS_FOLDER:
                stamps_folder().add(name, data)
            case (folder, name) if folder == SIGNING_KEYS_FOLDER:
                signing_keys.add_file(name, data)


def _put_signing_keys_in_place(kept: Path) -> None:
    folder = settings.SIGNING_KEYS_DIR
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    for key in kept.iterdir():
        key.chmod(0o600)
        shutil.move(key, folder / key.name)
