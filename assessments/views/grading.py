"""Grading a board, signing its stages, and reading the result."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers, patch_vary_headers
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from assessments import access, ports
from assessments.exceptions import AssessmentError
from assessments.forms.grading import CorrectionForm, ProofForm, SeenForm, StagesForm
from assessments.models import Grading, Judgement
from assessments.presenters import grading_page, grading_state
from assessments.presenters.class_position import position_across_class
from assessments.presenters.comparison import comparison_for
from assessments.presenters.judged_stages import stages_page
from assessments.presenters.judgement_words import verdict_name
from assessments.presenters.stage_shown import stage_shown
from assessments.queries import board_results, grading_assignment
from assessments.queries.board_for_grader import BoardForGrader
from assessments.queries.stage_to_sign import judgements_covered
from assessments.services import grading as services
from assessments.services.board_lock import refuse_if_cancelled
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.middleware import tablets
from people.models import Role
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise
from training import access as training_access
from training.models import ClassSession, Stage, Tool
from training.queries.tool_fitness import unfit

PAGE = "assessments/grade.html"
SCREEN = "assessments/partials/grade_screen.html"


def fetch_for_grader(request: UserRequest, number: str, own: bool) -> BoardForGrader:
    fetch = access.own_board if own else access.board_for_grader
    return BoardForGrader(fetch(request.user, number), request.user, own=own)


def show(
    request: UserRequest,
    for_grader: BoardForGrader,
    *,
    where: Mapping[str, Any] | None = None,
    forward: bool = False,
    error: str = "",
    announcement: str = "",
    overwrote: str = "",
) -> HttpResponse:
    """The screen: whole for a page, its inside for htmx; after a refusal with what was typed.

    `overwrote` tells of a judgement from another window that was replaced unseen.
    """
    data = where or (request.POST if request.method == "POST" else request.GET)
    seen = request.session.get("seen", {})
    magnification = SeenForm({"magnification": seen.get("magnification", "")})
    magnification.is_valid()
    session = _class_across(for_grader, data)
    screen = grading_page.grading_page(
        for_grader,
        stage_name=data.get("stage", ""),
        place_name=data.get("joint", ""),
        code=data.get("criterion", ""),
        photo_key=data.get("photo", ""),
        how=seen.get("how", ""),
        magnification=magnification.cleaned_data.get("magnification"),
        forward=forward,
        across=session.number if session else "",
    )
    walk = (
        position_across_class(session, for_grader, screen.place.name, screen.stage, timezone.now())
        if session
        else None
    )
    here = grading_page.reading_url(for_grader.board, for_grader.own, **screen.here)
    inside = request.htmx and not request.htmx.history_restore_request
    if request.method == "POST" and not inside and not error:
        if overwrote:
            messages.warning(request, overwrote)
        done = forward and screen.place.state != grading_page.OPEN
        return redirect(walk.next_open_url if walk and done and walk.next_open_url else here)
    tools = list(Tool.objects.filter(site=for_grader.board.site_id, retired_on__isnull=True))
    reasons = unfit(tools, for_grader.board.site.today())
    for tool in tools:
        tool.why_unfit = reasons.get(tool.pk, "")  # type: ignore[attr-defined]
    context = {
        "screen": screen,
        "class_walk": walk,
        "grading_state": grading_state.board_state(
            for_grader, screen, {tool.pk: tool.code for tool in tools}
        )
        | grading_state.class_state(walk),
        "board": for_grader.board,
        "error": error,
        "overwrote": overwrote,
        "typed": data if error else None,
        "announcement": " ".join(filter(None, (error, announcement, overwrote, _where(screen)))),
        "inside": inside,
        "looking": tablets.is_read_only(request),
        "there": request.get_full_path() if request.method == "GET" else here,
        "tools": tools,
    }
    response = render(request, SCREEN if inside else PAGE, context, status=422 if error else 200)
    if inside:
        # One entry in the browser's history for the whole of a grading: back leads out of it.
        response["HX-Replace-Url"] = here
    patch_vary_headers(response, ("HX-Request",))
    add_never_cache_headers(response)
    return response


def remember_seen(request: UserRequest, data: Mapping[str, Any]) -> None:
    """Keep how the grader looks at boards from one judgement to the next."""
    form = SeenForm(data)
    form.is_valid()
    seen = dict(request.session.get("seen", {}))
    if form.cleaned_data.get("how"):
        seen["how"] = form.cleaned_data["how"]
    if "magnification" in data and "magnification" in form.cleaned_data:
        value = form.cleaned_data["magnification"]
        seen["magnification"] = "" if value is None else str(value)
    if seen != request.session.get("seen", {}):
        request.session["seen"] = seen


def show_refusal(
    request: UserRequest, for_grader: BoardForGrader, error: AssessmentError | str
) -> HttpResponse:
    """The page with a refusal on it; the board's page where there is nothing to judge."""
    try:
        return show(request, for_grader, error=str(error))
    except AssessmentError:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", for_grader.board.number)


