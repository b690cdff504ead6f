"""Makes `.venv` and installs what a requirements file pins; runs on a bare Python.

    python3 config/install.py requirements.txt

A stamp in `.venv` remembers the hash of what was installed, so a second run does nothing.
"""

import hashlib
import importlib.util
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
VENV = TOP / ".venv"
VENV_PYTHON = VENV / "bin" / "python"
STAMP = VENV / "installed-requirements"
LEAST = (3, 11)


def main(name):
    if sys.version_info < LEAST:
        sys.exit(
            "This needs Python {}.{} or later and found {}.{}: name another with "
            "`make PYTHON=python3.12 ...`.".format(*LEAST, *sys.version_info[:2])
        )
    make_venv()
    digest = hashlib.sha256((TOP / name).read_bytes()).hexdigest()
    if digest in installed():
        return
    print(f"Installing what {name} pins into .venv. The first time takes a minute or two.")
    status = subprocess.run(
        [
            *(str(VENV_PYTHON), "-m", "pip", "install", "--quiet", "--require-hashes"),
            # Everything is pinned, with what it needs in turn: nothing is left to work out. What
            # is never imported need not be compiled; the rest is when it first is.
            *("--disable-pip-version-check", "--no-input", "--no-deps", "--no-compile"),
            *("-r", name),
        ],
        cwd=TOP,
    ).returncode
    if status:
        sys.exit(f"pip could not install {name}: its message is above. Then run this again.")
    # What tests need includes all that the site needs, at the same versions.
    done = {digest, hashlib.sha256((TOP / "requirements.txt").read_bytes()).hexdigest()}
    STAMP.write_text("\n".join(sorted(done)) + "\n")


def make_venv():
    """Make `.venv` if there is none that works."""
    if VENV_PYTHON.exists():
        check = [str(VENV_PYTHON), "-c", "import pip, sys; sys.exit(sys.version_info < (3, 11))"]
        if subprocess.run(check, stderr=subprocess.DEVNULL).returncode == 0:
            return
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if missing:
        sys.exit(
            f"Python's {' and '.join(missing)} module is missing: install it with "
            "`sudo apt install python3-venv`, or what your system calls that package."
        )
    made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)])
    if made.returncode:
        sys.exit(f"{sys.executable} could not make {VENV}: its message is above.")


def installed():
    return set(STAMP.read_text().split()) if STAMP.exists() else set()


if __name__ == "__main__":
    main(sys.argv[1])
