"""From a list of names to a class: put them in one that is planned, or plan one for them."""

from collections.abc import Sequence

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from people import access as people_access
from people.access import UserRequest, role_required
from people.models import Person, Role
from training import access
from training.exceptions import InAnotherClass, TrainingError
from training.forms.placing import PlacesForm, people_named
from training.models import Enrolment
from training.presenters.placing import places_for
from training.services import courses as services


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR)
def class_places(request: UserRequest) -> HttpResponse:
    """Who was ticked in a list, beside the classes to come that they can be put in."""
    user, now = request.user, timezone.now()
    sent = request.POST if request.method == "POST" else request.GET
    people = people_named(sent, people_access.people_listed_for(user))
    days = people_access.days_for(user, user.sites_as(Role.INSTRUCTOR), now)
    to_come = days.each(lambda day: Q(ends_on__gte=day), "site")
    sessions = access.sessions_taught_by(user).standing().filter(to_come)
    form = PlacesForm(request.POST if request.method == "POST" else None, sessions=sessions)
    overlaps: Sequence[Enrolment] = ()
    if request.method == "POST" and not people:
        form.add_error(None, _("Nobody is ticked. Tick somebody, or go back to the list."))
    if form.is_valid():
        session = form.cleaned_data["session"]
        try:
            enrolled = services.enrol_people(
                session=session,
                people=people,
                actor=user,
                at=now,
                overlaps=request.POST.getlist("overlap"),
            )
        except InAnotherClass as error:
            overlaps = error.enrolments
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _placed(people, len(enrolled)))
            return redirect("training:class_detail", session.number)
    listed = sessions.with_list_columns().order_by("starts_on", "number")
    context = {
        "places": places_for(people, access.sessions_readable_by(user), listed, days.first),
        "form": form,
        "overlaps": overlaps,
        "chosen": sent.get("session", ""),
        "query": "&".join(f"person={person.employee_number}" for person in people),
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/class_places.html", context, status=status)


def _placed(people: Sequence[Person], newcomers: int) -> str:
    message = ngettext("%(n)d person is enrolled.", "%(n)d people are enrolled.", newcomers) % {
        "n": newcomers
    }
    already = len(people) - newcomers
    if already:
        message += " " + ngettext(
            "%(n)d was in the class already.", "%(n)d were in the class already.", already
        ) % {"n": already}
    return message
