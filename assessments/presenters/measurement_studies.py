"""What the pages and files of a measurement study say."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor, isfinite
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.measurement_study import POOLED_ABOVE, Gauge, Interval, MarkSpread, Score
from assessments.models import MeasurementStudy, StudyReading
from assessments.queries.measurement_studies import (
    Apart,
    OfGrader,
    OfJoint,
    StudyResult,
    Zeta,
    readings_of,
)
from people.models import User
from people.presenters import exported_tables as exports
from people.presenters.days import format_unbroken_day
from people.presenters.quantities import (
    format_number,
    format_with_uncertainty,
    with_unit,
)

from .measurement_study_picture import Bars, pictures

NATURAL_UNITS = {
    "wrap": "deg",
    "wetting_angle": "deg",
    "fillet": "ratio",
    "fill": "percent",
}
GOOD_BELOW, USABLE_BELOW = 10, 30  # percent of the total standard deviation; common practice
CATEGORIES_ASKED = 5  # common practice too
SCORES = {
    Score.SATISFACTORY: ("accept", "is-accept"),
    Score.QUESTIONABLE: ("unknown", "is-caution"),
    Score.UNSATISFACTORY: ("reject", "is-reject"),
}


def unit_of(study: MeasurementStudy) -> str:
    return NATURAL_UNITS.get(study.quantity, study.unit)


def shown(value: float, unit: str = "") -> str:
    """A figure with three significant digits."""
    return with_unit(format_number(float(f"{value:.3g}")), unit)


def shown_px(value: float) -> str:
    return with_unit(formats.number_format(round(value, 2), decimal_pos=2), "px")


def shown_bound_px(value: float) -> str:
    """A bound, rounded up so that what is shown may be stated."""
    return with_unit(formats.number_format(ceil(round(100 * value, 6)) / 100, decimal_pos=2), "px")


def percent(share: float) -> str:
    return with_unit(formats.number_format(round(100 * share, 1), decimal_pos=1), "%")


def between(interval: Interval | None, unit: str) -> str:
    if interval is None:
        return ""
    return _("%(low)s to %(high)s") % {
        "low": shown(interval.low, unit),
        "high": shown(interval.high, unit),
    }


# First what it means


def mark_says(
    name: str,
    spread: MarkSpread | None,
    stands: MarkSpread | None,
    *,
    own: bool,
    day: date,
    withdrawn: bool = False,
) -> str:
    """What follows for one grader's marks, in sentences.

    Parameters
    ----------
    day : date
        On which the study was closed, at its site.
    """
    said = {"who": name}
    if spread is None:
        if own:
            return _("You marked no photograph twice, so nothing is shown of your marks.")
        return _("%(who)s marked no photograph twice, so nothing is shown of their marks.") % said
    said |= {"sigma": shown_px(spread.sigma_px), "upper": shown_bound_px(spread.upper_px)}
    if withdrawn:
        if own:
            return (
                _("A mark of yours came out at %(sigma)s; of a withdrawn study nothing follows.")
                % said
            )
        return (
            _("A mark of %(who)s came out at %(sigma)s; of a withdrawn study nothing follows.")
            % said
        )
    if spread.upper_px >= max(1.0, spread.pixel_px):
        if own:
            return (
                _(
                    "A mark of yours came out at %(sigma)s, and %(upper)s cannot be ruled out: a "
                    "pixel as shown goes on counting."
                )
                % said
            )
        return (
            _(
                "A mark of %(who)s came out at %(sigma)s, and %(upper)s cannot be ruled out: a "
                "pixel as shown goes on counting."
            )
            % said
        )
    said["day"] = format_unbroken_day(day)
    if own:
        says = _("A mark of yours is good to %(sigma)s; you may state %(upper)s from %(day)s.")
        more = _("Together with your other studies %(upper)s counts.")
    else:
        says = _("A mark of %(who)s is good to %(sigma)s; they may state %(upper)s from %(day)s.")
        more = _("Together with their other studies %(upper)s counts.")
    says %= said
    if stands is not None and stands != spread:
        says += " " + more % {"upper": shown_bound_px(stands.upper_px)}
    return says


@dataclass(frozen=True, slots=True)
class GraderRow:
    name: str
    says: str
    readings: int
    sigma: str
    upper: str
    freedom: int | None
    pixel: str
    off: str


@dataclass(frozen=True, slots=True)
class ComponentRow:
    label: str
    by_variances: str
    interval: str
    share: str
    of_total: str
    by_ranges: str
    ranges_share: str
    strong: bool


@dataclass(frozen=True, slots=True)
class ApartBlock:
    """One of the two ways of repeating, taken apart."""

    key: str
    title: str
    lead: str
    rows: tuple[ComponentRow, ...]
    pictures: list[tuple[str, Any]]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JointRow:
    name: str
    photographs: int
    readings: int
    mean: str
    least: str
    most: str


@dataclass(frozen=True, slots=True)
class ZetaRow:
    joint: str
    grader: str
    value: str
    reference: str
    zeta: str
    shape: str
    tone: str
    word: str


@dataclass(frozen=True, slots=True)
class StudyPage:
    """A closed study as its page shows it."""

    means: tuple[str, ...]
    expected: str
    blocks: tuple[ApartBlock, ...]
    nothing: tuple[str, ...]
    graders: tuple[GraderRow, ...]
    joints: tuple[JointRow, ...]
    zetas: tuple[ZetaRow, ...]


def build(study: MeasurementStudy, result: StudyResult, user: User, *, whole: bool) -> StudyPage:
    """Lay out what came of a study.

    Parameters
    ----------
    whole : bool
        Whether the user reads what everybody marked; otherwise their own alone.
    """
    unit = unit_of(study)
    graders = [one for one in result.graders if whole or one.grader.user_id == user.pk]
    rows = tuple(_grader_row(study, one, user, unit) for one in graders)
    blocks, nothing = [], []
    for key, title, apart, why in (
        (
            "marked",
            _("Marked again on the same photograph"),
            result.marked_again,
            _(
                "Marked again: two joints or more have to be marked twice by one grader, and to "
                "differ. These readings do not tell the marking apart."
            ),
        ),
        (
            "photographed",
            _("Photographed again"),
            result.photographed_again,
            _(
                "Photographed again: two joints or more have to have several photographs each. "
                "This study does not show what photographing again does."
            ),
        ),
    ):
        if apart is None:
            nothing.append(why)
        elif whole:
            blocks.append(_block(key, title, apart, unit))
    means = [row.says for row in rows]
    if whole and result.pooled is not None and len(result.graders) > 1:
        means.append(
            _(
                "Over all graders a mark is good to %(sigma)s here, and to no worse than "
                "%(upper)s with 95 %% confidence."
            )
            % {
                "sigma": shown_px(result.pooled.sigma_px),
                "upper": shown_bound_px(result.pooled.upper_px),
            }
        )
    return StudyPage(
        means=tuple(means),
        expected=_("%(n)d of %(all)d readings")
        % {
            "n": len(result.readings),
            "all": result.expected,
        },
        blocks=tuple(blocks),
        nothing=tuple(nothing) if whole else (),
        graders=rows,
        joints=tuple(_joint_row(one, unit) for one in result.joints) if whole else (),
        zetas=tuple(
            _zeta_row(one, unit) for one in result.zetas if whole or one.grader.user_id == user.pk
        ),
    )


def _grader_row(study: MeasurementStudy, one: OfGrader, user: User, unit: str) -> GraderRow:
    name = str(one.grader.user)
    spread = one.spread
    return GraderRow(
        name,
        mark_says(
            name,
            spread,
            one.stands,
            own=one.grader.user_id == user.pk,
            day=study.site.today(study.closing.recorded_at),
            withdrawn=study.is_withdrawn,
        ),
        one.readings,
        shown_px(spread.sigma_px) if spread else "",
        shown_bound_px(spread.upper_px) if spread else "",
        spread.freedom if spread else None,
        format_number(round(spread.pixel_px, 2)) if spread else "",
        shown(one.off, unit) if one.off is not None else "",
    )


def _block(key: str, title: str, apart: Apart, unit: str) -> ApartBlock:
    variances, ranges = apart.variances, apart.ranges
    part = _("Joints")
    repeat = _("Repeatability: one grader, one joint")
    grader = _("Between graders")
    interaction = _("Graders and joints together")
    several = variances.graders > 1
    names = [(part, "part", True), (repeat, "repeatability", False)]
    if several:
        names += [(grader, "grader", False), (interaction, "interaction", False)]
        names += [(_("Reproducibility: graders in all"), "reproducibility", False)]
    names += [(_("Measuring in all"), "gauge", True), (_("All readings"), "total", True)]
    rows = tuple(_component(label, name, strong, apart, unit) for label, name, strong in names)
    drawn = [(part, "part"), (repeat, "repeatability")]
    if several:
        drawn += [(grader, "grader"), (interaction, "interaction")]
    bars = [
        Bars(
            label,
            first := variances.share(getattr(variances, name)),
            second := (None if name == "interaction" else ranges.share(getattr(ranges, name))),
            (percent(first), "" if second is None else percent(second)),
        )
        for label, name in drawn
    ]
    return ApartBlock(
        key,
        title,
        _gauge_says(variances),
        rows,
        pictures(bars, _("%(what)s: what the spread of readings is made of") % {"what": title}),
        tuple(_notes(apart)),
    )


def _component(label: str, name: str, strong: bool, apart: Apart, unit: str) -> ComponentRow:
    variances, ranges = apart.variances, apart.ranges
    sd, other = getattr(variances, name), getattr(ranges, name)
    interval = {
        "repeatability": variances.repeatability_interval,
        "gauge": variances.gauge_interval,
    }.get(name)
    apart_by_ranges = name != "interaction"
    return ComponentRow(
        label,
        shown(sd, unit),
        between(interval, unit),
        percent(variances.share(sd)),
        percent(variances.of_total(sd)),
        shown(other, unit) if apart_by_ranges else "",
        percent(ranges.share(other)) if apart_by_ranges else "",
        strong,
    )


def _gauge_says(gauge: Gauge) -> str:
    """What it means, beside what is common practice to ask."""
    measuring = 100 * gauge.of_total(gauge.gauge)
    said = {"share": percent(gauge.of_total(gauge.gauge)), "asked": CATEGORIES_ASKED}
    if measuring < GOOD_BELOW:
        says = _("Measuring makes up %(share)s of the spread of readings: little.") % said
    elif measuring < USABLE_BELOW:
        says = _("Measuring makes up %(share)s of the spread of readings: enough to mind.") % said
    else:
        says = _("Measuring makes up %(share)s of the spread of readings: much.") % said
    if isfinite(gauge.categories):
        told = max(floor(gauge.categories), 1)
        says += " " + (
            ngettext(
                "It tells %(n)d kind of joint apart; %(asked)d or more are asked for as a rule.",
                "It tells %(n)d kinds of joints apart; %(asked)d or more are asked for as a rule.",
                told,
            )
            % {"n": told, **said}
        )
    return says


def _notes(apart: Apart) -> Iterator[str]:
    table, gauge = apart.table, apart.variances
    parts, graders, trials = table.values.shape
    yield _("Taken apart: %(parts)d joints × %(graders)d graders × %(trials)d readings.") % {
        "parts": parts,
        "graders": graders,
        "trials": trials,
    }
    if table.left_out:
        yield ngettext(
            "%(n)d reading is left out, as not every grader read every joint equally often.",
            "%(n)d readings are left out, as not every grader read every joint equally often.",
            table.left_out,
        ) % {"n": table.left_out}
    if gauge.graders == 1:
        yield _("One grader alone shows nothing of what differs between graders.")
    elif gauge.interaction_p is not None:
        said = {
            "p": format_number(float(f"{gauge.interaction_p:.2g}")),
            "limit": format_number(POOLED_ABOVE),
        }
        if gauge.pooled:
            yield (
                _(
                    "Graders and joints together: p = %(p)s, above %(limit)s, so it is taken for "
                    "repeatability."
                )
                % said
            )
        else:
            yield (
                _("Graders and joints together: p = %(p)s, at most %(limit)s, so it stands apart.")
                % said
            )
    yield _(
        "A figure that came out below 0 is shown as 0. By ranges graders and joints together are "
        "not told apart."
    )
    yield _(
        "Intervals of 95 %: that of the repeatability is exact by χ²; that of measuring in all is "
        "Graybill and Wang’s modified large sample. The others have none that is well founded."
    )


def _joint_row(one: OfJoint, unit: str) -> JointRow:
    return JointRow(
        f"{one.joint.board.number} {one.joint}",
        one.photographs,
        one.readings,
        shown(one.mean, unit),
        shown(one.least, unit),
        shown(one.most, unit),
    )


def _zeta_row(one: Zeta, unit: str) -> ZetaRow:
    words = {
        Score.SATISFACTORY: _("agrees"),
        Score.QUESTIONABLE: _("to be looked into"),
        Score.UNSATISFACTORY: _("does not agree"),
    }
    shape, tone = SCORES[one.score]
    return ZetaRow(
        f"{one.joint.board.number} {one.joint}",
        str(one.grader.user),
        _with_u(one.value, one.u, unit),
        _with_u(one.reference, one.reference_u, unit),
        format_number(round(one.zeta, 2)),
        shape,
        tone,
        words[one.score],
    )


def _with_u(value: float, u: float, unit: str) -> str:
    shown_value, expanded = format_with_uncertainty(value, u)
    text = with_unit(shown_value, unit)
    return text if expanded is None else f"{text} ± {with_unit(expanded, unit)}"


# The readings as a file

COLUMNS = (
    "study",
    "grader",
    "turn",
    "board",
    "joint",
    "photograph",
    "photograph_sha256",
    "value",
    "standard_uncertainty",
    "unit",
    "mark_uncertainty_px",
    "photograph_px_per_screen_px",
    "marks_px",
    "said",
    "remarks",
    "read_at",
)


def csv_lines(study: MeasurementStudy, user: User, *, whole: bool) -> Iterator[str]:
    """The readings of a closed study as lines of a CSV file; one's own alone unless whole."""
    return exports.csv_lines(
        COLUMNS,
        (
            _cells(study, reading)
            for reading in readings_of(study)
            if whole or reading.grader.user_id == user.pk
        ),
    )


def _cells(study: MeasurementStudy, reading: StudyReading) -> Sequence[str]:
    place = reading.study_photo
    return (
        study.title,
        str(reading.grader.user),
        str(reading.turn + 1),
        place.joint.board.number,
        str(place.joint),
        str(place.order + 1),
        place.photo.sha256,
        repr(reading.value),
        repr(reading.standard_uncertainty),
        reading.unit,
        repr(reading.mark_uncertainty_px),
        repr(reading.pixel_px),
        json.dumps(reading.marks, separators=(",", ":")),
        json.dumps(reading.options, separators=(",", ":")),
        " ".join(reading.remarks),
        reading.recorded_at.isoformat(),
    )
