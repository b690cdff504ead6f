"""Setting a site up: what is there and what is missing, and the few things done right there."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments.services.content_to_begin_with import add_content
from operations.exceptions import LinkIsOver, TrialRefused
from operations.forms.setup import MailTrialForm, OrganisationForm
from operations.models import MailTrial
from operations.presenters.setup_page import set_up_page
from operations.presenters.setup_steps import trial_in_words
from operations.queries.mail_trials import mail_truth
from operations.services import mail_trials
from people.access import UserRequest, role_required
from people.models import Installation, Role, User
from people.services.sites import name_organisation

FORM_METHODS = ["GET", "HEAD", "POST"]
AWAITED = (MailTrial.State.WAITING, MailTrial.State.SENT)


@require_safe
@role_required(Role.ADMINISTRATOR, Role.QUALITY)
def set_up(request: UserRequest) -> HttpResponse:
    person = request.user.person
    context = {
        "page": set_up_page(request.user, timezone.now()),
        "administers": request.user.has_role(Role.ADMINISTRATOR),
        "zone": person.site.zone if person else None,
    }
    return render(request, "operations/set_up.html", context)


@require_http_methods(FORM_METHODS)
@role_required(Role.ADMINISTRATOR)
def organisation(request: UserRequest) -> HttpResponse:
    now_named = Installation.objects.filter(pk=1).first()
    form = OrganisationForm(
        request.POST if request.method == "POST" else None,
        initial={"organisation": str(now_named or "")},
    )
    if request.method == "POST" and form.is_valid():
        name_organisation(**form.cleaned_data, actor=request.user, at=timezone.now())
        messages.success(request, _("What changed is saved."))
        return redirect("operations:set_up")
    status = 422 if form.is_bound else 200
    return render(request, "operations/organisation.html", {"form": form}, status=status)


@require_POST
@role_required(Role.ADMINISTRATOR)
def content_add(request: UserRequest) -> HttpResponse:
    """Add the exercises, courses and criteria that come along; what is there stays as it is."""
    added = add_content(actor=request.user, at=timezone.now())
    exercises, courses = len(added.exercises.added), len(added.courses.added)
    if not (exercises or courses or added.criteria):
        messages.success(request, _("All that comes along was there already."))
    else:
        counts = [
            ngettext("%(n)d exercise", "%(n)d exercises", exercises) % {"n": exercises},
            ngettext("%(n)d course", "%(n)d courses", courses) % {"n": courses},
        ]
        text = _("Added: %(exercises)s, %(courses)s.")
        messages.success(request, text % {"exercises": counts[0], "courses": counts[1]})
    if added.criteria:
        text = _("%(set)s is a draft for quality to confirm and publish.")
        messages.success(request, text % {"set": added.criteria})
    return redirect("operations:set_up")


@require_http_methods(FORM_METHODS)
@role_required(Role.ADMINISTRATOR)
def mail_trial(request: UserRequest) -> HttpResponse:
    """Send a test mail, and see what became of the last one."""
    now, person = timezone.now(), request.user.person
    form = MailTrialForm(
        request.POST if request.method == "POST" else None,
        initial={"recipient": person.email if person else ""},
    )
    if request.method == "POST" and form.is_valid():
        try:
            mail_trials.ask_for_trial(
                recipient=form.cleaned_data["recipient"], actor=request.user, at=now
            )
        except TrialRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect("operations:mail_trial")
    mail = mail_truth()
    zone = person.site.zone if person else None
    told = {trial for trial in (mail.arrived, mail.last) if trial is not None}
    context = {
        "form": form,
        "mail": mail,
        "told": [
            trial_in_words(trial, now, zone)
            for trial in sorted(told, key=lambda trial: trial.asked_at, reverse=True)
        ],
        "is_awaited": mail.last is not None and mail.last.state(now) in AWAITED,
    }
    page = "operations/partials/mail_told.html" if request.htmx else "operations/mail_trial.html"
    return render(request, page, context, status=422 if form.errors else 200)


@require_http_methods(FORM_METHODS)
def mail_arrived(request: HttpRequest, token: str) -> HttpResponse:
    """Where the link of a test mail leads: whoever follows it says that the mail is there.

    Opening it notes nothing, since programs open links before people do.
    """
    context: dict[str, object] = {"over": "", "trial": None, "noted": False}
    try:
        trial = mail_trials.trial_by(token)
    except LinkIsOver as error:
        return render(
            request, "operations/mail_arrived.html", context | {"over": str(error)}, status=410
        )
    if request.method == "POST":
        actor = request.user if isinstance(request.user, User) else None
        context["noted"] = mail_trials.note_arrival(trial=trial, actor=actor, at=timezone.now())
        trial.refresh_from_db(fields=["followed_at"])
    person = trial.asked_by.person
    context |= {"trial": trial, "zone": person.site.zone if person else None}
    return render(request, "operations/mail_arrived.html", context)
