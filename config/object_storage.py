"""Reads `FILES_URL`: where files are kept for several machines."""

from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured

SCHEMES = {"s3": "https", "s3+http": "http"}
FORM = "s3://KEY:SECRET@host/bucket?region=eu-central-1"


def storage_of(url: str) -> dict[str, Any]:
    """What Django is told of the bucket that a URL names.

    Parameters
    ----------
    url : str
        ``s3://KEY:SECRET@host:port/bucket?region=name``, with what is special in key and secret
        percent-encoded; ``s3+http://`` for a server without TLS. The region may be left out.

    Raises
    ------
    ImproperlyConfigured
        If it has another form. The secret is not repeated.
    """
    try:
        parts = urlsplit(url)
        port = parts.port
        more = parse_qs(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query))
    except ValueError as error:
        raise _misread() from error
    bucket = parts.path.strip("/")
    fits = parts.hostname and parts.username and parts.password and bucket and "/" not in bucket
    if not fits or parts.scheme not in SCHEMES or parts.fragment or set(more) - {"region"}:
        raise _misread()
    host = f"[{parts.hostname}]" if ":" in str(parts.hostname) else parts.hostname
    return {
        "BACKEND": "operations.backends.object_storage.ObjectStorage",
        "OPTIONS": {
            "access_key": unquote(str(parts.username)),
            "secret_key": unquote(str(parts.password)),
            "endpoint_url": f"{SCHEMES[parts.scheme]}://{host}" + (f":{port}" if port else ""),
            "bucket_name": bucket,
            "region_name": more.get("region", ["us-east-1"])[-1],
        },
    }


def _misread() -> ImproperlyConfigured:
    return ImproperlyConfigured(
        f"FILES_URL cannot be read: write it as {FORM}, with key and secret percent-encoded where "
        "they hold a special character, and s3+http:// for a server without TLS."
    )
