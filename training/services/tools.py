"""Tools, the calibrations that say through which day they may be relied on, and out of service."""

from collections.abc import Collection, Iterator, Sequence
from contextlib import AbstractContextManager
from datetime import date, datetime
from functools import partial
from typing import Any, BinaryIO

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, Site, User
from people.presenters.days import format_day
from records.domain.shown import digest_of
from records.services import documents, trail
from records.services.documents import Document
from records.services.shown import refuse_unless_shown
from training import ports
from training.domain.tool_fitness import Reading
from training.exceptions import ToolChangedMeanwhile, TrainingError
from training.models import (
    Calibration,
    CalibrationDocument,
    CalibrationWithdrawal,
    Tool,
    ToolBackInService,
    ToolOutOfService,
)
from training.queries import written_down

MOST_READINGS = 40


@transaction.atomic
def add_tool(
    *,
    code: str,
    kind: str,
    site: Site,
    actor: User,
    at: datetime,
    name: str = "",
    serial: str = "",
    answers_for: Person | None = None,
    without_calibration: bool = False,
) -> Tool:
    # A tool that is being entered has no row yet that others could wait for.
    trail.lock_trail()
    if Tool.objects.filter(code__iexact=code).exists():
        raise TrainingError(_("There is a tool %(code)s already.") % {"code": code})
    tool = Tool.objects.create(
        code=code,
        kind=kind,
        site=site,
        name=name,
        serial=serial,
        answers_for=answers_for,
        without_calibration=without_calibration,
        recorded_at=at,
    )
    trail.record(actor=actor, act="tool added", about=tool, payload=_tool_payload(tool), at=at)
    return tool


@transaction.atomic
def change_tool(
    *,
    tool: Tool,
    name: str,
    answers_for: Person | None,
    actor: User,
    at: datetime,
    serial: str = "",
    without_calibration: bool = False,
    seen: str | None = None,
) -> Tool:
    """Change what is said of a tool and who answers for it; its code and kind stay.

    Parameters
    ----------
    seen : str, optional
        `tool_digest` of it as the page showed it. By default no page was shown.

    Raises
    ------
    ToolChangedMeanwhile
        If somebody else changed it since it was shown.
    """
    lock_tools([tool.pk])
    tool = Tool.objects.select_related("site", "answers_for").get(pk=tool.pk)
    if seen is not None and seen != tool_digest(tool):
        raise ToolChangedMeanwhile(
            _(
                "Somebody else changed this tool since you opened it. What you typed is kept: save "
                "again to have it so."
            )
        )
    before = _tool_payload(tool)
    tool.name, tool.serial, tool.answers_for = name, serial, answers_for
    tool.without_calibration = without_calibration
    tool.save(update_fields=["name", "serial", "answers_for", "without_calibration"])
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
    """Take a tool out of use for good; boards made with it go on naming it."""
    lock_tools([tool.pk])
    tool = Tool.objects.get(pk=tool.pk)
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
    passed_as_found: bool | None = None,
    readings: Sequence[Reading] = (),
    reference: str = "",
    document: Document | None = None,
) -> Calibration:
    """Write a calibration down, as found and as left, with its certificate.

    Parameters
    ----------
    passed : bool
        As the tool was left.
    passed_as_found : bool, optional
        As it came; None where nothing says so apart from how it was left.

    Raises
    ------
    TrainingError
        For a day to come, an end before it, a result that its readings contradict, or a
        document that cannot be kept.
    """
    lock_tools([tool.pk])
    _refuse_days(tool, calibrated_on, valid_through, at)
    _refuse_contradiction(readings, passed_as_found, passed)
    kept: CalibrationDocument | None = None
    try:
        with transaction.atomic():
            if document is not None:
                kept = CalibrationDocument(
                    media_type=documents.check_document(document, TrainingError),
                    added_by=actor,
                    recorded_at=at,
                )
                documents.store_document(kept, document)
                kept.save()
            calibration = Calibration.objects.create(
                tool=tool,
                calibrated_on=calibrated_on,
                valid_through=valid_through,
                passed_as_found=passed_as_found,
                passed=passed,
                readings=[reading.as_text() for reading in readings],
                reference=reference,
                document=kept,
                recorded_by=actor,
                recorded_at=at,
            )
            trail.record(
                actor=actor,
                act=written_down.CALIBRATED,
                about=calibration,
                payload=written_down.calibration_content(calibration),
                at=at,
            )
            return calibration
    except BaseException:
        if kept is not None and kept.file:
            kept.file.storage.delete(str(kept.file.name))
        raise


