"""Take README's pictures: a demo of its own, served, signed in to by role, photographed.

make pictures
"""

import os
import secrets
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tests.browser.launch import CHROMIUM, LAUNCH_ARGUMENTS

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs" / "pictures"
DESK, PHONE = (1280, 800), (390, 844)
PASSWORD = "solder-and-see"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def serve(folder: str, port: int) -> subprocess.Popen[bytes]:
    environment = {
        **os.environ,
        "DATA_DIR": folder,
        "SECRET_KEY": secrets.token_urlsafe(50),
        "PUBLIC_URL": f"http://127.0.0.1:{port}",
    }
    for name in ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL"):
        environment.pop(name, None)

    def manage(*words: str) -> None:
        subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, env=environment, check=True)

    manage("prepare")
    manage("load_demo")
    manage("send_reminders")
    return subprocess.Popen(
        [
            sys.executable, "-m", "gunicorn", "config.wsgi:application",
            "--bind", f"127.0.0.1:{port}", "--threads", "4", "--log-level", "warning",
        ],
        cwd=ROOT,
        env=environment,
    )  # fmt: skip


def wait_for(address: str) -> None:
    for _attempt in range(100):
        try:
            urllib.request.urlopen(address, timeout=2)
        except OSError:
            time.sleep(0.2)
        else:
            return
    raise SystemExit(f"Nothing answered at {address}.")


def take(
    browser: Browser, address: str, number: str, size: tuple[int, int], pages: dict[str, str]
) -> None:
    """Sign in as somebody and photograph pages, each by the name of its picture."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, base_url=address, color_scheme="light"
    )
    page = context.new_page()
    page.goto("/account/login/")
    page.fill("input[name=login]", number)
    page.fill("input[name=password]", PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url(lambda url: "login" not in url)
    for name, path in pages.items():
        answer = page.goto(path)
        if answer is None or not answer.ok:
            raise SystemExit(f"{path} answered {answer and answer.status}.")
        page.wait_for_load_state("networkidle")
        page.screenshot(path=PICTURES / f"{name}.png")
        print(f"docs/pictures/{name}.png")
    context.close()


def main() -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    with tempfile.TemporaryDirectory() as folder:
        server = serve(folder, port)
        try:
            wait_for(f"{address}/account/login/")
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, args=LAUNCH_ARGUMENTS
                )
                take(
                    browser, address, "10001", DESK,
                    {
                        "bench": "/bench/",
                        "grade": "/boards/CA-B-00082/grade/?stage=soldered",
                        "result": "/boards/CA-B-00027/result/",
                        "requirements": "/people/10202/scopes/TERM-OP/",
                    },
                )  # fmt: skip
                take(
                    browser, address, "10003", DESK,
                    {
                        "register": "/register/",
                        "life": "/standing/23/1/#h-life",
                        "reminders": "/reminders/outbox/",
                    },
                )  # fmt: skip
                take(browser, address, "10105", PHONE, {"card": "/my-card/"})
                browser.close()
        finally:
            server.terminate()
            server.wait()


if __name__ == "__main__":
    main()
