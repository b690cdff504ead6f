"""Two hundred people at a plant in the morning, for locust; `benchmarks.load` starts it.

How long people take between two requests, and why, stands beside each kind of them. What the site
has acknowledged is written down here, beside the site, so that it can be held against it later.

`LOAD_FOLDER` names the folder with ``facts.json``, and takes ``requests.tsv`` and ``acts.jsonl``.
"""

import hashlib
import html
import http.cookiejar
import json
import os
import random
import re
import time
from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from locust import FastHttpUser, between, events, task

FOLDER = Path(os.environ["LOAD_FOLDER"])
FACTS = json.loads((FOLDER / "facts.json").read_text())
HASTE = float(os.environ.get("LOAD_HASTE", "1"))
CSRF = "c" * 32  # A cookie and a header that say the same, as the site's pages have them.
RETRY_AFTER_S = (1, 2, 5, 10, 20)  # As judgement-queue.js does.
NO_ANSWER_AFTER_S = 20.0
SHOWN = re.compile(r'<input type="hidden" name="(shown)" value="([^"]+)"')
PICTURE = re.compile(r'src="(/photos/[\w-]+/160/)"')
LATER = (0, 429)

draw = random.Random()  # noqa: S311 - who does what, and when
requests = (FOLDER / "requests.tsv").open("a", buffering=1)
acts = (FOLDER / "acts.jsonl").open("a", buffering=1)


@events.request.add_listener
def write_request(
    name: str, response_time: float, start_time: float, exception: Any, **_more: Any
) -> None:
    why = re.sub(r"\s+", " ", str(exception))[:200] if exception else ""
    requests.write(f"{start_time:.3f}\t{response_time:.1f}\t{name}\t{why}\n")


def write_act(state: str, what: str, **facts: Any) -> None:
    """Note that something was "sent", or that the site "has" it."""
    acts.write(json.dumps({"state": state, "what": what, "at": time.time(), **facts}) + "\n")


class Person(FastHttpUser):
    """Somebody with a browser that keeps its connection and its session."""

    abstract = True
    connection_timeout = NO_ANSWER_AFTER_S
    network_timeout = 120.0
    session = ""

    def on_start(self) -> None:
        before = "__Host-" if str(self.host).startswith("https:") else ""
        for name, value in (("sessionid", self.session), ("csrftoken", CSRF)):
            self.client.cookiejar.set_cookie(_cookie(before + name, value))

    def look(self, name: str, path: str, *, part: bool = False) -> str:
        """Open a page and return what it says; anything but the page itself is an error."""
        headers = {"HX-Request": "true"} if part else {}
        with self.client.get(
            path, name=name, headers=headers, allow_redirects=False, catch_response=True
        ) as response:
            if response.status_code == 200:
                return str(response.text)
            response.failure(f"{response.status_code} {response.headers or ''}"[:120])
        return ""

    def send(
        self, name: str, path: str, body: bytes, kind: str, *, page: bool = False
    ) -> tuple[int, str]:
        """Send a form; return the status and the answer, which is a sentence or a page."""
        headers = {"Content-Type": kind, "X-CSRFToken": CSRF, "Origin": str(self.host)}
        if not page:
            headers["Accept"] = "application/json"
        with self.client.post(
            path,
            data=body,  # type: ignore[arg-type] # bytes go as they are
            name=name,
            headers=headers,
            allow_redirects=False,
            catch_response=True,
        ) as response:
            status, text = response.status_code, response.text or ""
            if status not in (200, 302):
                response.failure(f"{status} {text[:100]}")
        return int(status), str(text)


def _cookie(name: str, value: str) -> http.cookiejar.Cookie:
    return http.cookiejar.Cookie(
        0, name, value, None, False, "127.0.0.1", True, False, "/", True, False,
        None, False, None, None, {},
    )  # fmt: skip


def fields(**values: Any) -> bytes:
    return urlencode(values).encode()


def several_parts(
    values: dict[str, str], name: str, file_name: str, content: bytes
) -> tuple[bytes, str]:
    """A form with one file, and its content type."""
    mark = uuid4().hex
    begin = "".join(
        f'--{mark}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'
        for key, value in values.items()
    )
    begin += (
        f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n'
        "Content-Type: application/octet-stream\r\n\r\n"
    )
    body = begin.encode() + content + f"\r\n--{mark}--\r\n".encode()
    return body, f"multipart/form-data; boundary={mark}"


