"""Many photographs at once: where each goes, and which of them are here already.

What is foreseen from the first bytes of the files is what happens when they are sent whole, with
a script or without one. `domain.photo_places` lays down the rules.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import IO

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments import imaging
from assessments.domain.photo_places import (
    dealt,
    first_against_names,
    in_order,
    joint_in_name,
)
from assessments.exceptions import NotAPhotograph
from assessments.models import Board, Joint

from .photos import already_there, plain_name, sha256_of


class How(StrEnum):
    BY_NAME = "by-name"
    TAKEN = "in-order-taken"
    NAMES = "in-order-of-names"
    TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Sorting:
    """How photographs are put to joints: all `together` at one, or dealt `each` from `first` on."""

    how: How = How.BY_NAME
    joint: Joint | None = None
    first: Joint | None = None
    each: int = 1


@dataclass(frozen=True, slots=True)
class Arriving:
    """What is known of a file before it is looked at whole; an unknown hash is empty."""

    name: str
    size_bytes: int
    head: bytes
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """Where a photograph will go, or a sentence why it need not be sent."""

    joint: Joint | None
    state: str = "goes"  # or "here", "same", "refused"
    says: str = ""
    named: Joint | None = None  # by its name alone, whatever was chosen


@dataclass(frozen=True, slots=True)
class Order:
    """Photographs in an order, as places in what was given, and what is to be said of it."""

    places: list[int]
    says: str = ""


def arriving(file: IO[bytes], name: str, size_bytes: int) -> Arriving:
    """Glance at a file that has arrived; leave it at its beginning."""
    digest = sha256_of(file)
    head = file.read(imaging.EXIF_WITHIN_BYTES)
    file.seek(0)
    return Arriving(plain_name(name), size_bytes, head, digest)


def foresee(
    *, board: Board, joints: Sequence[Joint], files: Sequence[Arriving], sorting: Sorting
) -> list[Foreseen]:
    """Say of each file, in the order given, what would become of it if it were sent now.

    A file that would be refused, or is the same as one before it, takes no place in the order;
    one that is on the board already does, so that a broken drop can be dropped again as a whole.
    """
    known = {
        photo.sha256: photo
        for photo in board.photos.filter(
            sha256__in={file.sha256 for file in files if file.sha256}
        ).select_related("joint__position")
    }
    refused = [_refusal(file, files[:at]) for at, file in enumerate(files)]
    counted = [at for at, refusal in enumerate(refused) if refusal is None]
    places = dict(
        zip(counted, places_of([files[at] for at in counted], joints, sorting), strict=True)
    )
    named = places_of(files, joints, Sorting(How.BY_NAME))
    plan = []
    for at, file in enumerate(files):
        refusal, there = refused[at], known.get(file.sha256)
        if there is not None:
            says = already_there(file.name, there)
            plan.append(Foreseen(there.joint, "here", says, named[at]))
        elif refusal is not None:
            plan.append(refusal)
        else:
            plan.append(Foreseen(places[at], named=named[at]))
    return plan


def _refusal(file: Arriving, before: Sequence[Arriving]) -> Foreseen | None:
    try:
        imaging.glance(file.head, file.size_bytes, file.name)
    except NotAPhotograph as error:
        return Foreseen(None, "refused", str(error))
    twin = next(
        (earlier for earlier in before if file.sha256 and earlier.sha256 == file.sha256), None
    )
    if twin is None:
        return None
    text = _("%(name)s is the same file as %(twin)s, so it is sent once.")
    return Foreseen(None, "same", text % {"name": file.name, "twin": twin.name})


def places_of(
    files: Sequence[Arriving], joints: Sequence[Joint], sorting: Sorting
) -> list[Joint | None]:
    """The joint of each file; None for the whole board. Of several makes of a joint, the last."""
    if sorting.how is How.TOGETHER:
        return [sorting.joint] * len(files)
    by_name = last_makes(joints)
    names = [file.name for file in files]
    told: list[str | None]
    if sorting.how is How.BY_NAME:
        told = [joint_in_name(name, by_name) for name in names]
    else:
        rest = list(by_name)
        if sorting.first is not None:
            rest = rest[rest.index(sorting.first.position.name) :]
        told = dealt(order_of(files, sorting.how).places, rest, sorting.each)
    return [by_name[name] if name is not None else None for name in told]


def last_makes(joints: Sequence[Joint]) -> dict[str, Joint]:
    """The last make of each joint by its name, in the order of the board."""
    by_name: dict[str, Joint] = {}
    for joint in sorted(joints, key=lambda joint: (joint.position.order, joint.make)):
        by_name[joint.position.name] = joint
    return by_name


def order_of(files: Sequence[Arriving], how: How) -> Order:
    """In which order photographs are dealt and stand at a joint: by name, unless by the clock."""
    names = [file.name for file in files]
    if how is not How.TAKEN:
        return Order(in_order(names))
    taken = [imaging.taken_at(file.head) for file in files]
    places = in_order(names, taken)
    return Order(places, _of_the_clock(places, names, taken))


def _of_the_clock(places: list[int], names: list[str], taken: list[str]) -> str:
    silent = [at for at in places if not taken[at]]
    if silent and len(silent) == len(names):
        return _("No file says when it was taken, so they stand in the order of their names.")
    says = []
    if against := first_against_names(places, names, taken):
        before, after = (names[at] for at in against)
        text = _(
            "By the clock %(before)s comes before %(after)s, by their names after it: look whether"
            " the order is right."
        )
        says.append(text % {"before": before, "after": after})
    if silent:
        text = ngettext(
            "%(name)s does not say when it was taken, so it comes last.",
            "%(n)d do not say when they were taken, %(name)s for one, so they come last.",
            len(silent),
        )
        says.append(text % {"n": len(silent), "name": names[silent[0]]})
    return " ".join(says)
