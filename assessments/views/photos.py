"""Photographs: sent in, shown to those who may see them, put in their place."""

import logging
import re
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.files.uploadedfile import UploadedFile
from django.forms import BaseForm
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from assessments import access, imaging
from assessments.exceptions import (
    AssessmentError,
    DecodersBusy,
    NotAPhotograph,
    PhotoAlreadyThere,
)
from assessments.forms.photos import PhotosForm, PlaceForm, SortingForm, joints_of
from assessments.models import Board, Joint, Photo, Rendition
from assessments.presenters.sendings import taken_back_in_words
from assessments.queries import photo_room
from assessments.queries.removed_files import is_file_removed
from assessments.services import photo_sorting
from assessments.services import photos as services
from assessments.services.photo_sorting import How
from people.access import UserRequest
from records.exceptions import FilesOutOfReach

from .boards import show_board
from .judgements import wants_json

log = logging.getLogger(__name__)

KEPT_SECONDS = 3600
AGAIN_AFTER_S = 5
WHOLE_NUMBER = re.compile(r"[0-9]{1,15}")


@require_POST
@login_required
def board_photos_add(request: UserRequest, number: str) -> HttpResponse:
    """Take in photographs; each is answered by its name, and a bad one stops no other."""
    board = access.board_for_photos(request.user, number)
    joints = joints_of(board)
    form = PhotosForm(request.POST, request.FILES, board=board, joints=joints)
    if not form.is_valid():
        if wants_json(request):
            return _as_json([_answer("refused", "", _sentences(form))])
        return show_board(request, board, form=form)
    files = form.cleaned_data["photos"]
    arriving = [photo_sorting.arriving(file, file.name, file.size) for file in files]
    sorting = form.sorting()
    foreseen = photo_sorting.foresee(board=board, joints=joints, files=arriving, sorting=sorting)
    said = {name: form.cleaned_data[name] for name in ("stage", "sending")}
    # Those of one joint stand there in order, in whatever order a browser sends them; a copy comes
    # after what it is a copy of.
    order = photo_sorting.order_of(arriving, sorting.how).places
    order.sort(key=lambda at: foreseen[at].state == "same")
    added = {at: _add(request, board, files[at], foreseen[at].joint, said) for at in order}
    answers = [added[at] for at in range(len(files))]
    if wants_json(request):
        return _as_json(answers)
    return show_board(request, board, answers=answers)


def _add(
    request: UserRequest,
    board: Board,
    file: UploadedFile,
    joint: Joint | None,
    said: dict[str, str],
) -> dict[str, Any]:
    name = services.plain_name(file.name or "")
    try:
        photo = services.add_photo(
            board=board,
            joint=joint,
            file=file,
            name=name,
            actor=request.user,
            at=timezone.now(),
            **said,
        )
    except PhotoAlreadyThere as error:
        return _answer("here", name, str(error))
    except (DecodersBusy, FilesOutOfReach) as error:
        # Others that came with it are stored or not, each for itself.
        return _answer("busy", name, f"{name}: {error}")
    except AssessmentError as error:
        return _answer("refused", name, str(error))
    text = _("%(name)s is added, %(place)s.")
    says = text % {"name": name, "place": services.place_in_words(joint)}
    return _answer("added", name, says) | {"key": photo.key}


def _answer(state: str, name: str, says: str) -> dict[str, Any]:
    return {"added": state == "added", "state": state, "name": name, "says": says}


@require_POST
@login_required
def board_photos_foresee(request: UserRequest, number: str) -> JsonResponse:
    """Where photographs would go, told before they are sent, from their beginnings alone.

    The beginnings come as files ``head`` under the photographs' names, with as many ``bytes``
    and ``sha256`` (empty where the browser cannot say), in the same order. With where each would go
    comes what its name says and the two orders, by which the browser deals anew as is typed.
    """
    board = access.board_for_photos(request.user, number)
    joints = joints_of(board)
    form = SortingForm(request.POST, board=board, joints=joints)
    files = _beginnings(request)
    if closed := photo_room.why_closed(board):
        return JsonResponse({"says": closed}, status=422)
    if files is None or not form.is_valid():
        sentence = _sentences(form) or _("That cannot be read. Open the board anew.")
        return JsonResponse({"says": sentence}, status=422)
    plan = photo_sorting.foresee(board=board, joints=joints, files=files, sorting=form.sorting())
    told = [
        {
            "state": foreseen.state,
            "joint": foreseen.joint and foreseen.joint.pk,
            "named": foreseen.named and foreseen.named.pk,
            "says": foreseen.says,
        }
        for foreseen in plan
    ]
    orders = {how: photo_sorting.order_of(files, how) for how in (How.TAKEN, How.NAMES)}
    return JsonResponse(
        {
            "photos": told,
            "orders": {
                how.value: {"places": order.places, "says": order.says}
                for how, order in orders.items()
            },
        }
    )