FORM = "application/x-www-form-urlencoded"
_sessions = {kind: cycle(FACTS[kind] or [""]) for kind in ("checks", "cards", "registers")}
_classes = cycle(FACTS["instructors"] or [{}])


class Checks(Person):
    """Kiosks at the line: a badge every few seconds while a shift comes in."""

    fixed_count = len(FACTS["checks"])
    wait_time = between(4, 14)

    def on_start(self) -> None:
        self.session = next(_sessions["checks"])
        super().on_start()
        self.look("bench check", "/check/")

    @task
    def badge(self) -> None:
        asked = {"number": draw.choice(FACTS["numbers"]), "scope": draw.choice(FACTS["scopes"])}
        self.look("bench check: answer", f"/check/?{urlencode(asked)}", part=True)


class Cards(Person):
    """Operators with their phones: looked at, and read for half a minute."""

    fixed_count = len(FACTS["cards"])
    wait_time = between(15, 45)

    def on_start(self) -> None:
        self.session = next(_sessions["cards"])
        super().on_start()

    @task
    def card(self) -> None:
        self.look("my card", "/my-card/")


class Registers(Person):
    """Quality managers: a page of the register, a filter, somebody's page, ten seconds each."""

    fixed_count = len(FACTS["registers"])
    wait_time = between(5, 15)

    def on_start(self) -> None:
        self.session = next(_sessions["registers"])
        super().on_start()

    @task(3)
    def page(self) -> None:
        self.look("register", f"/register/?{urlencode({'page': draw.randrange(1, 20)})}")

    @task(3)
    def search(self) -> None:
        name = draw.choice(FACTS["names"]).split()[-1]
        self.look("register: search", f"/register/?{urlencode({'q': name})}")

    @task(1)
    def somebody(self) -> None:
        number = draw.choice(FACTS["numbers"])
        self.look("person", f"/people/{number}/")


