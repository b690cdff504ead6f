"""Whether reminders get out and the records fit: a page for people and an answer for programs."""

from typing import Any

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from operations.queries import health
from operations.queries.health import State
from people.access import UserRequest, role_required
from people.models import Role

STATE_MARKS = {
    State.GOOD: ("accept", "is-accept", _("works")),
    State.NOT_YET: ("open", "is-none", _("not yet")),
    State.ATTENTION: ("unsaved", "is-caution", _("works; look at this")),
    State.BAD: ("reject", "is-reject", _("does not work")),
}


@require_safe
@role_required(Role.ADMINISTRATOR)
def health_page(request: UserRequest) -> HttpResponse:
    now = timezone.now()
    components = health.component_health(now)
    person = request.user.person
    return render(
        request,
        "operations/health.html",
        {
            "signs": [(component, *STATE_MARKS[component.state]) for component in components],
            "bad": sum(not component.ok for component in components),
            "depths": health.queue_depths(),
            "reminders_held_up": any(
                not component.ok
                for component in components
                if component.part
                not in (health.RECORDS, health.STAMPS, health.BACK_UP, health.FILES)
            ),
            "back_up_is_missing": any(
                not component.ok for component in components if component.part == health.BACK_UP
            ),
            "records_in_doubt": any(
                not component.ok for component in components if component.part == health.RECORDS
            ),
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
        components = health.component_health(timezone.now())
        in_full = request.user.is_authenticated and request.user.has_role(Role.ADMINISTRATOR)
    except DatabaseError:
        return JsonResponse({"ok": False, "database": False}, status=503)
    ok = all(component.ok for component in components)
    answer: dict[str, Any] = {
        "ok": ok,
        "database": True,
        **{component.part: component.ok for component in components},
    }
    if in_full:
        answer["details"] = {
            component.part: {
                "state": component.state,
                "says": component.says,
                "last_at": component.last_at,
                "due_at": component.due_at,
            }
            for component in components
        }
        depths = health.queue_depths()
        answer["queue_depth"] = None if depths is None else sum(depths.values())
        answer["queue_depths"] = depths
    return JsonResponse(answer, status=200 if ok else 503)
