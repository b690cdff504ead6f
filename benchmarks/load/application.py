"""The site, and beside it in the same web process a view that no middleware stands before."""

from collections.abc import Callable, Iterable
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.test.utils import override_settings

from config.wsgi import application as site

with override_settings(MIDDLEWARE=[]):
    bare = WSGIHandler()


def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Answer `/bare/` past the middleware, and all else as the site does."""
    handler = bare if environ.get("PATH_INFO", "").startswith("/bare/") else site
    answer: Iterable[bytes] = handler(environ, start_response)
    return answer