def _class_across(for_grader: BoardForGrader, data: Mapping[str, Any]) -> ClassSession | None:
    """The class across whose boards one position is judged, where that is what goes on."""
    number = data.get("across", "")
    if not number or for_grader.own:
        return None
    taught = training_access.sessions_taught_by(for_grader.user).select_related("site")
    return taught.filter(number=number).first()


def _where(screen: grading_page.GradingPage) -> str:
    """Where on the board the screen is now, for those who hear it."""
    place = screen.place.name if screen.place.joint else _("Whole board")
    if screen.line is None:
        return _("%(place)s: nothing is judged of it at this stage.") % {"place": place}
    return _("Now %(place)s, %(criterion)s: %(state)s.") % {
        "place": place,
        "criterion": screen.line.criterion.title,
        "state": verdict_name(screen.line.outcome),
    }


@require_safe
@login_required
def board_grade(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    for_grader = fetch_for_grader(request, number, own)
    board = for_grader.board
    try:
        refuse_if_cancelled(board)
        if for_grader.reading is None and len(for_grader.signings) == len(for_grader.stages):
            return redirect("assessments:board_result", board.number)
        if for_grader.reading is None and not own:
            services.refuse_unless_may_grade(request.user, board, timezone.now())
            for_grader.kind_to_begin()
        remember_seen(request, request.GET)
        return show(request, for_grader)
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)


@require_safe
@login_required
def board_comparison(request: UserRequest, number: str) -> HttpResponseBase:
    """What to hold a joint against: a part of the grading screen, or a page by itself."""
    response = _board_beside(request, number)
    patch_vary_headers(response, ("HX-Request",))
    add_never_cache_headers(response)
    return response


def _is_part(request: UserRequest) -> bool:
    return bool(request.htmx) and not request.htmx.history_restore_request


def _board_beside(request: UserRequest, number: str) -> HttpResponse:
    for_grader = fetch_for_grader(request, number, own=False)
    try:
        found = comparison_for(
            for_grader,
            request.user,
            stage_name=request.GET.get("stage", ""),
            place_name=request.GET.get("joint", ""),
            code=request.GET.get("criterion", ""),
            other=request.GET.get("other", ""),
        )
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", for_grader.board.number)
    if found is None:
        raise Http404
    context = {
        "board": for_grader.board,
        "comparison": found,
        "back": grading_page.reading_url(
            for_grader.board, False, stage=found.stage, joint=found.place,
            criterion=found.criterion.code if found.criterion else "",
        ),
    }  # fmt: skip
    part, page = "assessments/partials/comparison.html", "assessments/board_comparison.html"
    return render(request, part if _is_part(request) else page, context)


