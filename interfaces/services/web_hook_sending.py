"""Sending to web hooks: claimed, signed and posted outside any transaction, its fate recorded.

An administrator types the address, so the machine that answers is looked at when the
connection is made and not before: a name may lead elsewhere by then. Machines of the internet
may be called, and those of the plant's own networks that the site's settings name. Redirections
are not followed.
"""

import hashlib
import hmac
import http.client
import logging
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _
from urllib3.connection import HTTPConnection, HTTPSConnection, port_by_scheme
from urllib3.exceptions import HTTPError

from interfaces.domain import addresses
from interfaces.models import WebHookDelivery
from interfaces.models.web_hooks import MOST_HOOK_ATTEMPTS
from reminders.domain.reminders import wait_after

from .web_hooks import is_this_machine

log = logging.getLogger(__name__)

TIMEOUT_S = 10.0
DEADLINE_S = 30.0
"""For one attempt as a whole: an answer that drips never lets a single read time out."""
LONGEST_ANSWER = 200
GONE = 410
SIGNED_BY = "v1"


class NotAllowed(OSError):
    """The address leads to a machine that is not to be called."""


def signature(secret: str, timestamp: str, body: bytes) -> str:
    """Sign a body and the instant it is sent: HMAC-SHA-256 (RFC 2104), in hexadecimal.

    Examples
    --------
    >>> signature("secret", "1700000000", b"{}")[:10]
    'v1=e8ecf67'
    """
    text = timestamp.encode() + b"." + body
    return f"{SIGNED_BY}=" + hmac.new(secret.encode(), text, hashlib.sha256).hexdigest()


def refuse_machine(address: str) -> None:
    """Raise NotAllowed for the IP address of a machine that is not to be called."""
    if settings.WEB_HOOKS_TO_LOOPBACK and is_this_machine(address):
        return
    if not addresses.may_be_called(address, settings.WEB_HOOKS_TO_NETWORKS):
        raise NotAllowed(
            _(
                "The address leads to %(ip)s, which is not of the internet. If it is of the "
                "plant's own network, name that in WEB_HOOKS_TO_NETWORKS."
            )
            % {"ip": address}
        )


def allowed_machines(host: str, port: int) -> list[str]:
    """Return the IP addresses behind a name, in the resolver's order, if all may be called.

    Raises
    ------
    NotAllowed
        If any of them is a machine that is not to be called.
    """
    resolved = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    machines = list(dict.fromkeys(str(socket_address[0]) for *_kind, socket_address in resolved))
    for address in machines:
        refuse_machine(address)
    return machines


def _connect(scheme: str, host: str, port: int) -> HTTPConnection:
    """Connect to the first machine behind a name that answers, by its checked IP address.

    The name is resolved once and the connection made to the address that was checked, so that
    nothing can lead elsewhere in between. A certificate has to be the name's.
    """
    refused: OSError | None = None
    for address in allowed_machines(host, port):
        connection: HTTPConnection
        if scheme == "https":
            connection = HTTPSConnection(
                address,
                port,
                timeout=TIMEOUT_S,
                server_hostname=host,
                ssl_context=ssl.create_default_context(),
            )
        else:
            connection = HTTPConnection(address, port, timeout=TIMEOUT_S)
        try:
            connection.connect()
        except (OSError, HTTPError) as error:
            connection.close()
            refused = _as_os_error(error)
        else:
            return connection
    raise refused or OSError(_("Nothing answers to that name."))


def _as_os_error(error: OSError | HTTPError) -> OSError:
    """What the system said, without urllib3's words around it."""
    if isinstance(error, OSError):
        return error
    return error.__cause__ if isinstance(error.__cause__, OSError) else OSError(str(error))


def post(address: str, body: bytes, headers: dict[str, str]) -> tuple[int, str]:
    """Post bytes to an address; return the answer's code and its first line.

    Raises
    ------
    OSError, HTTPException
        If no answer came.
    """
    parts = urlsplit(address)
    try:
        host = (parts.hostname or "").encode("idna").decode()
    except UnicodeError as error:
        raise OSError(_("No machine can have such a name.")) from error
    port = parts.port or port_by_scheme[parts.scheme]
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    with closing(_connect(parts.scheme, host, port)) as connection, _deadline(connection.sock):
        try:
            connection.request(
                *("POST", path, body, headers | {"Host": _host_header(parts.scheme, host, port)}),
                preload_content=False,
                decode_content=False,
                enforce_content_length=False,
            )
            response = connection.getresponse()
            text = response.read(LONGEST_ANSWER * 4).decode("utf-8", "replace")
        except HTTPError as error:
            raise _as_os_error(error) from error
    return response.status, f"{response.status} {' '.join(text.split())}".strip()[:LONGEST_ANSWER]


