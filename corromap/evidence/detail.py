"""Could rust of a given size have been seen here? Detail, angle, sharpness, light.

The model: the smallest thing to be seen (a 5 mm hole unless set otherwise) has
to span a number of pixels (two unless set otherwise), be wider than the blur,
lie in neither black nor white, and be looked at not too flatly. Two pixels a
hole are one line pair, the detection limit of Johnson (1958), "Analysis of
image forming systems", table 1 (1.0 +- 0.25 line pairs across the smallest
side; recognising what it is took 4.0 +- 0.8). A photo shows a lower bound
whatever the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.errors import InvalidValueError
from corromap.evidence.quality import QualityMap
from corromap.frames import FloatArray
from corromap.registration.result import Registration

__all__ = ["FIVE_MM_HOLE", "Look", "SmallestSeen", "look_at", "well_enough"]

FWHM_PER_SIGMA = 2.354820045
"""Full width at half maximum of a Gaussian, in sigmas."""


@dataclass(frozen=True, slots=True)
class SmallestSeen:
    """What has to be seen for a place to count as seen well enough.

    Parameters
    ----------
    size_mm : float
        Smallest hole to be seen. Default 5 mm: a hole a finger feels, common
        practice.
    pixels : float
        Pixels that have to span it; 2 are one line pair, Johnson's limit of
        detection.
    flattest_deg : float
        Largest angle between the line of sight and the panel's normal. Ours:
        beyond 70 degrees a ridge of 3 mm hides 8 mm behind it.

    Raises
    ------
    InvalidValueError
        If a number is not positive or the angle is 90 degrees or more.
    """

    size_mm: float = 5.0
    pixels: float = 2.0
    flattest_deg: float = 70.0

    def __post_init__(self) -> None:
        if not (self.size_mm > 0 and self.pixels > 0 and 0 < self.flattest_deg < 90):
            raise InvalidValueError(f"smallest thing to be seen: {self} is not usable")

    @property
    def coarsest_mm_per_px(self) -> float:
        """Detail needed, mm per pixel."""
        return self.size_mm / self.pixels


FIVE_MM_HOLE = SmallestSeen()


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """How one photo looks at points of one panel.

    Parameters
    ----------
    xy_px : ndarray of float64, shape (N, 2)
        Where they are in the photo; NaN beyond the horizon.
    mm_per_px : ndarray of float64, shape (N,)
        Detail, in the coarsest direction.
    angle_deg : ndarray of float64, shape (N,)
        Between the line of sight and the panel's normal.
    distance_mm : ndarray of float64, shape (N,)
        From the camera.
    """

    xy_px: FloatArray
    mm_per_px: FloatArray
    angle_deg: FloatArray
    distance_mm: FloatArray


def look_at(registration: Registration, uv_mm: FloatArray) -> Look:
    """Work out detail, angle and distance at points of a panel.

    Parameters
    ----------
    registration : Registration
        The photo's place on the panel.
    uv_mm : ndarray of float64, shape (N, 2)
        Panel millimetres.

    Returns
    -------
    Look
        NaN behind the camera and beyond the horizon.

    Notes
    -----
    Turning the line of sight by one radian moves its foot by the distance r
    across and by r / cos(angle) along the way it leans. So the singular values
    of d mm / d direction are r and r / cos(angle); both follow from the
    Jacobian and the focal length, without the camera's place.
    """
    straight = registration.to_straight(uv_mm)
    small, large = _singular_values(registration.straight_jacobian(straight) @ _px_per_radian(registration, straight))
    angle = np.degrees(np.arccos(np.clip(small / large, 0.0, 1.0)))
    return Look(registration.lens.distort(straight), registration.straight_detail(straight), angle, small)


def _px_per_radian(registration: Registration, straight_px: FloatArray) -> FloatArray:
    """Straightened pixels moved by turning the sight by one radian, across and along; shape (N, 2, 2)."""
    lens, camera = registration.lens, registration.camera
    focal_px = lens.focal_px if camera is None else camera.focal_px  # solved with the whole car: known better
    x = (straight_px - lens.centre_px) / focal_px
    q = 1.0 + (x**2).sum(axis=1)  # squared length of the ray (x, y, 1)
    radius = np.sqrt(q - 1.0)
    away = np.divide(x, radius[:, None], out=np.tile([1.0, 0.0], (len(x), 1)), where=radius[:, None] > 1e-12)
    across = np.stack([-away[:, 1], away[:, 0]], axis=1)
    return focal_px * np.stack([away * q[:, None], across * np.sqrt(q)[:, None]], axis=2)


def _singular_values(matrices: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c, d = np.moveaxis(matrices.reshape(-1, 4), 1, 0)
    plus, minus = np.hypot(a + d, b - c), np.hypot(a - d, b + c)
    return np.abs(plus - minus) / 2.0, (plus + minus) / 2.0


def well_enough(look: Look, quality: QualityMap | None, smallest: SmallestSeen) -> NDArray[np.bool_]:
    """Ask whether the smallest thing could have been seen at each point.

    Parameters
    ----------
    look : Look
        How the photo looks at the points.
    quality : QualityMap or None
        Of the photo; None for one that was not examined: it counts as sharp
        and well lit.
    smallest : SmallestSeen
        What has to be seen.

    Returns
    -------
    ndarray of bool, shape (N,)
        Whether it spans its pixels, is wider than the blur, lies in the light
        and is not looked at too flatly.
    """
    good = (look.mm_per_px <= smallest.coarsest_mm_per_px) & (look.angle_deg <= smallest.flattest_deg)
    if quality is not None:
        blur_mm = FWHM_PER_SIGMA * quality.blur_at(look.xy_px) * look.mm_per_px
        good &= quality.usable_at(look.xy_px) & (np.nan_to_num(blur_mm, nan=np.inf) <= smallest.size_mm)
    return np.asarray(good)
