"""What a scope asks of somebody, proposing them, and deciding what was proposed."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Case, Q, Value, When
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from assessments.access import board_for_reader, may_see_outcome
from certification import access
from certification.exceptions import CertificationError
from certification.forms.proposals import (
    CandidatesFilterForm,
    DeclineForm,
    IssueForm,
    IssueTogetherForm,
    ProposeForm,
    ProposeTogetherForm,
)
from certification.models import Certificate, Proposal
from certification.presenters import candidates_page, decide_page
from certification.presenters import (
    certificate_page as certificate_screen,
)
from certification.presenters import (
    period as period_said,
)
from certification.presenters import (
    requirements_page as requirements_screen,
)
from certification.presenters.signing_shown import issuing_shown
from certification.queries.candidates import (
    MOST_CANDIDATES,
    PASSED_LATELY,
    by_exercise,
    in_class,
    passed_lately,
)
from certification.queries.requirements import requirements
from certification.services import certificates
from certification.services import proposals as services
from certification.services.acts import Act
from people.access import UserRequest, days_for, role_required, row_number
from people.exceptions import ProofRefused
from people.models import Role
from people.services.proof import prove_identity
from records.domain.shown import Shown
from records.exceptions import ShownOtherwise
from training import access as training_access

FORM_METHODS = ["GET", "HEAD", "POST"]
PROPOSALS_A_PAGE = 50


@require_safe
@login_required
def requirements_page(request: UserRequest, employee_number: str, scope_code: str) -> HttpResponse:
    return _requirements(request, employee_number, scope_code)


@require_POST
@login_required
def proposal_new(request: UserRequest, employee_number: str, scope_code: str) -> HttpResponse:
    person, scope = access.person_to_propose(request.user, employee_number, scope_code)
    now = timezone.now()
    screen = requirements_screen.build(
        person, scope, request.user, request.GET.get("scheme", ""), now
    )
    if screen.revision is None:
        return _requirements(request, employee_number, scope_code)
    form = ProposeForm(request.POST, showing=requirements_screen.shown(screen, now))
    if form.is_valid():
        try:
            proposal = services.propose(
                person=person,
                scope=scope,
                revision=screen.revision,
                note=form.cleaned_data["note"],
                restriction=form.cleaned_data["restriction"],
                act=Act(
                    actor=request.user,
                    at=timezone.now(),
                    proof=prove_identity(request.user, form.cleaned_data["password"]),
                    shown=form.shown_digest,
                ),
            )
        except ShownOtherwise:
            screen = requirements_screen.build(person, scope, request.user, screen.revision.name)
            form.show_anew(requirements_screen.shown(screen, timezone.now()))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("Proposed. Whoever issues certificates here finds it under Proposals.")
            )
            return redirect("certification:proposal_detail", proposal.pk)
    return _requirements(request, employee_number, scope_code, form)


def _requirements(
    request: UserRequest, employee_number: str, scope_code: str, form: ProposeForm | None = None
) -> HttpResponse:
    person, scope = access.person_and_scope(request.user, employee_number, scope_code)
    now = timezone.now()
    screen = requirements_screen.build(
        person, scope, request.user, request.GET.get("scheme", ""), now
    )
    if form is None and screen.may_propose and screen.revision is not None:
        form = ProposeForm(
            initial={"restriction": screen.restriction_held},
            showing=requirements_screen.shown(screen, now),
        )
    return render(
        request,
        "certification/requirements.html",
        {"screen": screen, "form": form},
        status=422 if form is not None and form.errors else 200,
    )


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def proposals_new(request: UserRequest) -> HttpResponse:
    """Who meets a scheme, in a class or of late, and who does not yet: proposed in one act."""
    user, now = request.user, timezone.now()
    sites = user.sites_as(Role.INSTRUCTOR)
    days = days_for(user, sites, now)
    begun = days.each(lambda day: Q(starts_on__lte=day), "site")
    recent = Q(ends_on__gte=days.first - PASSED_LATELY)
    sessions = training_access.sessions_taught_by(user).filter(begun, recent)
    filters = CandidatesFilterForm(
        request.GET, sessions=sessions.select_related("course_revision__course")
    )
    session, scope = filters.chosen("session"), filters.chosen("scope")
    if session is not None:
        candidates = in_class(session, sites, days, but=user.person_id or 0)
    else:
        candidates = passed_lately(sites, days, now, but=user.person_id or 0)
    screen = candidates_page.build(candidates, scope, with_held=session is not None)
    ticked = [row.key for row in screen.ready] if "all" in request.GET else []
    form = ProposeTogetherForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        ticked = request.POST.getlist("ticked")
        # Whoever is no longer ready is refused by name, with the reason.
        chosen = [row for row in screen.rows if row.key in ticked]
        if not chosen:
            form.add_error(None, _("Tick whom to propose: nobody on this page is ticked."))
        if form.is_valid():
            try:
                proof = prove_identity(user, form.cleaned_data["password"])
            except ProofRefused as error:
                form.add_error("password", str(error))
            else:
                together = services.propose_together(
                    [_ticked(request, row.key, row.candidate) for row in chosen],
                    act=Act(actor=user, at=now, proof=proof),
                    note=form.cleaned_data["note"],
                )
                n = len(together.done)
                _tell(
                    request,
                    together,
                    ngettext(
                        "%(n)d is proposed. Whoever issues certificates finds it under Proposals.",
                        "%(n)d are proposed. Whoever issues certificates finds them under "
                        "Proposals.",
                        n,
                    )
                    % {"n": n},
                )
                return redirect(_same_view(request))
        ticked = _as_shown(request, screen.ready)
    context = {
        "screen": screen,
        "filters": filters,
        "session": session,
        "ticked": ticked,
        "form": form,
        "query": _query(request, "all"),
        "lately_days": PASSED_LATELY.days,
        "most": MOST_CANDIDATES,
    }
    status = 422 if form.is_bound else 200
    return render(request, "certification/proposals_new.html", context, status=status)


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def proposals_decide(request: UserRequest) -> HttpResponse:
    """Everything that waits to be decided, in full: what is ticked is issued under one proof."""
    user, now = request.user, timezone.now()
    days = days_for(user, user.sites_as(Role.INSTRUCTOR, Role.QUALITY), now)
    readable = access.proposals_readable_by(user)
    screen = decide_page.build(user, readable, days)
    ticked = [row.key for row in screen.issuable] if "all" in request.GET else []
    form = IssueTogetherForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        ticked = request.POST.getlist("ticked")
        # What was decided meanwhile is refused by name.
        chosen = list(
            readable.select_related("person__site", "scope")
            .filter(pk__in=[row_number(key) for key in ticked][: decide_page.MOST_AT_ONCE])
            .order_by("recorded_at", "pk")
        )
        if not chosen:
            form.add_error(None, _("Tick what to issue: nothing that waits is ticked."))
        if form.is_valid():
            try:
                proof = prove_identity(user, form.cleaned_data["password"])
            except ProofRefused as error:
                form.add_error("password", str(error))
            else:
                act = Act(actor=user, at=now, proof=proof)
                together = services.issue_together(
                    [_ticked(request, str(proposal.pk), proposal) for proposal in chosen], act=act
                )
                _tell(request, together, _issued(together.done))
                return redirect("certification:proposals_decide")
        ticked = _as_shown(request, screen.issuable)
    context = {"screen": screen, "ticked": ticked, "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "certification/proposals_decide.html", context, status=status)


@require_safe
@login_required
def board_leads_to(request: UserRequest, number: str) -> HttpResponse:
    """What a board that was judged leads on to, by the schemes: a part of its result's page.

    Without a script it is a page of its own.
    """
    board = board_for_reader(request.user, number)
    if not may_see_outcome(request.user, board):
        raise Http404
    person = board.person
    candidates = by_exercise(person, board.exercise.code, person.site.today())
    context = {
        "board": board,
        "rows": candidates_page.rows_of(candidates.found, to_sign=False),
        "is_own": request.user.person_id == person.pk,
        "may_propose": access.may_propose(request.user, person),
    }
    page = "partials/board_leads_to" if request.htmx else "board_leads_to"
    return render(request, f"certification/{page}.html", context)


def _as_shown(
    request: UserRequest, rows: Sequence[candidates_page.Row | decide_page.DecideRow]
) -> list[str]:
    """The ticks that a refused form keeps: of what is still as its page showed it."""
    sent = request.POST.getlist("ticked")
    return [
        row.key
        for row in rows
        if row.key in sent and request.POST.get(f"shown-{row.key}") == row.shown
    ]


def _ticked(request: UserRequest, key: str, what: Any) -> services.Ticked:
    """What was ticked, with what the page that sent it showed of it."""
    return services.Ticked(
        what,
        shown=request.POST.get(f"shown-{key}", ""),
        restriction=request.POST.get(f"only-{key}", ""),
    )


def _issued(done: list[Certificate]) -> str:
    numbers = ", ".join(certificate.number for certificate in done)
    return ngettext(
        "%(n)d certificate is issued: %(numbers)s.",
        "%(n)d certificates are issued: %(numbers)s.",
        len(done),
    ) % {"n": len(done), "numbers": numbers}


def _tell(request: UserRequest, together: services.Together, done: str) -> None:
    """Say what was done, and of each that stayed why."""
    if together.done:
        messages.success(request, done)
    for name, why in together.stayed:
        messages.warning(
            request, _("%(name)s stays as it was. %(why)s") % {"name": name, "why": why}
        )


def _query(request: UserRequest, *without: str) -> str:
    query = request.GET.copy()
    for name in without:
        query.pop(name, None)
    return query.urlencode()


def _same_view(request: UserRequest) -> str:
    """The page as it was asked for, nothing ticked."""
    query = _query(request, "all")
    return request.path + (f"?{query}" if query else "")


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def proposal_list(request: UserRequest) -> HttpResponse:
    proposals = (
        access.proposals_readable_by(request.user)
        .annotate(is_open=Case(When(decision="", then=Value(1)), default=Value(0)))
        .select_related("person", "scope", "signature", "certificate", "decided_by__person")
        .order_by("-is_open", "-recorded_at")
    )
    page = Paginator(proposals, PROPOSALS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "certification/proposal_list.html",
        {
            "page": page,
            "waiting": proposals.filter(decision="").count(),
            "may_propose": request.user.has_role(Role.INSTRUCTOR),
            "decides": request.user.has_role(Role.QUALITY),
        },
    )


@require_safe
@login_required
def proposal_detail(request: UserRequest, proposal_id: int) -> HttpResponse:
    proposal = access.proposal_for_reader(request.user, proposal_id)
    return _proposal(request, proposal, _issue_form(request, proposal), DeclineForm())


@require_POST
@login_required
def proposal_issue(request: UserRequest, proposal_id: int) -> HttpResponse:
    proposal = access.proposal_for_reader(request.user, proposal_id)
    try:
        certificates.refuse_if_decided(proposal)
    except CertificationError as error:
        messages.error(request, str(error))
        return redirect("certification:proposal_detail", proposal.pk)
    form = IssueForm(request.POST, showing=_issuing_shown(request, proposal))
    if form.is_valid():
        try:
            certificate = certificates.issue_certificate(
                proposal=proposal,
                restriction=form.cleaned_data["restriction"],
                act=Act(
                    actor=request.user,
                    at=timezone.now(),
                    proof=prove_identity(request.user, form.cleaned_data["password"]),
                    shown=form.shown_digest,
                ),
            )
        except ShownOtherwise:
            form.show_anew(_issuing_shown(request, proposal))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Issued as %(number)s.") % {"number": certificate.number})
            return redirect("certification:certificate_detail", certificate.number)
    return _proposal(request, proposal, form, DeclineForm())


@require_POST
@login_required
def proposal_decline(request: UserRequest, proposal_id: int) -> HttpResponse:
    proposal = access.proposal_for_reader(request.user, proposal_id)
    form = DeclineForm(request.POST)
    if form.is_valid():
        try:
            services.decline(
                proposal=proposal,
                act=Act(actor=request.user, at=timezone.now(), reason=form.cleaned_data["reason"]),
            )
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Declined. The instructor sees why."))
            return redirect("certification:proposal_detail", proposal.pk)
    return _proposal(request, proposal, _issue_form(request, proposal), form)


def _issuing_shown(request: UserRequest, proposal: Proposal) -> Shown:
    now = timezone.now()
    day = proposal.person.site.today(now)
    checked = requirements(proposal.person, proposal.scope, proposal.scheme_revision, day)
    return issuing_shown(proposal, request.user, checked, now)


def _issue_form(request: UserRequest, proposal: Proposal) -> IssueForm:
    """With what was proposed, and what restricts the person meanwhile."""
    person, scope = proposal.person, proposal.scope
    held = certificates.with_restrictions_held(
        person, scope, person.site.today(), proposal.restriction
    )
    return IssueForm(initial={"restriction": held}, showing=_issuing_shown(request, proposal))


def _proposal(
    request: UserRequest, proposal: Proposal, issue: IssueForm, decline: DeclineForm
) -> HttpResponse:
    person, scope, revision = proposal.person, proposal.scope, proposal.scheme_revision
    today = person.site.today()
    context = {
        "proposal": proposal,
        "boards": certificate_screen.boards_of(proposal.evidence, request.user),
        "papers": certificate_screen.papers_of(proposal.evidence),
        "today": today,
        "issue_form": issue,
        "decline_form": decline,
    }
    if not proposal.decision:
        met = requirements(person, scope, revision, today)
        context |= {
            "found": met,
            "period": period_said.said(
                person,
                scope,
                revision,
                certificates.period_if_issued(person, scope, revision, today),
            ),
            "refusal": certificates.why_may_not_issue(request.user, person, revision, met),
            "may_decline": not services.why_may_not_decline(request.user, proposal),
        }
    return render(
        request,
        "certification/proposal_detail.html",
        context,
        status=422 if issue.errors or decline.errors else 200,
    )
