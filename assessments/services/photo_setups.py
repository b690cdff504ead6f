"""Photo set-ups: declared with their bounds, qualified by a graticule, chosen, retired."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from math import isfinite

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.domain.view import Bounds
from assessments.exceptions import AssessmentError
from assessments.models import (
    Measurement,
    Photo,
    PhotoSetup,
    SetupQualification,
    SetupRetirement,
    WireTolerance,
)
from assessments.queries import photo_setups, written_down
from people.models import Site, User
from people.presenters.quantities import format_number
from records.services import trail

from .board_lock import lock_board
from .measuring import measure_again

LEAST_READINGS = 3
MOST_READINGS = 100
UPRIGHT_DEG = 1.0  # as good as straight from above
REACHES_DEG = 1.0  # beyond the declared tilt, and still a reading at it
MOST_TILT_DEG = 45.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One length of a graticule: photographed at a known tilt, and read by an upright scale."""

    tilt_deg: float
    true_mm: float
    read_mm: float


@transaction.atomic
def declare_setup(
    *, site: Site, name: str, kind: str, bounds: Bounds, actor: User, at: datetime
) -> PhotoSetup:
    """Declare how photographs are taken; its bounds count once it is qualified.

    Raises
    ------
    AssessmentError
        If the site has a set-up of that name, or a bound is not possible.
    """
    _refuse_bounds(bounds)
    held = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    if PhotoSetup.objects.filter(site=held, name__iexact=name).exists():
        raise AssessmentError(
            _("There is a set-up “%(name)s” at this site. Give this one another name.")
            % {"name": name}
        )
    declared = asdict(bounds)
    declared["distortion_percent"] = 100 * declared.pop("distortion")
    setup = PhotoSetup.objects.create(
        site=held, name=name, kind=kind, declared_by=actor, recorded_at=at, **declared
    )
    _record(written_down.DECLARED, setup, written_down.setup_content(setup), actor, at)
    return setup


def _refuse_bounds(bounds: Bounds) -> None:
    figures = asdict(bounds)
    possible = (
        all(map(isfinite, figures.values()))
        and 0 <= bounds.tilt_deg <= MOST_TILT_DEG
        and min(bounds.depth_mm, bounds.relief_mm, bounds.distortion) >= 0
        and min(bounds.distance_mm, bounds.field_mm) > 0
        and bounds.depth_mm < bounds.distance_mm
    )
    if not possible:
        raise AssessmentError(
            _(
                "A tilt is 0 to 45 degrees, distance and width are more than 0, the depth is less "
                "than the distance, and nothing is below 0."
            )
        )


@transaction.atomic
def qualify_setup(
    *,
    setup: PhotoSetup,
    done_on: date,
    graticule: str,
    readings: Sequence[Reading],
    actor: User,
    at: datetime,
) -> SetupQualification:
    """Qualify a set-up by what was read of a graticule photographed in it at known tilts.

    Raises
    ------
    AssessmentError
        If the set-up is retired, the readings do not reach its tilt, one of them is no figure, or
        farther off than the bounds allow at its tilt.
    """
    held = _lock_in_use(setup)
    if done_on > held.site.today(at):
        raise AssessmentError(_("That day is still to come. Give the day it was done."))
    _refuse_readings(photo_setups.bounds_of(held), readings)
    qualification = SetupQualification.objects.create(
        setup=held,
        done_on=done_on,
        graticule=graticule,
        readings=[asdict(reading) for reading in readings],
        qualified_by=actor,
        recorded_at=at,
    )
    content = written_down.qualification_content(qualification)
    _record(written_down.QUALIFIED, qualification, content, actor, at)
    return qualification


