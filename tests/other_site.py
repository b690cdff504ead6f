"""A site beside the test's own: a folder and a database, and processes that have it for theirs."""

import os
import shutil
import sqlite3
import subprocess
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.db import connections

from tests import ready_python
from tests.conftest import leave_out


@dataclass
class OtherSite:
    """A folder and a database of its own, empty at first."""

    folder: Path
    url: str
    settings: str = "config.settings"
    more: dict[str, str] = field(default_factory=dict)
    """Further settings for its processes."""

    @property
    def environment(self) -> dict[str, str]:
        return {
            "PATH": os.environ["PATH"],
            "DATA_DIR": str(self.folder),
            "DATABASE_URL": self.url,
            "SECRET_KEY": "k" * 60,
            "DJANGO_SETTINGS_MODULE": self.settings,
            **self.more,
        }

    def run(self, *command: object) -> subprocess.CompletedProcess[str]:
        # What `make check` says of the site is not said here each time.
        return ready_python.run(
            *("manage.py", *map(str, command), "--skip-checks"), environment=self.environment
        )

    def query(self, statement: str) -> list[tuple[Any, ...]]:
        if self.url.startswith("sqlite"):
            path = self.url.removeprefix("sqlite:///")
            if not Path(path).exists():
                return []
            with sqlite3.connect(path) as link:
                rows = link.execute(statement).fetchall()
            link.close()
            return rows
        with psycopg.connect(self.url) as server:
            return list(server.execute(statement.encode()))

    def tables(self) -> set[str]:
        names = (
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
            if self.url.startswith("sqlite")
            else "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
        )
        return {name for (name,) in self.query(names)}

    def clear(self) -> None:
        shutil.rmtree(self.folder)
        self.folder.mkdir()
        if not self.url.startswith("sqlite"):
            with psycopg.connect(self.url, autocommit=True) as link:
                link.execute("DROP SCHEMA public CASCADE")
                link.execute("CREATE SCHEMA public")

    def files(self) -> list[Path]:
        return [path for path in (self.folder / "files").rglob("*") if path.is_file()]

    def take_over(self) -> None:
        """Make it the site of this process, a child that ends soon; its own is let go as it is."""
        connections["default"].connection = None
        settings.DATA_DIR, settings.MEDIA_ROOT = self.folder, self.folder / "files"
        given = connections["default"].settings_dict
        if self.url.startswith("sqlite"):
            given["NAME"] = self.url.removeprefix("sqlite:///")
        else:
            given["NAME"] = self.url.rsplit("/", 1)[1]


def sqlite_site(folder: Path) -> OtherSite:
    folder.mkdir()
    return OtherSite(folder, f"sqlite:///{folder / 'site.sqlite3'}")


@contextmanager
def postgres_site(folder: Path, name: str) -> Iterator[OtherSite]:
    """One on a database of its own of the PostgreSQL that TEST_POSTGRES_URL names."""
    given = os.environ.get("TEST_POSTGRES_URL")
    if not given:
        leave_out("TEST_POSTGRES_URL names no PostgreSQL")
    with psycopg.connect(given, autocommit=True) as link:
        link.execute(f"DROP DATABASE IF EXISTS {name}".encode())
        link.execute(f"CREATE DATABASE {name}".encode())
    folder.mkdir()
    yield OtherSite(folder, f"{given.rsplit('/', 1)[0]}/{name}")
    with psycopg.connect(given, autocommit=True) as link:
        link.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


def child(act: Callable[[], object]) -> int:
    """Do something in a process of its own, which need not start Python anew; give its number."""
    pid = os.fork()
    if pid:
        return pid
    status = 1
    try:
        connections["default"].connection = None
        act()
        status = 0
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(status)


def status_of(pid: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


class LaterRelease:
    """Migrations that come after those that there are, for processes that ask for it.

    Whoever has ``environment`` in its own finds them in their apps; so does a child after
    `bring_here`. The folder's name is that of their packages, so no two in one process share it.
    """

    def __init__(
        self, folder: Path, base: str = "config.settings", **migrations: dict[str, str]
    ) -> None:
        self.folder = folder
        self.modules = {app: f"{folder.name}_{app}" for app in migrations}
        for app, files in migrations.items():
            package = folder / self.modules[app]
            package.mkdir(parents=True)
            (package / "__init__.py").write_text(
                f"import {app}.migrations\n__path__ += {app}.migrations.__path__\n"
            )
            for name, text in files.items():
                (package / f"{name}.py").write_text(text)
        (folder / f"{folder.name}_settings.py").write_text(
            f"from {base} import *\nMIGRATION_MODULES = {self.modules!r}\n"
        )

    @property
    def environment(self) -> dict[str, str]:
        return {
            "DJANGO_SETTINGS_MODULE": f"{self.folder.name}_settings",
            "PYTHONPATH": str(self.folder),
        }

    def bring_here(self) -> None:
        """For a child that ends soon."""
        sys.path.append(str(self.folder))
        settings.MIGRATION_MODULES = self.modules
