"""Lists of tools taken in: every row of one, or none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from people.domain.list_days import DayForm
from people.models import Site, User
from records.domain.lists import ListRow
from records.services import trail
from training.domain.tool_columns import Column
from training.exceptions import TrainingError
from training.queries.tool_lists import MOST_TOOLS, Does, ToolPlan, plan_tools

from .tools import add_tool, lock_tools, record_calibration


@dataclass(frozen=True, slots=True)
class ToolList:
    """A list and what was said of it; the parameters of `queries.tool_lists.plan_tools`."""

    rows: Sequence[ListRow]
    columns: Sequence[str]
    day_form: DayForm | None
    means: Mapping[tuple[Column, str], str]

    def plan(self, sites: QuerySet[Site], at: datetime) -> ToolPlan:
        return plan_tools(
            self.rows,
            self.columns,
            day_form=self.day_form,
            means=self.means,
            sites=sites,
            at=at,
        )


def take_in_tools(
    *, tool_list: ToolList, sites: QuerySet[Site], shown: str, actor: User, at: datetime
) -> ToolPlan:
    """Enter the tools of a list and record their calibrations as passed; return what was done.

    What is there already just as a row says is left alone, so a list taken in twice changes
    nothing the second time.

    Parameters
    ----------
    shown : str
        The digest of the plan that its page showed (`ToolPlan.digest`).

    Raises
    ------
    TrainingError
        If something of it is open or does not fit, it has more than `MOST_TOOLS` rows, or it
        would do something else than was shown; nothing was done.
    """
    try:
        return _take_in(tool_list, sites, shown, actor, at)
    except IntegrityError as error:
        # Somebody entered a tool of the same number at the same moment.
        raise TrainingError(_changed()) from error


@transaction.atomic
def _take_in(
    tool_list: ToolList, sites: QuerySet[Site], shown: str, actor: User, at: datetime
) -> ToolPlan:
    if len(tool_list.rows) > MOST_TOOLS:
        raise TrainingError(too_many())
    before = tool_list.plan(sites, at)
    lock_tools({row.tool.pk for row in before.rows if row.tool is not None})
    # A tool that is being entered has no row yet that another list could wait for.
    trail.lock_trail()
    plan = tool_list.plan(sites, at)
    if plan.digest() != shown:
        raise TrainingError(_changed())
    if not plan.is_ready:
        raise TrainingError(_("Something of the list is still open: answer it, then go on."))
    for row in plan.rows:
        tool = row.tool or add_tool(
            code=row.code,
            kind=row.kind,
            site=row.site,
            name=row.name,
            serial=row.serial,
            actor=actor,
            at=at,
        )
        if row.does is Does.ALONE or row.calibrated_on is None or row.valid_through is None:
            continue
        record_calibration(
            tool=tool,
            calibrated_on=row.calibrated_on,
            valid_through=row.valid_through,
            passed=True,
            reference=row.reference,
            actor=actor,
            at=at,
        )
    return plan


def too_many() -> str:
    return _("At most %(most)d tools are taken in at once, since others wait for it: split it.") % {
        "most": MOST_TOOLS
    }


def _changed() -> str:
    return _(
        "What this list would do has changed since you were shown it, so nothing was done. Read "
        "it as it is now, then go on."
    )
