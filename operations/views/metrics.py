"""Figures for a monitoring program that shows a token."""

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from operations.presenters import metrics

SCHEME = "bearer "


@never_cache
@require_safe
def metrics_text(request: HttpRequest) -> HttpResponse:
    """Everything there is; 404 where no token is set, 401 where another or none is shown."""
    if not settings.METRICS_TOKEN:
        raise Http404
    authorization = request.headers.get("Authorization", "")
    shown = authorization[len(SCHEME) :].strip() if _is_bearer(authorization) else ""
    if not constant_time_compare(shown, settings.METRICS_TOKEN):
        return HttpResponse(
            _("Show the token that METRICS_TOKEN holds, as Authorization: Bearer.") + "\n",
            status=401,
            content_type="text/plain; charset=utf-8",
            headers={"WWW-Authenticate": 'Bearer realm="metrics"'},
        )
    return HttpResponse(metrics.as_text(timezone.now()), content_type=metrics.CONTENT_TYPE)


def _is_bearer(authorization: str) -> bool:
    return authorization[: len(SCHEME)].lower() == SCHEME
