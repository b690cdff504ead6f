"""Gathering static files while the version before serves its own.

Pages of that version name files by what is in them, so what it has stays where it is, for a month
from when another version was gathered: a site may go back, or gather a version that never serves.
What is new is put together beside and takes its place file by file, the list of names last: no file
is half there, or gone for a moment.
"""

import hashlib
import json
import os
import shutil
import time
from operator import itemgetter
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.contrib.staticfiles.management.commands import collectstatic
from django.core.files.storage import storages
from django.core.management import call_command

STAMP = "gathered-from"
NAMES = "staticfiles.json"
KEPT_S = 30 * 24 * 3600


def gather_static_files() -> None:
    """Gather, name and compress the static files if any of them changed since the last time."""
    root = Path(settings.STATIC_ROOT)
    stamp, state = root / STAMP, _state_of_static_files()
    lines = stamp.read_text().splitlines() if stamp.exists() else []
    before_state, *before = lines or [""]
    if before_state == state and (root / NAMES).exists() == _names_files():
        return
    new = root.with_name(f"{root.name}.new")
    shutil.rmtree(new, ignore_errors=True)
    _gather_into(new)
    names = sorted(str(path.relative_to(new)) for path in new.rglob("*") if path.is_file())
    root.mkdir(parents=True, exist_ok=True)
    # Broken off from here on, it begins anew, and knows what the version before has.
    stamp.write_text("\n".join(["", *before]))
    stays = {*names, STAMP, *_earlier(root, set(before) - set(names))}
    if (root / NAMES).exists() and (new / NAMES).exists():
        _keep_names_of(root / NAMES, new / NAMES, stays)
    for name in sorted(names, key=lambda name: name == NAMES):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        os.replace(new / name, root / name)
    for path in root.rglob("*"):
        if path.is_file() and str(path.relative_to(root)) not in stays:
            path.unlink()
    shutil.rmtree(new)
    stamp.write_text("\n".join([state, *names]))


def _earlier(root: Path, replaced: set[str]) -> set[str]:
    """Names of what earlier versions have and may still be asked for.

    `replaced` is what the version gathered last has and the one to come has not: its month begins.
    """
    now, names = time.time(), set()
    for path in root.rglob("*"):
        if not path.is_file():
            continue
        name = str(path.relative_to(root))
        if name in replaced:
            os.utime(path, (now, now))
        if name in replaced or path.stat().st_mtime > now - KEPT_S:
            names.add(name)
    return names


def _names_files() -> bool:
    described: dict[str, Any] = settings.STORAGES["staticfiles"]
    return hasattr(storages.create_storage(described), "manifest_name")


def _gather_into(folder: Path) -> None:
    described: dict[str, Any] = settings.STORAGES["staticfiles"]
    options = {**described.get("OPTIONS", {}), "location": str(folder)}
    command = collectstatic.Command()
    command.storage = storages.create_storage({**described, "OPTIONS": options})
    call_command(command, interactive=False, verbosity=0)


def _keep_names_of(before: Path, now: Path, there: set[str]) -> None:
    """Have a process of the version before that starts now find what its own pages ask for."""
    old, new = json.loads(before.read_text()), json.loads(now.read_text())
    kept = {name: hashed for name, hashed in old["paths"].items() if hashed in there}
    now.write_text(json.dumps({**new, "paths": kept | new["paths"]}))


def _state_of_static_files() -> str:
    """A hash over name, size and time of every file that would be gathered."""
    state = hashlib.sha256(repr(settings.STORAGES["staticfiles"]).encode())
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=itemgetter(0)):
            size, modified = storage.size(name), storage.get_modified_time(name)
            state.update(f"{name} {size} {modified}\n".encode())
    return state.hexdigest()