@transaction.atomic
def record_calibration_once(
    *, tool: Tool, calibrated_on: date, **calibration: Any
) -> Calibration | None:
    """As `record_calibration`; None where the last one of that day says just the same.

    A form sent twice records nothing twice. One that says otherwise is another of that day.
    """
    lock_tools([tool.pk])
    of_day = tool.calibrations.not_withdrawn().filter(calibrated_on=calibrated_on)
    last = of_day.order_by("-pk").first()
    if last is not None and _says_the_same(last, **calibration):
        return None
    return record_calibration(tool=tool, calibrated_on=calibrated_on, **calibration)


@transaction.atomic
def withdraw_calibration(
    *,
    calibration: Calibration,
    reason: str,
    actor: User,
    at: datetime,
    proof: str,
    shown: str | None = None,
) -> CalibrationWithdrawal:
    """From now on count a calibration as never entered, signed by whoever says so.

    How its tool stood on any day is worked out without it, and it puts no work in question; what
    was decided of boards because of it counts no more.

    Parameters
    ----------
    shown : str, optional
        The digest of what the actor was shown (`presenters.calibrations`); ShownOtherwise is raised
        where the calibration says something else.

    Raises
    ------
    TrainingError
        If it was withdrawn before, or no reason is given.
    """
    lock_tools([calibration.tool_id])
    calibration = Calibration.objects.select_related("tool__site", "document").get(
        pk=calibration.pk
    )
    refuse_unless_shown(shown, written_down.calibration_content(calibration))
    if CalibrationWithdrawal.objects.filter(calibration=calibration).exists():
        raise TrainingError(
            _("The calibration of %(day)s has been withdrawn already.")
            % {"day": format_day(calibration.calibrated_on)}
        )
    if not reason.strip():
        raise TrainingError(_("Say why it is withdrawn."))
    withdrawal = CalibrationWithdrawal(
        calibration=calibration, withdrawn_at=at, reason=reason.strip(), withdrawn_by=actor
    )
    content = written_down.calibration_withdrawal_content(withdrawal)
    withdrawal.signature = trail.sign(
        actor=actor,
        meaning=written_down.WITHDRAWS_CALIBRATION,
        about=calibration,
        content=content,
        at=at,
        zone=calibration.tool.site.time_zone,
        proof=proof,
    )
    withdrawal.save(force_insert=True)
    trail.record(
        actor=actor,
        act=written_down.CALIBRATION_WITHDRAWN,
        about=calibration,
        payload=content,
        at=at,
    )
    return withdrawal


@transaction.atomic
def put_out_of_service(
    *, tool: Tool, first_day: date, reason: str, actor: User, at: datetime, told: Person | None
) -> ToolOutOfService:
    """Have a tool not used from a day on, until it is put back into service.

    Raises
    ------
    TrainingError
        If it is out already, was out on a day from then on, is retired, the day is to come,
        no reason is given, or whoever is to be told has left.
    """
    lock_tools([tool.pk])
    tool = Tool.objects.select_related("site").get(pk=tool.pk)
    _refuse_to_come(tool, first_day, at)
    if not reason.strip():
        raise TrainingError(_("Say why, so that whoever reads it later understands."))
    if tool.retired_on is not None:
        raise TrainingError(_("%(code)s is out of use already.") % {"code": tool.code})
    if told is not None and told.left_on is not None and told.left_on < tool.site.today(at):
        raise TrainingError(
            _("%(person)s left on %(day)s. Name somebody else to be told.")
            % {"person": told.full_name, "day": format_day(told.left_on)}
        )
    for period in tool.out_of_service.select_related("back"):
        if not hasattr(period, "back"):
            raise TrainingError(
                _("%(code)s is out of service since %(day)s already.")
                % {"code": tool.code, "day": format_day(period.first_day)}
            )
        if period.back.from_day > first_day:
            raise TrainingError(
                _("%(code)s was out of service until %(day)s. Give that day or a later one.")
                % {"code": tool.code, "day": format_day(period.back.from_day)}
            )
    out = ToolOutOfService.objects.create(
        tool=tool,
        first_day=first_day,
        reason=reason.strip(),
        told=told,
        entered_by=actor,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act=written_down.OUT_OF_SERVICE,
        about=out,
        payload=written_down.out_of_service_content(out),
        at=at,
    )
    if told is not None:
        ports.send_tool_note(out)
    return out


