"""What was sent to a board in one act, in words: the line to which its photographs fold away."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Photo
from assessments.services.photos import TakenBack
from people.models import User


@dataclass(frozen=True, slots=True)
class Sending:
    """The photographs that somebody sent to a board in one act, in the order of its joints."""

    key: str
    photos: tuple[Photo, ...]

    @property
    def at(self) -> datetime:
        return max(photo.recorded_at for photo in self.photos)

    @property
    def says(self) -> str:
        """So many sent, and where they went: ``40 photographs sent, 2 to each of 20 joints``."""
        number = len(self.photos)
        sent = ngettext("%(n)d photograph sent", "%(n)d photographs sent", number) % {"n": number}
        return f"{sent}, {spread_in_words(self.photos)}"


def latest_sending(photos: Sequence[Photo], user: User) -> Sending | None:
    """What the user sent last of these, while it is there."""
    own = [photo for photo in photos if photo.sending and photo.added_by_id == user.pk]
    if not own:
        return None
    last = max(own, key=lambda photo: (photo.recorded_at, photo.pk)).sending
    return Sending(last, tuple(photo for photo in own if photo.sending == last))


def spread_in_words(photos: Sequence[Photo]) -> str:
    to_joints = Counter(str(photo.joint) for photo in photos if photo.joint is not None)
    on_board = sum(photo.joint is None for photo in photos)
    parts = []
    if len(to_joints) == 1:
        parts.append(_("to joint %(joint)s") % {"joint": next(iter(to_joints))})
    elif len(set(to_joints.values())) == 1:
        parts.append(
            _("%(each)d to each of %(joints)d joints")
            % {"each": next(iter(to_joints.values())), "joints": len(to_joints)}
        )
    elif to_joints:
        fewest, most = min(to_joints.values()), max(to_joints.values())
        parts.append(
            _("%(fewest)d to %(most)d to each of %(joints)d joints")
            % {"fewest": fewest, "most": most, "joints": len(to_joints)}
        )
    if on_board:
        parts.append(_("%(n)d with the whole board") % {"n": on_board})
    return "; ".join(parts)


def taken_back_in_words(back: TakenBack) -> str:
    number = len(back.photos)
    says = []
    if number:
        text = ngettext(
            "%(n)d photograph is taken back.", "%(n)d photographs are taken back.", number
        )
        says.append(text % {"n": number})
    if back.stay:
        text = ngettext(
            "%(names)s stays: somebody has judged or measured by it.",
            "%(names)s stay: somebody has judged or measured by them.",
            len(back.stay),
        )
        says.append(text % {"names": ", ".join(photo.original_name for photo in back.stay)})
    return " ".join(says)
