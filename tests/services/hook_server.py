"""A real web server that does as it is told: takes, refuses, sends on, stalls or hangs up."""

import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass(frozen=True)
class Given:
    path: str
    headers: dict[str, str]
    body: bytes


class HookServer:
    """Keeps every request it was given, also those it did not answer.

    ``answers`` are codes, ``"stall"``, ``"drip"``, ``"drip body"`` or ``"hang up"``, one a
    request; 204 when there is none. With ``tls``, a server's SSLContext, it speaks https.
    """

    def __init__(self, tls=None):
        self.given: list[Given] = []
        self.answers: list[int | str] = []
        self.says = b""
        self.slow_s = 0.0
        self._done = threading.Event()
        keeper = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                keeper.given.append(Given(self.path, dict(self.headers), body))
                time.sleep(keeper.slow_s)
                keeper.answer(self)

            do_GET = do_POST  # noqa: N815

            def log_message(self, *_args):
                """Say nothing on the terminal."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._server.handle_error = lambda *_args: None
        if tls:
            self._server.socket = tls.wrap_socket(self._server.socket, server_side=True)
        self.port = self._server.server_port
        self.address = f"http{'s' if tls else ''}://127.0.0.1:{self.port}/events"
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def answer(self, handler):
        answer = self.answers.pop(0) if self.answers else 204
        if answer == "stall":
            self._done.wait(30)
            handler.close_connection = True
            return
        if answer in ("drip", "drip body"):
            if answer == "drip body":
                handler.send_response(500)
                handler.end_headers()
            with suppress(OSError):
                while not self._done.wait(0.05):
                    handler.wfile.write(b"H")
            handler.close_connection = True
            return
        if answer == "hang up":
            handler.connection.close()
            return
        handler.send_response(int(answer))
        if int(answer) // 100 == 3:
            handler.send_header("Location", f"{self.address}/elsewhere")
        handler.send_header("Content-Length", str(len(self.says)))
        handler.end_headers()
        handler.wfile.write(self.says)

    @property
    def ids(self):
        return [request.headers["Jointworthy-Delivery"] for request in self.given]

    def stop(self):
        self._done.set()
        self._server.shutdown()
        self._server.server_close()
