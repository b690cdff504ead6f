"""Makes a file with a secret key that its owner alone can read, unless it is there.

python3 config/secret_key.py var/secret_key
"""

import os
import secrets
import sys
from pathlib import Path


def main(name: str) -> None:
    path = Path(name)
    path.parent.mkdir(mode=0o750, parents=True, exist_ok=True)
    try:
        descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        return
    with os.fdopen(descriptor, "w") as stream:
        stream.write(secrets.token_urlsafe(50) + "\n")
    print(f"Made a secret key in {path}.")


if __name__ == "__main__":
    main(sys.argv[1])
