"""Measurement studies: listed, laid out, marked, given references, closed, withdrawn and read."""

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.forms import Form
from django.http import HttpResponse, HttpResponseBase, JsonResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import AssessmentError
from assessments.forms.measurement_studies import ReasonForm, ReferenceForm, StudyForm, TurnForm
from assessments.forms.measuring import MeasuringForm
from assessments.models import MeasurementStudy, Photo
from assessments.presenters import measurement_studies as presenter
from assessments.presenters import measuring_page
from assessments.queries import measurement_studies as queries
from assessments.queries.measurement_studies import Turn
from assessments.services import measurement_studies as services
from people.access import READERS, UserRequest, role_required
from people.models import Role, Site, User

from .judgements import wants_json

LATEST = 60  # photographs offered where no board is named


@require_safe
@role_required(*READERS)
def study_list(request: UserRequest) -> HttpResponse:
    studies = list(access.studies_readable_by(request.user).prefetch_related("graders__user"))
    asked = [
        study
        for study in studies
        if study.is_open and any(one.user_id == request.user.pk for one in study.graders.all())
    ]
    return render(
        request, "assessments/measurement_studies.html", {"studies": studies, "asked": asked}
    )


# Laid out


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*READERS)
def study_new(request: UserRequest) -> HttpResponse:
    """The photographs to choose from, by board, and what is asked of whom."""
    boards = (request.POST if request.method == "POST" else request.GET).get("boards", "")
    photos = _photos_offered(request.user, boards)
    form = StudyForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.filter(pk__in=request.user.sites_as(*READERS)),
        photos=photos,
        graders=_graders_offered(request.user),
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            study = services.make_study(
                site=data["site"],
                title=data["title"],
                quantity=data["quantity"],
                unit=data["unit"],
                criterion=data["criterion"],
                photos=sorted(data["photos"], key=_in_order),
                graders=list(data["graders"]),
                repeats=data["repeats"],
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("The study is laid out. Its graders find it in their list.")
            )
            return redirect("assessments:study_detail", study.pk)
    context = {
        "form": form,
        "boards": boards,
        "photos": photos if boards else photos[:LATEST],
        "chosen": set(form.chosen()),
    }
    status = 422 if form.errors else 200
    return render(request, "assessments/measurement_study_new.html", context, status=status)


def _photos_offered(user: User, boards: str) -> QuerySet[Photo]:
    photos = Photo.objects.filter(
        joint__isnull=False,
        board__site__in=user.sites_as(*READERS),
        board__cancelled_at__isnull=True,
    ).select_related("board", "joint__position")
    numbers = boards.replace(",", " ").upper().split()
    if numbers:
        return photos.filter(board__number__in=numbers).order_by(
            "board__number", "joint__position__order", "order", "pk"
        )
    return photos.order_by("-recorded_at", "-pk")


def _in_order(photo: Photo) -> tuple[str, int, int, int]:
    place = photo.joint.position.order if photo.joint else 0
    return photo.board.number, place, photo.order, photo.pk


def _graders_offered(user: User) -> QuerySet[User]:
    return (
        User.objects.open_on(timezone.localdate())
        .filter(roles__role__in=READERS, roles__site__in=user.sites_as(*READERS))
        .select_related("person")
        .distinct()
        .order_by("person__full_name", "pk")
    )


# Marked


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def study_mark(request: UserRequest, study_id: int) -> HttpResponse:
    """The photograph whose turn it is, without any earlier mark and without its value."""
    study, grader = access.study_for_grader(request.user, study_id)
    turn = queries.next_turn(study, grader) if study.is_open else None
    back = reverse("assessments:study_detail", args=[study.pk])
    if request.method != "POST":
        if turn is None:
            messages.info(request, _("There is nothing left for you to mark in this study."))
            return redirect(back)
        return _mark(request, study, turn)
    number = TurnForm(request.POST)
    if turn is None:
        return _not_kept(request, study, None, None, _("This study takes no more marks of yours."))
    form = MeasuringForm(request.POST, photo=turn.study_photo.photo)
    if not number.is_valid() or request.POST.get("quantity") != study.quantity:
        says = _("The page does not fit this study any more. Open it anew.")
        return _not_kept(request, study, turn, None, says)
    if number.cleaned_data["turn"] != turn.number:
        says = _("That photograph is marked and kept already. Go on with the one shown now.")
        return _not_kept(request, study, turn, None, says)
    if not form.is_valid():
        says = " ".join(str(text) for errors in form.errors.values() for text in errors)
        return _not_kept(request, study, turn, form, says)
    data = form.cleaned_data
    try:
        services.keep_reading(
            study=study,
            grader=request.user,
            turn=turn.number,
            marks=data["marks"],
            winding=data["winding"],
            full_turns=int(data["full_turns"] or 0),
            across=data["across"],
            shown_width_px=data["shown_width_px"],
            at=timezone.now(),
        )
    except AssessmentError as error:
        return _not_kept(request, study, turn, form, str(error))
    last = turn.number + 1 == turn.of
    to = back if last else reverse("assessments:study_mark", args=[study.pk])
    if last:
        messages.success(request, _("That was the last photograph. Thank you."))
    if wants_json(request):
        return JsonResponse({"saved": True, "go": to})
    return redirect(to)


def _not_kept(
    request: UserRequest,
    study: MeasurementStudy,
    turn: Turn | None,
    form: MeasuringForm | None,
    says: str,
) -> HttpResponse:
    if wants_json(request):
        return JsonResponse({"saved": False, "says": says}, status=422)
    if turn is None:
        messages.error(request, says)
        return redirect("assessments:study_detail", study.pk)
    return _mark(request, study, turn, form, says)


