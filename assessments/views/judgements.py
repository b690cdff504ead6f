"""Judging: one joint, the rest of a joint, and taking back, by a form or by the page's script."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.db import IntegrityError
from django.http import Http404, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from assessments import access
from assessments.exceptions import AlreadySigned, AssessmentError, NoSuchPlace
from assessments.forms.grading import ACCEPT_BY_EYE, JudgementForm
from assessments.models import Board, CannotTell, Judgement, UndoStep
from assessments.presenters import grading_page, grading_state
from assessments.presenters.judgement_words import overwritten_says
from assessments.queries.board_for_grader import BoardForGrader
from assessments.queries.overwritten import done_before, was_seen
from assessments.services import judgements as services
from assessments.services.undo import undo
from people.access import UserRequest
from training.models import Tool

from .grading import fetch_for_grader, remember_seen, show, show_refusal


@require_POST
@login_required
def board_judge(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    """Judge one joint, or the whole board, under one criterion."""
    form = _form(request, number)
    if not form.is_valid():
        return _refused(request, number, own, form.sentences())
    if form.asks and own:
        says = _("Have the board in hand, and say accept, reject or not applicable.")
        return _refused(request, number, own, says)
    if form.asks:
        return _cannot_tell(request, number, form)
    try:
        judgement = _once(
            services.judge_place,
            boards=access.boards_to_judge(request.user, own=own),
            number=number,
            grader=request.user,
            own=own,
            place=_place(request),
            outcome=form.judged,
            seen=form.seen(),
            at=timezone.now(),
            key=_key(request),
        )
    except AssessmentError as error:
        return _refused(request, number, own, error)
    told = _overwritten(request, judgement or done_before(number, request.user, _key(request)))
    if wants_json(request):
        return _saved(**({"overwrote": told} if told else {}))
    text = "" if judgement is None else _("%(place)s, %(criterion)s: %(outcome)s.") % {
        "place": judgement.joint or _("Whole board"),
        "criterion": judgement.criterion.title,
        "outcome": Judgement.Outcome(judgement.outcome).label,
    }  # fmt: skip
    return show(
        request,
        fetch_for_grader(request, number, own),
        forward=True,
        announcement=text,
        overwrote=told,
    )


def _overwritten(request: UserRequest, row: Judgement | CannotTell | None) -> str:
    """What an act replaced that its page did not show, as a sentence; empty where nothing."""
    if row is None or row.replaced is None:
        return ""
    if was_seen(row.grading_id, row.replaced, request.POST.get("saw", "")):
        return ""
    return overwritten_says(row)


def _cannot_tell(request: UserRequest, number: str, form: JudgementForm) -> HttpResponse:
    """Leave a place open, and ask for the board or another photograph."""
    try:
        asked = _once(
            services.say_cannot_tell,
            boards=access.boards_to_judge(request.user, own=False),
            number=number,
            grader=request.user,
            place=_place(request),
            asks=form.asks,
            photo=form.cleaned_data["photo"],
            note=form.cleaned_data["note"].strip(),
            at=timezone.now(),
            key=_key(request),
        )
    except AssessmentError as error:
        return _refused(request, number, False, error)
    told = _overwritten(request, asked or done_before(number, request.user, _key(request)))
    if wants_json(request):
        return _saved(**({"overwrote": told} if told else {}))
    text = ""
    if asked is not None:
        text = _("%(place)s, %(criterion)s stays open, and asks for %(asks)s.") % {
            "place": asked.joint or _("Whole board"),
            "criterion": asked.criterion.title,
            "asks": asked.get_asks_display(),
        }
    return show(
        request,
        fetch_for_grader(request, number, False),
        forward=True,
        announcement=text,
        overwrote=told,
    )


@require_POST
@login_required
def board_accept_rest(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    """Accept what is open on a joint; the criterion that is shown, if any, in its own right."""
    by_eye = request.POST.get("outcome") == ACCEPT_BY_EYE
    outcome = ACCEPT_BY_EYE if by_eye else Judgement.Outcome.ACCEPT.value
    form = _form(request, number, outcome=outcome, note="", value="", mark_x="")
    if not form.is_valid():
        return _refused(request, number, own, form.sentences())
    try:
        count = _once(
            services.accept_the_rest_of,
            boards=access.boards_to_judge(request.user, own=own),
            number=number,
            grader=request.user,
            own=own,
            place=_place(request),
            seen=form.seen(),
            at=timezone.now(),
            key=_key(request),
        )
    except AssessmentError as error:
        return _refused(request, number, own, error)
    if wants_json(request):
        return _saved()
    text = "" if count is None else _("%(place)s: %(count)d accepted with the rest.") % {
        "place": request.POST.get("joint", ""), "count": count,
    }  # fmt: skip
    return show(request, fetch_for_grader(request, number, own), forward=True, announcement=text)


@require_POST
@login_required
def board_undo(request: UserRequest, number: str, own: bool = False) -> HttpResponse:
    """Take back what was done last on a stage that is not signed."""
    for_grader = fetch_for_grader(request, number, own)
    try:
        step = undo(grading=for_grader.reading, key=_key(request)) if for_grader.reading else None
    except AssessmentError as error:
        return _refused(request, number, own, error)
    if step is None:
        return _refused(request, number, own, _("There is nothing to take back."))
    for_grader = BoardForGrader(for_grader.board, for_grader.user, own=own)
    if wants_json(request):
        return _taken_back(step, for_grader)
    return show(
        request, for_grader, where=_place_of(step, for_grader), announcement=_("Taken back.")
    )


def wants_json(request: UserRequest) -> bool:
    """Whether the page's script asks, which goes on by itself and wants a word for an answer."""
    return request.get_preferred_type(["text/html", "application/json"]) == "application/json"


