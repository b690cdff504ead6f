"""Undoing a list within a day: facts are withdrawn, nothing is deleted, what was used stays."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from audit.exceptions import ListChanged, ListRefused
from audit.models import PeopleList
from audit.queries.list_bringers import Bringer
from audit.queries.list_undoing import Undoing, plan_undoing
from certification.services.acts import Act
from people.models import User

from . import list_steps
from .list_taking_back import lock_concerned, take_back, withdraw_facts


@transaction.atomic
def undo(
    *,
    people_list: PeopleList,
    bringer: Bringer,
    actor: User,
    reason: str,
    proof: str,
    shown: str,
    at: datetime,
) -> PeopleList:
    """Undo what a list made and nobody has used since.

    Certificates, vision tests and work are withdrawn, each under a signature by one proof; changes
    are changed back, sign-ins closed, and people who were entered by mistake have left.

    Raises
    ------
    ListRefused
        If its day is over, it was undone before, or no reason is given.
    ListChanged
        If something was used since the page was shown; nothing was undone.
    """
    people_list = PeopleList.objects.select_for_update().get(pk=people_list.pk)
    if not people_list.may_be_undone(at):
        raise ListRefused(_("A list is undone once, within a day of being taken in."))
    if not reason.strip():
        raise ListRefused(_("Say why it is undone: it stands with whatever is withdrawn."))
    first = plan_undoing(people_list, bringer, at)
    if first.is_long:
        _refuse_changed(first, shown)
        list_steps.begin_undoing(people_list, first, reason.strip(), proof, at)
        return people_list
    lock_concerned(first, at)
    undoing = plan_undoing(people_list, bringer, at)
    _refuse_changed(undoing, shown)
    act = Act(actor=actor, at=at, proof=proof, reason=reason.strip())
    withdraw_facts(undoing, act)
    people_left = take_back(undoing, act)
    return list_steps.close_undone(
        people_list, undoing.count, people_left, undoing.stays_written(), act
    )


def _refuse_changed(undoing: Undoing, shown: str) -> None:
    if undoing.digest() != shown:
        raise ListChanged(
            _(
                "Something of this list has been used since you were shown it, so nothing was "
                "undone. Read it as it is now, then go on."
            )
        )
