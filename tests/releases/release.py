"""Releases of this program as tests know them: what each has made of a database, and rows in it.

A folder a release, named by its version. `release.json` says which migrations it brings and what
its database refuses to change; `site.backup.xz` is a back-up of a small site with a row in every
table, as `manage.py back_up` of that release wrote it, compressed.
"""

import json
import lzma
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from records.models import append_only

HERE = Path(__file__).parent
Node = tuple[str, str]


@dataclass(frozen=True)
class Release:
    version: str
    migrations: frozenset[Node]
    rules: dict[str, dict[str, Any]]

    def write_archive(self, path: Path) -> Path:
        """Write the back-up of its small site into a new file."""
        path.write_bytes(lzma.decompress(archive_of(self.version).read_bytes()))
        return path


def archive_of(version: str) -> Path:
    return HERE / version / "site.backup.xz"


def releases() -> list[Release]:
    """Every release, the newest last."""
    folders = [path.parent for path in HERE.glob("*/release.json")]
    return [read(each) for each in sorted(folders, key=lambda each: order_of(each.name))]


def order_of(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


def read(folder: Path) -> Release:
    said = json.loads((folder / "release.json").read_text())
    migrations = frozenset(
        (app, name) for app, names in said["migrations"].items() for name in names
    )
    return Release(folder.name, migrations, said["rules"])


def rules_now() -> dict[str, dict[str, Any]]:
    """What the database refuses in this version: each rule by its table and name."""
    return {
        f"{rule.model_label} {rule.name}": json.loads(json.dumps(asdict(rule)))
        for rule in append_only._rules.values()
    }
