"""Units and work orders as the search finds them, by the boards and the work that name them."""

from dataclasses import dataclass, replace
from datetime import date
from urllib.parse import urlencode

from django.db.models import Max, Min, When
from django.db.models.expressions import Value
from django.db.models.functions import Least, Upper
from django.urls import reverse
from django.utils.translation import gettext as _

from assessments.access import boards_readable_by
from people.access import people_with_results_for
from people.models import Role, User
from people.presenters.days import format_day
from people.presenters.search import Hit, join
from people.queries.finding import (
    BEGINS,
    EXACT,
    PART,
    Sought,
    number_matches,
    number_rank,
    rank,
)
from records.models.text_order import AFTER_ALL, InByteOrder
from training.models import PracticeRecord

MOST_BOARDS = 200
MOST_RECORDS = 5_000
"""Of a beginning that more of them share, so many are looked through: the number goes on."""


@dataclass(frozen=True, slots=True)
class Named:
    """A number that boards or work name. ``for_quality`` where the reader traces it."""

    number: str
    kind: str
    rank: int
    for_quality: bool
    board: str = ""
    boards: int = 0
    person: str = ""
    name: str = ""
    worked_on: date | None = None


def units_and_work_orders(user: User, sought: Sought, most: int) -> list[Hit]:
    """By the number; boards are found by a part of it, work by how it begins."""
    named = {unit.number.upper(): unit for unit in _on_boards(user, sought)}
    for unit in _in_practice(user, sought, most):
        key = unit.number.upper()
        if (known := named.get(key)) is None:
            named[key] = unit
        else:
            named[key] = replace(
                known,
                worked_on=unit.worked_on,
                for_quality=known.for_quality or unit.for_quality,
            )
    ordered = sorted(named.values(), key=lambda unit: (unit.rank, unit.number.upper()))
    return [_hit(unit) for unit in ordered[: most + 1]]


def _on_boards(user: User, sought: Sought) -> list[Named]:
    audited = user.sites_as(Role.QUALITY)
    rows = (
        boards_readable_by(user)
        .filter(number_matches(sought, "unit", "work_order"), cancelled_at__isnull=True)
        .annotate(
            unit_rank=number_rank(sought, "unit"), order_rank=number_rank(sought, "work_order")
        )
        .order_by(Least("unit_rank", "order_rank"), "-number")
        .values_list(
            "unit",
            "unit_rank",
            "work_order",
            "order_rank",
            "number",
            "person__site",
            "person__employee_number",
            "person__full_name",
        )
    )
    found: dict[str, Named] = {}
    for unit, unit_rank, order, order_rank, board, site, person, name in rows[:MOST_BOARDS]:
        for number, how, kind in (
            (unit, unit_rank, _("unit")),
            (order, order_rank, _("work order")),
        ):
            if how > PART:
                continue
            known = found.get(number.upper())
            found[number.upper()] = Named(
                number,
                kind,
                how,
                site in audited or (known is not None and known.for_quality),
                board,
                1 + (known.boards if known else 0),
                person,
                name,
            )
    return list(found.values())


def _in_practice(user: User, sought: Sought, most: int) -> list[Named]:
    """Work that names it: a million rows are kept, so one range of the index is read."""
    in_order = InByteOrder(Upper("reference"))
    typed, beyond = Upper(Value(sought.text)), Upper(Value(sought.text + AFTER_ALL))
    rows = PracticeRecord.objects.alias(in_order=in_order)
    if sought.by_part:
        rows = rows.filter(in_order__gte=typed, in_order__lt=beyond).order_by("in_order")
    else:
        rows = rows.filter(in_order=typed)
    readable = people_with_results_for(user)
    audited = user.sites_as(Role.QUALITY)
    found = (
        PracticeRecord.objects.not_withdrawn()
        .filter(pk__in=rows.values("pk")[:MOST_RECORDS], person__in=readable)
        .order_by()
        .values("reference")
        .annotate(
            worked_on=Max("performed_on"),
            first=Min("person__employee_number"),
            last=Max("person__employee_number"),
            audited=Max(rank(When(person__site__in=audited, then=Value(1)), default=0)),
            rank=Min(rank(When(reference__iexact=sought.text, then=Value(EXACT)), default=BEGINS)),
        )
        .order_by("rank", "-worked_on", "reference")
    )
    return [
        Named(
            row["reference"],
            _("unit or work order"),
            row["rank"],
            bool(row["audited"]),
            # One of several people leads on as well as another: all are listed by the number.
            person=row["last"],
            worked_on=row["worked_on"],
        )
        for row in found[: most + 1]
    ]


def _hit(unit: Named) -> Hit:
    if unit.boards > 1:
        made = _("%(number)d boards, the latest by %(name)s") % {
            "number": unit.boards,
            "name": unit.name,
        }
    elif unit.boards:
        made = _("board %(board)s by %(name)s") % {"board": unit.board, "name": unit.name}
    else:
        made = ""
    worked = (
        _("work last recorded for %(day)s") % {"day": format_day(unit.worked_on)}
        if unit.worked_on
        else ""
    )
    return Hit(unit.number, unit.kind, join((made, worked)), _address(unit), unit.rank)


def _address(unit: Named) -> str:
    """Who it was, for quality; else the boards that bear it, or somebody who worked on it."""
    if unit.for_quality:
        asked = urlencode({"q": f"unit {unit.number}"})
        return f"{reverse('audit:who_was_that')}?{asked}"
    if unit.boards > 1:
        return f"{reverse('assessments:board_list')}?{urlencode({'q': unit.number})}"
    if unit.boards:
        return reverse("assessments:board_detail", args=[unit.board])
    return reverse("people:person_detail", args=[unit.person])