class Instructors(Person):
    """A class day: photographs of a board, every joint judged, the stage signed; then the next.

    A board of twenty joints takes three minutes: a key every second and a half to four.
    """

    fixed_count = len(FACTS["instructors"])
    wait_time = between(2, 6)

    def on_start(self) -> None:
        of_class = next(_classes)
        self.session, self.number = of_class["session"], of_class["class"]
        self.boards: Iterator[dict[str, Any]] = iter(of_class["boards"])
        super().on_start()
        time.sleep(draw.uniform(0, 20))

    @task
    def board(self) -> None:
        board = next(self.boards, None)
        self.look("bench", "/bench/")
        self.pause()
        self.look("class day", f"/classes/{self.number}/day/")
        if board is None:
            time.sleep(20)
            return
        number = board["number"]
        self.pause()
        self.look("grading page", f"/boards/{number}/grade/")
        for joint in board["joints"][:: max(1, len(board["joints"]) // FACTS["photos_a_board"])]:
            self.photograph(number, joint[0])
        page = self.look("grading page", f"/boards/{number}/grade/")
        for address in PICTURE.findall(page):
            self.look("photograph, small", address)
        codes = [code for code, of in FACTS["criteria"] if of == "joint"]
        for place, (_pk, joint) in enumerate(board["joints"]):
            self.judge(number, joint, codes[0])
            if place % 2:
                self.accept_rest(number, joint)
            else:
                for code in codes[1:]:
                    self.judge(number, joint, code)
        for code, of in FACTS["criteria"]:
            if of == "board":
                self.judge(number, "board", code)
        self.sign(number)

    def pause(self) -> None:
        time.sleep(draw.uniform(1.5, 4) / HASTE)

    def until_settled(self, send: Callable[[], tuple[int, str]]) -> tuple[int, str]:
        """Send again, as the page's queue does, until the site has said yes or no."""
        tries = 0
        while True:
            status, text = send()
            if status not in LATER and status < 500:
                return status, text
            time.sleep(RETRY_AFTER_S[min(tries, len(RETRY_AFTER_S) - 1)])
            tries += 1

    def act(self, name: str, path: str, facts: dict[str, Any], **sent: Any) -> None:
        key = str(uuid4())
        write_act("sent", "judgement", key=key, **facts)
        body = fields(**sent, key=key, how="at_board", saw="")
        status, text = self.until_settled(lambda: self.send(name, path, body, FORM))
        if status == 200 and '"saved": true' in text:
            write_act("has", "judgement", key=key, **facts)
        self.pause()

    def judge(self, number: str, joint: str, code: str) -> None:
        outcome = "reject" if draw.random() < 0.03 else "accept"
        self.act(
            "judge",
            f"/boards/{number}/grade/judge/",
            {"board": number, "joint": joint, "criterion": code, "outcome": outcome},
            stage="soldered",
            joint=joint,
            criterion=code,
            outcome=outcome,
        )

    def accept_rest(self, number: str, joint: str) -> None:
        self.act(
            "judge: the rest",
            f"/boards/{number}/grade/rest/",
            {"board": number, "joint": joint},
            stage="soldered",
            joint=joint,
        )

    def photograph(self, number: str, joint: int) -> None:
        content = unlike_any_other()
        digest = hashlib.sha256(content).hexdigest()
        body, kind = several_parts(
            {"joint": str(joint), "stage": "soldered", "sending": uuid4().hex},
            "photos",
            f"IMG_{digest[:6]}.jpg",
            content,
        )
        facts = {"board": number, "sha256": digest}
        write_act("sent", "photograph", **facts)
        status, text = self.until_settled(
            lambda: self.send(
                "photograph, sent",
                f"/boards/{number}/photos/",
                body,
                kind,
            )
        )
        states = [photo["state"] for photo in _json(text).get("photos", [])]
        if status in (200, 422) and states in (["added"], ["here"]):
            write_act("has", "photograph", **facts)

    def sign(self, number: str) -> None:
        """Open the page and sign; where no answer came, open it again and see."""
        address = f"/boards/{number}/grade/sign/soldered/"
        facts = {"board": number}
        for tries in range(20):
            shown = dict(SHOWN.findall(self.look("sign: page", address)))
            if shown:
                self.pause()
                write_act("sent", "signature", **facts)
                body = fields(shown=html.unescape(shown["shown"]), password=FACTS["password"])
                status, _text = self.send("sign", address, body, FORM, page=True)
                if status == 302:
                    write_act("has", "signature", **facts)
                    return
            time.sleep(RETRY_AFTER_S[min(tries, len(RETRY_AFTER_S) - 1)])


def _json(text: str) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


_photograph = (FOLDER / "photograph.jpg").read_bytes()


def unlike_any_other() -> bytes:
    """The photograph with a remark in it (JPEG's marker COM), so that no two are the same file."""
    remark = uuid4().bytes
    return b"\xff\xd8\xff\xfe" + (len(remark) + 2).to_bytes(2, "big") + remark + _photograph[2:]


class WorkLog(Person):
    """One quality manager, who has a work log checked and looks on."""

    fixed_count = 1
    wait_time = between(2, 3)

    def on_start(self) -> None:
        self.session = FACTS["work_log"]
        super().on_start()
        self.check = ""
        time.sleep(10)
        self.look("work log", "/work-log/")
        log = (FOLDER / "log.csv").read_bytes()
        body, kind = several_parts({"known": "now"}, "file", "log.csv", log)
        with self.client.post(
            "/work-log/",
            data=body,  # type: ignore[arg-type] # bytes go as they are
            name="work log, sent",
            headers={"Content-Type": kind, "X-CSRFToken": CSRF, "Origin": str(self.host)},
            allow_redirects=False,
            catch_response=True,
        ) as response:
            if response.status_code == 302:
                self.check = response.headers["Location"]
                write_act("has", "work log", address=self.check)
            else:
                response.failure(f"{response.status_code} {response.text[:100]}")

    @task
    def look_on(self) -> None:
        if self.check:
            self.look("work-log check", self.check)


class Bare(Person):
    """The peer, asked as often as a page is: one row, a small template, no middleware."""

    fixed_count = 3
    wait_time = between(0.5, 1.5)

    @task
    def row(self) -> None:
        self.look("bare view", f"/bare/row?number={draw.choice(FACTS['numbers'])}")


class BehindMiddleware(Person):
    """The same view behind the site's middleware, asked by somebody who is signed in."""

    fixed_count = 3
    wait_time = between(0.5, 1.5)

    def on_start(self) -> None:
        self.session = next(_sessions["cards"])
        super().on_start()

    @task
    def row(self) -> None:
        self.look("view behind middleware", f"/peer/row?number={draw.choice(FACTS['numbers'])}")