@transaction.atomic
def put_back_in_service(
    *, tool: Tool, from_day: date, actor: User, at: datetime, note: str = ""
) -> ToolBackInService:
    """Have a tool used again from a day on; raise TrainingError if it is not out of service."""
    lock_tools([tool.pk])
    _refuse_to_come(tool, from_day, at)
    out = tool.out_of_service.filter(back__isnull=True).first()
    if out is None:
        raise TrainingError(_("%(code)s is not out of service.") % {"code": tool.code})
    if from_day < out.first_day:
        raise TrainingError(
            _("%(code)s went out of service on %(day)s. Give that day or a later one.")
            % {"code": tool.code, "day": format_day(out.first_day)}
        )
    back = ToolBackInService.objects.create(
        out=out, from_day=from_day, note=note.strip(), entered_by=actor, recorded_at=at
    )
    trail.record(
        actor=actor,
        act=written_down.BACK_IN_SERVICE,
        about=out,
        payload=written_down.back_in_service_content(back),
        at=at,
    )
    return back


def documents_to_verify() -> Iterator[tuple[str, partial[AbstractContextManager[BinaryIO]], str]]:
    """Every certificate of a calibration, for the check of the records' files."""
    return documents.documents_to_verify(CalibrationDocument.objects.all(), "calibration document")


def lock_tools(keys: Collection[int]) -> None:
    """Keep other acts on tools waiting until the transaction ends, locked in their order."""
    tools = Tool.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk")
    list(tools.values_list("pk", flat=True))


def _refuse_days(tool: Tool, calibrated_on: date, valid_through: date, at: datetime) -> None:
    _refuse_to_come(tool, calibrated_on, at)
    if valid_through < calibrated_on:
        raise TrainingError(_("A calibration is good through the day it was done, or later."))


def _refuse_to_come(tool: Tool, day: date, at: datetime) -> None:
    today = tool.site.today(at)
    if day > today:
        raise TrainingError(
            _("%(day)s is still to come: at %(site)s it is %(today)s.")
            % {"day": day, "site": tool.site, "today": today}
        )


def _refuse_contradiction(
    readings: Sequence[Reading], passed_as_found: bool | None, passed: bool
) -> None:
    """Refuse a result that is better than the readings say."""
    if len(readings) > MOST_READINGS:
        raise TrainingError(
            _("A calibration has at most %(n)d readings here. Leave the others to its certificate.")
            % {"n": MOST_READINGS}
        )
    for reading in readings:
        if not reading.left_within and passed:
            raise TrainingError(
                _("“%(what)s” was left outside its limits, so the tool did not pass as left.")
                % {"what": reading.what}
            )
        if not reading.found_within and passed_as_found is not False:
            raise TrainingError(
                _("“%(what)s” was found outside its limits, so the tool did not pass as found.")
                % {"what": reading.what}
            )


def _says_the_same(last: Calibration, **calibration: Any) -> bool:
    document = calibration.get("document")
    return (
        last.passed == calibration["passed"]
        and last.valid_through == calibration["valid_through"]
        and last.passed_as_found == calibration.get("passed_as_found")
        and last.reference == calibration.get("reference", "")
        and last.readings == [reading.as_text() for reading in calibration.get("readings", ())]
        and (last.document.sha256 if last.document else None)
        == (documents.sha256_of(document) if document else None)
    )


def tool_digest(tool: Tool) -> str:
    """What a page that changes a tool carries of what it showed."""
    return digest_of(_tool_payload(tool))


def _tool_payload(tool: Tool) -> dict[str, Any]:
    return {
        "tool": tool.code,
        "kind": str(tool.kind),
        "name": tool.name,
        "serial": tool.serial,
        "site": tool.site.prefix,
        "answers_for": tool.answers_for.employee_number if tool.answers_for else "",
        "without_calibration": tool.without_calibration,
    }
