"""What was done with one's own sign-in, for oneself alone."""

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from people.access import UserRequest
from people.presenters import own_sign_in as presenter


@never_cache
@require_safe
@login_required
def own_sign_in(request: UserRequest) -> HttpResponse:
    context = {
        "lines": presenter.lines(request.user),
        "zone": request.user.person.site.zone if request.user.person else None,
    }
    return render(request, "people/own_sign_in.html", context)