def _mark(
    request: UserRequest,
    study: MeasurementStudy,
    turn: Turn,
    form: MeasuringForm | None = None,
    error: str = "",
) -> HttpResponse:
    photo, joint = turn.study_photo.photo, turn.study_photo.joint
    typed = {
        "winding": "clockwise",
        "full_turns": "0",
        "across": "conductor" if study.unit == "d" else "overall",
        "shown_width_px": "",
    }
    if form is not None:
        typed |= {name: form.data.get(name, "") for name in typed}
    # Nothing of what the grader measured on it before: neither marks nor what was said with them.
    screen = measuring_page.build(
        photo,
        request.user,
        joint=joint,
        criterion=None,
        quantity=study.quantity,
        marks=form.marks_sent() if form else {},
        typed=typed | {"unit": study.unit},
        query={},
    )
    words = measuring_page.kind_words(study.criterion.datum if study.criterion else "")
    kinds = tuple(
        replace(kind, title=str(title), advice=str(advice))
        for kind in screen.kinds
        for title, advice in [words[study.quantity, kind.name]]
    )
    told = screen.told | {"scatter": 1, "studied": None, "unit": study.unit}
    context = {
        "study": study,
        "turn": turn,
        "photo": photo,
        "joint": joint,
        "screen": replace(screen, kinds=kinds, kept=(), last=None, counts=None, told=told),
        "error": error,
    }
    status = 422 if error else 200
    return render(request, "assessments/measurement_study_mark.html", context, status=status)


# Read, closed, withdrawn


@require_safe
@login_required
def study_detail(request: UserRequest, study_id: int) -> HttpResponse:
    return _detail(request, access.study_with_own_readings(request.user, study_id))


def _detail(
    request: UserRequest,
    study: MeasurementStudy,
    *,
    reference: Form | None = None,
    close: Form | None = None,
    withdraw: Form | None = None,
) -> HttpResponse:
    whole = access.reads_whole_study(request.user, study)
    graders = queries.progress(study)
    own = next((one for one in graders if one.grader.user_id == request.user.pk), None)
    photos = queries.photos_of(study)
    acts = own is None and not study.is_withdrawn
    may_close = acts and request.user.has_role(Role.QUALITY, site=study.site_id)
    result = None
    if study.is_closed:
        result = presenter.build(study, queries.result_of(study), request.user, whole=whole)
    context: dict[str, Any] = {
        "study": study,
        "unit": presenter.unit_of(study),
        "whole": whole,
        "own": own,
        "graders": graders if whole else [own],
        "photos": photos if whole else [],
        "joints": len({each.joint_id for each in photos}),
        "result": result,
        "references": study.references.select_related("joint__board", "joint__position")
        if whole and (own is None or study.is_closed)
        else [],
        "reference_form": None,
        "close_form": None,
        "withdraw_form": None,
    }
    if whole and acts and study.is_open:
        context["reference_form"] = reference or ReferenceForm(photos=photos)
    if may_close:
        context["withdraw_form"] = withdraw or ReasonForm(prefix="withdraw")
        context["close_form"] = (close or ReasonForm(prefix="close")) if study.is_open else None
    for refused in filter(None, (reference, close, withdraw)):
        if refused not in context.values():  # The page has no such form any more.
            for error in refused.non_field_errors():
                messages.error(request, str(error))
    status = 422 if reference or close or withdraw else 200
    return render(request, "assessments/measurement_study.html", context, status=status)


@require_POST
@login_required
def study_reference(request: UserRequest, study_id: int) -> HttpResponse:
    study = access.study_for_reader(request.user, study_id)
    form = ReferenceForm(request.POST, photos=queries.photos_of(study))
    if form.is_valid():
        try:
            services.state_reference(
                study=study, actor=request.user, at=timezone.now(), **form.cleaned_data
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The reference value is kept."))
            return redirect("assessments:study_detail", study.pk)
    return _refused(request, study, reference=form)


@require_POST
@login_required
def study_close(request: UserRequest, study_id: int) -> HttpResponse:
    study = access.study_for_quality(request.user, study_id)
    form = ReasonForm(request.POST, prefix="close")
    if form.is_valid():
        try:
            services.close_study(
                study=study, actor=request.user, at=timezone.now(), **form.cleaned_data
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The study is closed, and what it shows counts."))
            return redirect("assessments:study_detail", study.pk)
    return _refused(request, study, close=form)


@require_POST
@login_required
def study_withdraw(request: UserRequest, study_id: int) -> HttpResponse:
    study = access.study_for_quality(request.user, study_id)
    form = ReasonForm(request.POST, prefix="withdraw")
    if form.is_valid():
        try:
            services.withdraw_study(
                study=study, actor=request.user, at=timezone.now(), **form.cleaned_data
            )
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The study is withdrawn: nothing rests on it any more."))
            return redirect("assessments:study_detail", study.pk)
    return _refused(request, study, withdraw=form)


def _refused(request: UserRequest, study: MeasurementStudy, **forms: Form) -> HttpResponse:
    """Show the page again, as the study is now, with what was refused."""
    return _detail(request, access.study_for_reader(request.user, study.pk), **forms)


@require_safe
@login_required
def study_csv(request: UserRequest, study_id: int) -> HttpResponseBase:
    """The readings of a closed study; of an open one nobody sees any."""
    study = access.study_with_own_readings(request.user, study_id)
    if not study.is_closed:
        messages.error(request, _("Readings are shown once the study is closed."))
        return redirect("assessments:study_detail", study.pk)
    lines = presenter.csv_lines(
        study, request.user, whole=access.reads_whole_study(request.user, study)
    )
    response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="measurement-study-{study.pk}.csv"'
    response["Cache-Control"] = "private, no-store"
    return response
