"""Strict readers of the environment.

Every reader notes the name that it was asked for, so `READ` lists every setting there is
and a test can hold the table in docs/running-a-site.md against it. A value that does not fit
stops the start with a sentence that says what to write instead. ``NAME_FILE`` names a file to
read ``NAME`` from, for secrets that do not belong in an environment; a blank value counts as
not set.
"""

import os
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

YES = frozenset({"1", "true", "yes", "on"})
NO = frozenset({"0", "false", "no", "off"})


@dataclass(frozen=True)
class Setting:
    """One name that is read, the text of its default and what it is for."""

    name: str
    default: str
    about: str


READ: dict[str, Setting] = {}


def text(name: str, default: str = "", *, about: str) -> str:
    """Read a piece of text, without the spaces around it."""
    value = _value(name, default, about)
    return default if value is None else value


def flag(name: str, default: bool, *, about: str) -> bool:
    """Read yes or no."""
    value = _value(name, "yes" if default else "no", about)
    if value is None:
        return default
    if value.lower() in YES:
        return True
    if value.lower() in NO:
        return False
    raise ImproperlyConfigured(f"{name} is {value!r}: write yes or no.")


def choice(name: str, default: str, *, choices: tuple[str, ...], about: str) -> str:
    """Read one of a few words, in capitals or not."""
    value = (_value(name, default, about) or default).upper()
    if value not in choices:
        raise ImproperlyConfigured(f"{name} is {value!r}: write one of {', '.join(choices)}.")
    return value


def whole_number(name: str, default: int, *, least: int = 0, about: str) -> int:
    """Read a whole number that is not below `least`."""
    value = _value(name, str(default), about)
    if value is None:
        return default
    if not (value.isascii() and value.isdigit()) or int(value) < least:
        raise ImproperlyConfigured(
            f"{name} is {value!r}: write a whole number of {least} or more, in digits."
        )
    return int(value)


def names(name: str, default: str = "", *, about: str) -> list[str]:
    """Read a list whose items are separated by commas."""
    value = _value(name, default, about)
    return [
        item.strip() for item in (default if value is None else value).split(",") if item.strip()
    ]


def lines(name: str, *, about: str) -> list[str]:
    """Read a list of texts, one a line: whatever else they hold, none is cut in two."""
    value = _value(name, "", about) or ""
    return [line.strip() for line in value.splitlines() if line.strip()]


def networks(name: str, *, about: str) -> list[IPv4Network | IPv6Network]:
    """Read a list of networks in the form 10.20.0.0/16, separated by commas."""
    try:
        return [ip_network(item) for item in names(name, about=about)]
    except ValueError as error:
        raise ImproperlyConfigured(
            f"{name} holds what is no network ({error}): write it as in 10.20.0.0/16."
        ) from error


def web_address(name: str, default: str, *, about: str) -> str:
    """Read the address of a web site: http or https and a host, without a path."""
    value = _value(name, default, about) or default
    try:
        parts = urlsplit(value)
        fits = bool(parts.hostname) and (parts.port is None or parts.port > 0)
    except ValueError:
        fits = False
    if not fits or parts.scheme not in {"http", "https"} or parts.path not in {"", "/"}:
        raise ImproperlyConfigured(
            f"{name} is {value!r}: write http:// or https:// and the host that people type, "
            "such as https://training.example.org, without a path."
        )
    return f"{parts.scheme}://{parts.netloc}"


def service(name: str, default: str = "", *, schemes: set[str], about: str) -> str:
    """Read the URL of a server, which must begin with one of `schemes`."""
    value = text(name, default, about=about)
    scheme = value.partition("://")[0]
    if value and ("://" not in value or scheme not in schemes):
        raise ImproperlyConfigured(
            f"{name} begins with {scheme[:20]!r}: it must begin with "
            f"{' or '.join(f'{known}://' for known in sorted(schemes))}."
        )
    return value


def folder(name: str, default: Path, default_text: str, *, about: str) -> Path:
    """Read a folder's path and make the folder if it is not there."""
    value = _value(name, default_text, about)
    path = Path(value).expanduser().resolve() if value else default
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ImproperlyConfigured(
            f"The folder {path} of {name} cannot be made ({error.strerror}): "
            "name a folder in which this program may write."
        ) from error
    return path


def kept_text(path: Path) -> str:
    """Read a secret that was made on this machine, from a file that need not be there."""
    try:
        return path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return ""
    except (OSError, UnicodeDecodeError) as error:
        raise ImproperlyConfigured(
            f"{path} cannot be read ({error}): let this program's user read it, or set the value."
        ) from error


def _value(name: str, default: str, about: str) -> str | None:
    READ.setdefault(name, Setting(name, default, about))
    value = os.environ.get(name, "").strip()
    file_name = os.environ.get(f"{name}_FILE", "").strip()
    if value and file_name:
        raise ImproperlyConfigured(f"{name} and {name}_FILE are both set: keep one of them.")
    if file_name:
        try:
            value = Path(file_name).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            raise ImproperlyConfigured(
                f"{name}_FILE names {file_name}, which cannot be read ({error}): "
                "name a readable text file that holds the value and nothing else."
            ) from error
        if not value:
            raise ImproperlyConfigured(f"{name}_FILE names {file_name}, which is empty.")
    return value or None
