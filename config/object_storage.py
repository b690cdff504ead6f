"""Reads `FILES_URL` and `BACK_UP_URL`: the bucket for files, and the one for back-ups."""

from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured

SCHEMES = {"s3": "https", "s3+http": "http"}
FORM = "s3://KEY:SECRET@host/bucket?region=eu-central-1"
FORM_OF_BACK_UPS = "s3://KEY:SECRET@host/bucket/folder?region=eu-central-1"


def storage_of(url: str) -> dict[str, Any]:
    """What Django is told of the bucket that `FILES_URL` names, which is the site's as a whole.

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
    storage = _storage_of(url)
    if storage is None or "location" in storage["OPTIONS"]:
        raise _misread("FILES_URL", FORM)
    return storage


def storage_of_back_ups(url: str, files: dict[str, Any] | None) -> dict[str, Any]:
    """The same of `BACK_UP_URL`, in which a folder may follow the bucket.

    Parameters
    ----------
    files : dict, optional
        What Django is told of the bucket of the site's own files.

    Raises
    ------
    ImproperlyConfigured
        If it has another form, or names the bucket of the site's own files.
    """
    storage = _storage_of(url)
    if storage is None:
        raise _misread("BACK_UP_URL", FORM_OF_BACK_UPS)
    if files is not None and all(
        storage["OPTIONS"][name] == files["OPTIONS"][name]
        for name in ("endpoint_url", "bucket_name")
    ):
        raise ImproperlyConfigured(
            "BACK_UP_URL names the bucket of FILES_URL, so back-ups would be lost with what they "
            "are of: name another bucket, on another server."
        )
    return storage


def _storage_of(url: str) -> dict[str, Any] | None:
    """None where it has another form."""
    try:
        parts = urlsplit(url)
        port = parts.port
        more = parse_qs(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query))
    except ValueError:
        return None
    bucket, *folders = parts.path.strip("/").split("/")
    fits = parts.hostname and parts.username and parts.password and bucket
    if not fits or parts.scheme not in SCHEMES or parts.fragment or set(more) - {"region"}:
        return None
    if {"", ".", ".."} & set(folders):
        return None
    host = f"[{parts.hostname}]" if ":" in str(parts.hostname) else parts.hostname
    return {
        "BACKEND": "operations.backends.object_storage.ObjectStorage",
        "OPTIONS": {
            "access_key": unquote(str(parts.username)),
            "secret_key": unquote(str(parts.password)),
            "endpoint_url": f"{SCHEMES[parts.scheme]}://{host}" + (f":{port}" if port else ""),
            "bucket_name": bucket,
            "region_name": more.get("region", ["us-east-1"])[-1],
            **({"location": "/".join(folders)} if folders else {}),
        },
    }


def _misread(setting: str, form: str) -> ImproperlyConfigured:
    return ImproperlyConfigured(
        f"{setting} cannot be read: write it as {form}, with key and secret percent-encoded where "
        "they hold a special character, and s3+http:// for a server without TLS."
    )
