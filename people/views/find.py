"""The one search: a page, and what the field in the top line shows while somebody types."""

from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe
from django_htmx.http import replace_url

from people.access import UserRequest, role_required
from people.models import Role
from people.presenters import search
from people.queries.finding import LONGEST

TOP_LINE, PAGE = "find-found", "found"
"""The parts of a page that are filled while somebody types."""


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def find(request: UserRequest) -> HttpResponse:
    """What has a name or number as typed; a single place is opened once it is sent."""
    text = " ".join(request.GET.get("q", "").split())[:LONGEST]
    target = request.htmx.target if request.htmx else None
    as_typed = target == TOP_LINE
    found = search.find(
        request.user, text, search.MOST_AS_TYPED if as_typed else search.MOST_ON_PAGE
    )
    context = {"text": text, "found": found, "count": len(found.hits)}
    if as_typed:
        return render(request, "people/partials/find_as_typed.html", context)
    if target == PAGE and not request.htmx.history_restore_request:
        response = render(request, "people/partials/found.html", context)
        # Back comes to the list again, also where one thing alone was found.
        listed = urlencode({"q": text, "listed": "yes"}) if text else ""
        return replace_url(response, f"{request.path}?{listed}")
    if found.only is not None and "listed" not in request.GET:
        return redirect(found.only.url)
    return render(request, "people/find.html", context)
