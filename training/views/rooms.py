"""The rooms of a site."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from people.access import UserRequest, role_required
from people.models import Role, Site
from training import access
from training.exceptions import TrainingError
from training.forms.rooms import RoomForm
from training.services import rooms as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def room_list(request: UserRequest) -> HttpResponse:
    context = {
        "rooms": access.rooms_readable_by(request.user),
        "kept_at": request.user.sites_as(Role.INSTRUCTOR),
    }
    return render(request, "training/room_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def room_new(request: UserRequest) -> HttpResponse:
    form = RoomForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.filter(pk__in=request.user.sites_as(Role.INSTRUCTOR)),
    )
    if request.method == "POST" and form.is_valid():
        try:
            room = services.add_room(**form.cleaned_data, actor=request.user, at=timezone.now())
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(room)s is entered.") % {"room": room})
            return redirect("training:room_list")
    status = 422 if form.is_bound else 200
    return render(request, "training/room_form.html", {"form": form}, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def room_edit(request: UserRequest, room_id: int) -> HttpResponse:
    room = access.room_for_instructor(request.user, room_id)
    form = RoomForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.none(),
        room=room,
        initial={"name": room.name, "benches": room.benches, "closed_on": room.closed_on},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_room(
                room=room, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("training:room_list")
    context = {"form": form, "room": room}
    status = 422 if form.is_bound else 200
    return render(request, "training/room_form.html", context, status=status)
