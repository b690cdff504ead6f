"""Grading a board, signing its stages, and reading the result."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access, screens
from assessments.exceptions import AssessmentError
from assessments.forms.grading import CorrectionForm, JudgementForm, ProofForm, SeenForm
from assessments.models import Board, Criterion, Grading, Joint, Judgement
from assessments.services import grading as services
from assessments.services import outcomes
from training.access import UserRequest
from training.exceptions import ProofRefused
from training.models import Stage, Tool
from training.proof import prove_identity

PAGE = "assessments/grade.html"
SCREEN = "assessments/partials/grade_screen.html"


def _board(request: UserRequest, number: str, own: bool) -> Board:
    fetch = access.own_board if own else access.board_for_grader
    return fetch(request.user, number)


def _reading(board: Board, request: UserRequest, own: bool) -> Grading | None:
    if own:
        return board.gradings.filter(kind=Grading.Kind.OWN, grader=request.user).first()
    return services.open_grading(board, request.user)


def _begun(board: Board, request: UserRequest, own: bool) -> Grading:
    at = timezone.now()
    if own:
        return services.start_own_reading(board=board, trainee=request.user, at=at)
    return services.start_grading(board=board, grader=request.user, at=at)


def _remember_seen(request: HttpRequest, data) -> None:
    """Keep how the grader looks at boards from one judgement to the next."""
    form = SeenForm(data)
    if form.is_valid():
        seen = dict(request.session.get("seen", {}))
        if form.cleaned_data["how"]:
            seen["how"] = form.cleaned_data["how"]
        if "magnification" in data:
            value = form.cleaned_data["magnification"]
            seen["magnification"] = "" if value is None else str(value)
        if seen != request.session.get("seen"):
            request.session["seen"] = seen


def _show(
    request: UserRequest,
    board: Board,
    own: bool,
    *,
    forward: bool = False,
    error: str = "",
    said="",
) -> HttpResponse:
    data = request.POST if request.method == "POST" else request.GET
    seen = request.session.get("seen", {})
    form = SeenForm({"magnification": seen.get("magnification", "")})
    screen = screens.build(
        board,
        _reading(board, request, own),
        own=own,
        stage_name=data.get("stage", ""),
        place_name=data.get("joint", ""),
        code=data.get("criterion", ""),
        photo_key=data.get("photo", ""),
        how=seen.get("how", Judgement.How.PHOTOGRAPH),
        magnification=form.cleaned_data["magnification"] if form.is_valid() else None,
        forward=forward,
    )
    context = {
        "screen": screen,
        "board": board,
        "error": error,
        "said": said,
        "tools": Tool.objects.filter(site=board.site_id, retired_on__isnull=True),
        "others": []
        if own
        else Grading.objects.counted()
        .filter(board=board, signings__isnull=True, replaces__isnull=True)
        .exclude(grader=request.user)
        .select_related("grader__person"),
    }
    response = render(
        request, SCREEN if request.htmx else PAGE, context, status=422 if error else 200
    )
    if request.htmx and not error:
        here = {"stage": screen.stage.value, "joint": screen.place.name}
        if screen.line:
            here["criterion"] = screen.line.criterion.code
        response["HX-Push-Url"] = screens.reading_url(board, own, **here)
    return response


def _joint(board: Board, name: str) -> Joint | None:
    """The make that counts at a position; None for the whole board."""
    if name == screens.WHOLE_BOARD:
        return None
    for joint in outcomes.joints_that_count(board):
        if joint.position.name == name:
            return joint
    raise Http404


@require_safe
@login_required
def board_grade(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    board = _board(request, number, own)
    if not own and _reading(board, request, own) is None:
        try:
            services.refuse_unless_may_grade(request.user, board, timezone.now())
        except AssessmentError as error:
            messages.error(request, str(error))
            return redirect("assessments:board_detail", board.number)
        if not outcomes.stages_to_sign(board):
            return redirect("assessments:board_result", board.number)
    _remember_seen(request, request.GET)
    try:
        return _show(request, board, own)
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)


@require_POST
@login_required
def board_judge(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    board = _board(request, number, own)
    joint = _joint(board, request.POST.get("joint", ""))
    form = JudgementForm(request.POST, board=board)
    _remember_seen(request, request.POST)
    if not form.is_valid():
        problems = [error for errors in form.errors.values() for error in errors]
        return _show(request, board, own, error=" ".join(problems))
    try:
        reading = _begun(board, request, own)
        criterion = Criterion.objects.filter(
            criteria_set=reading.criteria_set, code=request.POST.get("criterion", "")
        ).first()
        if criterion is None:
            raise Http404
        services.judge(
            grading=reading,
            criterion=criterion,
            joint=joint,
            outcome=form.cleaned_data["outcome"],
            seen=form.seen(),
            at=timezone.now(),
        )
    except AssessmentError as error:
        return _show(request, board, own, error=str(error))
    said = _("%(place)s, %(criterion)s: %(outcome)s") % {
        "place": request.POST.get("joint", ""),
        "criterion": criterion.title,
        "outcome": Judgement.Outcome(form.cleaned_data["outcome"]).label,
    }
    return _show(request, board, own, forward=True, said=said)


@require_POST
@login_required
def board_accept_rest(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    board = _board(request, number, own)
    joint = _joint(board, request.POST.get("joint", ""))
    data = {"outcome": Judgement.Outcome.ACCEPT, **request.POST.dict(), "note": "", "value": ""}
    form = JudgementForm({**data, "outcome": Judgement.Outcome.ACCEPT}, board=board)
    _remember_seen(request, request.POST)
    if joint is None or not form.is_valid():
        return _show(request, board, own, error=_("Choose a joint first, then accept its rest."))
    try:
        count = services.accept_the_rest(
            grading=_begun(board, request, own),
            stage=request.POST.get("stage", ""),
            joints=[joint],
            seen=form.seen(),
            at=timezone.now(),
        )
    except AssessmentError as error:
        return _show(request, board, own, error=str(error))
    said = _("%(place)s: %(count)d accepted with the rest") % {"place": joint, "count": count}
    return _show(request, board, own, forward=True, said=said)


@require_POST
@login_required
def board_undo(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    board = _board(request, number, own)
    reading = _reading(board, request, own)
    if reading is None:
        return _show(request, board, own, error=_("There is nothing to take back."))
    try:
        step = services.undo(grading=reading)
    except AssessmentError as error:
        return _show(request, board, own, error=str(error))
    if step is None:
        return _show(request, board, own, error=_("There is nothing to take back."))
    first = step.before[0]
    query = request.POST.copy()
    query["stage"] = step.stage
    joint = Joint.objects.filter(pk=first["joint"]).select_related("position").first()
    query["joint"] = joint.position.name if joint else screens.WHOLE_BOARD
    query["criterion"] = Criterion.objects.values_list("code", flat=True).get(pk=first["criterion"])
    request.POST = query  # type: ignore[assignment]
    return _show(request, board, own, said=_("Taken back"))


@require_http_methods(["GET", "POST"])
@login_required
def stage_sign(request: UserRequest, number: str, stage: str) -> HttpResponse:
    board = access.board_for_grader(request.user, number)
    reading = services.open_grading(board, request.user)
    if reading is None or stage not in board.exercise.stages:
        messages.error(request, _("There is nothing of yours to sign on this board."))
        return redirect("assessments:board_detail", board.number)
    form = ProofForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            services.sign_stage(
                grading=reading,
                stage=stage,
                signer=request.user,
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                at=timezone.now(),
            )
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
    summary = outcomes.stage_summary(reading, stage)
    return render(
        request,
        "assessments/stage_sign.html",
        {
            "board": board,
            "grading": reading,
            "stage": Stage(stage),
            "summary": summary,
            "rejected": [(joint, one) for joint, one in summary.joints if one.rejected],
            "form": form,
            "back": screens.reading_url(board, False, stage=stage),
        },
        status=422 if form.is_bound else 200,
    )


@require_safe
@login_required
def board_result(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    reading = outcomes.read_board(board)
    gradings = (
        Grading.objects.counted()
        .filter(board=board, signings__isnull=False)
        .select_related("grader__person", "criteria_set", "replaces")
        .prefetch_related("signings__signature")
        .distinct()
        .order_by("recorded_at")
    )
    own = board.gradings.filter(kind=Grading.Kind.OWN).first()
    return render(
        request,
        "assessments/board_result.html",
        {
            "board": board,
            "reading": reading,
            "gradings": gradings,
            "stages": [(one, reading.signings.get(one.value)) for one in board.exercise.stage_list],
            "faults": [one for one in (*reading.joints, *reading.spare) if one.rejections],
            "may_grade": access.boards_gradable_by(request.user).filter(pk=board.pk).exists(),
            "own_reading": own,
            "comparison": outcomes.compare_with_own(reading, own) if own else None,
            "latest": gradings.filter(replaced_by__isnull=True).last(),
        },
    )


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
        {"board": board, "grading": grading, "form": form},
        status=422 if form.is_bound else 200,
    )
