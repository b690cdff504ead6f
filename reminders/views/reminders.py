"""What will be sent, what was, and who is reached on paper."""

from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from people.access import UserRequest, role_required
from people.models import Role, Site
from people.presenters.paper import not_printed
from reminders import access
from reminders.exceptions import ReminderError
from reminders.forms.reminders import ComingForm, OutboxForm
from reminders.models import Message, SiteSweep
from reminders.presenters import printed_list
from reminders.presenters import reminder_pages as reminder_screens
from reminders.services import mail

WATCHERS = (Role.INSTRUCTOR, Role.QUALITY, Role.ADMINISTRATOR)
SENDERS = (Role.QUALITY, Role.ADMINISTRATOR)
MESSAGES_A_PAGE = 50


def _chosen_site(request: UserRequest) -> tuple[ComingForm, Site]:
    person = request.user.person
    form = ComingForm(
        request.GET,
        sites=access.sites_with_reminders_for(request.user),
        own=person.site if person else None,
    )
    form.is_valid()
    return form, form.chosen_site()


def _page_context(request: UserRequest, site: Site, now: datetime) -> dict[str, Any]:
    """What the title block and the tabs of these pages say."""
    return {
        "site": site,
        "today": site.today(now),
        "now": now,
        "swept": SiteSweep.objects.filter(site=site).first(),
        "sees_mails": request.user.has_role(*SENDERS),
    }


@require_safe
@role_required(*WATCHERS)
def reminders_coming(request: UserRequest) -> HttpResponse:
    """What would go out in the coming days, from the sweep's own rules."""
    form, site = _chosen_site(request)
    now = timezone.now()
    in_full = access.reads_kinds_of_ends(request.user, site)
    days = reminder_screens.days_to_come(site, now, form.text(), in_full)
    return render(
        request,
        "reminders/reminders_coming.html",
        {
            **_page_context(request, site, now),
            "form": form,
            "days": days,
            "total": sum(day.number for day in days),
            "asked_for": form.text(),
        },
    )


@require_safe
@role_required(*WATCHERS)
def reminders_printed_list(request: UserRequest) -> HttpResponse:
    form, site = _chosen_site(request)
    now = timezone.now()
    people = reminder_screens.printed_list(site, now)
    return render(
        request,
        "reminders/reminders_printed_list.html",
        {
            **_page_context(request, site, now),
            "form": form,
            "people": people,
            "lacking": not_printed(printed_list.texts_on_list(site, people)),
        },
    )


@require_safe
@role_required(*WATCHERS)
def reminders_printed_list_pdf(request: UserRequest) -> HttpResponse:
    """The same list as it is printed."""
    _form, site = _chosen_site(request)
    now = timezone.now()
    people = reminder_screens.printed_list(site, now)
    content = printed_list.printed_list_pdf(site, people, at=now)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="printed-list.pdf"'
    return response


@require_safe
@role_required(*SENDERS)
def reminders_outbox(request: UserRequest) -> HttpResponse:
    form = OutboxForm(request.GET)
    form.is_valid()
    mine = access.messages_readable_by(request.user)
    listed = form.narrowed(mine).with_list_columns()
    page = Paginator(listed, MESSAGES_A_PAGE).get_page(request.GET.get("page"))
    shown = [(message, *reminder_screens.SHAPES[message.state]) for message in page]
    return render(
        request,
        "reminders/reminders_outbox.html",
        {
            "form": form,
            "page": page,
            "shown": shown,
            "failed": mine.in_state(Message.State.FAILED).count(),
            "retried": mine.in_state(Message.State.RETRIED).count(),
            "any": page.paginator.count or mine.exists(),
            "now": timezone.now(),
            "sees_mails": True,
        },
    )


@require_safe
@role_required(*SENDERS)
def reminder_message(request: UserRequest, message_id: int) -> HttpResponse:
    message = access.message_for_reader(request.user, message_id)
    in_full = access.reads_kinds_of_ends(request.user, message.site)
    failed = message.state == Message.State.FAILED
    shape, tone = reminder_screens.SHAPES[message.state]
    return render(
        request,
        "reminders/reminders_message.html",
        {
            "message": message,
            "shape": shape,
            "tone": tone,
            "text": reminder_screens.text_for(message, in_full),
            "reminders": reminder_screens.reminders_in(message, in_full),
            "may_send_again": failed
            and request.user.has_role(Role.ADMINISTRATOR, site=message.site_id),
            "zone": message.site.zone,
        },
    )


@require_POST
@role_required(*SENDERS)
def reminder_message_send_again(request: UserRequest, message_id: int) -> HttpResponseRedirect:
    message = access.message_for_administrator(request.user, message_id)
    try:
        mail.send_again(message=message, actor=request.user, at=timezone.now())
    except ReminderError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("It goes out with the next round, or in the next message."))
    return redirect("reminders:reminder_message", message.pk)
