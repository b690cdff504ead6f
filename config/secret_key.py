"""Makes a file with a secret key that its owner alone can read, unless it is there.

python3 config/secret_key.py var/secret_key
"""

import os
import secrets
import sys
import tempfile
from pathlib import Path


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
        os.link(written, path)
    except FileExistsError:
        return  # Somebody else was first, and theirs may be in use already.
    finally:
        os.unlink(written)
    print(f"Made a secret key in {path}.")


if __name__ == "__main__":
    main(sys.argv[1])
