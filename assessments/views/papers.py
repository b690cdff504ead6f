"""Papers of written tests: begun, answered and handed in by whom they are for, and decided on."""

import logging
from secrets import token_hex

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments import access, ports
from assessments.exceptions import AssessmentError
from assessments.forms.written_tests import (
    AnswerForm,
    CorrectForm,
    CountLateForm,
    EnterForm,
    WithdrawPaperForm,
)
from assessments.models import Paper, PaperQuestion
from assessments.presenters import paper_print, written_paper, written_shown
from assessments.queries import written_tests as queries
from assessments.services import papers as services
from people.access import UserRequest
from people.exceptions import ProofRefused
from people.models import Role
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise

from .judgements import wants_json
from .photos import rendition_response

log = logging.getLogger(__name__)
FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@login_required
def paper_detail(request: UserRequest, number: str) -> HttpResponse:
    """A paper as it stands: to begin, to answer, or what it came to; for others, how it stands."""
    paper = access.paper_for_page(request.user, number)
    if paper.person_id != request.user.person_id:
        return _for_reader(request, paper)
    start, end = getattr(paper, "start", None), getattr(paper, "end", None)
    result = queries.result_of(paper)
    now = timezone.now()
    context = {
        "paper": paper,
        "test": paper.test,
        "rules": written_paper.rules_in_words(paper.test, paper.questions.count()),
        "withdrawal": getattr(paper, "withdrawal", None),
    }
    if context["withdrawal"] is None and start is not None and end is None:
        lines = written_paper.paper_lines(paper)
        context |= {
            "lines": lines,
            "answered": sum(line.answered for line in lines),
            "left_s": max(int((start.ends_at - now).total_seconds()), 0),
            "ends_at": start.ends_at,
            "reader": request.user.pk,
        }
        response = render(request, "assessments/paper_take.html", context)
        # Back and a reload show what the site has, and nobody after them on a shared tablet does.
        add_never_cache_headers(response)
        return response
    context |= {
        "shown": written_paper.result_shown(paper, result) if result else None,
        "may_begin": start is None and paper.medium == Paper.Medium.SCREEN,
        "not_yet": paper.site.today(now) < paper.not_before,
    }
    return render(request, "assessments/paper.html", context)


def _for_reader(
    request: UserRequest, paper: Paper, withdraw: WithdrawPaperForm | None = None
) -> HttpResponse:
    """How somebody else's paper stands, and what may be done about it."""
    result = queries.result_of(paper)
    teaches = request.user.has_role(Role.INSTRUCTOR, site=paper.site_id)
    audits = request.user.has_role(Role.QUALITY, site=paper.site_id)
    open_to_act = not hasattr(paper, "withdrawal")
    # Whoever has the same test open themselves reads how others do, and not what they were asked.
    may_read_bank = access.written_tests_readable_by(request.user).filter(pk=paper.test_id).exists()
    handles = teaches and open_to_act and may_read_bank
    may_withdraw = open_to_act and (
        audits or (teaches and result is None) if not (result and result.passed) else False
    )
    context = {
        "paper": paper,
        "test": paper.test,
        "line": written_paper.paper_line(paper, timezone.now()),
        "shown": written_paper.result_shown(paper, result) if result else None,
        "marked": written_paper.marked_lines(paper, result) if result and may_read_bank else [],
        "results": paper.results.select_related("signature"),
        "withdrawal": getattr(paper, "withdrawal", None),
        "may_print": handles and paper.medium == Paper.Medium.PRINTED,
        "may_enter": handles and paper.medium == Paper.Medium.PRINTED and result is None,
        "may_correct": handles and paper.medium == Paper.Medium.PRINTED and result is not None,
        "may_count": handles
        and result is not None
        and not result.late_count
        and queries.has_late_answers(paper),
        "withdraw_form": withdraw or (WithdrawPaperForm() if may_withdraw else None),
    }
    status = 422 if withdraw else 200
    return render(request, "assessments/paper_read.html", context, status=status)


@require_POST
@login_required
def paper_start(request: UserRequest, number: str) -> HttpResponse:
    paper = access.own_paper(request.user, number)
    try:
        services.start_paper(paper=paper, actor=request.user, at=timezone.now())
    except AssessmentError as error:
        messages.error(request, str(error))
    return redirect("assessments:paper_detail", number)


@require_POST
@login_required
def paper_answer(request: UserRequest, number: str) -> HttpResponse:
    """Keep one answer; the script is told whether it is, a form comes back to its question."""
    paper = access.own_paper(request.user, number)
    form = AnswerForm(request.POST)
    says, late, order = "", False, 0
    if form.is_valid():
        data = form.cleaned_data
        order = data["order"]
        try:
            answer = services.save_answer(
                paper=paper,
                order=order,
                given=data["given"],
                key=data["key"] or token_hex(16),
                actor=request.user,
                at=timezone.now(),
            )
            late = answer.late
        except AssessmentError as error:
            says = str(error)
    else:
        says = " ".join(str(text) for errors in form.errors.values() for text in errors)
    if wants_json(request):
        kept = {"saved": not says, "late": late} | ({"says": says} if says else {})
        response = JsonResponse(kept, status=422 if says else 200)
        add_never_cache_headers(response)
        return response
    if says:
        messages.error(request, says)
    elif late:
        messages.warning(
            request,
            _("The answer came after the time was over. It is kept, and does not count by itself."),
        )
    address = reverse("assessments:paper_detail", args=[number])
    return redirect(f"{address}#q{order}" if order and not says else address)


