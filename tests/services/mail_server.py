"""A real SMTP server that does as it is told: takes, refuses, stalls or hangs up."""

import asyncio
import socket
import time
from contextlib import closing
from email import message_from_bytes

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP


class MailServer:
    """Keeps every mail it was given, as (recipient, bytes), also those it did not confirm."""

    def __init__(self):
        self.given = []
        self.rcpt_answers = []
        self.data_answers = []
        self.slow_s = 0.0
        self.connections = 0
        self.address = ""

    @property
    def message_ids(self):
        return [message_from_bytes(raw)["Message-ID"] for _recipient, raw in self.given]

    async def handle_EHLO(self, server, session, envelope, hostname, responses):  # noqa: N802
        self.connections += 1
        session.host_name = hostname
        return responses

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        answer = self.rcpt_answers.pop(0) if self.rcpt_answers else "250 OK"
        if answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.given.append((envelope.rcpt_tos[0], envelope.original_content))
        await asyncio.sleep(self.slow_s)
        answer = self.data_answers.pop(0) if self.data_answers else "250 2.0.0 Ok: queued as 4Xz"
        if answer == "hang up":
            server.transport.abort()
            return "421 gone"
        if answer == "stall":
            await asyncio.sleep(30)
        return answer


class Running:
    """Runs a server on a port of its own, and again on the same one after `stop`."""

    def __init__(self):
        self.server = MailServer()
        with closing(socket.socket()) as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._controller = None

    def start(self):
        self._controller = Controller(self.server, hostname="127.0.0.1", port=self.port)
        self._controller.factory = lambda: SMTP(self.server, enable_SMTPUTF8=False)
        self._controller.start()

    def stop(self):
        if self._controller is not None:
            self._controller.stop(no_assert=True)
            self._controller = None
            time.sleep(0.05)
