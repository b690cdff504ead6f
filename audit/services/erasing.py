"""Evidence packs about somebody whose name is erased."""

from django.db.models import Q

from audit.models import EvidencePack
from people.ports import Erasure

from .evidence_packs import throw_away


def erase_packs(erasure: Erasure) -> None:
    """Delete the files of packs about them, their certificates or boards; the rows stay.

    An answer to a question may tell of them among others: it goes after its time, as every pack.
    """
    person = erasure.person
    about = Q(person=person) | Q(certificate__person=person) | Q(board__person=person)
    throw_away(EvidencePack.objects.filter(about).exclude(file=""))