@require_POST
@login_required
def paper_hand_in(request: UserRequest, number: str) -> HttpResponse:
    paper = access.own_paper(request.user, number)
    try:
        services.hand_in(paper=paper, actor=request.user, at=timezone.now())
    except AssessmentError as error:
        messages.error(request, str(error))
    return redirect("assessments:paper_detail", number)


@require_safe
@login_required
def paper_picture(request: UserRequest, number: str, order: int) -> HttpResponseBase:
    """The photograph that a question of one's own paper asks about, from its beginning on."""
    paper = access.own_paper(request.user, number)
    each = get_object_or_404(
        PaperQuestion.objects.select_related("question__photo"),
        paper=paper,
        order=order,
        paper__start__isnull=False,
    )
    return rendition_response(request, each.question.photo)


# What an instructor does


@require_safe
@login_required
def paper_pdf(request: UserRequest, number: str) -> HttpResponse:
    """A printed paper with its answer sheet."""
    paper = access.paper_for_instructor(request.user, number)
    if paper.medium != Paper.Medium.PRINTED:
        messages.error(request, _("%(paper)s is taken on the screen.") % {"paper": number})
        return redirect("assessments:paper_detail", number)
    content = paper_print.paper_pdf(paper, at=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{paper.number}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_http_methods(FORM_METHODS)
@login_required
def paper_enter(request: UserRequest, number: str) -> HttpResponse:
    """Type what stands on a printed paper, and sign for it."""
    paper = access.paper_for_instructor(request.user, number)
    if queries.result_of(paper) is not None or paper.medium != Paper.Medium.PRINTED:
        messages.info(request, _("There is nothing to enter of %(paper)s.") % {"paper": number})
        return redirect("assessments:paper_detail", number)
    now = timezone.now()
    form = EnterForm(
        request.POST if request.method == "POST" else None,
        questions=queries.questions_of(paper),
        showing=written_shown.entering_shown(paper, now),
        initial={"sat_on": paper.site.today(now)},
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.enter_answers(
                paper=paper,
                given=form.given(),
                sat_on=form.cleaned_data["sat_on"],
                shown=form.shown_digest,
                actor=request.user,
                at=now,
                proof=proof,
            )
        except ShownOtherwise:
            form.show_anew(written_shown.entering_shown(paper, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The answers are entered and marked."))
            return redirect("assessments:paper_detail", number)
    status = 422 if form.is_bound else 200
    context = {"paper": paper, "test": paper.test, "form": form}
    return render(request, "assessments/paper_enter.html", context, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def paper_correct(request: UserRequest, number: str) -> HttpResponse:
    """Type anew what was entered wrongly from a printed paper, for a reason that is signed for."""
    paper = access.paper_for_instructor(request.user, number)
    if queries.result_of(paper) is None or paper.medium != Paper.Medium.PRINTED:
        messages.info(request, _("Nothing of %(paper)s was entered.") % {"paper": number})
        return redirect("assessments:paper_detail", number)
    now = timezone.now()
    form = CorrectForm(
        request.POST if request.method == "POST" else None,
        questions=queries.questions_of(paper),
        entered={line["order"]: line["given"] for line in services.to_correct(paper)["entered"]},
        showing=written_shown.correcting_shown(paper, now),
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.correct_answers(
                paper=paper,
                given=form.given(),
                reason=form.cleaned_data["reason"],
                shown=form.shown_digest,
                actor=request.user,
                at=now,
                proof=prove_identity(request.user, form.cleaned_data["password"]),
            )
        except ShownOtherwise:
            form.show_anew(written_shown.correcting_shown(paper, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The answers are corrected, and the paper is marked anew."))
            return redirect("assessments:paper_detail", number)
    status = 422 if form.is_bound else 200
    context = {
        "paper": paper,
        "test": paper.test,
        "form": form,
        "corrects": True,
        "resting": ports.what_rests_on(paper),
    }
    return render(request, "assessments/paper_enter.html", context, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def paper_count_late(request: UserRequest, number: str) -> HttpResponse:
    """Let answers count that came late, for a reason that is signed for."""
    paper = access.paper_for_instructor(request.user, number)
    result = queries.result_of(paper)
    if result is None or result.late_count or not queries.has_late_answers(paper):
        messages.info(request, _("No late answer of %(paper)s waits.") % {"paper": number})
        return redirect("assessments:paper_detail", number)
    now = timezone.now()
    form = CountLateForm(
        request.POST if request.method == "POST" else None,
        showing=written_shown.late_shown(paper, now),
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.count_late_answers(
                paper=paper,
                reason=form.cleaned_data["reason"],
                shown=form.shown_digest,
                actor=request.user,
                at=now,
                proof=proof,
            )
        except ShownOtherwise:
            form.show_anew(written_shown.late_shown(paper, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except AssessmentError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The late answers count, and the paper is marked anew."))
            return redirect("assessments:paper_detail", number)
    context = {
        "paper": paper,
        "test": paper.test,
        "form": form,
        "result": result,
        "lines": form.showing.lines,
        "resting": ports.what_rests_on(paper),
    }
    status = 422 if form.is_bound else 200
    return render(request, "assessments/paper_count_late.html", context, status=status)


@require_POST
@login_required
def paper_withdraw(request: UserRequest, number: str) -> HttpResponse:
    paper = access.paper_for_reader(request.user, number)
    form = WithdrawPaperForm(request.POST)
    if form.is_valid():
        try:
            services.withdraw_paper(
                paper=paper,
                reason=form.cleaned_data["reason"],
                actor=request.user,
                at=timezone.now(),
            )
        except AssessmentError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, _("%(paper)s is withdrawn.") % {"paper": number})
        return redirect("assessments:paper_detail", number)
    return _for_reader(request, paper, form)
