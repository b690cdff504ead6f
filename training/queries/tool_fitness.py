"""How tools stood on a day, and over which days nobody can say that they were good."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.translation import gettext as _

from people.presenters.days import format_day
from training.domain.tool_fitness import (
    CalibrationFact,
    Doubt,
    Fitness,
    FitnessOnDay,
    OutOfService,
    Stretch,
    ToolFacts,
    doubts,
    fitness_on,
    used_while_out,
)
from training.models import Calibration, Tool, ToolOutOfService


def with_state(tools: QuerySet[Tool]) -> QuerySet[Tool]:
    """Tools with what lists show: their newest calibration, and since when they are out if so."""
    newest = (
        Calibration.objects.not_withdrawn()
        .filter(tool=OuterRef("pk"))
        .order_by("-calibrated_on", "-pk")
    )
    out = ToolOutOfService.objects.filter(tool=OuterRef("pk"), back__isnull=True)
    return tools.annotate(
        good_through=Subquery(newest.values("valid_through")[:1]),
        last_passed=Subquery(newest.values("passed")[:1]),
        out_since=Subquery(out.values("first_day")[:1]),
    )


def relied_on(calibrations: QuerySet[Calibration]) -> QuerySet[Calibration]:
    """Calibrations of tools in use whose end is of interest: none that is out or kept without."""
    out = ToolOutOfService.objects.filter(back__isnull=True)
    return calibrations.filter(
        withdrawal__isnull=True, tool__retired_on__isnull=True, tool__without_calibration=False
    ).exclude(tool__in=out.values("tool"))


def facts_of(tools: Iterable[Tool]) -> dict[int, ToolFacts]:
    """What is known of each tool, by its key, with two queries."""
    by_key = {tool.pk: tool for tool in tools}
    calibrations: dict[int, list[CalibrationFact]] = defaultdict(list)
    for calibration in Calibration.objects.not_withdrawn().filter(tool__in=by_key):
        calibrations[calibration.tool_id].append(fact_of(calibration))
    periods: dict[int, list[OutOfService]] = defaultdict(list)
    out = ToolOutOfService.objects.filter(tool__in=by_key)
    for tool_id, first_day, back_from in out.values_list("tool", "first_day", "back__from_day"):
        periods[tool_id].append(OutOfService(first_day, back_from))
    return {
        key: ToolFacts(
            tuple(calibrations[key]),
            tuple(periods[key]),
            tool.retired_on,
            tool.without_calibration,
        )
        for key, tool in by_key.items()
    }


def fact_of(calibration: Calibration) -> CalibrationFact:
    return CalibrationFact(
        calibration.pk,
        calibration.calibrated_on,
        calibration.valid_through,
        calibration.was_found_good,
        calibration.passed,
    )


def unfit(tools: Collection[Tool], day: date) -> dict[int, str]:
    """Of tools that are not to be relied on, on a day, why: by key, in words."""
    found = {}
    facts = facts_of(tools)
    for tool in tools:
        state = fitness_on(facts[tool.pk], day)
        if not state.is_good:
            found[tool.pk] = why_unfit(tool, state)
    return found


def why_unfit(tool: Tool, state: FitnessOnDay) -> str:
    """What keeps a tool from being relied on, as a part of a sentence; empty where nothing does."""
    last = state.calibration
    match state.fitness:
        case Fitness.RETIRED if tool.retired_on is not None:
            return _("out of use since %(day)s") % {"day": format_day(tool.retired_on)}
        case Fitness.OUT_OF_SERVICE if state.out_since is not None:
            return _("out of service since %(day)s") % {"day": format_day(state.out_since)}
        case Fitness.NEVER_CALIBRATED:
            return _("not calibrated by that day")
        case Fitness.FAILED if last is not None:
            return _("did not pass its calibration of %(day)s") % {
                "day": format_day(last.calibrated_on)
            }
        case Fitness.ENDED if last is not None:
            return _("its calibration ended on %(day)s") % {"day": format_day(last.valid_through)}
    return ""


def found_out_of_limits(tools: QuerySet[Tool]) -> dict[Calibration, Doubt]:
    """Calibrations that found one of these tools out of its limits, newest first, with the days."""
    failing = (
        Calibration.objects.not_withdrawn()
        .filter(tool__in=tools)
        .exclude(passed_as_found=True)
        .exclude(passed_as_found__isnull=True, passed=True)
    )
    found = {
        calibration.pk: calibration
        for calibration in failing.select_related("tool__site", "document").order_by(
            "-calibrated_on", "-pk"
        )
    }
    if not found:
        return {}
    every: dict[int, list[CalibrationFact]] = defaultdict(list)
    for calibration in Calibration.objects.not_withdrawn().filter(
        tool__in={each.tool_id for each in found.values()}
    ):
        every[calibration.tool_id].append(fact_of(calibration))
    by_key = {doubt.calibration.key: doubt for facts in every.values() for doubt in doubts(facts)}
    return {calibration: by_key[key] for key, calibration in found.items()}


def out_since_earlier(tools: QuerySet[Tool]) -> dict[ToolOutOfService, Stretch]:
    """Periods out of service of these tools that were entered about an earlier day, newest first,
    with the days on which the tool may have been used all the same."""
    facts = facts_of(tools)
    periods = ToolOutOfService.objects.filter(tool__in=facts).select_related(
        "tool__site", "back", "entered_by__person"
    )
    found = {}
    for period in periods:
        back_from = period.back.from_day if hasattr(period, "back") else None
        stretch = used_while_out(
            OutOfService(period.first_day, back_from),
            period.tool.site.today(period.recorded_at),
            facts[period.tool_id].calibrations,
        )
        if stretch is not None:
            found[period] = stretch
    return found


def calibrated_already(calibration: Calibration) -> str:
    """That a calibration of a day is there already, and what it says."""
    words = {
        "day": format_day(calibration.calibrated_on),
        "through": format_day(calibration.valid_through),
    }
    if calibration.passed:
        return (
            _(
                "There is a calibration of %(day)s already: passed, good through %(through)s. "
                "Leave it out here, or record another on the tool’s page."
            )
            % words
        )
    return (
        _(
            "There is a calibration of %(day)s already: not passed. "
            "Leave it out here, or record another on the tool’s page."
        )
        % words
    )
