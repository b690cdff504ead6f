"""Whether the bucket in which several machines keep their files answers as it has to."""

from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage

from operations.backends.two_places import two_places
from operations.exceptions import BucketOutOfReach
from records.exceptions import FilesOutOfReach


def bucket() -> Any:
    """The bucket itself, whatever second place there is beside it."""
    places = two_places()
    return default_storage if places is None else places.first


def refuse_bucket_out_of_reach() -> None:
    """Raise BucketOutOfReach where files are to be kept in a bucket that does not let us."""
    if not settings.SEVERAL_MACHINES:
        return
    files = bucket()
    try:
        files.refuse_out_of_reach()
    except (FilesOutOfReach, FileNotFoundError) as error:
        raise BucketOutOfReach(
            f"The bucket {files.bucket_name} of FILES_URL at {files.endpoint_url} does not "
            "answer, is not there, or refuses the key: see that the server runs, that the bucket "
            "was made, and that the key may list, get, put and delete. The log has its answer."
        ) from error
