"""The photos: where the camera was, what lit the place, how it was exposed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from camera import Camera
from post import Look

DIST = (-0.085, 0.011, 0.0003, -0.0002, 0.0)
FOCAL_PX = 1496.0
SELLER_SIZE, SELLER_FOCAL_PX = (1600, 1200), 1152.0
SELLER_DIST = (-0.115, 0.02, -0.0002, 0.0003, 0.0)
WIDE_FOCAL_PX, WIDE_DIST = 820.0, (-0.16, 0.032, 0.0003, 0.0002, -0.002)
"""The second lens of the seller's phone."""


@dataclass(frozen=True)
class Shot:
    """One photo.

    Parameters
    ----------
    name : str
        File name without suffix.
    title : str
        What it shows.
    camera : Camera
        Where it was taken from.
    taken : str
        EXIF time.
    torch : float
        Power of the torch beside the camera; 0 is none.
    torch_at : tuple
        Where it points (car frame), None for the picture's middle.
    spread_deg : float
        Half cone of the torch.
    lamp : tuple
        Work lamp: position, aim, strength; None for none.
    ambient : float
        How much of the room's light is on.
    look : Look
        Exposure and the like.
    """

    name: str
    title: str
    camera: Camera
    taken: str
    torch: float = 0.0
    torch_at: tuple[float, float, float] | None = None
    spread_deg: float = 36.0
    lamp: tuple[tuple[float, float, float], tuple[float, float, float], float] | None = None
    ambient: float = 1.0
    look: Look = field(default_factory=Look)
    source: str = "inspector"

    @property
    def model(self) -> str:
        """Invented camera model, for EXIF."""
        return "Pocket 26" if self.source == "inspector" else "Slate 4"


def _cam(eye: tuple[float, float, float], aim: tuple[float, float, float], up: tuple[float, float, float]) -> Camera:
    return Camera.looking(eye, aim, up, focal_px=FOCAL_PX, dist=DIST)


def _sell(
    eye: tuple[float, float, float],
    aim: tuple[float, float, float],
    up: tuple[float, float, float],
    *,
    wide: bool = False,
) -> Camera:
    focal, dist = (WIDE_FOCAL_PX, WIDE_DIST) if wide else (SELLER_FOCAL_PX, SELLER_DIST)
    return Camera.looking(eye, aim, up, size=SELLER_SIZE, focal_px=focal, dist=dist, centre_offset=(-5.0, 3.0))


