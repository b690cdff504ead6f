"""The class of the day on a tablet: every trainee's boards, stage by stage, a tap each."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Q
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers, patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.class_day import PassForm, PositionForm, TakeBackForm
from assessments.forms.grading import SeenForm
from assessments.presenters.class_day import class_day as lay_out
from assessments.presenters.class_position import boards_of_exercise, first_stop
from assessments.services import class_day as services
from people import access as people_access
from people.access import UserRequest, role_required
from people.models import Role
from training import access as training_access
from training.content.cautions import CLOSING
from training.models import ClassSession, Stage
from training.models.courses import runs_on
from training.presenters import exercise_page
from training.queries.classes import exercises_taught

PAGE = "assessments/class_day.html"
INSIDE = "assessments/partials/class_day.html"


@require_safe
@role_required(Role.INSTRUCTOR)
def class_day_today(request: UserRequest) -> HttpResponse:
    """The class that runs today; a choice where there are several, and what is next if none."""
    taught = training_access.sessions_taught_by(request.user).with_list_columns()
    days = people_access.days_for(
        request.user, request.user.sites_as(Role.INSTRUCTOR), timezone.now()
    )
    running = list(taught.filter(days.each(runs_on, "site")).order_by("number"))
    own = [
        class_session for class_session in running if class_session.instructor_id == request.user.pk
    ] or running
    if len(own) == 1:
        return redirect("assessments:class_day", own[0].number)
    to_come = days.each(lambda day: Q(starts_on__gt=day), "site")
    coming = taught.filter(to_come).order_by("starts_on", "number").first()
    context = {"sessions": running, "coming": coming, "today": days.day}
    return render(request, "assessments/class_day_choose.html", context)


@require_safe
@login_required
def class_day(request: UserRequest, number: str) -> HttpResponse:
    return _show(request, training_access.session_for_instructor(request.user, number))


def _show(
    request: UserRequest,
    session: ClassSession,
    *,
    announcement: str = "",
    error: str = "",
    passed: tuple[str, str] | None = None,
) -> HttpResponse:
    """The page, or its inside for htmx; `passed` is a board and a key, to be taken back by."""
    now = timezone.now()
    inside = request.htmx and not request.htmx.history_restore_request
    context: dict[str, Any] = {
        "day": lay_out(session, request.user, now),
        "session": session,
        "today": session.site.today(now),
        "announcement": announcement,
        "error": error,
        "passed": passed,
    }
    if not inside:
        taught = exercises_taught(session, context["today"])
        context |= {
            "taught": taught,
            "cautions": exercise_page.cautions_with(
                {code for exercise in taught for code in exercise_page.codes_of(exercise)}
            ),
            "closing": _(CLOSING),
        }
    response = render(request, INSIDE if inside else PAGE, context, status=422 if error else 200)
    patch_vary_headers(response, ("HX-Request",))
    add_never_cache_headers(response)
    return response


@require_safe
@login_required
def class_position(request: UserRequest, number: str) -> HttpResponse:
    """Begin to judge one position on every board of an exercise, at the first that is open."""
    session = training_access.session_for_instructor(request.user, number)
    form = PositionForm(request.GET)
    if not form.is_valid():
        raise Http404
    all_for_grader = boards_of_exercise(
        session, request.user, form.cleaned_data["exercise"], timezone.now()
    )
    stage = Stage(form.cleaned_data["stage"])
    there = [
        board_for_grader for board_for_grader in all_for_grader if stage in board_for_grader.stages
    ]
    url = first_stop(there, session, stage, form.cleaned_data["position"])
    if not url:
        messages.error(request, _("No board of the class has that joint to judge at this stage."))
    return redirect(url or reverse("assessments:class_day", args=[session.number]))


@require_POST
@login_required
def class_pass(request: UserRequest, number: str) -> HttpResponse:
    """Accept all that is open at one stage of one board; nothing is signed by it."""
    session = training_access.session_for_instructor(request.user, number)
    form = PassForm(request.POST)
    if not form.is_valid():
        raise Http404
    now = timezone.now()
    board = access.board_of_class(
        request.user, session, session.site.today(now), form.cleaned_data["board"]
    )
    magnification = SeenForm(
        {"magnification": request.session.get("seen", {}).get("magnification")}
    )
    magnification.is_valid()
    key = form.cleaned_data["key"]
    try:
        count = services.pass_stage(
            board=board,
            stage=form.cleaned_data["stage"],
            grader=request.user,
            magnification=magnification.cleaned_data.get("magnification"),
            at=now,
            key=key,
        )
    except AssessmentError as error:
        return _show(request, session, error=f"{board.person.full_name}, {board}: {error}")
    text = _("%(person)s, %(board)s, %(stage)s: %(count)d accepted with the rest.") % {
        "person": board.person.full_name,
        "board": board,
        "stage": Stage(form.cleaned_data["stage"]).label,
        "count": count,
    }
    if not request.htmx:
        messages.success(request, text)
        return redirect("assessments:class_day", session.number)
    return _show(
        request, session, announcement=text, passed=(board.number, str(key)) if key else None
    )


@require_POST
@login_required
def class_take_back(request: UserRequest, number: str) -> HttpResponse:
    """Take back the stage that was passed last, if nothing was judged on the board since."""
    session = training_access.session_for_instructor(request.user, number)
    form = TakeBackForm(request.POST)
    if not form.is_valid():
        raise Http404
    today = session.site.today(timezone.now())
    board = access.board_of_class(request.user, session, today, form.cleaned_data["board"])
    try:
        stage = services.take_back_pass(
            board=board, grader=request.user, key=form.cleaned_data["key"]
        )
    except AssessmentError as error:
        return _show(request, session, error=f"{board.person.full_name}, {board}: {error}")
    text = _("%(person)s, %(board)s, %(stage)s: taken back.") % {
        "person": board.person.full_name,
        "board": board,
        "stage": Stage(stage).label,
    }
    if not request.htmx:
        messages.success(request, text)
        return redirect("assessments:class_day", session.number)
    return _show(request, session, announcement=text)
