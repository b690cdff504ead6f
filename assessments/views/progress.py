"""How somebody's work goes from board to board, as a part of their page."""

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from assessments.access import boards_of_person_counted_for
from assessments.presenters.progress import progress_shown
from people.access import UserRequest, person_with_results


@require_safe
@login_required
def person_progress(request: UserRequest, employee_number: str) -> HttpResponse:
    person = person_with_results(request.user, employee_number)
    boards = boards_of_person_counted_for(request.user, person)
    context = {"person": person, "progress": progress_shown(boards)}
    return render(request, "assessments/partials/person_progress.html", context)
