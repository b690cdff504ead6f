"""The site's addresses and the benchmark's peer: the same token check, then one row."""

from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import include, path
from django.views.decorators.csrf import csrf_exempt

application = get_wsgi_application()

from interfaces.views.api import SiteToken  # noqa: E402 - once the apps are there
from people.models import Person  # noqa: E402

check_token = SiteToken()


@csrf_exempt
def one_row(request: HttpRequest) -> HttpResponse:
    if check_token(request) is None:
        return HttpResponse(status=401)
    row = Person.objects.values("employee_number", "full_name").get(
        employee_number=request.GET["employee_number"]
    )
    return JsonResponse(row)


urlpatterns = [path("api/one-row", one_row), path("", include("config.urls"))]