def _beginnings(request: UserRequest) -> list[photo_sorting.Arriving] | None:
    heads = request.FILES.getlist("head")
    sizes, hashes = request.POST.getlist("bytes"), request.POST.getlist("sha256")
    fit = len(heads) == len(sizes) == len(hashes) and all(map(WHOLE_NUMBER.fullmatch, sizes))
    if not fit:
        return None
    return [
        photo_sorting.Arriving(
            services.plain_name(head.name or ""),
            int(size),
            head.read(imaging.EXIF_WITHIN_BYTES),
            digest,
        )
        for head, size, digest in zip(heads, sizes, hashes, strict=True)
    ]


@require_POST
@login_required
def board_photos_take_back(request: UserRequest, number: str) -> HttpResponse:
    """Take back what the user sent in one act; the script is told which, to lay them out again."""
    board = access.board_for_photos(request.user, number)
    try:
        back = services.take_back_sending(
            board=board,
            sending=request.POST.get("sending", ""),
            actor=request.user,
            at=timezone.now(),
        )
    except AssessmentError as error:
        if wants_json(request):
            return JsonResponse({"says": str(error), "photos": []}, status=422)
        messages.error(request, str(error))
        return redirect("assessments:board_detail", number)
    says = taken_back_in_words(back)
    if wants_json(request):
        return JsonResponse({"says": says, "photos": [photo.key for photo in back.photos]})
    (messages.success if back.photos else messages.error)(request, says)
    return redirect("assessments:board_detail", number)


def _sentences(form: BaseForm) -> str:
    return " ".join(str(text) for errors in form.errors.values() for text in errors)


def _as_json(answers: list[dict]) -> JsonResponse:
    """The answer to the page's script, which sends each photograph by itself."""
    if [answer["state"] for answer in answers] == ["busy"]:
        # Nothing was looked at yet, so the script sends it again by itself.
        return JsonResponse(
            {"says": answers[0]["says"]}, status=503, headers={"Retry-After": str(AGAIN_AFTER_S)}
        )
    status = 200 if any(answer["added"] for answer in answers) else 422
    return JsonResponse({"photos": answers}, status=status)


@require_safe
@login_required
def photo_detail(request: UserRequest, key: str) -> HttpResponse:
    """One photograph, large, with what it shows."""
    return _show_photo(request, access.photo_for_reader(request.user, key))


@require_POST
@login_required
def photo_change(request: UserRequest, key: str) -> HttpResponse:
    """Say what a photograph shows, or move it before or behind its neighbour."""
    photo = access.photo_for_editor(request.user, key)
    at = timezone.now()
    if request.POST.get("move") in ("earlier", "later"):
        earlier = request.POST["move"] == "earlier"
        services.move_photo(photo=photo, earlier=earlier, actor=request.user, at=at)
        return redirect("assessments:photo_detail", key)
    # The form writes on what it is given, and the service compares with what is stored.
    initial = {"joint": photo.joint_id or "", "stage": photo.stage, "note": photo.note}
    form = PlaceForm(
        initial | request.POST.dict(), instance=access.photo_for_editor(request.user, key)
    )
    if form.is_valid():
        try:
            services.place_photo(photo=photo, actor=request.user, at=at, **form.cleaned_data)
        except AssessmentError as error:
            form.add_error(None, str(error))
    if wants_json(request):
        sentence = _sentences(form)
        return JsonResponse({"says": sentence}, status=422 if sentence else 200)
    if form.is_valid():
        messages.success(request, _("What the photograph shows is saved."))
        return redirect("assessments:photo_detail", key)
    return _show_photo(request, access.photo_for_editor(request.user, key), form)


