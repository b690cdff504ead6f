"""Measuring on a photograph: the page with its marks, and keeping what they give."""

import logging
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError, DecodersBusy, NotAPhotograph
from assessments.forms.measuring import FindingForm, MeasuringForm
from assessments.models import Criterion, Joint, Measurement, Photo
from assessments.presenters import measuring_page
from assessments.presenters.grading_page import WHOLE_BOARD, reading_url
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services import found_marks
from assessments.services import measuring as services
from people.access import UserRequest

from .judgements import wants_json
from .photos import busy

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Place:
    """What is measured, and for what: a criterion of a joint, or nothing in particular."""

    photo: Photo
    own: bool
    joint: Joint | None
    criterion: Criterion | None

    @property
    def query(self) -> dict[str, str]:
        if self.criterion is None:
            return {}
        name = self.joint.position.name if self.joint else WHOLE_BOARD
        return {"criterion": self.criterion.code, "joint": name}

    @property
    def back(self) -> str:
        if self.criterion is None:
            return reverse("assessments:photo_detail", args=[self.photo.key])
        return reading_url(
            self.photo.board,
            self.own,
            stage=self.criterion.stage,
            photo=self.photo.key,
            **self.query,
        )


def _place(request: UserRequest, key: str) -> Place:
    photo = access.photo_for_editor(request.user, key)
    own = access.is_own(request.user, photo.board)
    data = request.POST if request.method == "POST" else request.GET
    code, name = data.get("criterion", ""), data.get("joint", "")
    if not code:
        return Place(photo, own, photo.joint, None)
    try:
        for_grader = BoardForGrader(photo.board, request.user, own=own)
        criterion = for_grader.criterion(code)
    except AssessmentError as error:
        raise Http404 from error
    if criterion is None or not criterion.is_measured:
        raise Http404
    joints = for_grader.joints_at(criterion.stage)
    joint = next((candidate for candidate in joints if candidate.position.name == name), None)
    if joint is None and name != WHOLE_BOARD:
        raise Http404
    if criterion not in for_grader.asked(criterion.stage, joint):
        raise Http404
    if not services.is_read_on_photographs(criterion.quantity, joint):
        raise Http404
    return Place(photo, own, joint, criterion)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def photo_measure(request: UserRequest, key: str) -> HttpResponse:
    """Marks on a photograph, and the value they give; kept, it judges or sets the scale."""
    place = _place(request, key)
    if request.method != "POST":
        return _show(request, place)
    form = MeasuringForm(request.POST, photo=place.photo)
    if not form.is_valid():
        return _refused(request, place, form, _sentences(form))
    data = form.cleaned_data
    said = ("winding", "across", "unit")
    for_criterion = data["quantity"] != Measurement.Quantity.SCALE
    criterion = place.criterion if for_criterion else None
    try:
        kept = services.keep_measurement(
            photo=place.photo,
            quantity=data["quantity"],
            marks=data["marks"],
            options=services.options_for(
                joint=place.joint,
                criterion=criterion,
                full_turns=int(data["full_turns"] or 0),
                size=form.size(),
                **{name: data[name] for name in said},
            ),
            mark_uncertainty_px=data["mark_uncertainty_px"],
            shown_width_px=data["shown_width_px"],
            found=data["found"],
            size=form.size(),
            actor=request.user,
            at=timezone.now(),
            joint=place.joint,
            criterion=criterion,
        )
    except AssessmentError as error:
        return _refused(request, place, form, str(error))
    to = place.back if criterion else measuring_page.measure_url(place.photo, **place.query)
    if wants_json(request):
        return JsonResponse(
            {
                "saved": True,
                "value": kept.value,
                "u": kept.standard_uncertainty,
                "unit": kept.unit,
                "verdict": kept.verdict,
                "remarks": kept.remarks,
                "go": to,
            }
        )
    messages.success(request, _("The measurement is kept with its marks."))
    return redirect(to)


@require_POST
@login_required
def photo_find_marks(request: UserRequest, key: str) -> JsonResponse:
    """Marks proposed on the edge near a click; nothing is kept of it."""
    photo = access.photo_for_editor(request.user, key)
    form = FindingForm(request.POST)
    if not form.is_valid():
        return JsonResponse({"says": _sentences(form)}, status=422)
    try:
        found = found_marks.find_marks(photo=photo, **form.cleaned_data)
    except (AssessmentError, OSError) as error:
        if isinstance(error, OSError):
            log.error("Photograph %s cannot be looked at: %s", photo.pk, error)
        says = _("This photograph cannot be looked at now. Set the marks by hand.")
        return JsonResponse(
            {"says": says if isinstance(error, OSError) else str(error)}, status=422
        )
    return JsonResponse({"marks": found})


@require_safe
@login_required
def photo_measured(request: UserRequest, key: str, measurement_id: int) -> HttpResponse:
    """The photograph with the marks of one measurement drawn on it, to be kept as a picture."""
    measurement = access.measurement_for_reader(request.user, key, measurement_id)
    try:
        picture = services.marked_picture(measurement)
    except (NotAPhotograph, OSError) as error:
        log.error("Photograph %s cannot be drawn on: %s", measurement.photo_id, error)
        raise Http404 from error
    except DecodersBusy as error:
        return busy(error)
    name = f"{measurement.photo.board.number}-{measurement.quantity}-{measurement.pk}.jpg"
    response = HttpResponse(
        picture,
        content_type="image/jpeg",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
    response["Cache-Control"] = "private, no-store"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _sentences(form: MeasuringForm | FindingForm) -> str:
    return " ".join(str(text) for errors in form.errors.values() for text in errors)


def _refused(request: UserRequest, place: Place, form: MeasuringForm, says: str) -> HttpResponse:
    if wants_json(request):
        return JsonResponse({"saved": False, "says": says}, status=422)
    return _show(request, place, form=form, error=says)


def _show(
    request: UserRequest, place: Place, *, form: MeasuringForm | None = None, error: str = ""
) -> HttpResponse:
    data: Any = form.data if form else request.GET
    screen = measuring_page.build(
        place.photo,
        request.user,
        joint=place.joint,
        criterion=place.criterion,
        quantity=data.get("quantity", ""),
        marks=form.marks_sent() if form else None,
        typed=data if form else None,
        query=place.query,
    )
    context = {
        "photo": place.photo,
        "board": place.photo.board,
        "screen": screen,
        "joint": place.joint,
        "criterion": place.criterion,
        "query": place.query,
        "back": place.back,
        "error": error,
    }
    return render(request, "assessments/photo_measure.html", context, status=422 if error else 200)
