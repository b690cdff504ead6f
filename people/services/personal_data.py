"""Handing out what is kept about somebody."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Person, User
from records.services import trail

HANDED_OUT = "personal data handed out"


@transaction.atomic
def record_handed_out(
    *, person: Person, reason: str, proof: str, actor: User, at: datetime
) -> None:
    """Write down who had the file made and why, before it is; raise PeopleError without a reason.

    The person finds it among what was done with their sign-in.
    """
    is_own = actor.person_id == person.pk
    if not is_own and not reason.strip():
        raise PeopleError(_("Say why: the person is told by whom and why their data was read."))
    user = User.objects.filter(person=person).first()
    trail.record(
        actor=actor,
        act=HANDED_OUT,
        about=user or person,
        payload={
            "person": person.employee_number,
            "reason": reason.strip(),
            "from": actor.from_address,
            "proof": proof,
        },
        at=at,
    )
