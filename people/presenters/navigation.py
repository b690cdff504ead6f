"""What the top line and the foot of every page link to, by role.

Each app registers its own pages when it starts; a page whose URL name does not resolve is
left out, so that an app can be absent without breaking the others.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from django.http import HttpRequest
from django.urls import NoReverseMatch, get_script_prefix, reverse
from django.utils.translation import gettext_lazy as _

Place = Literal["top", "foot", "find"]

KIOSK = "kiosk"
ROLE_WORDS = {
    "quality": _("quality"),
    "instructor": _("instructor"),
    "line_lead": _("line lead"),
    "administrator": _("administrator"),
    "operator": _("operator"),
    "kiosk": _("kiosk"),
}


@dataclass(frozen=True)
class Entry:
    """One page that people are led to."""

    label: Any
    url_name: str
    roles: frozenset[str] | None
    order: int
    place: Place
    top_for: frozenset[str] | None = None
    covers: frozenset[str] = frozenset()
    count: Callable[[Any], int] | None = None


_entries: dict[str, Entry] = {}


def register(
    label: Any,
    url_name: str,
    roles: Collection[str] | None = None,
    order: int = 50,
    place: Place = "top",
    top_for: Collection[str] | None = None,
    covers: Collection[str] = (),
    count: Callable[[Any], int] | None = None,
) -> None:
    """Lead people with one of the roles to a page; registering a URL name again replaces it.

    Parameters
    ----------
    label : str or lazy str
        What the link says.
    url_name : str
        Name of a URL that takes no arguments, such as ``training:bench``.
    roles : collection of str or None
        The roles that see it; None is everyone who is signed in.
    order : int
        Lower comes first.
    place : {"top", "foot", "find"}
        ``top`` is the top line and the foot, ``foot`` the foot alone, ``find`` the page that
        answers the find field; it stands at the foot too, for phones have no field.
    top_for : collection of str or None
        Of those who see it, the roles whose top line has it; the foot alone leads the others
        to it. None is all of them.
    covers : collection of str
        Names of URLs that belong to it though their addresses stand below another page's.
    count : callable or None
        How many things wait there for a user, asked with every page: it must be quick.
    """
    seen_by = None if roles is None else frozenset(roles)
    at_top = None if top_for is None else frozenset(top_for)
    _entries[url_name] = Entry(
        label, url_name, seen_by, order, place, at_top, frozenset(covers), count
    )


def role_names(user: Any) -> frozenset[str]:
    """Every role a user has at any site; empty for someone who is not signed in."""
    if not getattr(user, "is_authenticated", False):
        return frozenset()
    names = getattr(user, "role_names", None)
    roles = set(names() if callable(names) else ())
    if getattr(user, "is_superuser", False):
        roles.add("administrator")
    return frozenset(str(role) for role in roles)


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Context processor: ``navigation`` with ``top``, ``all``, ``find_url`` and ``role_word``."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {"navigation": {"top": [], "all": [], "find_url": "", "role_word": ""}}
    roles = role_names(user)
    match = request.resolver_match
    links = _links(request.path, match.view_name if match else "", roles)
    for link in links:
        link["waiting"] = link["count"](user) if link["count"] is not None else 0
    return {
        "navigation": {
            "top": [link for link in links if link["place"] == "top"],
            "all": links,
            "find_url": next((link["url"] for link in links if link["place"] == "find"), ""),
            "role_word": next((word for role, word in ROLE_WORDS.items() if role in roles), ""),
        }
    }


@lru_cache(maxsize=512)  # A few dozen pages below one prefix, whatever a request claims it is.
def _address(url_name: str, _prefix: str) -> str:
    """Where a page is below what the site is served at; each page leads to dozens of others."""
    return reverse(url_name)


def _links(path: str, view_name: str, roles: frozenset[str]) -> list[dict[str, Any]]:
    links = []
    for entry in sorted(_entries.values(), key=lambda entry: (entry.order, entry.url_name)):
        # What everybody sees is for people, and a kiosk is nobody.
        if KIOSK in roles and (entry.roles is None or KIOSK not in entry.roles):
            continue
        if entry.roles is not None and not entry.roles & roles:
            continue
        try:
            url = _address(entry.url_name, get_script_prefix())
        except NoReverseMatch:
            continue
        place = entry.place
        if place == "top" and entry.top_for is not None and not entry.top_for & roles:
            place = "foot"
        links.append(
            {
                "label": entry.label,
                "url": url,
                "place": place,
                "covers": view_name in entry.covers,
                "current": "",
                "count": entry.count,
            }
        )
    current = [link for link in links if link["url"] != "/" and path.startswith(link["url"])]
    current += [link for link in links if link["url"] == path]
    current = [link for link in links if link["covers"]] or current
    if current:
        nearest = max(current, key=lambda link: len(link["url"]))
        nearest["current"] = "page" if nearest["url"] == path else "true"
    return links


register(_("Password"), "account_change_password", order=95, place="foot")
register(_("Last sign-ins"), "people:own_sign_in", order=96, place="foot")
