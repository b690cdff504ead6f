"""The calendar of what ends for somebody: its private address, and what stands there."""

import hashlib
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people.access import UserRequest, own_person
from people.queries.languages import in_language, language_of
from reminders.forms.calendars import CalendarForm
from reminders.models import CalendarFeed
from reminders.presenters import calendar_feed as feeds
from reminders.services import calendars


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
def calendar_address(request: UserRequest) -> HttpResponse:
    """Make or renew one's own address; it is shown in the answer and never again."""
    person = own_person(request.user)
    form = CalendarForm(request.POST if request.method == "POST" else None)
    address = ""
    if request.method == "POST" and form.is_valid():
        secret = calendars.make_address(
            person=person,
            in_full=form.cleaned_data["in_full"],
            actor=request.user,
            at=timezone.now(),
        )
        address = settings.PUBLIC_URL + reverse("reminders:calendar_feed", args=[secret])
    return render(
        request,
        "reminders/calendar.html",
        {
            "form": form,
            "feed": CalendarFeed.objects.filter(person=person).first(),
            "address": address,
            "subscribe": _to_subscribe(address) if address else "",
            "zone": person.site.zone,
        },
    )


def _to_subscribe(address: str) -> str:
    """The address as devices open it in their calendar: webcal asks without TLS, webcals with."""
    parts = urlsplit(address)
    return parts._replace(scheme="webcals" if parts.scheme == "https" else "webcal").geturl()


@require_POST
@login_required
def calendar_stop(request: UserRequest) -> HttpResponseRedirect:
    person = own_person(request.user)
    if calendars.stop_address(person=person, actor=request.user, at=timezone.now()):
        messages.success(request, _("The address no longer answers."))
    return redirect("reminders:calendar_address")


@require_safe
def calendar_feed(request: HttpRequest, secret: str) -> HttpResponseBase:
    """Somebody's calendar: who has the address needs no sign-in, since calendars have none."""
    now = timezone.now()
    feed = calendars.feed_by_secret(secret, now)
    if feed is None:
        raise Http404
    person = feed.person
    calendars.record_reading(feed, person.site.today(now))
    language = language_of(person)
    with in_language(language):
        body = feeds.calendar_of(person, now, feed.in_full)
    headers = {
        "Cache-Control": "private, max-age=3600",
        "Content-Disposition": 'inline; filename="certification.ics"',
        "Content-Language": language,
        "ETag": f'"{hashlib.sha256(body).hexdigest()}"',
        "X-Robots-Tag": "noindex",
        "Referrer-Policy": "no-referrer",
    }
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8", headers=headers)
    answer = get_conditional_response(request, etag=response.headers["ETag"], response=response)
    return answer or response
