"""Makes a file with a secret key that its owner alone can read, unless it is there.

python3 config/secret_key.py var/secret_key
"""

import errno
import os
import secrets
import sys
import tempfile
from contextlib import suppress
from pathlib import Path

NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.ENOSYS)
"""What file systems answer that do not know a second name of a file (link(2))."""


def main(name: str) -> None:
    path = Path(name)
    path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
    if path.exists():
        return
    # Under another name until it is whole: one that was cut short would stay for ever.
    descriptor, written = tempfile.mkstemp(prefix=f"{path.name}.", dir=path.parent)
    try:
        with os.fdopen(descriptor, "w") as stream:
            stream.write(secrets.token_urlsafe(50) + "\n")
            stream.flush()
            os.fsync(stream.fileno())
        put_in_place(written, path)
    except FileExistsError:
        return  # Somebody else was first, and theirs may be in use already.
    finally:
        with suppress(FileNotFoundError):
            os.unlink(written)
    print(f"Made a secret key in {path}.")


def put_in_place(written: str, path: Path) -> None:
    """Give the file its name, or raise FileExistsError."""
    try:
        os.link(written, path)
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        # As on shares of Windows machines: a look, then a rename.
        if path.exists():
            raise FileExistsError(path) from error
        os.rename(written, path)


if __name__ == "__main__":
    main(sys.argv[1])