def _refuse_readings(bounds: Bounds, readings: Sequence[Reading]) -> None:
    if len(readings) < LEAST_READINGS:
        raise AssessmentError(
            _("Give %(n)d readings or more: upright, and leaning as far as is declared.")
            % {"n": LEAST_READINGS}
        )
    if len(readings) > MOST_READINGS:
        raise AssessmentError(
            _("Give %(n)d readings at most. Leave some of the same tilt out.")
            % {"n": MOST_READINGS}
        )
    for reading in readings:
        possible = (
            all(map(isfinite, (reading.tilt_deg, reading.true_mm, reading.read_mm)))
            and 0 <= reading.tilt_deg <= MOST_TILT_DEG
            and min(reading.true_mm, reading.read_mm) > 0
        )
        if not possible:
            raise AssessmentError(
                _(
                    "Write every reading in full: its tilt, 0 to 45 degrees, what is true and what "
                    "was read, in mm."
                )
            )
    tilts = [reading.tilt_deg for reading in readings]
    if min(tilts) > UPRIGHT_DEG:
        raise AssessmentError(_("Read the graticule upright too, at a tilt of 1° or less."))
    if not any(0 <= tilt - bounds.tilt_deg <= REACHES_DEG for tilt in tilts):
        raise AssessmentError(
            _("Read the graticule at the tilt that is declared, %(tilt)s°, or up to 1° beyond.")
            % {"tilt": format_number(bounds.tilt_deg)}
        )
    for reading in readings:
        # One that leans farther is held against the same set-up leaning as far as that.
        leaning = replace(bounds, tilt_deg=max(bounds.tilt_deg, reading.tilt_deg))
        allowed = leaning.length_bound_mm(reading.true_mm)
        off = abs(reading.read_mm - reading.true_mm)
        if off > allowed:
            raise AssessmentError(
                _(
                    "%(read)s mm were read for %(true)s mm at %(tilt)s°. The bounds allow a "
                    "difference of %(allowed)s mm: declare wider ones as another set-up."
                )
                % {
                    "read": format_number(reading.read_mm),
                    "true": format_number(reading.true_mm),
                    "tilt": format_number(reading.tilt_deg),
                    "allowed": format_number(float(f"{allowed:.2g}")),
                }
            )


@transaction.atomic
def retire_setup(*, setup: PhotoSetup, reason: str, actor: User, at: datetime) -> SetupRetirement:
    """Take a set-up out of use; photographs taken in it go on naming it."""
    held = _lock_in_use(setup)
    retirement = SetupRetirement.objects.create(
        setup=held, reason=reason, retired_by=actor, recorded_at=at
    )
    content = written_down.retirement_content(retirement)
    _record(written_down.RETIRED, retirement, content, actor, at)
    return retirement


def _lock_in_use(setup: PhotoSetup) -> PhotoSetup:
    held = PhotoSetup.objects.select_for_update(no_key=True).get(pk=setup.pk)
    if SetupRetirement.objects.filter(setup=held).exists():
        raise AssessmentError(_("“%(name)s” is out of use. Choose another.") % {"name": held.name})
    return held


@transaction.atomic
def choose_setup(*, photo: Photo, setup: PhotoSetup | None, actor: User, at: datetime) -> bool:
    """Say in which set-up a photograph was taken; None is by hand. Return whether that is new.

    What was measured before keeps its bounds; the photograph's scale takes those of the set-up.

    Raises
    ------
    AssessmentError
        If the set-up is retired or another site's, or the board was cancelled.
    """
    held_setup = _lock_in_use(setup) if setup is not None else None
    lock_board(photo.board)
    held = (
        Photo.objects.select_for_update(no_key=True, of=("self",))
        .select_related("board", "joint__position", "setup")
        .get(pk=photo.pk)
    )
    if held_setup is not None and held_setup.site_id != held.board.site_id:
        raise AssessmentError(_("That set-up belongs to another site. Choose one of this site."))
    before = written_down.placing_content(held)
    held.setup = held_setup
    after = written_down.placing_content(held)
    if before == after:
        return False
    held.scale_view = _view_of_scale(held)
    held.save(update_fields=["setup", "scale_view"])
    trail.record(
        actor=actor,
        act="photograph described",
        about=held,
        payload={"board": held.board.number, "before": before, "after": after},
        at=at,
    )
    return True


def _view_of_scale(photo: Photo) -> float | None:
    """What the view may have done to the scale, worked out from its marks by the set-up."""
    last = photo.measurements.filter(quantity=Measurement.Quantity.SCALE).first()
    return None if last is None else measure_again(last, photo).also["relative_view"]


@transaction.atomic
def state_wire_tolerance(
    *,
    site: Site,
    conductor_percent: float,
    overall_percent: float,
    source: str,
    actor: User,
    at: datetime,
) -> WireTolerance:
    """Say by how much a site's wire may differ from its nominal diameters."""
    if not (0 < conductor_percent <= 50 and 0 < overall_percent <= 50):
        raise AssessmentError(_("A tolerance is more than 0 and at most 50 percent."))
    tolerance = WireTolerance.objects.create(
        site=site,
        conductor_percent=conductor_percent,
        overall_percent=overall_percent,
        source=source,
        stated_by=actor,
        recorded_at=at,
    )
    content = written_down.tolerance_content(tolerance)
    _record(written_down.TOLERANCE, tolerance, content, actor, at)
    return tolerance


def _record(act: str, about, content, actor: User, at: datetime) -> None:
    trail.record(actor=actor, act=act, about=about, payload=content, at=at)
