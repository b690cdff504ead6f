"""The site's addresses, and the peers': a small page, and one that reads who asks and one row."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import include, path

from people.models import Person

HELLO = """<!doctype html><title>{{ title }}</title><ul>
{% for line in lines %}<li>{{ line }}{% endfor %}</ul>"""


def _page(title: str, lines: list[str]) -> HttpResponse:
    # Django's templates as they come, without context processors.
    template = engines["django"].from_string(HELLO)
    return HttpResponse(template.render({"title": title, "lines": lines}))


def hello(request: HttpRequest) -> HttpResponse:
    """The bare view: one row and a small template, and no middleware before it."""
    person = Person.objects.values("full_name").get(employee_number=request.GET["number"])
    return _page(person["full_name"], [str(number) for number in range(20)])


@login_required
def one_row(request: HttpRequest) -> HttpResponse:
    """The same behind the site's own middleware: a session, a user, and one row."""
    return hello(request)


def ready(request: HttpRequest) -> HttpResponse:
    return HttpResponse("ready")


urlpatterns = [
    path("bare/ready", ready),
    path("bare/row", hello),
    path("peer/row", one_row),
    path("", include("config.urls")),
]
