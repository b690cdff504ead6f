"""Whether this machine has what the others of its site have, by marks that the database keeps."""

from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from operations.backends.two_places import MARK as OLD_PHOTOS_MARK
from operations.models import SharedMark

BACK_UPS_MARK = ".jointworthy-back-ups"
LONGEST_MARK = 64


@dataclass(frozen=True, slots=True)
class SharedFolder:
    """A folder that is to be the same mount on each machine, with the file that shows it."""

    what: SharedMark.What
    path: Path
    file_name: str

    def mark_here(self) -> str:
        """What its file says; empty where there is none. Raises OSError."""
        try:
            said = (self.path / self.file_name).read_text(encoding="ascii", errors="replace")
        except FileNotFoundError:
            return ""
        return said[:LONGEST_MARK]

    def another(self) -> str:
        """What to say where it is not the others' folder."""
        return _(
            "%(name)s leads to another folder on this machine than on those that started before, "
            "or its disk is not mounted: mount the same there. If it was changed on purpose on all "
            "of them, run “manage.py share_anew %(name)s”."
        ) % {"name": self.what.value}


def back_ups_folder() -> SharedFolder | None:
    """`BACK_UP_DIR`, which each worker of the queue `celery` writes into; None without one."""
    path = settings.BACK_UP_DIR
    return SharedFolder(SharedMark.What.BACK_UP_DIR, Path(path), BACK_UPS_MARK) if path else None


def old_photos_folder() -> SharedFolder | None:
    """`OLD_PHOTOS_DIR`, which every machine reads; None without one."""
    path = settings.OLD_PHOTOS_DIR
    if not path:
        return None
    return SharedFolder(SharedMark.What.OLD_PHOTOS_DIR, Path(path), OLD_PHOTOS_MARK)


def secret_key_marks() -> list[str]:
    """A digest of each key by which this machine reads; the first is of that by which it signs."""
    return [
        salted_hmac("operations.shared_marks", "key", secret=key, algorithm="sha256").hexdigest()
        for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    ]


def another_secret_key() -> str:
    """What to say where the secret key is not the others'."""
    return _(
        "SECRET_KEY is another one on this machine than on those that started before, so each "
        "would sign out whoever comes from the other: set the same. To change it on purpose, name "
        "the one before in SECRET_KEY_FALLBACKS; if nobody has that any more, run “manage.py "
        "share_anew SECRET_KEY”."
    )


def differences() -> list[str]:
    """Sentences about what this machine has otherwise than the others; none on a single one.

    Of what none has noted yet, nothing is said.
    """
    if not settings.SEVERAL_MACHINES:
        return []
    noted = dict(SharedMark.objects.exclude(mark="").values_list("what", "mark"))
    says = []
    key = noted.get(SharedMark.What.SECRET_KEY)
    if key is not None and key not in secret_key_marks():
        says.append(another_secret_key())
    folder = old_photos_folder()
    if folder is not None and folder.what in noted and not _has(folder, noted[folder.what]):
        says.append(folder.another())
    return says


def _has(folder: SharedFolder, mark: str) -> bool:
    try:
        return folder.mark_here() == mark
    except OSError:
        return False