SHOTS = [
    Shot(
        "01_left_sill_and_floor_front",
        "Left sill from below and front half of the left floor",
        _cam((-150, 190, -560), (420, 520, -40), (0, 0, 1)),
        "2026:09:12 10:04:11",
        lamp=((150, -150, -1000), (420, 520, 0), 26.0),
        ambient=0.6,
        look=Look(exposure=0.105, warmth=0.03),
    ),
    Shot(
        "02_left_floor",
        "Left floor from below",
        _cam((-10, 330, -900), (-10, 372, 0), (0, -1, 0.02)),
        "2026:09:12 10:06:40",
        torch=2.2e6,
        spread_deg=50,
        ambient=0.10,
        look=Look(exposure=0.135, warmth=0.04, noise=3.2),
    ),
    Shot(
        "03_right_floor_and_sill",
        "Right floor with the right sill's inner face",
        _cam((330, -120, -760), (330, -430, -10), (0.95, -0.1, 0.1)),
        "2026:09:12 10:09:27",
        torch=2.0e6,
        spread_deg=46,
        ambient=0.10,
        look=Look(exposure=0.13, warmth=0.04, noise=3.2),
    ),
    Shot(
        "04_left_sill_outer",
        "Left sill, outer face, from outside, low",
        _cam((-400, 1120, -250), (40, 695, -75), (0, 0, 1)),
        "2026:09:12 10:14:02",
        lamp=((900, 2100, 300), (60, 695, -60), 14.0),
        ambient=1.0,
        look=Look(exposure=0.12, noise=2.0),
    ),
    Shot(
        "05_rear_left",
        "Rear end, left: rail, spring hanger, boot floor",
        _cam((-610, 110, -430), (-1080, 420, 100), (0, 0, 1)),
        "2026:09:12 10:18:33",
        lamp=((-500, -300, -900), (-1120, 330, 100), 24.0),
        ambient=0.6,
        look=Look(exposure=0.105, warmth=0.03),
    ),
    Shot(
        "06_left_patches_close",
        "Left floor, seat bay, patches close up",
        _cam((-60, 300, -480), (-95, 425, 0), (0.12, -1, 0.05)),
        "2026:09:12 10:21:50",
        torch=8.0e5,
        spread_deg=50,
        ambient=0.2,
        look=Look(exposure=0.14, warmth=0.04, noise=3.0),
    ),
    Shot(
        "07_left_floor_rear",
        "Left floor, rear bay, and the heel-board",
        _cam((-420, 240, -520), (-560, 380, 0), (0.2, -1, 0.1)),
        "2026:09:12 10:24:16",
        torch=9.0e5,
        spread_deg=50,
        ambient=0.2,
        look=Look(exposure=0.14, warmth=0.04, noise=3.0),
    ),
    Shot(
        "08_left_sill_under_close",
        "Left sill from below, front half, close up",
        _cam((300, 520, -560), (340, 640, -130), (0.1, -1, 0.3)),
        "2026:09:12 10:26:02",
        torch=9.0e5,
        spread_deg=50,
        ambient=0.25,
        look=Look(exposure=0.075, warmth=0.04, noise=2.8),
    ),
    Shot(
        "09_right_sill",
        "Right sill from inside and below",
        _cam((60, -170, -520), (200, -620, -90), (0, 0, 1)),
        "2026:09:12 10:30:45",
        lamp=((-300, 100, -1000), (200, -560, -60), 24.0),
        ambient=0.5,
        look=Look(exposure=0.11, warmth=0.03),
    ),
    Shot(
        "10_right_floor_front",
        "Right floor, footwell and its holes, close up",
        _cam((420, -330, -520), (450, -400, 0), (0.1, 1, 0.1)),
        "2026:09:12 10:33:20",
        torch=9.0e5,
        spread_deg=50,
        ambient=0.2,
        look=Look(exposure=0.14, warmth=0.04, noise=3.0),
    ),
    Shot(
        "11_front_left_rail",
        "Front end, left: rail and inner wheel arch, from in front of the wheel",
        _cam((1660, 660, -380), (1310, 415, 100), (0, 0, 1)),
        "2026:09:12 10:37:15",
        lamp=((1900, 1000, -700), (1280, 410, 100), 24.0),
        ambient=0.8,
        look=Look(exposure=0.11, warmth=0.02),
    ),
    Shot(
        "12_boot_floor",
        "Boot floor from below and behind, with both rear rails",
        _cam((-1760, -60, -300), (-1270, -30, 170), (0, 0, 1)),
        "2026:09:12 10:40:31",
        torch=1.1e6,
        spread_deg=54,
        ambient=0.4,
        look=Look(exposure=0.10, warmth=0.03),
    ),
    Shot(
        "13_right_sill_outer",
        "Right sill, outer face, from outside, low",
        _cam((-430, -1180, -260), (20, -695, -55), (0, 0, 1)),
        "2026:09:12 10:44:08",
        lamp=((900, -2100, 300), (60, -695, -60), 14.0),
        ambient=1.0,
        look=Look(exposure=0.12, noise=2.0),
    ),
    Shot(
        "14_left_sill_outer_front",
        "Left sill, outer face, front half, close",
        _cam((800, 1180, 70), (500, 695, -60), (0, 0, 1)),
        "2026:09:12 10:46:50",
        lamp=((700, 2100, -200), (450, 695, -60), 12.0),
        ambient=1.0,
        look=Look(exposure=0.12, noise=2.0),
    ),
    Shot(
        "15_rear_left_arch",
        "Left rear wheel arch, over the wheel",
        _cam((-1330, 1040, 110), (-1215, 460, 305), (0, 0, 1)),
        "2026:09:12 10:50:22",
        torch=9.0e5,
        torch_at=(-1330, 460, 320),
        spread_deg=54,
        ambient=0.5,
        look=Look(exposure=0.12, warmth=0.03),
    ),
    Shot(
        "s01_left_sill",
        "Seller: left sill from outside",
        _sell((130, 1130, -250), (-60, 695, -75), (0, 0, 1)),
        "2026:08:30 18:41:05",
        lamp=((-900, 2100, 300), (0, 695, -60), 12.0),
        ambient=1.0,
        look=Look(exposure=0.13, warmth=0.02, noise=3.0),
        source="seller",
    ),
    Shot(
        "s02_left_floor",
        "Seller: left floor",
        _sell((-430, 150, -640), (0, 380, 0), (0.3, 0.1, 1)),
        "2026:08:30 18:43:31",
        torch=1.6e6,
        spread_deg=52,
        ambient=0.3,
        look=Look(exposure=0.12, warmth=0.05, noise=4.0),
        source="seller",
    ),
    Shot(
        "s03_left_floor_again",
        "Seller: left floor, nearly the same again",
        _sell((-445, 165, -628), (-8, 384, 0), (0.3, 0.1, 1)),
        "2026:08:30 18:43:38",
        torch=1.6e6,
        spread_deg=52,
        ambient=0.3,
        look=Look(exposure=0.12, warmth=0.05, noise=4.0),
        source="seller",
    ),
    Shot(
        "s04_right_floor_dark",
        "Seller: right floor, too dark",
        _sell((-420, -200, -640), (20, -390, 0), (0.3, -0.1, 1)),
        "2026:08:30 18:45:12",
        torch=0.5e6,
        spread_deg=40,
        ambient=0.12,
        look=Look(exposure=0.012, warmth=0.05, noise=6.0),
        source="seller",
    ),
    Shot(
        "s05_rear_blurred",
        "Seller: rear end, blurred",
        _sell((-1760, 120, -330), (-1180, 330, 120), (0, 0, 1)),
        "2026:08:30 18:47:50",
        lamp=((-1900, -300, -900), (-1200, 330, 100), 22.0),
        ambient=0.6,
        look=Look(exposure=0.11, blur_px=6.0),
        source="seller",
    ),
    Shot(
        "s06_rear_from_behind",
        "Seller: rear end from behind",
        _sell((-1790, 60, -360), (-1180, 240, 120), (0, 0, 1)),
        "2026:08:30 18:48:02",
        lamp=((-1900, -300, -900), (-1200, 330, 100), 22.0),
        ambient=0.6,
        look=Look(exposure=0.11),
        source="seller",
    ),
    Shot(
        "s07_tunnel",
        "Seller: tunnel with exhaust and shaft",
        _sell((-640, -20, -520), (-100, 0, 120), (0, 0, 1)),
        "2026:08:30 18:50:27",
        torch=1.2e6,
        spread_deg=50,
        ambient=0.3,
        look=Look(exposure=0.11, warmth=0.04, noise=3.6),
        source="seller",
    ),
    Shot(
        "s08_underside_wide",
        "Seller: whole underside from the front, second lens",
        _sell((880, -60, -760), (-150, 40, 60), (0, 0, 1), wide=True),
        "2026:08:30 18:52:40",
        torch=4.0e6,
        spread_deg=58,
        ambient=0.5,
        look=Look(exposure=0.12, warmth=0.04, noise=4.0),
        source="seller",
    ),
    Shot(
        "s09_right_sill",
        "Seller: right sill from outside, standing",
        _sell((-560, -1500, 60), (-40, -695, -20), (0, 0, 1)),
        "2026:08:30 18:55:02",
        lamp=((-1900, -2300, 700), (0, -695, -60), 12.0),
        ambient=1.0,
        look=Look(exposure=0.13, warmth=0.02, noise=3.0),
        source="seller",
    ),
    Shot(
        "s10_front_rail",
        "Seller: front end, left rail from below",
        _sell((960, 160, -560), (1020, 400, 40), (1, 0, 0.2)),
        "2026:08:30 18:57:33",
        lamp=((500, -300, -1100), (1020, 400, 0), 22.0),
        ambient=0.6,
        look=Look(exposure=0.1, warmth=0.05, noise=4.0),
        source="seller",
    ),
    Shot(
        "s11_boot_floor",
        "Seller: boot floor, right half, behind the axle",
        _sell((-1680, -300, -340), (-1250, -290, 150), (0, 0, 1)),
        "2026:08:30 18:59:10",
        lamp=((-2000, -650, -900), (-1230, -250, 120), 22.0),
        ambient=0.6,
        look=Look(exposure=0.1, warmth=0.05, noise=4.0),
        source="seller",
    ),
]


def by_name(prefix: str) -> Shot:
    """The shot whose name starts with `prefix`."""
    return next(s for s in SHOTS if s.name.startswith(prefix))


def torch_seat(camera: Camera) -> np.ndarray:
    """Where a torch held beside the phone is, car frame."""
    r = camera.rotation
    return np.asarray(camera.eye_mm + 230 * r[0] - 150 * r[1])
