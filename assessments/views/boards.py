"""Boards: listed, made, labelled, looked at, handed in and kept."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Q
from django.forms import BaseForm
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access
from assessments.exceptions import (
    AssessmentError,
    BoardChangedMeanwhile,
    HoldBoardsAlready,
    ToolsNotFit,
)
from assessments.forms.boards import (
    BoardFilterForm,
    CorrectionForm,
    DestructiveCheckForm,
    DisposalForm,
    HandInForm,
    NewBoardsForm,
    PieceForm,
    ToolsUsedForm,
)
from assessments.forms.photos import PhotosForm, joints_of
from assessments.models import Board, Rendition
from assessments.ports import ProposedPurpose, proposed_purpose
from assessments.presenters import board_labels as board_labels_presenter
from assessments.presenters.board_page import asked_of, board_lines, board_screen
from assessments.queries import board_tools as board_tools_query
from assessments.queries.board_corrections import still_to_correct
from assessments.services import board_corrections
from assessments.services import boards as services
from people.access import UserRequest, role_required, row_number
from people.models import Person, Role, Site
from people.models.people import PersonQuerySet
from people.presenters.paper import not_printed
from training import access as training_access
from training.models import ClassSession, Exercise

PAGE_SIZE = 50
ASKED_SHOWN = 100
MOST_LABELS = 200
CLASSES_OFFERED_FOR = timedelta(days=90)  # after their last day


@require_safe
@login_required
def board_list(request: UserRequest) -> HttpResponse:
    readable = access.boards_readable_by(request.user)
    exercises = Exercise.objects.published().order_by("title", "-revision")
    form = BoardFilterForm(request.GET, exercises=list(exercises))
    chosen = form.chosen()
    boards = readable.with_list_columns().in_state(chosen.get("state", ""))
    boards = boards.naming(chosen.get("q", ""))
    if "exercise" in chosen:
        boards = boards.filter(exercise=chosen["exercise"])
    if "purpose" in chosen:
        boards = boards.filter(purpose=chosen["purpose"])
    if "person" in chosen:
        boards = boards.filter(person__employee_number=chosen["person"])
    page = Paginator(boards, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page": page,
        "lines": board_lines(page, request.user, timezone.now()),
        "filtered": bool(chosen),
        "asked": asked_of(access.cannot_tell_visible_to(request.user)[:ASKED_SHOWN]),
        "of_others": request.user.has_role(Role.INSTRUCTOR, Role.QUALITY),
        "may_make": request.user.has_role(Role.INSTRUCTOR),
    }
    return render(request, "assessments/board_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR)
def board_new(request: UserRequest) -> HttpResponse:
    sites = request.user.sites_as(Role.INSTRUCTOR)
    sessions = (
        ClassSession.objects.filter(site__in=sites)
        .select_related("course_revision__course", "site")
        .order_by("-starts_on", "number")
    )
    people = Person.objects.filter(site__in=sites).select_related("site")
    asked = request.POST if request.method == "POST" else request.GET
    session = sessions.filter(number=asked.get("session", "")).first()
    recent = Q(ends_on__gte=timezone.localdate() - CLASSES_OFFERED_FOR)
    own_site = Site.objects.filter(pk__in=sites).order_by("name").first()
    site_now = session.site if session else own_site
    today = site_now.today() if site_now else timezone.localdate()
    exercise = _exercise_named(asked.get("exercise", ""))
    proposed = _proposed(session, exercise, asked.get("person", ""), people)
    form = NewBoardsForm(
        request.POST if request.method == "POST" else None,
        sessions=sessions.filter(recent | Q(pk=session and session.pk)),
        people=people.at_work_on(today),
        session=session,
        proposed=proposed,
        initial={
            "exercise": exercise,
            "person": request.GET.get("person", ""),
            "session": session.number if session else "",
            "purpose": _purpose_chosen(request) or (proposed.purpose if proposed else ""),
            "handed_out_on": today,
        },
    )
    holding: list[Board] = []
    if request.method == "POST" and form.is_valid():
        try:
            boards = _make(request, form.cleaned_data)
        except HoldBoardsAlready as error:
            holding = error.boards
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            numbers = [("number", board.number) for board in boards]
            return redirect(f"{reverse('assessments:board_labels')}?{urlencode(numbers)}")
    status = 422 if request.method == "POST" else 200
    context = {
        "form": form,
        "session": session,
        "holding": holding,
        "proposed": proposed,
        "nothing_to_make": not Exercise.objects.current().exists(),
    }
    return render(request, "assessments/board_new.html", context, status=status)


def _purpose_chosen(request: UserRequest) -> str:
    """A purpose that somebody chose, and not the one that was proposed to them before."""
    purpose = request.GET.get("purpose", "")
    return "" if purpose == request.GET.get("proposed") else purpose


def _proposed(
    session: ClassSession | None, exercise: Exercise | None, person: str, people: PersonQuerySet
) -> ProposedPurpose | None:
    """What the boards would be for; None while nothing says what they lead to.

    An exercise says it by itself; before one is chosen the course of the class does.
    """
    if exercise is not None:
        codes = {exercise.code}
    elif session is not None:
        lessons = session.course_revision.lessons.filter(exercise__isnull=False)
        codes = set(lessons.values_list("exercise__code", flat=True))
    else:
        return None
    whom = session.people.all() if session else people.filter(employee_number=person)
    return proposed_purpose(codes, list(whom))


def _exercise_named(said: str) -> Exercise | None:
    """An exercise by its code or by its id, the newest revision that is not retired."""
    current = Exercise.objects.current().order_by("-revision")
    exercise = current.filter(code=said).first()
    return exercise or current.filter(pk=row_number(said)).first()


def _make(request: UserRequest, data: dict[str, Any]) -> list[Board]:
    session, person = data["session"], data["person"]
    day = data["handed_out_on"]
    if session is None:
        people, site = [person], person.site
    else:
        enrolled = data["people"] if data.get("ticked") else session.people.all()
        people = [
            trainee for trainee in enrolled if trainee.left_on is None or trainee.left_on >= day
        ]
        site = session.site
        for trainee in enrolled:
            if trainee not in people:
                messages.warning(
                    request,
                    _("%(person)s has left, so no board was made for them.")
                    % {"person": trainee.full_name},
                )
    held = request.POST.getlist("held")
    if request.POST.get("holders") == "leave_out":
        holders = {board.person_id for board in services.boards_held(data["exercise"], people)}
        people = [person for person in people if person.pk not in holders]
    boards = services.make_boards(
        exercise=data["exercise"],
        people=people,
        purpose=data["purpose"],
        site=site,
        session=session,
        unit=data["unit"].strip(),
        work_order=data["work_order"].strip(),
        alloy=data["alloy"].strip(),
        handed_out_on=day,
        actor=request.user,
        at=timezone.now(),
        held=held,
    )
    messages.success(
        request,
        ngettext(
            "%(n)d board is made. Print its label and stick it on.",
            "%(n)d boards are made. Print their labels and stick them on.",
            len(boards),
        )
        % {"n": len(boards)},
    )
    return boards


@require_safe
@login_required
def board_labels(request: UserRequest) -> HttpResponse:
    """Labels as they will be printed, in the order asked for."""
    labels = _labels_asked_for(request)
    return render(
        request,
        "assessments/labels.html",
        {
            "labels": labels,
            "asked": urlencode([("number", label.board.number) for label in labels]),
            "may_correct": all(access.may_judge(request.user, label.board) for label in labels),
            "lacking": not_printed(board_labels_presenter.texts_on_labels(labels)),
        },
    )


@require_safe
@login_required
def board_labels_pdf(request: UserRequest) -> HttpResponse:
    content = board_labels_presenter.labels_pdf(_labels_asked_for(request), at=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response


def _labels_asked_for(request: UserRequest) -> list[board_labels_presenter.Label]:
    numbers = list(dict.fromkeys(request.GET.getlist("number")))[:MOST_LABELS]
    boards = {
        board.number: board
        for board in access.boards_readable_by(request.user)
        .with_list_columns()
        .filter(number__in=numbers)
    }
    if not numbers or len(boards) < len(numbers):
        raise Http404
    return board_labels_presenter.labels_of([boards[number] for number in numbers])


@require_safe
@login_required
def board_detail(request: UserRequest, number: str) -> HttpResponse:
    return show_board(request, access.board_for_reader(request.user, number))


def show_board(
    request: UserRequest,
    board: Board,
    *,
    form: PhotosForm | None = None,
    answers: list[dict] | None = None,
) -> HttpResponse:
    """The page of a board, with what became of photographs just sent, if any were."""
    refused = form is not None or bool(answers and not any(answer["added"] for answer in answers))
    context = {
        "board": board,
        "screen": board_screen(board, request.user),
        "form": form
        or PhotosForm(
            # A joint that was tapped where no script opened the camera.
            initial={"joint": request.GET.get("joint", "")},
            board=board,
            joints=joints_of(board),
        ),
        "answers": answers or [],
        "thumbnail": Rendition.Size.THUMBNAIL.value,
    }
    return render(request, "assessments/board_detail.html", context, status=422 if refused else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def board_hand_in(request: UserRequest, number: str) -> HttpResponse:
    """Ask once, then hand in; a board that is in already has its own page."""
    board = access.board_for_photos(request.user, number)
    sent = request.POST if request.method == "POST" else None
    form = HandInForm(sent, board=board, at=timezone.now())
    if request.method == "POST" and form.is_valid():
        try:
            services.hand_in(
                board=board,
                actor=request.user,
                at=timezone.now(),
                bench_minutes=form.cleaned_data["bench_minutes"],
                tools=form.tools_used(),
                seen=form.cleaned_data["seen"] or None,
            )
        except BoardChangedMeanwhile as error:
            _show_again(request, form, "tools", error)
        except ToolsNotFit as error:
            form.add_error("tools", str(error))
        except AssessmentError as error:
            messages.error(request, str(error))
            return redirect("assessments:board_detail", number)
        else:
            messages.success(
                request,
                _(
                    "%(number)s is handed in and waits to be graded. You can take it back until "
                    "somebody judges it."
                )
                % {"number": number},
            )
            return redirect("assessments:board_detail", number)
    screen = board_screen(board, request.user)
    if not screen.may_hand_in:
        return redirect("assessments:board_detail", number)
    context = {"board": board, "screen": screen, "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "assessments/board_hand_in.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def board_tools(request: UserRequest, number: str) -> HttpResponse:
    """What a board was made with; from the tablet of a class, back to the class."""
    board = access.board_for_photos(request.user, number)
    if why := board_tools_query.why_tools_stay(board, request.user):
        messages.error(request, why)
        return redirect("assessments:board_detail", number)
    sent = request.POST if request.method == "POST" else None
    form = ToolsUsedForm(sent, board=board, at=timezone.now())
    if sent is not None and form.is_valid():
        try:
            services.name_tools(
                board=board,
                tools=form.tools_used() or [],
                actor=request.user,
                at=timezone.now(),
                seen=form.cleaned_data["seen"] or None,
            )
        except BoardChangedMeanwhile as error:
            _show_again(request, form, "tools", error)
        except AssessmentError as error:
            form.add_error("tools", str(error))
        else:
            messages.success(request, _("The tools of %(number)s are noted.") % {"number": number})
            if request.GET.get("from") == "class" and board.session is not None:
                return redirect("assessments:class_day", board.session.number)
            return redirect("assessments:board_detail", number)
    status = 422 if form.is_bound else 200
    context = {"board": board, "form": form}
    return render(request, "assessments/board_tools.html", context, status=status)


def _show_again(
    request: UserRequest, form: BaseForm, field: str | None, error: BoardChangedMeanwhile
) -> None:
    """Have a refused form say what somebody else said, and carry that it showed it."""
    form.add_error(field, str(error))
    form.data = typed = request.POST.copy()
    typed[form.add_prefix("seen")] = error.seen


@require_POST
@login_required
def board_take_back(request: UserRequest, number: str) -> HttpResponse:
    """Have a board with its maker again that nobody has begun to judge."""
    board = access.board_for_photos(request.user, number)
    try:
        services.take_back_hand_in(board=board, actor=request.user, at=timezone.now())
    except AssessmentError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%(number)s is with the trainee again.") % {"number": number})
    return redirect("assessments:board_detail", number)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.INSTRUCTOR)
def boards_correct(request: UserRequest) -> HttpResponse:
    """Cancel boards that were made by mistake, or say what they are for after all."""
    session = None
    if named := request.GET.get("session", ""):
        session = training_access.session_for_instructor(request.user, named)
    numbers = list(dict.fromkeys(request.GET.getlist("number")))[:MOST_LABELS]
    boards = access.boards_to_correct(request.user).order_by("person__full_name", "number")
    if session is not None:
        boards = boards.filter(session=session, cancelled_at__isnull=True)
    else:
        boards = boards.filter(number__in=numbers)
        if len(boards) < len(numbers):
            raise Http404
    still = still_to_correct(boards)
    offered = boards.filter(number__in={*still.cancelled, *still.purpose})
    act = request.POST.get("act", "")
    form = CorrectionForm(
        request.POST if request.method == "POST" else None,
        boards=boards if request.method == "POST" else offered,
        corrects=act == "purpose",
    )
    if request.method == "POST" and form.is_valid():
        try:
            _put_right(request, act, form.cleaned_data)
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            if session is not None:
                return redirect("assessments:class_day", session.number)
            if len(numbers) == 1:
                return redirect("assessments:board_detail", numbers[0])
            return redirect("assessments:board_list")
    context = {"form": form, "session": session, "offered": offered, "still": still}
    status = 422 if request.method == "POST" else 200
    return render(request, "assessments/boards_correct.html", context, status=status)


def _put_right(request: UserRequest, act: str, data: dict[str, Any]) -> None:
    who_when: dict[str, Any] = {
        "boards": list(data["boards"]),
        "reason": data["reason"],
        "actor": request.user,
        "at": timezone.now(),
    }
    count = len(who_when["boards"])
    if act == "cancel":
        board_corrections.cancel_boards(**who_when)
        said = ngettext("%(n)d board is cancelled.", "%(n)d boards are cancelled.", count)
    else:
        board_corrections.correct_purpose(purpose=data["purpose"], **who_when)
        said = ngettext(
            "The purpose of %(n)d board is corrected.",
            "The purpose of %(n)d boards is corrected.",
            count,
        )
    messages.success(request, said % {"n": count})


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def board_piece(request: UserRequest, number: str) -> HttpResponse:
    """Where the piece is kept, with what it was made, and what became of it."""
    board = access.board_for_grader(request.user, number)
    if board.cancelled_at is not None:
        messages.error(request, _("%(number)s is cancelled.") % {"number": number})
        return redirect("assessments:board_detail", number)
    sent = request.POST if request.method == "POST" else None
    act = request.POST.get("act", "")
    forms = {
        "keep": PieceForm(sent if act == "keep" else None, board=board, prefix="keep"),
        "check": DestructiveCheckForm(sent if act == "check" else None, prefix="check"),
        "dispose": DisposalForm(sent if act == "dispose" else None, prefix="dispose"),
    }
    if act in forms and forms[act].is_valid():
        who_when: dict[str, Any] = {"board": board, "actor": request.user, "at": timezone.now()}
        try:
            if act == "keep":
                said = forms[act].cleaned_data
                services.describe_piece(**{**said, "seen": said["seen"] or None}, **who_when)
            elif act == "check":
                services.add_destructive_check_once(**forms[act].cleaned_data, **who_when)
            else:
                services.dispose(how=forms[act].cleaned_data["disposed_how"], **who_when)
        except BoardChangedMeanwhile as error:
            _show_again(request, forms[act], None, error)
        except AssessmentError as error:
            forms[act].add_error(None, str(error))
        else:
            messages.success(request, _("What you said of the piece is saved."))
            return redirect("assessments:board_piece", number)
    kept_until = board.kept_until
    context = {
        "board": board,
        "forms": forms,
        "checks": board.destructive_checks.all(),
        "is_kept": kept_until is not None and board.site.today() <= kept_until,
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "assessments/board_piece.html", context, status=status)
