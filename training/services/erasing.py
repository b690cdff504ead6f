"""What training keeps of somebody's whereabouts, once their name is erased."""

from people.ports import Erasure
from training.models import Absence, AwayLimit, WaitingPlace


def erase_whereabouts(erasure: Erasure) -> None:
    """Drop the days away and the places they waited for; classes and work done stay."""
    Absence.objects.filter(person=erasure.person).delete()
    AwayLimit.objects.filter(lead=erasure.person).delete()
    WaitingPlace.objects.filter(person=erasure.person).delete()
