"""Grading a board, signing its stages, and reading the result."""

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import F
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers, patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.grading import CorrectionForm, JudgementForm, ProofForm, SeenForm
from assessments.models import Grading, Joint, Judgement, UndoStep
from assessments.presenters import board_readings, grading_page, grading_state, result_page
from assessments.presenters.class_position import across
from assessments.presenters.comparison import beside
from assessments.presenters.result_sheet import may_print
from assessments.queries import board_results, grading_assignment
from assessments.queries.board_for_grader import Desk
from assessments.services import grading as services
from assessments.templatetags.judging import verdict_name
from people.access import UserRequest
from people.exceptions import ProofRefused
from people.middleware import tablets
from people.middleware.languages import in_own_language
from people.services.proof import prove_identity
from training import access as training_access
from training.models import ClassSession, Stage, Tool

from . import sent
from .sent import key_of, remember_seen, wants_json

PAGE = "assessments/grade.html"
SCREEN = "assessments/partials/grade_screen.html"


def _desk(request: UserRequest, number: str, own: bool) -> Desk:
    fetch = access.own_board if own else access.board_for_grader
    return Desk(fetch(request.user, number), request.user, own=own)


def _begun(desk: Desk) -> Grading:
    """The reading that a judgement belongs to, begun by the first of them."""
    if desk.reading is None:
        at = timezone.now()
        desk.reading = (
            services.start_own_reading(board=desk.board, trainee=desk.user, at=at)
            if desk.own
            else services.start_grading(board=desk.board, grader=desk.user, at=at)
        )
    return desk.reading


