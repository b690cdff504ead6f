"""Drawings of the organisation's own: sent in by those who draft, shown to everybody."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.criteria import DrawingForm
from assessments.models import CriterionDrawing
from assessments.services import criterion_drawings as services
from people.access import UserRequest, role_required
from people.models import Role
from training import access as training_access

from .criteria_drafts import show_draft

KEPT_SECONDS = 86_400


@require_POST
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def criterion_drawing_add(request: UserRequest, set_id: int) -> HttpResponse:
    """Take in a drawing; criteria of any draft may name it from then on."""
    made = access.draft_for_editor(request.user, set_id)
    form = DrawingForm(request.POST, request.FILES)
    if form.is_valid():
        try:
            drawing = services.add_drawing(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error("file", str(error))
        else:
            messages.success(
                request,
                _("“%(title)s” is there: choose it as a drawing of a criterion.")
                % {"title": drawing.title},
            )
            return redirect("assessments:criteria_set_detail", set_id)
    return show_draft(request, made, drawing_form=form, status=422)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def exercise_drawings(request: UserRequest, code: str) -> HttpResponse:
    """The organisation's own drawings, and one more for the draft of an exercise and its steps."""
    exercise = training_access.draft_for_editor(request.user, code)
    sent = request.method == "POST"
    form = DrawingForm(request.POST if sent else None, request.FILES if sent else None)
    if sent and form.is_valid():
        try:
            drawing = services.add_drawing(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except AssessmentError as error:
            form.add_error("file", str(error))
        else:
            messages.success(
                request,
                _("“%(title)s” is there: choose it as the drawing of the exercise or of a step.")
                % {"title": drawing.title},
            )
            return redirect("assessments:exercise_drawings", code)
    context = {
        "exercise": exercise,
        "drawing_form": form,
        "own_drawings": CriterionDrawing.objects.defer("data"),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/exercise_drawings.html", context, status=status)


@require_safe
@login_required
def criterion_drawing(request: UserRequest, sha256: str) -> HttpResponse:
    """The drawing as a picture that can do nothing; what it is named by is its hash."""
    drawing = get_object_or_404(CriterionDrawing, sha256=sha256)
    etag = f'"{drawing.sha256[:32]}"'
    response = get_conditional_response(request, etag=etag)
    if response is None:
        response = HttpResponse(bytes(drawing.data), content_type=str(drawing.kind))
        response["Content-Disposition"] = "inline"
    response["ETag"] = etag
    response["Cache-Control"] = f"private, max-age={KEPT_SECONDS}"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
