"""A bare Debian in namespaces of its own, started by its own systemd, on this machine's network.

Needs root, `debootstrap` and a registry of Debian packages, and takes minutes: `make deployed`.
"""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

SUITE = "bookworm"
STARTED = ("running", "degraded")
INSIDE = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
PASSED_ON = ("PIP_", "SSL_CERT_", "http", "no_proxy")

# A root of its own by pivot_root: in a chroot the kernel makes no user namespace, which units of
# Debian's ask for.
BOOT = """set -e
mount --make-rprivate /
mount --bind "$1" "$1"
cd "$1"
mount -t proc proc proc
mount -t tmpfs tmpfs run
mount -t tmpfs tmpfs tmp
mount --rbind /sys sys
mount -t tmpfs tmpfs sys/fs/cgroup 2>/dev/null || true
mount -t cgroup2 cgroup2 sys/fs/cgroup
mount --rbind /dev dev
# What starts in there empties it, and databases beside keep their shared memory in it.
mount -t tmpfs tmpfs dev/shm
mkdir -p before
pivot_root . before
umount -l /before
exec env -i container=own PATH="$2" /lib/systemd/systemd --system --log-target=null --show-status=no
"""


WITH_SYSTEMD = ("systemd", "systemd-sysv", "dbus", "procps")


def make_root(folder: Path, packages: Sequence[str] = WITH_SYSTEMD) -> None:
    """Unpack Debian with some packages, certificates, and curl to ask with."""
    more = ",".join((*packages, "ca-certificates", "curl"))
    subprocess.run(
        ["debootstrap", "--variant=minbase", f"--include={more}", SUITE, str(folder)],
        check=True,
        capture_output=True,
    )
    folder.chmod(0o755)  # It becomes the root of users other than root.
    # This machine's way out: its resolver and whom it trusts.
    for name in ("etc/resolv.conf", "etc/ssl/certs/ca-certificates.crt"):
        shutil.copy(Path("/") / name, folder / name)


class Machine:
    """It runs from `start` to `stop`."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._first: int | None = None
        self._held: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._held = subprocess.Popen(
            [
                *("unshare", "--pid", "--mount", "--uts", "--ipc", "--cgroup", "--fork"),
                *("bash", "-c", BOOT, "boot", str(self.root), INSIDE),
            ],
            stdin=subprocess.DEVNULL,
        )
        for _ in range(600):
            # Degraded is one whose terminals nobody has: they are this machine's.
            if self._found() and self.says("systemctl", "is-system-running") in STARTED:
                return
            time.sleep(0.2)
        raise AssertionError("systemd did not start in its namespaces.")

    def _found(self) -> bool:
        assert self._held is not None
        children = Path(f"/proc/{self._held.pid}/task/{self._held.pid}/children").read_text()
        self._first = next(map(int, children.split()), None)
        return self._first is not None

    def stop(self) -> None:
        if self._first is not None:
            os.kill(self._first, signal.SIGKILL)  # All that is in its namespace ends with it.
        if self._held is not None:
            self._held.wait()

    def run(self, *command: str, given: str | None = None) -> subprocess.CompletedProcess[str]:
        passed_on = [f"{n}={v}" for n, v in os.environ.items() if n.startswith(PASSED_ON)]
        return subprocess.run(
            [
                *("nsenter", "-t", str(self._first), "-p", "-m", "-u", "-i", "-C"),
                *("env", "-i", "HOME=/root", f"PATH={INSIDE}", *passed_on, *command),
            ],
            input=given, capture_output=True, text=True, check=False,
        )  # fmt: skip

    def says(self, *command: str, given: str | None = None) -> str:
        return self.run(*command, given=given).stdout.strip()
