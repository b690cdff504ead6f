"""What this app asks of the apps above it: whether somebody begins elsewhere today."""

from collections.abc import Callable
from datetime import datetime

from people.models import User

BeginsThere = Callable[[User, datetime], bool]

_first_page: tuple[str, BeginsThere] | None = None


def register_first_page(
    begins_there: BeginsThere | None, url_name: str = "operations:set_up"
) -> tuple[str, BeginsThere] | None:
    """Set who says whether somebody begins at a page of theirs; return who did before."""
    global _first_page
    before = _first_page
    _first_page = None if begins_there is None else (url_name, begins_there)
    return before


def first_page(user: User, now: datetime) -> str:
    """The name of the page somebody is led to before their own, or empty."""
    if _first_page is None:
        return ""
    url_name, begins_there = _first_page
    return url_name if begins_there(user, now) else ""
