"""How Chromium is started: the system's own, without a screen and without calling out."""

import os
import shutil

# The one that draws no window of its own, where it is there, takes a third less time.
CHROMIUM = (
    os.environ.get("CHROMIUM")
    or shutil.which("chromium-headless-shell")
    or shutil.which("chromium")
    or "/usr/bin/chromium"
)
LAUNCH_ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--in-process-gpu",  # Which is drawn in software: one process less to talk to.
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
