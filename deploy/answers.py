"""Ends with 0 once the web process answers, and with 1 after three minutes without.

python3 deploy/answers.py 127.0.0.1:8000
"""

import http.client
import sys
import time

WITHIN_S = 180.0


def answers(bind: str) -> bool:
    # Where it listens on every address, it listens on this machine's own.
    own = bind.replace("0.0.0.0:", "127.0.0.1:").replace("[::]:", "[::1]:")
    link = http.client.HTTPConnection(own, timeout=10)
    try:
        link.request("GET", "/health/check/", headers={"X-Forwarded-Proto": "https"})
        # 503 is a site whose worker has not said that it lives.
        return link.getresponse().status != 500
    except (OSError, http.client.HTTPException):
        return False
    finally:
        link.close()


def main(bind: str) -> None:
    until = time.monotonic() + WITHIN_S
    while not answers(bind):
        if time.monotonic() > until:
            sys.exit(1)
        time.sleep(0.5)


if __name__ == "__main__":
    main(sys.argv[1])
