"""The demo's tools: calibrated, one found out of its limits once, one out of service."""

from datetime import timedelta
from decimal import Decimal

from assessments.models import Board
from assessments.services import boards
from assessments.services.tool_work import decide_on_work
from training.domain.tool_fitness import Reading
from training.models import Tool
from training.services import tools as services

from . import people

TOOLS = (
    ("T-01", Tool.Kind.IRON, "Station, bench 1", "CA", 140),
    ("T-02", Tool.Kind.IRON, "Station, bench 2", "CA", 325),
    ("T-07", Tool.Kind.THERMAL_STRIPPER, "Thermal stripper", "CA", 2),
    ("T-11", Tool.Kind.MECHANICAL_STRIPPER, "Stripper, dies 20 to 26", "CA", 71),
    ("T-15", Tool.Kind.MAGNIFIER, "Stereo microscope, 10x", "CA", 210),
    ("T-16", Tool.Kind.GAUGE, "Eyepiece graticule", "CA", 96),
    ("U-01", Tool.Kind.IRON, "Station", "AL", 120),
    ("U-04", Tool.Kind.MAGNIFIER, "Stereo microscope, 10x", "AL", 33),
    ("U-05", Tool.Kind.GAUGE, "Eyepiece graticule", "AL", 250),
)
NOT_CALIBRATED = ("T-21", Tool.Kind.TIP, "Chisel tip 1.6 mm", "CA")
ADJUSTED, HOW_FAR_OUT, SETTING = "T-02", Decimal("11"), Decimal(315)
"""Whose tip was found hotter than set; 315 °C is common practice, not a limit of a standard."""
ON_THE_SHELF = ("T-01", "T-11")
MOST_IN_QUESTION = 3
KEEPERS = {"CA": "10001", "AL": "20001"}


def make_tools(stage: people.Stage) -> None:
    for number, (code, kind, name, site, ends_in) in enumerate(TOOLS, start=1):
        tool = services.add_tool(
            code=code,
            kind=kind,
            name=name,
            serial=f"{kind[:2].upper()}-{4100 + 37 * number}",
            site=stage.sites[site],
            answers_for=stage.people[KEEPERS[site]],
            actor=stage.users[KEEPERS[site]],
            at=stage.at(700),
        )
        if code == ADJUSTED:
            _calibrate(stage, tool, 365 + 365 - ends_in, Decimal(2))
        _calibrate(stage, tool, 365 - ends_in, HOW_FAR_OUT if code == ADJUSTED else None)
    code, kind, name, site = NOT_CALIBRATED
    tip = services.add_tool(
        code=code,
        kind=kind,
        name=name,
        site=stage.sites[site],
        without_calibration=True,
        actor=stage.users[KEEPERS[site]],
        at=stage.at(90),
    )
    services.put_out_of_service(
        tool=tip,
        first_day=stage.today - timedelta(days=2),
        reason="Plating worn through; a new tip is ordered.",
        told=None,
        actor=stage.users[KEEPERS[site]],
        at=stage.at(2),
    )


def _calibrate(stage: people.Stage, tool: Tool, days_ago: int, off: Decimal | None) -> None:
    """Calibrate a tool; an iron whose tip is read as so many degrees off, and set right if far."""
    readings = []
    if off is not None:
        found = SETTING + off
        readings = [
            Reading("tip, set to 315 °C", "°C", SETTING - 5, SETTING + 5, found, SETTING + 1)
        ]
    day = stage.today - timedelta(days=days_ago)
    services.record_calibration(
        tool=tool,
        calibrated_on=day,
        valid_through=day + timedelta(days=365),
        passed_as_found=all(reading.found_within for reading in readings),
        passed=True,
        readings=readings,
        reference=f"K-{tool.pk:04d}",
        actor=stage.users[KEEPERS[tool.site.prefix]],
        at=stage.at(days_ago),
    )


def name_tools(stage: people.Stage) -> None:
    """Boards made with the tool that was found out of its limits, one of which was looked at."""
    instructor, quality = stage.users[KEEPERS["CA"]], stage.users["10003"]
    adjusted = Tool.objects.get(code=ADJUSTED)
    shelf = list(Tool.objects.filter(code__in=ON_THE_SHELF))
    calibration = adjusted.calibrations.get(passed_as_found=False)
    of_site = Board.objects.filter(
        site=adjusted.site, handed_in_at__isnull=False, disposed_at__isnull=True
    ).exclude(person__in=[instructor.person_id, quality.person_id])
    before = of_site.filter(
        handed_out_on__lt=calibration.calibrated_on,
        handed_out_on__gt=calibration.calibrated_on - timedelta(days=365),
    ).order_by("-handed_out_on", "number")[:MOST_IN_QUESTION]
    in_question = list(before)
    lately = list(of_site.order_by("-handed_out_on", "number")[:MOST_IN_QUESTION])
    for used, named in ((shelf, lately), ([adjusted], in_question)):
        for board in named:
            assert board.handed_in_at is not None  # noqa: S101 - asked for above
            boards.name_tools(board=board, tools=used, actor=instructor, at=board.handed_in_at)
    for board in in_question[:1]:
        decide_on_work(
            calibration=calibration,
            boards={board.number: 0},
            decision="stands",
            reason="The joints were judged one by one and are sound; the setting bears on none.",
            actor=quality,
            at=stage.at((stage.today - calibration.calibrated_on).days - 1),
        )
