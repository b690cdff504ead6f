"""The bench check for other programs: HTTP with JSON, by a token of the site.

A request carries its token and nothing of a browser's: cookies are not looked at, so there
is no session and nothing to forge. What is answered is what the kiosk answers.
"""

import json
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from functools import wraps
from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.exceptions import RequestDataTooBig
from django.core.signals import got_request_exception
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.utils import timezone
from django.utils.log import log_response
from django.views.decorators.http import require_safe
from django.views.defaults import page_not_found
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError
from ninja.openapi.schema import OpenAPISchema
from ninja.security import HttpBearer

from audit.presenters.people_list_page import sentence_of
from audit.services.nightly_people import Handover, RowsRefused, take_nightly
from certification.models import Scope
from certification.presenters import bench_check
from certification.services import standing_changes
from interfaces.forms import api as shapes
from interfaces.services import api_tokens
from interfaces.services.api_tokens import Caller
from people.models import FormerEmployeeNumber, Person
from people.queries.employee_numbers import keys_by_number
from records.exceptions import Refusal
from records.tables.lists import list_of
from training.services.work_taken_in import Work, take_in_work

ROOT = "/api/v1/"
PROBLEM = "application/problem+json"
WINDOW_S = 60
# What is being written while a page is read is seen by the next round, which steps back so far.
OVERLAP = timedelta(minutes=10)
LONGEST_NAME, MOST_NAMES = 80, 20

DESCRIPTION = """\
May this person do this work now? For programs on the shop floor: a traveller's terminal, a
manufacturing execution system, a door to a tool crib.

Every request carries `Authorization: Bearer` and a token that an administrator of the site made.
The token answers for people of its site alone. A token that was made for it also enters and
changes people (`people`), or records work that they did (`work`). An unknown person or kind of
work is answered like any other, with `may_work: false`. Why somebody's standing is not current is
not told.

More than the allowed requests in a minute are answered 429, with `Retry-After` in seconds.
"""


class TooManyRequests(Exception):
    def __init__(self, wait_s: int) -> None:
        super().__init__(wait_s)
        self.wait_s = wait_s


class MayNotBringPeople(Exception):
    """The token only reads, or whoever made it administers the site no more."""


class MayNotRecordWork(Exception):
    """The token records no work, or whoever made it administers the site no more."""


class UnknownParameters(Exception):
    def __init__(self, names: list[str]) -> None:
        super().__init__(names)
        self.names = names


PARAMETERS = {
    "standing": shapes.StandingQuery,
    "standings": None,
    "changes": shapes.ChangesFilters,
    "people": None,
    "work": None,
}


def refuse_unknown_parameters(request: HttpRequest) -> None:
    """Refuse what would be passed over: a misspelt day would be answered as of another."""
    shape = PARAMETERS[request.path.rsplit("/", 1)[-1]]
    known = shape.model_fields if shape else {}
    if unknown := sorted(name for name in request.GET if name not in known):
        raise UnknownParameters(unknown)


class SiteToken(HttpBearer):
    """Takes a token that is in use, as often as the rate allows."""

    openapi_description = "A token of the site, as an administrator was shown it once."

    def authenticate(self, request: HttpRequest, token: str) -> Caller | None:
        caller = api_tokens.caller_of(token)
        if caller is None:
            return None
        now = timezone.now()
        count_request(caller, now)
        api_tokens.record_use(caller, caller.today(now))
        refuse_unknown_parameters(request)
        return caller


def count_request(caller: Caller, now: datetime) -> None:
    """Count a request in its minute; raise TooManyRequests beyond what is allowed."""
    window, passed_s = divmod(int(now.timestamp()), WINDOW_S)
    key = f"api-requests:{caller.token_id}:{window}"
    count = 1 if cache.add(key, 1, timeout=2 * WINDOW_S) else cache.incr(key)
    if count > settings.API_REQUESTS_A_MINUTE:
        raise TooManyRequests(WINDOW_S - passed_s)


class BenchCheckAPI(NinjaAPI):
    """Says in its document what comes with a refusal: its own media type and headers."""

    def get_openapi_schema(self, **_where: Any) -> OpenAPISchema:
        document = super().get_openapi_schema(path_prefix=ROOT)
        for path in document["paths"].values():
            for operation in path.values():
                for status, answer in operation["responses"].items():
                    if int(status) >= HTTPStatus.BAD_REQUEST:
                        answer["content"] = {PROBLEM: answer["content"]["application/json"]}
                        answer["headers"] = {
                            name: {"schema": {"type": kind}, "required": True}
                            for name, kind in HEADERS.get(int(status), {}).items()
                        }
        return document


