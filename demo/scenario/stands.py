"""How the demo's photographs are taken: a stand at each site, qualified, and one not yet."""

from datetime import timedelta

from assessments.domain.view import Bounds
from assessments.models import PhotoSetup
from assessments.services import photo_setups
from assessments.services.photo_setups import Reading

from .people import Stage

STAND = Bounds(
    tilt_deg=1, depth_mm=3, relief_mm=0.2, distance_mm=150, distortion=0.002, field_mm=10
)
LENS = Bounds(tilt_deg=4, depth_mm=4, relief_mm=0.4, distance_mm=80, distortion=0.01, field_mm=15)
READINGS = (Reading(0, 10, 10.002), Reading(0.5, 10, 10.01), Reading(1, 10, 9.985))
SCALE_SHARE, SCALE_VIEW = 0.004, 0.01  # of a graticule's scale, as these stands give it


def make_stands(stage: Stage, keepers: dict[str, str]) -> dict[str, PhotoSetup]:
    """Declare and qualify a stand at each site; by prefix."""
    stands = {}
    for prefix, number in keepers.items():
        keeper, site = stage.users[number], stage.sites[prefix]
        stands[prefix] = photo_setups.declare_setup(
            site=site,
            name="Stand 1, camera from above",
            kind=PhotoSetup.Kind.STAND,
            bounds=STAND,
            actor=keeper,
            at=stage.at(58, 9, 0, prefix),
        )
        photo_setups.qualify_setup(
            setup=stands[prefix],
            done_on=stage.today - timedelta(days=57),
            graticule=f"{prefix}-G-1, certificate 26-0412",
            readings=READINGS,
            actor=keeper,
            at=stage.at(57, 9, 30, prefix),
        )
    first = next(iter(keepers))
    photo_setups.declare_setup(
        site=stage.sites[first],
        name="Telephone with a clip-on lens",
        kind=PhotoSetup.Kind.HAND,
        bounds=LENS,
        actor=stage.users[keepers[first]],
        at=stage.at(20, 9, 15, first),
    )
    return stands
