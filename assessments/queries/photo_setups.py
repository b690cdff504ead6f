"""The set-ups that photographs may be taken in, and a site's figures for its wire."""

from dataclasses import dataclass

from assessments.domain.view import BY_HAND, Bounds, View
from assessments.models import Photo, PhotoSetup, SetupQualification, WireTolerance
from people.models import Site


def bounds_of(setup: PhotoSetup) -> Bounds:
    """What was declared of a set-up, qualified or not."""
    return Bounds(
        tilt_deg=setup.tilt_deg,
        depth_mm=setup.depth_mm,
        relief_mm=setup.relief_mm,
        distance_mm=setup.distance_mm,
        distortion=setup.distortion_percent / 100,
        field_mm=setup.field_mm,
    )


def wider(first: Bounds, second: Bounds) -> Bounds:
    """The bounds that hold for whatever holds one or the other."""
    return Bounds(
        tilt_deg=max(first.tilt_deg, second.tilt_deg),
        depth_mm=max(first.depth_mm, second.depth_mm),
        relief_mm=max(first.relief_mm, second.relief_mm),
        distance_mm=min(first.distance_mm, second.distance_mm),
        distortion=max(first.distortion, second.distortion),
        field_mm=min(first.field_mm, second.field_mm),
    )


@dataclass(frozen=True, slots=True)
class PhotoView:
    """How a photograph counts as taken.

    Attributes
    ----------
    view : View
    is_qualified : bool
        False where a set-up was chosen that nobody has qualified: the wide bounds of a
        photograph by hand count then.
    """

    view: View
    is_qualified: bool


def view_of(photo: Photo) -> PhotoView:
    """The bounds of a photograph's view, by its set-up as it stands now."""
    bounds, is_qualified = BY_HAND, True
    if photo.setup is not None:
        bounds = bounds_of(photo.setup)
        is_qualified = SetupQualification.objects.filter(setup=photo.setup_id).exists()
        if not is_qualified:
            bounds = wider(bounds, BY_HAND)
    view = bounds.view(float(photo.upright_width), float(photo.upright_height))
    return PhotoView(view, is_qualified)


def tolerance_of(site: Site | int) -> WireTolerance | None:
    """What a site says of its wire; None where it has said nothing."""
    return WireTolerance.objects.filter(site=site).order_by("-recorded_at", "-pk").first()