@require_http_methods(["GET", "POST"])
@login_required
def stage_sign(request: UserRequest, number: str, stage: str) -> HttpResponse:
    board = access.board_for_grader(request.user, number)
    reading = services.open_grading(board, request.user)
    if reading is None or stage not in board.exercise.stages:
        messages.error(request, _("There is nothing of yours to sign on this board."))
        return redirect("assessments:board_detail", board.number)
    now = timezone.now()
    form = ProofForm(
        request.POST if request.method == "POST" else None,
        showing=stage_shown(reading, stage, now),
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.sign_stage(
                grading=reading,
                stage=stage,
                signer=request.user,
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                at=timezone.now(),
                shown=form.shown_digest,
            )
        except ShownOtherwise:
            form.show_anew(stage_shown(reading, stage, now))
        except (AssessmentError, ProofRefused) as error:
            form.add_error("password", str(error))
        else:
            messages.success(
                request,
                _("Signed: %(board)s, stage “%(stage)s”.")
                % {"board": board.number, "stage": Stage(stage).label},
            )
            if services.open_grading(board, request.user) is not None:
                return redirect("assessments:board_grade", board.number)
            return redirect("assessments:board_result", board.number)
    before = grading_assignment.of_board(board).first_unsigned(reading, stage)
    judgements = judgements_covered(reading, stage)
    context = {
        "board": board,
        "grading": reading,
        "stage": Stage(stage),
        "summary": board_results.stage_summary(reading, stage),
        "signed_first": Stage(before) if before else None,
        "signed_first_url": grading_page.reading_url(board, False, stage=before or ""),
        "rejected": sorted(
            (row for row in judgements if row.outcome == Judgement.Outcome.REJECT),
            key=lambda row: (
                row.joint is None,
                row.joint.position.order if row.joint else 0,
                row.criterion.order,
            ),
        ),
        "judged": len(judgements),
        "with_the_rest": sum(row.with_the_rest for row in judgements),
        "form": form,
        "back": grading_page.reading_url(board, False, stage=stage),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/stage_sign.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR)
def stages_sign(request: UserRequest) -> HttpResponse:
    """Everything that the reader has judged and not signed, across boards, under one proof."""
    posted = request.POST if request.method == "POST" else None
    page = stages_page(request.user, timezone.now())
    form = StagesForm(posted, showing=page.showing)
    if posted is not None and form.is_valid():
        try:
            signings = services.sign_stages(
                stages=[
                    services.StageToSign(page.judged[key].grading, page.judged[key].stage, shown)
                    for key, shown in form.to_sign.items()
                ],
                signer=request.user,
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                at=timezone.now(),
            )
        except ShownOtherwise:
            page = stages_page(request.user, timezone.now())
            form = StagesForm(posted, showing=page.showing)
            form.is_valid()  # Which of them changed is said beside them.
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            n = len(signings)
            text = ngettext("Signed: %(n)d stage.", "Signed: %(n)d stages.", n) % {"n": n}
            messages.success(request, text)
            return redirect("assessments:stages_sign")
    context = {
        "page": page,
        "form": form,
        "rows": [(row, form.item(row.key) if row.shown else None) for row in page.rows],
    }
    status = 422 if form.is_bound else 200
    response = render(request, "assessments/stages_sign.html", context, status=status)
    add_never_cache_headers(response)
    return response


@require_http_methods(["GET", "POST"])
@login_required
def grading_correct(request: UserRequest, number: str, grading_id: int) -> HttpResponse:
    board = access.board_for_grader(request.user, number)
    grading = Grading.objects.counted().filter(board=board, pk=grading_id).first()
    if grading is None:
        raise Http404
    form = CorrectionForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            services.correct_grading(
                grading=grading,
                grader=request.user,
                reason=form.cleaned_data["reason"],
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            return redirect("assessments:board_grade", board.number)
    return render(
        request,
        "assessments/grading_correct.html",
        {
            "board": board,
            "grading": grading,
            "form": form,
            "resting": ports.what_rests_on(board),
        },
        status=422 if form.is_bound else 200,
    )
