"""What programs may ask for, and how the answers are laid out: the shapes of the API."""

import re
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Annotated, Any

from ninja import Field, Query, Schema
from pydantic import AfterValidator, BeforeValidator, ConfigDict

from certification.presenters import bench_check

MOST_PAIRS = 500
MOST_PEOPLE = 10_000
MOST_WORK = 2_000
PLAIN = r"^[^\x00-\x1f\x7f]*$"
"""Text in one line, without what no database or file would keep."""
LONGEST = 64
# The person and scope a page ended with, and when the first page was read, in milliseconds.
CURSOR = r"^[0-9]{1,14}-[0-9]{1,14}-[0-9]{1,14}$"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)


def _require_day_format(value: Any) -> Any:
    """Refuse what a lenient reader would take for a day as well, such as 0 or an instant."""
    if not isinstance(value, str) or not _DAY.fullmatch(value):
        raise ValueError("Write the day as YYYY-MM-DD.")
    return value


def _require_instant_format(value: Any) -> Any:
    if not isinstance(value, str) or not _INSTANT.fullmatch(value):
        raise ValueError("Write the instant as in 2026-11-25T12:50:00Z, with its offset.")
    return value


def _in_utc(value: datetime) -> datetime:
    """The instant in UTC; one that lies at the very end of the calendar stays within it."""
    try:
        return value.astimezone(UTC)
    except OverflowError:
        return value.replace(tzinfo=UTC)


def _no_default() -> Any:
    """No default in the document: what may be left out is left out, and null is no day."""
    return None


Day = Annotated[date, BeforeValidator(_require_day_format)]
Instant = Annotated[datetime, BeforeValidator(_require_instant_format), AfterValidator(_in_utc)]
Standing = StrEnum("Standing", {word.upper(): word for word in bench_check.STANDINGS})  # type: ignore[misc]

NUMBER = "The number on the badge; one that somebody had before still finds them."
SCOPE = "The code of the kind of work."
DAY = "The day that is asked about; the site's today by default."


class StandingQuery(Schema):
    employee_number: str = Field(
        min_length=1, max_length=LONGEST, description=NUMBER, examples=["10377"]
    )
    scope: str = Field(min_length=1, max_length=LONGEST, description=SCOPE, examples=["TERM-OP"])
    day: Day = Field(default_factory=_no_default, description=DAY, examples=["2026-11-25"])


class Pair(Schema):
    model_config = ConfigDict(extra="forbid")

    employee_number: str = Field(
        min_length=1, max_length=LONGEST, description=NUMBER, examples=["10377"]
    )
    scope: str = Field(min_length=1, max_length=LONGEST, description=SCOPE, examples=["TERM-OP"])


class StandingsRequest(Schema):
    model_config = ConfigDict(extra="forbid")

    asked: list[Pair] = Field(
        min_length=1, max_length=MOST_PAIRS, description="Who and which work, in any order."
    )
    day: Day = Field(default_factory=_no_default, description=DAY, examples=["2026-11-25"])


class ChangesFilters(Schema):
    since: Instant = Field(
        description="What has changed from this instant on; write the + of an offset as %2B.",
        examples=["2026-11-25T06:00:00Z"],
    )
    cursor: str = Field(
        default_factory=str,
        pattern=CURSOR,
        description="`next_cursor` of the page before; left out for the first.",
    )
    limit: int = Field(MOST_PAIRS, ge=1, le=MOST_PAIRS, description="At most so many on a page.")


class Answer(Schema):
    employee_number: str = Field(description="As asked for.")
    scope: str = Field(description="As asked for.")
    day: date = Field(description="The day that the answer is about.")
    may_work: bool = Field(description="Whether this person may do this work on the day.")
    standing: Standing = Field(
        description="`certified`, or why not. `not_current`: see the instructor; what ended is "
        "not told. `unknown_person`: nobody at the site on the day has the number. "
        "`unknown_scope`: there is no such work."
    )
    only: str | None = Field(
        description="With a yes: the restriction, in words for a person to read. No other work."
    )
    through: date | None = Field(
        description="With a yes: the last day through which it holds by itself, as far as is known."
    )
    certificate_number: str | None = Field(description="With a yes: the certificate that says so.")


class Answers(Schema):
    answers: list[Answer] = Field(description="One for each pair asked about, in that order.")


class Change(Answer):
    former_employee_numbers: list[str] = Field(
        description="Numbers that the same person had before and that still find them."
    )


