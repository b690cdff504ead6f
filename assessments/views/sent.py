"""What the grading screen's script sends by itself: answered in a few words, once for each key."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db import IntegrityError
from django.http import JsonResponse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _

from assessments import access
from assessments.exceptions import AlreadySigned, AssessmentError
from assessments.forms.grading import JudgementForm, SeenForm
from assessments.models import UndoStep
from assessments.presenters import grading_state
from assessments.queries.board_for_grader import Desk
from assessments.services import sent
from people.access import UserRequest


def wants_json(request: UserRequest) -> bool:
    return request.get_preferred_type(["text/html", "application/json"]) == "application/json"


def key_of(request: UserRequest) -> UUID | None:
    """The key that the browser gave its act; None where it gave none that can be read."""
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


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


def saved(**more: Any) -> JsonResponse:
    return _never_kept(JsonResponse({"saved": True, **more}))


def refused(error: AssessmentError | str) -> JsonResponse:
    """Why an act was not done: 409 where it came too late, 422 where it cannot be."""
    status = 409 if isinstance(error, AlreadySigned) else 422
    return _never_kept(JsonResponse({"saved": False, "says": str(error)}, status=status))


def _nowhere() -> JsonResponse:
    says = _("There is no such joint or criterion on this board. Open the board anew.")
    return _never_kept(JsonResponse({"saved": False, "says": says}, status=404))


def _never_kept(response: JsonResponse) -> JsonResponse:
    add_never_cache_headers(response)
    return response


def judge(request: UserRequest, number: str, *, own: bool) -> JsonResponse | None:
    """One judgement in a reading that is begun; None where none is begun."""
    key = key_of(request)
    if key is None:
        return None
    try:
        return _judge(request, number, own, key)
    except IntegrityError:
        # Another window sent the same act at this moment: now it is there.
        return _judge(request, number, own, key)


def _judge(request: UserRequest, number: str, own: bool, key: UUID) -> JsonResponse | None:
    with sent.held(
        access.readings_to_judge_in,
        user=request.user,
        number=number,
        own=own,
        place=request.POST.get("joint", ""),
        code=request.POST.get("criterion", ""),
        stage=request.POST.get("stage", ""),
        photo=request.POST.get("photo", ""),
        key=key,
    ) as held:
        if held is None:
            return None
        if held.was_done:
            return saved()
        if held.is_nowhere:
            return _nowhere()
        remember_seen(request, request.POST)
        form = JudgementForm(request.POST, photos=held.photos, site=held.grading.board.site_id)
        if not form.is_valid():
            return refused(form.sentences())
        try:
            sent.judge(
                held,
                outcome=form.cleaned_data["outcome"],
                seen=form.seen(),
                at=timezone.now(),
                key=key,
            )
        except AssessmentError as error:
            return refused(error)
    return saved()


def taken_back(step: UndoStep, desk: Desk, tools: dict[int, str]) -> JsonResponse:
    """What stands again where an act was taken back."""
    fresh = Desk(desk.board, desk.user, own=desk.own)
    places = [(one["joint"], one["criterion"]) for one in step.before]
    return saved(changed=grading_state.judgements_at(fresh, places, tools), stage=step.stage)
