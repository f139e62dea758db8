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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from corromap.errors import InvalidValueError
from corromap.evidence.grid import PanelGrid, grid_of
from corromap.evidence.quality import QualityMap
from corromap.frames import FloatArray, PhotoId, ZoneId
from corromap.projection import Projection, Registrations, SeenArea
from corromap.registration.result import Registration
from corromap.template import BodyTemplate

__all__ = [
    "FIVE_MM_HOLE",
    "Look",
    "PanelEvidence",
    "Showing",
    "SmallestSeen",
    "ZoneEvidence",
    "look_at",
    "panel_evidence",
    "zone_evidence",
]

STEP_MM = 10.0
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
class Showing:
    """What the photos of a survey show.

    Parameters
    ----------
    projection : Projection
        What each photo shows and hides.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        From `corromap.registration.place_photos`.
    quality : mapping of PhotoId to QualityMap
        Photos that were judged; others count as sharp and well lit.
    """

    projection: Projection
    registrations: Registrations
    quality: Mapping[PhotoId, QualityMap] = field(default_factory=dict)


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


@dataclass(frozen=True, slots=True, eq=False)
class PanelEvidence:
    """What all photos together show of the cells of one panel.

    Parameters
    ----------
    grid : PanelGrid
        The cells.
    shown, unhidden, well : ndarray of bool, shape (N,)
        In some photo; in some photo and not under its hidden marks; seen well
        enough by some photo.
    best_mm_per_px, best_angle_deg : ndarray of float64, shape (N,)
        Of the photo with the finest usable detail there; NaN where none.
    best_photo : ndarray of int, shape (N,)
        Index into `photos`; -1 where none.
    photos : tuple of PhotoId
        Photos that show something of the panel.
    """

    grid: PanelGrid
    shown: NDArray[np.bool_]
    unhidden: NDArray[np.bool_]
    well: NDArray[np.bool_]
    best_mm_per_px: FloatArray
    best_angle_deg: FloatArray
    best_photo: NDArray[np.intp]
    photos: tuple[PhotoId, ...]


@dataclass(frozen=True, slots=True)
class ZoneEvidence:
    """How well one zone was shown.

    Parameters
    ----------
    zone : ZoneId
        The zone.
    well_share : float
        Seen well enough for the smallest thing.
    seen_share : float
        Shown and not hidden, well enough or not.
    hidden_share : float
        Shown, but under a hidden mark in every photo that shows it.
    never_share : float
        Shown by none; with the two before it sums to 1.
    median_mm_per_px, median_angle_deg : float
        Over the cells seen; NaN if there is none.
    """

    zone: ZoneId
    well_share: float
    seen_share: float
    hidden_share: float
    never_share: float
    median_mm_per_px: float
    median_angle_deg: float


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
    xy = registration.to_px(uv_mm)
    detail = registration.detail(xy)
    by_lens = np.linalg.inv(_identity_for_nan(registration.lens.undistort_jacobian(xy)))
    mm_per_direction = registration.jacobian(xy) @ by_lens @ _px_per_radian(registration, xy)
    small, large = _singular_values(mm_per_direction)
    angle = np.degrees(np.arccos(np.clip(small / large, 0.0, 1.0)))
    return Look(xy, detail, angle, small)


def _identity_for_nan(matrices: FloatArray) -> FloatArray:
    """NaN rows stay NaN but do not stop the inverse of the others."""
    return np.where(np.isfinite(matrices), matrices, np.eye(2))


def _px_per_radian(registration: Registration, xy_px: FloatArray) -> FloatArray:
    """Straightened pixels moved by turning the sight by one radian, across and along; shape (N, 2, 2)."""
    lens, camera = registration.lens, registration.camera
    focal_px = lens.focal_px if camera is None else camera.focal_px  # solved with the whole car: known better
    x = (lens.undistort(xy_px) - lens.centre_px) / focal_px
    q = 1.0 + (x**2).sum(axis=1)  # squared length of the ray (x, y, 1)
    radius = np.sqrt(q - 1.0)
    away = np.divide(x, radius[:, None], out=np.tile([1.0, 0.0], (len(x), 1)), where=radius[:, None] > 1e-12)
    across = np.stack([-away[:, 1], away[:, 0]], axis=1)
    return focal_px * np.stack([away * q[:, None], across * np.sqrt(q)[:, None]], axis=2)


def _singular_values(matrices: FloatArray) -> tuple[FloatArray, FloatArray]:
    a, b, c, d = np.moveaxis(matrices.reshape(-1, 4), 1, 0)
    plus, minus = np.hypot(a + d, b - c), np.hypot(a - d, b + c)
    return np.abs(plus - minus) / 2.0, (plus + minus) / 2.0