HEADERS = {401: {"WWW-Authenticate": "string"}, 429: {"Retry-After": "integer"}}

api = BenchCheckAPI(
    title="Bench check",
    version="1",
    urls_namespace="api-v1",
    description=DESCRIPTION,
    openapi_url="openapi.json",
    docs_url=None,
    docs_decorator=require_safe,
    auth=SiteToken(),
)


def problem(
    status: int, detail: str, errors: Iterable[str] | None = None, **headers: str
) -> HttpResponse:
    body = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
    }
    if errors is not None:
        body["errors"] = list(errors)
    return HttpResponse(
        json.dumps(body),
        status=status,
        content_type=PROBLEM,
        headers={name.replace("_", "-"): value for name, value in headers.items()},
    )


@api.exception_handler(HttpError)
def refused(request: HttpRequest, error: HttpError) -> HttpResponse:
    if error.status_code == HTTPStatus.UNAUTHORIZED:
        return problem(
            HTTPStatus.UNAUTHORIZED,
            "Send a token that is in use, as Authorization: Bearer and the token.",
            WWW_Authenticate="Bearer",
        )
    return problem(error.status_code, "What was sent cannot be read: send it as JSON.")


@api.exception_handler(MayNotBringPeople)
def may_not_bring_people(request: HttpRequest, error: MayNotBringPeople) -> HttpResponse:
    return problem(
        HTTPStatus.FORBIDDEN,
        "This token does not enter people: an administrator of the site makes one that does.",
    )


@api.exception_handler(MayNotRecordWork)
def may_not_record_work(request: HttpRequest, error: MayNotRecordWork) -> HttpResponse:
    return problem(
        HTTPStatus.FORBIDDEN,
        "This token does not record work: an administrator of the site makes one that does.",
    )


@api.exception_handler(Refusal)
def refused_as_asked(request: HttpRequest, error: Refusal) -> HttpResponse:
    faults = error.faults if isinstance(error, RowsRefused) else ()
    return problem(
        HTTPStatus.CONFLICT,
        str(error),
        errors=[f"{fault.line}: {sentence_of(fault)}" for fault in faults] or None,
    )


@api.exception_handler(TooManyRequests)
def too_many(request: HttpRequest, error: TooManyRequests) -> HttpResponse:
    return problem(
        HTTPStatus.TOO_MANY_REQUESTS,
        f"The token has asked often enough for now: ask again in {error.wait_s} s.",
        Retry_After=str(error.wait_s),
    )


@api.exception_handler(RequestDataTooBig)
def too_big(request: HttpRequest, error: RequestDataTooBig) -> HttpResponse:
    return problem(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        f"Ask about no more than {shapes.MOST_PAIRS} at once, and hand over no more than "
        f"{shapes.MOST_PEOPLE} people.",
    )


@api.exception_handler(ValidationError)
def does_not_fit(request: HttpRequest, error: ValidationError) -> HttpResponse:
    return problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "What was asked does not fit: errors says where.",
        errors=[
            f"{'.'.join(str(part) for part in item['loc'])}: {item['msg']}" for item in error.errors
        ],
    )


@api.exception_handler(UnknownParameters)
def unknown_parameters(request: HttpRequest, error: UnknownParameters) -> HttpResponse:
    return problem(
        HTTPStatus.BAD_REQUEST,
        "The address asks by parameters that there are not: leave out those in errors, or mend "
        "their names.",
        errors=[f"query.{name[:LONGEST_NAME]}" for name in error.names[:MOST_NAMES]],
    )


@api.exception_handler(Exception)
def failed(request: HttpRequest, error: Exception) -> HttpResponse:
    """Answer as everything else is answered, and have it noticed as any fault of the site's."""
    got_request_exception.send(sender=None, request=request)
    answer = problem(
        HTTPStatus.INTERNAL_SERVER_ERROR, "Something went wrong here: ask again later."
    )
    log_response(
        "%s: %s",
        answer.reason_phrase,
        request.path,
        response=answer,
        request=request,
        exception=error,
    )
    return answer


