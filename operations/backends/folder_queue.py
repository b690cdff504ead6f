"""A message queue that is a folder, so that the default set-up needs no server.

It is kombu's file transport with four things made safe for several processes at once. A
message appears under its name only when it is whole and on the disk: kombu writes in
place, and a reader that is quick enough takes half a message and loses it. A message is
taken by a rename within the same folder, which one reader can win; kombu moves it to the
system's temporary folder, which may be another disk, where a move is a copy. Messages are
read in the order of the wall clock, also after a restart of the machine. And the table of
an exchange is replaced whole, by one writer at a time.

A worker that is killed loses what it holds in its hands. The rows in the database say
what is left to do, and the periodic tasks ask for it again.
"""

import fcntl
import os
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads

SCHEME = "folder"
TRANSPORT_ALIASES[SCHEME] = "operations.backends.folder_queue:FolderTransport"


def transport_options(folder: Path) -> dict[str, str | float]:
    """Make the folders of a queue and give the options that lead the transport to them."""
    for name in ("messages", "taken", "exchanges"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    return {
        "data_folder_in": str(folder / "messages"),
        "data_folder_out": str(folder / "messages"),
        "processed_folder": str(folder / "taken"),
        "control_folder": str(folder / "exchanges"),
        "polling_interval": 0.5,
    }


class FolderChannel(filesystem.Channel):
    """One connection's way to the folder."""

    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]
        name = f"{time.time_ns():020d}_{uuid.uuid4()}.{queue}.msg"
        _write_whole(Path(self.data_folder_out) / name, dumps(payload))

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        taken = Path(self.processed_folder)
        for name in self._waiting(queue):
            try:
                os.rename(Path(self.data_folder_in) / name, taken / name)
            except FileNotFoundError:
                continue  # Another reader was first.
            payload = (taken / name).read_text(encoding="utf-8")
            (taken / name).unlink()
            return loads(payload)
        raise Empty()

    def _size(self, queue: str) -> int:
        return len(self._waiting(queue))

    def oldest_at(self, queue: str) -> float | None:
        """When the oldest message was put in, in seconds since 1970; None if none waits."""
        names = self._waiting(queue)
        return int(names[0].partition("_")[0]) / 1e9 if names else None

    def _waiting(self, queue: str) -> list[str]:
        """Names of the queue's messages, the oldest first."""
        ends = f"{queue}.msg"
        names = os.listdir(self.data_folder_in)
        return sorted(name for name in names if name.partition(".")[2] == ends)

    def _queue_bind(
        self, exchange: str, routing_key: str | None, pattern: str | None, queue: str
    ) -> None:
        binding = [routing_key or "", pattern or "", queue or ""]
        with self._table_to_change(exchange) as bindings:
            if binding not in bindings:
                bindings.insert(0, binding)

    def _delete(
        self, queue: str, exchange: str, routing_key: str, pattern: str, *args: Any, **kwargs: Any
    ) -> None:
        self._purge(queue)
        binding = [routing_key or "", pattern or "", queue or ""]
        with self._table_to_change(exchange) as bindings:
            if binding in bindings:
                bindings.remove(binding)

    @contextmanager
    def _table_to_change(self, exchange: str) -> Iterator[list[list[str]]]:
        """Give the exchange's bindings and write them back if they were changed."""
        file = self._exchange_file(exchange)  # type: ignore[attr-defined] # newer than its stubs
        with (file.parent / "lock").open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            bindings = [list(binding) for binding in self.get_table(exchange)]
            before = [*bindings]
            yield bindings
            if bindings != before or not file.exists():
                _write_whole(file, dumps(bindings))


class FolderTransport(filesystem.Transport):
    Channel = FolderChannel
    driver_type = driver_name = SCHEME


def _write_whole(file: Path, content: str) -> None:
    """Write a file so that whoever sees its name sees all of it, also after a power cut."""
    # The name's last part keeps readers of messages away from it.
    unfinished = file.with_name(f"{file.name}.{uuid.uuid4()}.part")
    try:
        with unfinished.open("w", encoding="utf-8") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.rename(unfinished, file)
    finally:
        unfinished.unlink(missing_ok=True)
