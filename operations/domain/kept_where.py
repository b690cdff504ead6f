"""Where everything is kept that outlives a request: on one machine, and on several.

The table in docs/running-a-site.md says the same, and a test holds both together. Several machines
are those whose settings name a place for files that all of them reach (`FILES_URL`); what would
then still be each machine's own, though all need the same, keeps the site from starting. Whether
what is named is the same on each, `operations/services/shared_marks.py` compares.
"""

from collections.abc import Collection
from dataclasses import dataclass

BUCKET = "in the bucket"
DATABASE = "in the database"


@dataclass(frozen=True, slots=True)
class Kept:
    """One kind of thing that is kept, and where.

    Parameters
    ----------
    shared_by : str, optional
        The setting without which machines would each have their own, and do not start.
    """

    what: str
    one_machine: str
    several_machines: str
    shared_by: str = ""


TABLE = (
    Kept(
        "records, the trail, sessions, tries to sign in, work that waits, registers as they were "
        "known, lists of people, plans of classes",
        "`jointworthy.sqlite3`, or PostgreSQL",
        "PostgreSQL",
        "DATABASE_URL",
    ),
    Kept("photographs and their smaller sizes", "`files/`", BUCKET, "FILES_URL"),
    Kept("certificates of tools, papers from elsewhere", "`files/`", BUCKET, "FILES_URL"),
    Kept("work logs and their findings", "`files/`", BUCKET, "FILES_URL"),
    Kept("evidence packs that are finished", "`files/`", BUCKET, "FILES_URL"),
    Kept("filed ends of the trail", "`trail-heads.txt`", "`kept/trail-heads/` " + BUCKET),
    Kept("time stamps of them", "`time-stamps/`", "`kept/time-stamps/` " + BUCKET),
    Kept(
        "private keys that sign credentials",
        "`SIGNING_KEYS_DIR`",
        f"`kept/signing-keys/` {BUCKET}, encrypted under `SECRET_KEY`",
    ),
    Kept(
        "the key that signs sessions and locks second factors",
        "`secret_key`",
        "the environment, the same everywhere: compared at each start",
        "SECRET_KEY",
    ),
    Kept(
        "counts of requests of programs and of failed sign-ins by address",
        "the web process's memory, or Redis",
        "Redis",
        "CACHE_URL",
    ),
    Kept("messages that wake workers", "`queue/`, or Redis", "Redis", "CELERY_BROKER_URL"),
    Kept("mails on their way", "`outbox/`, or a mail server", "a mail server", "EMAIL_URL"),
    Kept(
        "who serves, and who has the site to themselves",
        "`served.lock`",
        "a lock of the database",
    ),
    Kept(
        "uploads under way",
        "`incoming/`",
        "`incoming/` of the machine that receives it: each file is one request, which the "
        "browser sends again, to whichever machine answers",
    ),
    Kept(
        "evidence packs under way",
        "`packs/`",
        "`packs/` of the machine whose worker has it; one on another machine begins anew and "
        "gives the same bytes",
    ),
    Kept("static files", "`static/`", "`static/` of each, from the same code"),
    Kept("when the clock last asked for what", "`beat-schedule`", "the one machine with the clock"),
    Kept("counts for monitoring", "a folder in /tmp", "each machine's own: read them all"),
    Kept(
        "back-ups",
        "`BACK_UP_DIR`, or the bucket of `BACK_UP_URL`",
        "the bucket of `BACK_UP_URL`; or `BACK_UP_DIR`, the same mounted folder wherever a worker "
        "of the queue `celery` runs: compared each night, by a file in it",
    ),
    Kept(
        "photographs that were moved when they were old",
        "`OLD_PHOTOS_DIR`",
        "`OLD_PHOTOS_DIR`, the same mounted folder everywhere: compared at each start, by a file "
        "in it",
    ),
)


def half_shared(given: Collection[str]) -> str:
    """Why several machines may not start; empty where they may.

    Parameters
    ----------
    given : collection of str
        The settings, of those in the table, that name something which all machines reach.
    """
    missing = {
        each.shared_by: each.what
        for each in TABLE
        if each.shared_by not in ("", "FILES_URL", *given)
    }
    if not missing:
        return ""
    *most, last = missing
    names = f"{', '.join(most)} and {last}" if most else last
    kept = "; ".join(missing.values())
    return (
        f"FILES_URL is set, as for several machines, and each would have its own of this: {kept}. "
        f"Set {names} to what all machines share, or unset FILES_URL."
    )
