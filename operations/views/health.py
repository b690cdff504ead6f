"""Whether reminders get out by themselves: a page for people and an answer for programs."""

from typing import Any

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from operations.services import health
from operations.services.health import State
from people.access import UserRequest, role_required
from people.models import Role

WORDS = {
    State.GOOD: ("accept", "is-accept", _("works")),
    State.ATTENTION: ("unsaved", "is-caution", _("works; look at this")),
    State.BAD: ("reject", "is-reject", _("does not work")),
}


@require_safe
@role_required(Role.ADMINISTRATOR)
def health_page(request: UserRequest) -> HttpResponse:
    now = timezone.now()
    found = health.signs(now)
    person = request.user.person
    return render(
        request,
        "operations/health.html",
        {
            "signs": [(sign, *WORDS[sign.state]) for sign in found],
            "bad": sum(not sign.ok for sign in found),
            "depth": health.queue_depth(),
            "now": now,
            "zone": person.site.zone if person else None,
        },
    )


@require_safe
@never_cache
def health_check(request: HttpRequest) -> JsonResponse:
    """Say to a monitoring program, which does not sign in, which part works; 503 if one does not.

    Nobody else learns more than that: no number, no name, no time. An administrator's answer
    has the figures too. The queue is not asked here, so that nobody can make the site wait
    for it: jobs that do not come out of it show as ``sending``.
    """
    try:
        found = health.signs(timezone.now())
        in_full = request.user.is_authenticated and request.user.has_role(Role.ADMINISTRATOR)
    except DatabaseError:
        return JsonResponse({"ok": False, "database": False}, status=503)
    ok = all(sign.ok for sign in found)
    said: dict[str, Any] = {"ok": ok, "database": True, **{one.part: one.ok for one in found}}
    if in_full:
        said["details"] = {
            one.part: {"state": one.state, "says": one.says, "last_at": one.last_at}
            for one in found
        }
        said["queue_depth"] = health.queue_depth()
    return JsonResponse(said, status=200 if ok else 503)
