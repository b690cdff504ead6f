"""What a scope asks of somebody, proposing them, and deciding what was proposed."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Case, Value, When
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from certification import access
from certification.exceptions import CertificationError
from certification.forms.proposals import DeclineForm, IssueForm, ProposeForm
from certification.models import Proposal
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
from certification.queries.requirements import requirements
from certification.services import certificates
from certification.services import proposals as services
from certification.services.acts import Act
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Role
from people.services.proof import prove_identity
from records.domain.shown import Shown
from records.exceptions import ShownOtherwise

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