def panel_evidence(
    grid: PanelGrid,
    showing: Showing,
    smallest: SmallestSeen = FIVE_MM_HOLE,
) -> PanelEvidence:
    """Ask of every cell of a panel what the photos show of it.

    Parameters
    ----------
    grid : PanelGrid
        The cells.
    showing : Showing
        What the photos show.
    smallest : SmallestSeen
        What has to be seen.

    Returns
    -------
    PanelEvidence
        By cell.
    """
    seen = [s for s in showing.projection.seen if s.panel == grid.panel.id and not s.area.is_empty]
    count = len(grid.uv_mm)
    shown, unhidden, well = (np.zeros(count, dtype=bool) for _ in range(3))
    best, angle = np.full(count, np.inf), np.full(count, np.nan)
    photo = np.full(count, -1, dtype=np.intp)
    for index, one in enumerate(seen):
        registration = showing.registrations[one.photo, one.panel]
        if not isinstance(registration, Registration):
            continue
        inside, clear = _inside(grid, one)
        look = look_at(registration, grid.uv_mm)
        good = clear & _well_enough(look, showing.quality.get(one.photo), smallest)
        # what cannot be judged there ranks behind whatever can
        rank = np.where(clear, look.mm_per_px * np.where(good, 1.0, 1e6), np.inf)
        better = np.nan_to_num(rank, nan=np.inf) < best
        best[better], angle[better], photo[better] = rank[better], look.angle_deg[better], index
        shown, unhidden, well = shown | inside, unhidden | clear, well | good
    best = np.where(best >= 1e5, best / 1e6, best)
    return PanelEvidence(
        grid, shown, unhidden, well, np.where(np.isfinite(best), best, np.nan), angle, photo,
        tuple(s.photo for s in seen),
    )  # fmt: skip


def _inside(grid: PanelGrid, seen: SeenArea) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    inside = grid.inside(seen.area)
    return inside, inside & ~grid.inside(seen.hidden)


def _well_enough(look: Look, quality: QualityMap | None, smallest: SmallestSeen) -> NDArray[np.bool_]:
    good = (look.mm_per_px <= smallest.coarsest_mm_per_px) & (look.angle_deg <= smallest.flattest_deg)
    if quality is not None:
        blur_mm = FWHM_PER_SIGMA * quality.blur_at(look.xy_px) * look.mm_per_px
        good &= quality.usable_at(look.xy_px) & (np.nan_to_num(blur_mm, nan=np.inf) <= smallest.size_mm)
    return np.asarray(good)


def zone_evidence(
    template: BodyTemplate,
    showing: Showing,
    smallest: SmallestSeen = FIVE_MM_HOLE,
    step_mm: float = STEP_MM,
) -> tuple[ZoneEvidence, ...]:
    """Say for every zone how well it was shown.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    showing : Showing
        What the photos show.
    smallest : SmallestSeen
        What has to be seen.
    step_mm : float
        Side of a cell.

    Returns
    -------
    tuple of ZoneEvidence
        In the order of ``template.zones``.
    """
    found: dict[ZoneId, ZoneEvidence] = {}
    shown = {s.panel for s in showing.projection.seen if not s.area.is_empty}
    for panel in template.panels:
        if panel.id in shown:
            evidence = panel_evidence(grid_of(panel, step_mm), showing, smallest)
            found |= {z.zone: z for z in _by_zone(evidence)}
    nan = float("nan")
    return tuple(found.get(z.id, ZoneEvidence(z.id, 0.0, 0.0, 0.0, 1.0, nan, nan)) for z in template.zones)


def _by_zone(evidence: PanelEvidence) -> Sequence[ZoneEvidence]:
    rows = []
    for index, zone in enumerate(evidence.grid.panel.zones):
        here = evidence.grid.zone == index
        if not here.any():
            continue  # smaller than a cell: it stays never seen, the careful side
        seen = evidence.unhidden[here]
        best, angle = evidence.best_mm_per_px[here][seen], evidence.best_angle_deg[here][seen]
        rows.append(
            ZoneEvidence(
                zone=zone.id,
                well_share=float(evidence.well[here].mean()),
                seen_share=float(seen.mean()),
                hidden_share=float((evidence.shown[here] & ~seen).mean()),
                never_share=float(1.0 - evidence.shown[here].mean()),
                median_mm_per_px=float(np.median(best)) if seen.any() else float("nan"),
                median_angle_deg=float(np.median(angle)) if seen.any() else float("nan"),
            )
        )
    return rows
