"""The site's addresses and the benchmark's peer: the same middleware and sign-in, then one row."""

from django.contrib.auth.decorators import login_required
from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, JsonResponse
from django.urls import include, path
from django.utils import timezone
from django.views.decorators.http import require_POST

application = get_wsgi_application()

from assessments.models import UndoStep  # noqa: E402 - once the apps are there


@require_POST
@login_required
def one_row(request: HttpRequest) -> JsonResponse:
    UndoStep.objects.create(
        grading_id=int(request.POST["grading"]),
        stage=request.POST["stage"],
        key=request.POST["key"],
        before=[],
        done_at=timezone.now(),
    )
    return JsonResponse({"saved": True})


urlpatterns = [path("one-row", one_row), path("", include("config.urls"))]
