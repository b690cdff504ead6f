"""Photographs on a result sheet: which of them, cut to what is marked, with the marks drawn."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from assessments.domain.marks_drawn import Drawn
from assessments.models import Joint, Judgement, Photo
from assessments.presenters import judgement_words
from assessments.queries import board_results
from assessments.services.measuring import drawn_of

LEAST_WINDOW = 0.45  # of a photograph's width and height
ROUND_MARKS = 1.7  # how much wider than its marks a window is
RADIUS, ARM = 6, 1.6  # of a marked place and of a cross, in hundredths of the longer side
HALO, COPPER, WHITE = "#101112", "#f0a878", "#ffffff"


@dataclass(frozen=True, slots=True)
class Picture:
    """A part of a photograph with what was marked on it.

    Attributes
    ----------
    window : tuple of four floats
        Left, top, width and height in pixels of the upright photograph.
    circles : tuple of (x, y)
        Marked places, in the same pixels.
    """

    photo: Photo
    window: tuple[float, float, float, float]
    drawn: tuple[Drawn, ...]
    circles: tuple[tuple[float, float], ...]
    alt: str
    caption: str

    @property
    def view_box(self) -> str:
        return " ".join(f"{number:.1f}" for number in self.window)

    @property
    def marks(self) -> SafeString:
        """What is marked, drawn for an SVG of this view box; empty where nothing is."""
        unit = max(self.window[2:]) / 100
        lines, crosses = [], []
        for lay in self.drawn:
            for line in lay.lines:
                points = " ".join(f"{x:.1f},{y:.1f}" for x, y in line)
                lines.append(f'<polyline points="{points}"/>')
            arm = ARM * unit
            crosses += [
                f'<path d="M{x - arm:.1f} {y:.1f}h{2 * arm:.1f}"/>'
                f'<path d="M{x:.1f} {y - arm:.1f}v{2 * arm:.1f}"/>'
                for x, y in lay.marks
            ]
        lines += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{RADIUS * unit:.1f}"/>' for x, y in self.circles
        ]
        strokes = ((lines + crosses, HALO, 1.1), (lines, COPPER, 0.5), (crosses, WHITE, 0.4))
        # Numbers alone: nothing here came from a person as text.
        return SafeString(
            "".join(
                f'<g fill="none" stroke="{colour}" stroke-width="{wide * unit:.2f}">'
                f"{''.join(what)}</g>"
                for what, colour, wide in strokes
                if what
            )
        )


def pictures_of(reading: board_results.JudgedJoint, photos: Sequence[Photo]) -> Iterable[Picture]:
    """Each photograph that a judgement names, cut to what is marked on it; else the last one."""
    joint_id = reading.joint.pk if reading.joint else None
    place = reading.joint.position.name if reading.joint else _("the whole board")
    known = {photo.pk: photo for photo in photos}
    named: dict[int, list[Judgement]] = {}
    for judgement in reading.judgements:
        if judgement.photo_id in known:
            named.setdefault(judgement.photo_id, []).append(judgement)
    if not named:
        own = [photo for photo in photos if photo.joint_id == joint_id]
        named = {own[-1].pk: []} if own else {}
    for key in (photo.pk for photo in photos if photo.pk in named):
        photo, judgements = known[key], named[key]
        rest = []
        marked = False
        for judgement in judgements:
            measurement = judgement.measurement
            if measurement is not None and measurement.photo_id == key:
                # The photograph is at hand with its renditions; nothing is asked for again.
                measurement.photo = photo
                marked = True
                yield _picture(
                    photo,
                    place,
                    [drawn_of(measurement)],
                    _places([judgement]),
                    " ".join(
                        [
                            judgement.criterion.title,
                            judgement_words.measured_shown(judgement, judgement.criterion.unit),
                        ]
                    ),
                )
            elif judgement.mark_x is not None:
                rest.append(judgement)
        if rest or not marked:
            titles = "; ".join(dict.fromkeys(judgement.criterion.title for judgement in rest))
            yield _picture(photo, place, [], _places(rest), titles)


def picture_of_place(
    joint: Joint | None, judgement: Judgement | None, photos: Sequence[Photo], stage: str
) -> Picture | None:
    """One whole photograph of a place, with what a judgement marked on it.

    The photograph that the judgement names, else the first of the stage, else the first.
    """
    joint_id = joint.pk if joint else None
    named = judgement.photo_id if judgement else None
    own = [photo for photo in photos if photo.joint_id == joint_id]
    first = [photo for photo in photos if photo.pk == named]
    first += [photo for photo in own if photo.stage == stage] + own
    if not first:
        return None
    photo = first[0]
    place = joint.position.name if joint else _("the whole board")
    drawn: list[Drawn] = []
    circles: tuple[tuple[float, float], ...] = ()
    if judgement is not None and photo.pk == named:
        measurement = judgement.measurement
        if measurement is not None and measurement.photo_id == named:
            drawn = [drawn_of(measurement)]
        circles = _places([judgement])
    picture = _picture(photo, place, drawn, circles, "")
    return replace(
        picture, window=(0.0, 0.0, float(photo.upright_width), float(photo.upright_height))
    )


def _places(judgements: Iterable[Judgement]) -> tuple[tuple[float, float], ...]:
    return tuple(
        dict.fromkeys(
            (judgement.mark_x, judgement.mark_y)
            for judgement in judgements
            if judgement.mark_x is not None and judgement.mark_y is not None
        )
    )


def _picture(
    photo: Photo,
    place: str,
    drawn: Sequence[Drawn],
    circles: tuple[tuple[float, float], ...],
    says: str,
) -> Picture:
    points = [point for shape in drawn for line in (*shape.lines, shape.marks) for point in line]
    window = window_round([*points, *circles], photo.upright_width, photo.upright_height)
    caption = [place]
    if photo.stage:
        caption.append(str(photo.get_stage_display()))
    if photo.magnification:
        caption.append(f"{judgement_words.plain(photo.magnification)}×")
    alt = _("Photograph of %(place)s") % {"place": place}
    if says and (points or circles):
        alt = _("Photograph of %(place)s, marked: %(says)s") % {"place": place, "says": says}
    return Picture(
        photo=photo,
        window=window,
        drawn=tuple(drawn),
        circles=circles,
        alt=alt,
        caption=", ".join(caption) + (f": {says}" if says else ""),
    )


def window_round(
    points: Sequence[tuple[float, float]], wide: int, high: int
) -> tuple[float, float, float, float]:
    """Left, top, width and height of a window round points, in the photograph's shape and on it.

    Without points it is the whole photograph.

    Examples
    --------
    >>> window_round([(0, 0)], 800, 600)
    (0.0, 0.0, 360.0, 270.0)
    """
    if not points:
        return 0.0, 0.0, float(wide), float(high)
    left, right = min(x for x, _y in points), max(x for x, _y in points)
    top, bottom = min(y for _x, y in points), max(y for _x, y in points)
    share = max((right - left) / wide, (bottom - top) / high) * ROUND_MARKS
    share = min(max(share, LEAST_WINDOW), 1.0)
    across, down = wide * share, high * share
    x = min(max((left + right - across) / 2, 0.0), wide - across)
    y = min(max((top + bottom - down) / 2, 0.0), high - down)
    return x, y, across, down