def _show_photo(request: UserRequest, photo: Photo, form: PlaceForm | None = None) -> HttpResponse:
    board = photo.board
    row = list(board.photos.filter(joint=photo.joint_id).order_by("order", "id"))
    here = next(index for index, other in enumerate(row) if other.pk == photo.pk)
    measured = list(access.measurements_readable_by(request.user, photo))
    chosen = request.GET.get("measured", "")
    drawn = next((measurement for measurement in measured if str(measurement.pk) == chosen), None)
    context = {
        "photo": photo,
        "measured": measured,
        "drawn": drawn or (measured[0] if measured else None),
        "board": board,
        "form": form or PlaceForm(instance=photo),
        "may_edit": access.may_add_photos(request.user, board),
        "may_take": access.may_take_originals(request.user, board),
        "place": services.place_in_words(photo.joint),
        "position": here + 1,
        "row": row,
        "before": row[here - 1] if here else None,
        "after": row[here + 1] if here + 1 < len(row) else None,
        "large": Rendition.Size.LARGE.value,
    }
    return render(request, "assessments/photo.html", context, status=422 if form else 200)


@require_safe
@login_required
def photo_rendition(request: UserRequest, key: str, size: int) -> HttpResponseBase:
    """One smaller size, upright and without its EXIF, as a JPEG."""
    photo = access.photo_for_reader(request.user, key)
    if size not in Rendition.Size.values:
        raise Http404
    return rendition_response(request, photo, size, f"{photo.board.number}-{photo.pk}.jpg")


def rendition_response(
    request: UserRequest,
    photo: Photo | None,
    size: int = Rendition.Size.MEDIUM,
    name: str = "picture.jpg",
) -> HttpResponseBase:
    """One smaller size of a photograph that the user may see; of none it is not there."""
    if photo is None:
        raise Http404
    if is_file_removed(photo):
        return _only_a_file(removed_picture())
    etag = f'"{photo.sha256[:32]}-{size}"'
    response: HttpResponseBase | None = get_conditional_response(request, etag=etag)
    if response is None:
        try:
            _rendition, file = services.open_rendition(photo, size)
            # Read whole: a browser that hangs up in the middle leaves no open file behind.
            with file:
                data = file.read()
        except (NotAPhotograph, OSError) as error:
            log.error("Photograph %s cannot be shown: %s", photo.pk, error)
            raise Http404 from error
        except DecodersBusy as error:
            return busy(error)
        response = HttpResponse(data, content_type="image/jpeg")
        disposition = content_disposition_header(False, name)
        response["Content-Disposition"] = disposition or "inline"
    response["ETag"] = etag
    response["Cache-Control"] = f"private, max-age={KEPT_SECONDS}"
    return _only_a_file(response)


@require_safe
@login_required
def photo_original(request: UserRequest, key: str) -> HttpResponseBase:
    """The original as it came, to be kept as a file and never shown by the browser."""
    photo = access.photo_original_for(request.user, key)
    if is_file_removed(photo):
        raise Http404
    try:
        file = photo.original.open("rb")
    except OSError as error:
        log.error("The original of photograph %s cannot be read: %s", photo.pk, error)
        raise Http404 from error
    response = FileResponse(
        file,
        as_attachment=True,
        filename=photo.original_name,
        content_type="application/octet-stream",
    )
    response["Cache-Control"] = "private, no-store"
    return _only_a_file(response)


def removed_picture() -> HttpResponse:
    """What stands in a picture's place once the site keeps it no longer."""
    svg = render_to_string("assessments/removed.svg")
    headers = {"Cache-Control": "private, no-store"}
    return HttpResponse(svg, content_type="image/svg+xml", headers=headers)


def busy(error: DecodersBusy) -> HttpResponse:
    """Whoever asks for a picture that cannot be made just now asks again."""
    return HttpResponse(
        str(error),
        status=503,
        content_type="text/plain; charset=utf-8",
        headers={"Retry-After": str(AGAIN_AFTER_S), "Cache-Control": "no-store"},
    )


def _only_a_file(response: HttpResponseBase) -> HttpResponseBase:
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
