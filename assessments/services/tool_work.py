"""What is decided of boards that were made or judged with a tool found out of its limits."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.exceptions import CannotChangeBoard
from assessments.models import ToolWorkDecision
from assessments.queries import written_down
from assessments.queries.tool_work import questioned_work
from people.access import READERS
from people.models import User
from records.services import trail
from training.models import Calibration, Tool
from training.services.tools import lock_tools


@transaction.atomic
def decide_on_work(
    *,
    calibration: Calibration,
    boards: Mapping[str, int],
    decision: str,
    reason: str,
    actor: User,
    at: datetime,
) -> list[ToolWorkDecision]:
    """Write down that boards in question were looked at, and what becomes of them.

    Parameters
    ----------
    boards : mapping of str to int
        By number, with the key of the decision that the page showed of each; 0 for none.

    Raises
    ------
    CannotChangeBoard
        If no board is named or no reason given, somebody decided of one meanwhile, one is not in
        question or the actor's own, or the actor does not teach or audit at the tool's site.
    """
    lock_tools([calibration.tool_id])
    tool = Tool.objects.get(pk=calibration.tool_id)
    if not actor.has_role(*READERS, site=tool.site_id):
        raise CannotChangeBoard(
            _("Work with %(tool)s is decided on by instructors and quality at its site.")
            % {"tool": tool.code}
        )
    if not boards:
        raise CannotChangeBoard(_("Tick at least one board."))
    if not reason.strip():
        raise CannotChangeBoard(_("Say why, so that whoever reads it later understands."))
    works = {work.calibration.pk: work for work in questioned_work(Tool.objects.filter(pk=tool.pk))}
    work = works.get(calibration.pk)
    in_question = {each.board.number: each for each in work.boards} if work else {}
    made = []
    for number in sorted(boards):
        each = in_question.get(number)
        if each is None:
            raise CannotChangeBoard(
                _("Board %(number)s is not in question. Open the list anew.") % {"number": number}
            )
        if actor.person_id is not None and each.board.person_id == actor.person_id:
            raise CannotChangeBoard(
                _("Board %(number)s is your own: somebody else decides on it.") % {"number": number}
            )
        if (each.decision.pk if each.decision else 0) != boards[number]:
            raise CannotChangeBoard(
                _("Somebody decided on board %(number)s meanwhile. Open the list anew.")
                % {"number": number}
            )
        made.append(
            ToolWorkDecision.objects.create(
                calibration=calibration,
                board=each.board,
                decision=decision,
                reason=reason.strip(),
                decided_by=actor,
                recorded_at=at,
            )
        )
    trail.record_many(
        actor=actor,
        act=written_down.TOOL_WORK,
        items=[(one, written_down.tool_work_content(one)) for one in made],
        at=at,
    )
    return made
