"""Tools, and the calibrations that say through which day they may be relied on."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Site, User
from records.services import trail
from training.exceptions import TrainingError
from training.models import Calibration, Tool


@transaction.atomic
def add_tool(
    *,
    code: str,
    kind: str,
    site: Site,
    actor: User,
    at: datetime,
    name: str = "",
    answers_for: Person | None = None,
) -> Tool:
    if Tool.objects.filter(code__iexact=code).exists():
        raise TrainingError(_("There is a tool %(code)s already.") % {"code": code})
    tool = Tool.objects.create(
        code=code, kind=kind, site=site, name=name, answers_for=answers_for, recorded_at=at
    )
    trail.record(actor=actor, act="tool added", about=tool, payload=_tool_payload(tool), at=at)
    return tool


@transaction.atomic
def change_tool(
    *, tool: Tool, name: str, answers_for: Person | None, actor: User, at: datetime
) -> Tool:
    """Change what a tool is called and who answers for it; its code and kind stay."""
    before = _tool_payload(tool)
    tool.name, tool.answers_for = name, answers_for
    tool.save(update_fields=["name", "answers_for"])
    trail.record(
        actor=actor,
        act="tool changed",
        about=tool,
        payload={"before": before, "after": _tool_payload(tool)},
        at=at,
    )
    return tool


@transaction.atomic
def retire_tool(*, tool: Tool, on: date, actor: User, at: datetime) -> Tool:
    """Take a tool out of use; boards made with it go on naming it."""
    if tool.retired_on is not None:
        raise TrainingError(_("%(code)s is out of use already.") % {"code": tool.code})
    tool.retired_on = on
    tool.save(update_fields=["retired_on"])
    trail.record(
        actor=actor,
        act="tool retired",
        about=tool,
        payload={"tool": tool.code, "retired_on": on},
        at=at,
    )
    return tool


@transaction.atomic
def record_calibration(
    *,
    tool: Tool,
    calibrated_on: date,
    valid_through: date,
    passed: bool,
    actor: User,
    at: datetime,
    reference: str = "",
) -> Calibration:
    """Write a calibration down; raise TrainingError for a day to come or an end before it."""
    lock_tool(tool.pk)
    today = tool.site.today(at)
    if calibrated_on > today:
        raise TrainingError(
            _("%(day)s is still to come: at %(site)s it is %(today)s.")
            % {"day": calibrated_on, "site": tool.site, "today": today}
        )
    if valid_through < calibrated_on:
        raise TrainingError(_("A calibration is good through the day it was done, or later."))
    calibration = Calibration.objects.create(
        tool=tool,
        calibrated_on=calibrated_on,
        valid_through=valid_through,
        passed=passed,
        reference=reference,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act="calibration recorded",
        about=tool,
        payload={
            "tool": tool.code,
            "calibrated_on": calibrated_on,
            "valid_through": valid_through,
            "passed": passed,
            "reference": reference,
        },
        at=at,
    )
    return calibration


@transaction.atomic
def record_calibration_once(
    *, tool: Tool, calibrated_on: date, **calibration: Any
) -> Calibration | None:
    """As `record_calibration`; None where the last one of that day says just the same.

    A form sent twice records nothing twice. One that says otherwise is another of that day.
    """
    lock_tool(tool.pk)
    last = tool.calibrations.filter(calibrated_on=calibrated_on).order_by("-pk").first()
    said = ("passed", "valid_through", "reference")
    if last is not None and all(getattr(last, name) == calibration.get(name) for name in said):
        return None
    return record_calibration(tool=tool, calibrated_on=calibrated_on, **calibration)


def lock_tool(key: int) -> None:
    """Keep other acts on a tool waiting until the transaction ends."""
    list(Tool.objects.select_for_update(no_key=True).filter(pk=key).values_list("pk", flat=True))


def _tool_payload(tool: Tool) -> dict[str, str]:
    return {
        "tool": tool.code,
        "kind": str(tool.kind),
        "name": tool.name,
        "site": tool.site.prefix,
        "answers_for": tool.answers_for.employee_number if tool.answers_for else "",
    }