def _key(request: UserRequest) -> UUID | None:
    """The key that the browser gave its act; None where it gave none that can be read."""
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


def _form(request: UserRequest, number: str, **fixed: str) -> JudgementForm:
    remember_seen(request, request.POST)
    return JudgementForm(request.POST.dict() | fixed, number=number)


def _place(request: UserRequest) -> services.NamedPlace:
    named = (request.POST.get(name, "") for name in ("stage", "joint", "criterion"))
    return services.NamedPlace(*named)


def _once(act: Any, **values: Any) -> Any:
    """Do an act; once more where another window stored the same act in this very instant."""
    try:
        try:
            return act(**values)
        except IntegrityError:
            return act(**values)
    except Board.DoesNotExist as error:
        raise Http404 from error


def _saved(**more: Any) -> JsonResponse:
    return _never_kept(JsonResponse({"saved": True, **more}))


def _refused(
    request: UserRequest, number: str, own: bool, error: AssessmentError | str
) -> HttpResponse:
    """Why an act was not done: a word to the script, else the page with the refusal on it."""
    is_unknown = isinstance(error, NoSuchPlace)
    if wants_json(request):
        status = 404 if is_unknown else 409 if isinstance(error, AlreadySigned) else 422
        return _never_kept(JsonResponse({"saved": False, "says": str(error)}, status=status))
    if is_unknown:
        raise Http404
    return show_refusal(request, fetch_for_grader(request, number, own), error)


def _never_kept(response: JsonResponse) -> JsonResponse:
    add_never_cache_headers(response)
    return response


def _taken_back(step: UndoStep, for_grader: BoardForGrader) -> JsonResponse:
    """What stands again where an act was taken back."""
    tools = dict(Tool.objects.filter(site=for_grader.board.site_id).values_list("pk", "code"))
    places = [(place["joint"], place["criterion"]) for place in step.before]
    return _saved(changed=grading_state.judgements_at(for_grader, places, tools), stage=step.stage)


def _place_of(step: UndoStep, for_grader: BoardForGrader) -> Mapping[str, str]:
    """Where the act was done that was taken back."""
    first = step.before[0]
    names = {joint.pk: joint.position.name for joint in for_grader.makes}
    codes = {criterion.pk: criterion.code for criterion in for_grader.criteria_set.all_criteria}
    return {
        "stage": step.stage,
        "joint": names.get(first["joint"], grading_page.WHOLE_BOARD),
        "criterion": codes.get(first["criterion"], ""),
    }