def _host_header(scheme: str, host: str, port: int) -> str:
    name = f"[{host}]" if ":" in host else host
    return name if port == port_by_scheme[scheme] else f"{name}:{port}"


@contextmanager
def _deadline(connected: socket.socket) -> Iterator[None]:
    """Cut a socket off when its time is over, so that whoever reads finds its end.

    It is the socket, since a connection lets go of it once the head of an answer is read.
    """

    def hang_up() -> None:
        with suppress(OSError):
            connected.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(DEADLINE_S, hang_up)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def headers_of(delivery: WebHookDelivery, now: datetime) -> dict[str, str]:
    timestamp = str(int(now.timestamp()))
    body = bytes(delivery.body)
    return {
        "Content-Type": "application/json",
        "User-Agent": "Jointworthy",
        "Jointworthy-Event": delivery.event,
        "Jointworthy-Delivery": delivery.delivery_id,
        "Jointworthy-Timestamp": timestamp,
        "Jointworthy-Signature": signature(delivery.hook.secret, timestamp, body),
    }


def send_delivery(pk: int, *, now: datetime) -> bool | None:
    """Send one delivery; return whether it was taken, or None where it was not due.

    A worker that dies in between leaves a claim that lapses: the same id and bytes go out
    again, and whoever reads the id sees that it is a repeat.
    """
    due = WebHookDelivery.objects.due(now).filter(pk=pk)
    if not due.exists() or not WebHookDelivery.objects.claim(pk, now):
        return None
    delivery = WebHookDelivery.objects.select_related("hook").get(pk=pk)
    mine = WebHookDelivery.objects.filter(pk=pk, claimed_at=now, accepted_at__isnull=True)
    try:
        code, answer = post(delivery.hook.address, bytes(delivery.body), headers_of(delivery, now))
    except (OSError, http.client.HTTPException) as error:
        code, answer = 0, f"{type(error).__name__}: {error}"[:LONGEST_ANSWER]
    if 200 <= code < 300:
        WebHookDelivery.objects.filter(pk=pk, accepted_at__isnull=True).update(
            accepted_at=now, claimed_at=None, answer=answer
        )
        return True
    given_up = code == GONE or delivery.attempts >= MOST_HOOK_ATTEMPTS
    mine.update(
        claimed_at=None,
        answer=answer,
        due_at=now + wait_after(delivery.attempts),
        failed_at=now if given_up else None,
    )
    log.warning("Web hook delivery %s was not taken: %s", delivery.delivery_id, answer)
    return False


@dataclass
class Round:
    """What one round of sending did."""

    taken: int = 0
    not_taken: int = 0


def send_due(*, clock: Callable[[], datetime], within_s: float | None = None) -> Round:
    """Send everything that is due, oldest first; what beat runs every minute.

    A web hook that did not take one is left alone for the rest of the round, so that one
    system that stalls does not keep the others waiting. After ``within_s`` seconds no further
    one is begun.
    """
    begun = time.monotonic()
    _give_up_on_deadly(clock())
    done = Round()
    due = WebHookDelivery.objects.due(clock()).order_by("due_at", "pk")
    skipped: set[int] = set()
    for pk, hook_id in list(due.values_list("pk", "hook_id")):
        if within_s is not None and time.monotonic() - begun >= within_s:
            break
        if hook_id in skipped:
            continue
        taken = send_delivery(pk, now=clock())
        done.taken += taken is True
        if taken is False:
            done.not_taken += 1
            skipped.add(hook_id)
    return done


def _give_up_on_deadly(now: datetime) -> None:
    """Set aside deliveries whose every attempt ended with the worker's own end."""
    deadly = WebHookDelivery.objects.due(now).filter(attempts__gte=MOST_HOOK_ATTEMPTS)
    WebHookDelivery.objects.filter(pk__in=list(deadly.values_list("pk", flat=True))).update(
        failed_at=now, claimed_at=None, answer=_("The worker stopped at every attempt.")
    )
