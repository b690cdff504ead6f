"""The bench check: a number, a stamp or a name and a kind of work in, a plain yes or no out.

The form is sent by GET, so that it works without a script, needs no token that could run
out on a kiosk, and asks for nothing to be done.
"""

from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from certification.access import CHECKS, sites_to_check_at
from certification.models import Scope
from certification.presenters import bench_check
from certification.presenters.bench_check import Answer, PersonHere
from people.access import UserRequest, role_required
from people.models import Role, Site

LONGEST_NUMBER = 64
REMEMBERED = "bench_check_scope"


@never_cache
@require_safe
@role_required(*CHECKS)
def bench_check_page(request: UserRequest) -> HttpResponse:
    """Answer at once where a number came with the work; remember the work for the next one."""
    number = as_scanned(request.GET.get("number", ""))
    code = request.GET.get("scope", "").strip() or request.session.get(REMEMBERED, "")
    scopes = list(bench_check.scopes_offered())
    chosen = next((scope for scope in scopes if scope.code == code), None)
    if chosen is not None and request.session.get(REMEMBERED) != code:
        request.session[REMEMBERED] = code
    sites = sites_to_check_at(request.user)
    context: dict[str, Any] = {
        "scopes": scopes,
        "chosen": chosen,
        "sites": sites,
        "number": number,
        "no_work_chosen": bool(number and not code),
    }
    if number and code:
        context |= _answered(request, number, code, chosen, sites)
    page = "partials/bench_check_answer" if request.htmx else "bench_check"
    return render(request, f"certification/{page}.html", context)


def as_scanned(text: str) -> str:
    """A number without what a scanner puts around it: spaces, line ends, control characters."""
    kept = "".join(character for character in text if character.isprintable())
    return kept.strip()[:LONGEST_NUMBER]


def _answered(
    request: UserRequest, text: str, code: str, scope: Scope | None, sites: list[Site]
) -> dict[str, Any]:
    """The answer on the day that it is where the person works, by number, stamp or name."""
    now = timezone.now()
    answer, where = _answer(text, code, sites, now)
    several: list[PersonHere] = []
    if answer.person is None:
        meant = [
            one
            for site in sites
            for one in bench_check.people_meant(text, sites=[site.pk], day=site.today(now))
        ]
        if len(meant) == 1:
            answer, where = _answer(meant[0].employee_number, code, sites, now)
        several = meant if len(meant) > 1 else []
    return {
        "answer": answer,
        "asked_for": text if answer.employee_number != text else "",
        "several": several[: bench_check.MOST_MEANT],
        "more": len(several) > bench_check.MOST_MEANT,
        # Nobody reads off a kiosk who works here.
        "names_them": not request.user.has_role(Role.KIOSK),
        "reason": bench_check.REASONS.get(answer.standing, ""),
        "is_unknown": answer.standing in bench_check.UNKNOWN,
        "work": scope,
        "now": now,
        "zone": where.time_zone,
    }


def _answer(number: str, code: str, sites: list[Site], now: datetime) -> tuple[Answer, Site]:
    found = [
        (bench_check.answer(number, code, sites=[site.pk], day=site.today(now)), site)
        for site in sites
    ]
    return next((pair for pair in found if pair[0].person), found[0])
