"""Where the demo may be: on one machine, for whoever sits at it, in the folder's own database.

Its passwords stand in the code, so whoever reaches a site with the demo can sign in to it.
"""

from pathlib import Path
from urllib.parse import urlsplit

from django.conf import settings
from django.db import DatabaseError, connection

from interfaces.services.web_hooks import is_this_machine
from people.models import Installation


class DemoRefused(Exception):
    """The demo would be open to other machines, or lie in a database that others use."""


def refuse_demo_elsewhere(*, bind: str) -> None:
    """Raise DemoRefused unless the site and its database are this machine's alone.

    Parameters
    ----------
    bind : str
        Address and port that the web process listens on, such as ``127.0.0.1:8000``; without
        an address it listens on all of them.
    """
    host = _host(f"//{bind}")
    if not is_this_machine(host):
        raise DemoRefused(
            f"Everybody can read the demo's passwords, so it is served to this machine alone, and "
            f"{host or 'every address'} is open to others: listen on 127.0.0.1, or start with an "
            "empty DATA_DIR by `manage.py serve`, which loads no demo."
        )
    host = _host(settings.PUBLIC_URL)
    if not is_this_machine(host):
        raise DemoRefused(
            f"Everybody can read the demo's passwords, so it is served to this machine alone, and "
            f"PUBLIC_URL leads to {host}: leave PUBLIC_URL out, or start with an empty DATA_DIR by "
            "`manage.py serve`, which loads no demo."
        )
    if not _database_is_the_folders_own():
        raise DemoRefused(
            "Everybody can read the demo's passwords, so it goes only into the SQLite database in "
            "DATA_DIR, and DATABASE_URL names another: leave DATABASE_URL out, or start by "
            "`manage.py serve`, which loads no demo."
        )


def refuse_loaded_demo_elsewhere(*, bind: str) -> None:
    """Raise DemoRefused if the database holds the demo and may not be served here."""
    try:
        loaded = Installation.is_demo()
    except DatabaseError:
        return  # Nothing is there yet, or nothing answers: no demo can be offered either.
    if loaded:
        refuse_demo_elsewhere(bind=bind)


def _host(url: str) -> str:
    try:
        return urlsplit(url).hostname or ""
    except ValueError:
        return ""


def _database_is_the_folders_own() -> bool:
    file = Path(connection.settings_dict["NAME"])
    return connection.vendor == "sqlite" and file.resolve().parent == settings.DATA_DIR.resolve()