def in_problem_json(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view whose refusal of a method is laid out as every other refusal."""

    @wraps(view)
    def answer(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        if isinstance(response, HttpResponseNotAllowed):
            allowed = response["Allow"]
            return problem(
                HTTPStatus.METHOD_NOT_ALLOWED, f"Ask here by {allowed} alone.", Allow=allowed
            )
        return response

    return answer


def not_there(request: HttpRequest, exception: Exception) -> HttpResponse:
    """What is at no address: a page for people, and under the API's a refusal like the others."""
    if not request.path.startswith(ROOT):
        return page_not_found(request, exception)
    return problem(
        HTTPStatus.NOT_FOUND, f"There is no such address: {ROOT}openapi.json lists those there are."
    )


REFUSALS = {400: shapes.Problem, 401: shapes.Problem, 422: shapes.Problem, 429: shapes.Problem}
REFUSALS_OF_BODIES = {413: shapes.Problem, **REFUSALS}


@api.get(
    "standing",
    response={200: shapes.Answer, **REFUSALS},
    operation_id="standing_of_one",
    summary="May this person do this work",
)
def standing(request: HttpRequest, asked: shapes.StandingInQuery) -> dict[str, Any]:
    """One person and one kind of work."""
    caller = caller_with(request)
    answer = bench_check.answer(
        asked.employee_number,
        asked.scope,
        sites=[caller.site_id],
        day=asked.day or caller.today(timezone.now()),
    )
    return as_json(answer)


@api.post(
    "standings",
    response={200: shapes.Answers, **REFUSALS_OF_BODIES},
    operation_id="standing_of_many",
    summary="The same about many at once",
)
def standings(request: HttpRequest, asked: shapes.StandingsRequest) -> dict[str, Any]:
    """Many at once, as for a traveller with all its operations."""
    caller = caller_with(request)
    answers = bench_check.answers(
        [(pair.employee_number, pair.scope) for pair in asked.asked],
        sites=[caller.site_id],
        day=asked.day or caller.today(timezone.now()),
    )
    return {"answers": [as_json(answer) for answer in answers]}


@api.get(
    "changes",
    response={200: shapes.Changes, **REFUSALS},
    operation_id="changes_since",
    summary="What has changed since an instant",
)
def changes(request: HttpRequest, asked: shapes.ChangesInQuery) -> Any:
    """Whose answer today may differ from the one at an instant.

    A person and a kind of work are among the changes if something was written down since
    `since` after which the answer comes out differently on some day; if the answer changed by
    itself, as the days between passed; or if the person came to the site, left it, or goes by
    another number. Each stands there once, with its answer today, so what has changed and changed
    back is told as well. People who hold no certificate for a kind of work are never among them.

    Read pages, with the same `since`, until `next_cursor` is null. Then wait, and ask again
    since `ask_next_since`: ten minutes before the first page was read, because what somebody is
    in the middle of writing is seen only once it is written. So a change may be told twice, and
    is missed only if it took longer than that to write. With a `since` before the first
    certificate everybody is told.
    """
    caller = caller_with(request)
    now = timezone.now()
    after, began = (0, 0), now
    if asked.cursor:
        person, scope, began_ms = map(int, asked.cursor.split("-"))
        after = (person, scope)
        began = min(now, datetime.fromtimestamp(began_ms // 1000, UTC))
    pairs = standing_changes.changed_pairs(
        site_id=caller.site_id,
        since=asked.since,
        day_then=_day_at(caller, asked.since),
        today=caller.today(now),
        after=after,
        limit=asked.limit + 1,
    )
    page = pairs[: asked.limit]
    more = len(pairs) > len(page)
    return {
        "changes": _change_answers(page, caller, now),
        "next_cursor": f"{page[-1][0]}-{page[-1][1]}-{began.timestamp() * 1000:.0f}"
        if more
        else None,
        "ask_next_since": began - OVERLAP,
    }


@api.post(
    "people",
    response={
        200: shapes.PeopleAnswer,
        **REFUSALS_OF_BODIES,
        403: shapes.Problem,
        409: shapes.Problem,
    },
    operation_id="people_handed_over",
    summary="The people of the site, as the plant's own system has them",
)
def people(request: HttpRequest, handed: shapes.PeopleRequest) -> dict[str, Any]:
    """Enter and change people, and say who is not among them.

    By the rules of the page on which people bring a list: employee numbers tell people apart, what
    is empty changes nothing, and it is all or nothing. Where more than 500 people are written it
    goes some at a time: what is refused at first refuses all, a row that can be taken no more by
    its turn is named under `problems`, and after a refusal on the way the same again does the rest.
    Nothing is written unless `write` says so, and nobody leaves unless `leave` does. Takes a token
    that enters people.
    """
    caller, now = caller_with(request), timezone.now()
    bringer = api_tokens.people_bringer_of(caller, now)
    if bringer is None:
        raise MayNotBringPeople
    report = take_nightly(
        read=list_of("people", [row.model_dump() for row in handed.people]),
        handover=Handover(
            columns={name: name for name in shapes.PersonRow.model_fields},
            write=handed.write,
            leave=handed.leave,
            most_leaving_percent=handed.most_leaving_percent,
            good_rows=handed.good_rows,
        ),
        bringer=bringer,
        at=now,
    )
    return {
        "written": report.written,
        "new": report.new,
        "changed": report.changed,
        "left_alone": report.left_alone,
        "at_work": report.at_work,
        "changes": [
            {
                "employee_number": one.number,
                "is_new": one.is_new,
                "fields": sorted(one.details if one.is_new else one.changes),
            }
            for one in report.plan.people
            if not one.is_left_alone
        ],
        "not_among_them": [person.employee_number for person in report.leaving],
        "left": report.left,
        "refusals": report.refusals,
        "problems": [{"row": fault.line, "detail": sentence_of(fault)} for fault in report.faults],
    }


@api.post(
    "work",
    response={200: shapes.WorkAnswer, **REFUSALS_OF_BODIES, 403: shapes.Problem},
    operation_id="work_handed_over",
    summary="Work that was done, so that certificates do not lapse for want of it",
)
def work(request: HttpRequest, handed: shapes.WorkRequest) -> dict[str, Any]:
    """Record work that people of the site did within a kind of work on a day.

    What is recorded already of the same person, kind of work, day and reference is not recorded
    again, so a request whose answer was lost is sent again as it was. Rows that cannot be recorded
    are named and left out; the others are recorded. Takes a token that records work.
    """
    caller, now = caller_with(request), timezone.now()
    recorder = api_tokens.work_recorder_of(caller, now)
    if not recorder:
        raise MayNotRecordWork
    people = Person.objects.filter(site=caller.site_id)
    keys = keys_by_number(people, {row.employee_number for row in handed.work})
    rows = [
        Work(keys.get(row.employee_number, 0), row.scope, row.worked_on, row.reference.strip())
        for row in handed.work
    ]
    outcome = take_in_work(works=rows, people=people, actor=recorder, at=now)
    return {
        "recorded": len(outcome.recorded),
        "already": len(rows) - len(outcome.recorded) - sum(row in outcome.refused for row in rows),
        "problems": [
            {"row": place, "detail": outcome.refused[row]}
            for place, row in enumerate(rows, start=1)
            if row in outcome.refused
        ],
    }


def _day_at(caller: Caller, instant: datetime) -> Any:
    """The site's day at an instant, or UTC's where the calendar ends."""
    try:
        return caller.today(instant)
    except OverflowError:
        return instant.date()


def _change_answers(
    pairs: list[tuple[int, int]], caller: Caller, now: datetime
) -> list[dict[str, Any]]:
    """Today's answers about people and scopes by their ids."""
    people = {person for person, _scope in pairs}
    numbers = dict(Person.objects.filter(pk__in=people).values_list("pk", "employee_number"))
    codes = dict(
        Scope.objects.filter(pk__in={scope for _person, scope in pairs}).values_list("pk", "code")
    )
    former: dict[int, list[str]] = {}
    for pk, number in FormerEmployeeNumber.objects.filter(person__in=people).values_list(
        "person_id", "employee_number"
    ):
        former.setdefault(pk, []).append(number)
    answers = bench_check.answers(
        [(numbers[person], codes[scope]) for person, scope in pairs],
        sites=[caller.site_id],
        day=caller.today(now),
    )
    return [
        {**as_json(answer), "former_employee_numbers": sorted(former.get(person, []))}
        for answer, (person, _scope) in zip(answers, pairs, strict=True)
    ]


def as_json(answer: bench_check.Answer) -> dict[str, Any]:
    """An answer without who it is about: a program asks by number and is told no name."""
    return {
        "employee_number": answer.employee_number,
        "scope": answer.scope,
        "day": answer.day,
        "may_work": answer.may_work,
        "standing": answer.standing,
        "only": answer.restriction or None,
        "through": answer.through,
        "certificate_number": answer.certificate_number or None,
    }


def caller_with(request: HttpRequest) -> Caller:
    caller: Caller = request.auth  # type: ignore[attr-defined]
    return caller