class Changes(Schema):
    changes: list[Change]
    next_cursor: str | None = Field(description="Give it back for the next page; null on the last.")
    ask_next_since: datetime = Field(
        description="`since` for the next round, once the last page has been read."
    )


class PersonRow(Schema):
    """One person; a field that is empty or left out changes nothing."""

    model_config = ConfigDict(extra="forbid")

    employee_number: str = Field(min_length=1, max_length=LONGEST, examples=["10377"])
    full_name: str = Field(default_factory=str, max_length=120, examples=["Ada Byrne"])
    email: str = Field(default_factory=str, max_length=254)
    site: str = Field(
        default_factory=str,
        max_length=80,
        description="The prefix or name of the site; the token's by default.",
    )
    kind: str = Field(default_factory=str, max_length=40, description="own, contractor or visitor.")
    employer: str = Field(default_factory=str, max_length=120)
    line_lead: str = Field(
        default_factory=str, max_length=LONGEST, description="Their employee number."
    )
    started_on: str = Field(default_factory=str, max_length=40, examples=["2026-11-02"])
    left_on: str = Field(
        default_factory=str, max_length=40, description="The last day here, as YYYY-MM-DD."
    )


class PeopleRequest(Schema):
    model_config = ConfigDict(extra="forbid")

    people: list[PersonRow] = Field(
        min_length=1, max_length=MOST_PEOPLE, description="Everybody at the site, in any order."
    )
    write: bool = Field(False, description="Do it; by default it is only said what would be done.")
    leave: bool = Field(
        False,
        description="Own staff at the site who are not among them leave, today being their last "
        "day. By default they are only named.",
    )
    most_leaving_percent: int = Field(
        5,
        ge=0,
        le=100,
        description="Of own staff at work, how many may leave at once, by not being among them or "
        "by a last day that is given; if more would, nothing is done. One of several always may.",
    )
    good_rows: bool = Field(
        False, description="Leave rows that are wrong out; by default one of them refuses all."
    )


class PersonChange(Schema):
    employee_number: str
    is_new: bool
    fields: list[str] = Field(description="What changes, by the names of the fields.")


class RowProblem(Schema):
    row: int = Field(description="Which of the rows that were sent, the first being 1.")
    detail: str = Field(description="What is wrong with it, and what to do.")


class PeopleAnswer(Schema):
    written: bool
    new: int
    changed: int
    left_alone: int
    at_work: int = Field(description="Own staff at work at the site without a last day.")
    changes: list[PersonChange]
    not_among_them: list[str] = Field(
        description="Numbers of own staff who were not among the people sent."
    )
    left: int = Field(description="How many of these have left by it.")
    refusals: list[str] = Field(
        description="Why nothing would be done if `write` said so: too many would leave, or the "
        "last who administers."
    )
    problems: list[RowProblem]


class WorkRow(Schema):
    model_config = ConfigDict(extra="forbid")

    employee_number: str = Field(
        min_length=1, max_length=LONGEST, pattern=PLAIN, description=NUMBER, examples=["10377"]
    )
    scope: str = Field(
        min_length=1, max_length=LONGEST, pattern=PLAIN, description=SCOPE, examples=["TERM-OP"]
    )
    worked_on: Day = Field(description="The day of the work at the site.", examples=["2026-11-25"])
    reference: str = Field(
        min_length=1,
        max_length=80,
        pattern=PLAIN,
        description="The unit or work order. The same one for the same person, scope and day is "
        "recorded once, however often it is sent.",
        examples=["WO-2231"],
    )


class WorkRequest(Schema):
    model_config = ConfigDict(extra="forbid")

    work: list[WorkRow] = Field(
        min_length=1, max_length=MOST_WORK, description="Work that was done, in any order."
    )


class WorkAnswer(Schema):
    recorded: int
    already: int = Field(description="Recorded before, and not again.")
    problems: list[RowProblem] = Field(description="Rows that were left out, and why.")


class Problem(Schema):
    """Why there is no answer, as laid out in RFC 9457."""

    type: str = Field(examples=["about:blank"])
    title: str
    status: int
    detail: str = Field(description="A sentence that says what to do next.")
    errors: list[str] | None = Field(
        None, description="What does not fit in what was sent, each with where it stands."
    )


StandingInQuery = Annotated[StandingQuery, Query()]
ChangesInQuery = Annotated[ChangesFilters, Query()]