def _show(
    request: UserRequest,
    desk: Desk,
    *,
    where: Mapping[str, Any] | None = None,
    forward: bool = False,
    error: str = "",
    said: str = "",
) -> HttpResponse:
    """The screen: whole for a page, its inside for htmx; after a refusal with what was typed."""
    data = where or (request.POST if request.method == "POST" else request.GET)
    seen = request.session.get("seen", {})
    magnification = SeenForm({"magnification": seen.get("magnification", "")})
    magnification.is_valid()
    session = _class_across(desk, data)
    screen = grading_page.build(
        desk,
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
        across(session, desk, screen.place.name, screen.stage, timezone.now()) if session else None
    )
    here = grading_page.reading_url(desk.board, desk.own, **screen.here)
    inside = request.htmx and not request.htmx.history_restore_request
    if request.method == "POST" and not inside and not error:
        done = forward and screen.place.state != grading_page.OPEN
        return redirect(walk.next_open_url if walk and done and walk.next_open_url else here)
    tools = list(Tool.objects.filter(site=desk.board.site_id, retired_on__isnull=True))
    context = {
        "screen": screen,
        "across": walk,
        "told": grading_state.of_board(desk, screen, {one.pk: one.code for one in tools})
        | grading_state.of_walk(walk),
        "board": desk.board,
        "error": error,
        "typed": data if error else None,
        "said": " ".join(filter(None, (error, said, _where(screen)))),
        "inside": inside,
        "looking": tablets.is_looking(request),
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


def _class_across(desk: Desk, data: Mapping[str, Any]) -> ClassSession | None:
    """The class across whose boards one position is judged, where that is what goes on."""
    number = data.get("across", "")
    if not number or desk.own:
        return None
    taught = training_access.sessions_taught_by(desk.user).select_related("site")
    return taught.filter(number=number).first()


def _where(screen: grading_page.Screen) -> str:
    """Where on the board the screen is now, for those who hear it."""
    place = screen.place.name if screen.place.joint else _("Whole board")
    if screen.line is None:
        return _("%(place)s: nothing is judged of it at this stage.") % {"place": place}
    return _("Now %(place)s, %(criterion)s: %(state)s.") % {
        "place": place,
        "criterion": screen.line.criterion.title,
        "state": verdict_name(screen.line.outcome),
    }


def _joint(desk: Desk, name: str, stage: str) -> Joint | None:
    """The make that is judged at a position and stage; None for the whole board."""
    if name == grading_page.WHOLE_BOARD:
        return None
    for joint in desk.joints_at(stage):
        if joint.position.name == name:
            return joint
    raise Http404


def _form(request: UserRequest, desk: Desk, **fixed: str) -> JudgementForm:
    remember_seen(request, request.POST)
    data = request.POST.dict() | fixed
    return JudgementForm(data, photos=desk.photos, site=desk.board.site_id)


@require_safe
@login_required
def board_grade(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    desk = _desk(request, number, own)
    board = desk.board
    try:
        if desk.reading is None and len(desk.signings) == len(desk.stages):
            return redirect("assessments:board_result", board.number)
        if desk.reading is None and not own:
            services.refuse_unless_may_grade(request.user, board, timezone.now())
            desk.kind_to_begin()
        remember_seen(request, request.GET)
        return _show(request, desk)
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", board.number)


@require_safe
@login_required
def board_beside(request: UserRequest, number: str) -> HttpResponseBase:
    """What to hold a joint against: a part of the grading screen, or a page by itself.

    As a part it speaks as the screen does.
    """
    shown = _board_beside if _is_part(request) else in_own_language(_board_beside)
    response = shown(request, number)
    patch_vary_headers(response, ("HX-Request",))
    add_never_cache_headers(response)
    return response


def _is_part(request: UserRequest) -> bool:
    return bool(request.htmx) and not request.htmx.history_restore_request


def _board_beside(request: UserRequest, number: str) -> HttpResponse:
    desk = _desk(request, number, own=False)
    try:
        found = beside(
            desk,
            request.user,
            stage_name=request.GET.get("stage", ""),
            place_name=request.GET.get("joint", ""),
            code=request.GET.get("criterion", ""),
            other=request.GET.get("other", ""),
        )
    except AssessmentError as error:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", desk.board.number)
    if found is None:
        raise Http404
    context = {
        "board": desk.board,
        "beside": found,
        "back": grading_page.reading_url(
            desk.board, False, stage=found.stage, joint=found.place,
            criterion=found.criterion.code if found.criterion else "",
        ),
    }  # fmt: skip
    part, page = "assessments/partials/beside.html", "assessments/board_beside.html"
    return render(request, part if _is_part(request) else page, context)


@require_POST
@login_required
def board_judge(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    if wants_json(request):
        answer = sent.judge(request, number, own=own)
        if answer is not None:
            return answer
    desk = _desk(request, number, own)
    form = _form(request, desk)
    try:
        criterion = desk.criterion(request.POST.get("criterion", ""))
        if criterion is None:
            raise Http404
        joint = _joint(desk, request.POST.get("joint", ""), criterion.stage)
        if not form.is_valid():
            return _refused(request, desk, form.sentences())
        services.judge(
            grading=_begun(desk),
            criterion=criterion,
            joint=joint,
            outcome=form.cleaned_data["outcome"],
            seen=form.seen(),
            at=timezone.now(),
            key=key_of(request),
        )
    except AssessmentError as error:
        return _refused(request, desk, error)
    if wants_json(request):
        return sent.saved()
    said = _("%(place)s, %(criterion)s: %(outcome)s.") % {
        "place": joint or _("Whole board"),
        "criterion": criterion.title,
        "outcome": Judgement.Outcome(form.cleaned_data["outcome"]).label,
    }
    return _show(request, desk, forward=True, said=said)


@require_POST
@login_required
def board_accept_rest(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    """Accept what is open on a joint; the criterion that is shown, if any, in its own right."""
    desk = _desk(request, number, own)
    joint = _joint(desk, request.POST.get("joint", ""), request.POST.get("stage", ""))
    form = _form(request, desk, outcome=Judgement.Outcome.ACCEPT, note="", value="", mark_x="")
    if joint is None:
        return _refused(request, desk, _("Choose a joint first, then accept its rest."))
    if not form.is_valid():
        return _refused(request, desk, form.sentences())
    shown = desk.criterion(request.POST.get("criterion", ""))
    try:
        count = services.accept_the_rest(
            grading=_begun(desk),
            stage=request.POST.get("stage", ""),
            joints=[joint],
            seen=form.seen(),
            at=timezone.now(),
            shown=shown,
            key=key_of(request),
        )
    except AssessmentError as error:
        return _refused(request, desk, error)
    if not count:
        return _refused(
            request,
            desk,
            _("Nothing of this joint is left that may be accepted with the rest."),
        )
    if wants_json(request):
        return sent.saved()
    said = _("%(place)s: %(count)d accepted with the rest.") % {"place": joint, "count": count}
    return _show(request, desk, forward=True, said=said)


@require_POST
@login_required
def board_undo(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    desk = _desk(request, number, own)
    try:
        step = services.undo(grading=desk.reading, key=key_of(request)) if desk.reading else None
    except AssessmentError as error:
        return _refused(request, desk, error)
    if step is None:
        return _refused(request, desk, _("There is nothing to take back."))
    if wants_json(request):
        return sent.taken_back(step, desk, _tools(desk))
    return _show(request, desk, where=_place_of(step, desk), said=_("Taken back."))


def _tools(desk: Desk) -> dict[int, str]:
    site = desk.board.site_id
    return dict(Tool.objects.filter(site=site).values_list("pk", "code"))


def _place_of(step: UndoStep, desk: Desk) -> dict[str, str]:
    """Where the act was done that was taken back."""
    first = step.before[0]
    names = {one.pk: one.position.name for one in desk.makes}
    codes = {one.pk: one.code for one in desk.criteria_set.all_criteria}
    return {
        "stage": step.stage,
        "joint": names.get(first["joint"], grading_page.WHOLE_BOARD),
        "criterion": codes.get(first["criterion"], ""),
    }


def _refused(request: UserRequest, desk: Desk, error: AssessmentError | str) -> HttpResponse:
    """The screen with a refusal on it; the board's page where there is no screen to show."""
    if wants_json(request):
        return sent.refused(error)
    try:
        return _show(request, desk, error=str(error))
    except AssessmentError:
        messages.error(request, str(error))
        return redirect("assessments:board_detail", desk.board.number)


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
    seats = grading_assignment.Seats(board, services.gradings_of(board))
    before = seats.first_unsigned(reading, stage)
    summary = board_results.stage_summary(reading, stage)
    left = board_results.judgements_left(reading, stage)
    judgements = reading.judgements.filter(stage=stage).exclude(pk__in=left)
    context = {
        "board": board,
        "grading": reading,
        "stage": Stage(stage),
        "summary": summary,
        "signed_first": Stage(before) if before else None,
        "signed_first_url": grading_page.reading_url(board, False, stage=before or ""),
        "rejected": judgements.filter(outcome=Judgement.Outcome.REJECT)
        .select_related("joint__position", "criterion")
        .order_by(F("joint__position__order").asc(nulls_last=True), "criterion__order"),
        "judged": judgements.count(),
        "with_the_rest": judgements.filter(with_the_rest=True).count(),
        "form": form,
        "back": grading_page.reading_url(board, False, stage=stage),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/stage_sign.html", context, status=status)


@require_safe
@login_required
@in_own_language
def board_result(request: UserRequest, number: str) -> HttpResponse:
    board = access.board_for_reader(request.user, number)
    if hasattr(board, "outcome") and not access.may_see_outcome(request.user, board):
        messages.error(request, access.why_outcome_is_closed(board))
        return redirect("assessments:board_detail", board.number)
    reading = board_results.read_board(board)
    gradings = [one for one in services.gradings_of(board) if one.kind != Grading.Kind.OWN]
    signed = [one for one in reversed(gradings) if one.signings.all()]
    replaced = {one.replaces_id for one in gradings}
    own = board.gradings.filter(kind=Grading.Kind.OWN).first()
    photos = list(board.photos.order_by("order", "id"))
    said = result_page.readings_said(signed)
    correctable = [
        one
        for one in signed
        if one.pk not in replaced and grading_assignment.may_correct(one, gradings, request.user)
    ]
    context = {
        "board": board,
        "several": board_readings.result_of(board, request.user, reading, signed),
        "reading": reading,
        "rules": result_page.rules_of(reading),
        "gradings": [(one, said[one.pk]) for one in signed],
        "begun": [one for one in gradings if one.replaces_id and not one.signings.all()],
        "stages": [
            (stage, signing, said[signing.grading_id] if signing else "")
            for stage in board.exercise.stage_list
            for signing in reading.signings_of(stage.value) or (None,)
        ],
        "faults": [
            (one, result_page.in_hand(one.rejections, photos))
            for one in (*reading.joints, *reading.spare)
            if one.rejections
        ],
        "in_hand_of_board": result_page.in_hand(reading.board.rejections, photos)
        if reading.board
        else None,
        "may_grade": access.may_judge(request.user, board),
        "correctable": result_page.corrections_of(correctable, said),
        "own_reading": own,
        "sheet_may_print": may_print(board, reading),
        "comparison": board_results.compare_with_own(reading, own) if own else None,
    }
    return render(request, "assessments/board_result.html", context)


@require_http_methods(["GET", "POST"])
@login_required
@in_own_language
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
