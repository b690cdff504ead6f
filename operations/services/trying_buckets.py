"""Whether the buckets of the site answer, tried by a worker so that no page waits for them."""

import logging
import secrets
from collections.abc import Callable
from datetime import datetime

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from operations.models import Heartbeat
from records.backends.kept_folder import PREFIX
from records.exceptions import Refusal

from .back_up_places import bucket_of_settings
from .heartbeats import record_heartbeat

log = logging.getLogger(__name__)

TRIED_WITH = b"Written, read and deleted again, to see that this can be done."


def try_buckets(*, clock: Callable[[], datetime]) -> None:
    """Write down when each bucket was last seen to work; the log has what one answered instead.

    The one of the site's files has to take, give and delete a small object; of the one for
    back-ups a listing is enough, since each night writes there.
    """
    if settings.SEVERAL_MACHINES and _works("FILES_URL", _try_files):
        record_heartbeat(Heartbeat.Kind.FILES, clock())
    bucket = bucket_of_settings()
    if bucket is not None and _works("BACK_UP_URL", bucket.refuse_out_of_reach):
        record_heartbeat(Heartbeat.Kind.BACK_UPS, clock())


def _works(setting: str, act: Callable[[], object]) -> bool:
    try:
        act()
    except (Refusal, OSError) as error:
        log.error("The bucket of %s does not work: %s", setting, error.__cause__ or error)
        return False
    return True


def _try_files() -> None:
    name = default_storage.save(f"{PREFIX}/tried/{secrets.token_hex(8)}", ContentFile(TRIED_WITH))
    try:
        with default_storage.open(name) as file:
            if file.read() != TRIED_WITH:
                raise OSError("What was read is not what was written.")
    finally:
        default_storage.delete(name)
