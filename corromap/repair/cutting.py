"""From marked metal to straight-edged pieces.

Every step only ever grows, and grows more for more metal: the box of each
piece of metal, a margin around it, edges drawn out to a near zone edge, boxes
nearer than the gap made one. So more marks never lead to a smaller cut, and
every bit of metal lies inside a piece (both tested).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import FloatArray
from corromap.repair.metal import polygons_in

__all__ = ["CutPolicy", "Cuts", "cut"]


@dataclass(frozen=True, slots=True)
class CutPolicy:
    """How cut lines are drawn; lengths in mm.

    Parameters
    ----------
    margin : float
        Sound metal taken beyond the marked metal.
    snap : float
        No strip narrower than this is left between a cut and a zone edge.
    gap : float
        Pieces this near each other become one.
    whole_share : float
        Share of the zone, 0 to 1, from which the whole zone is replaced.
    """

    margin: float
    snap: float
    gap: float
    whole_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Cuts:
    """Pieces of one zone.

    Parameters
    ----------
    pieces : tuple of shapely.Polygon
        Panel mm, from the rear forward; apart from each other.
    is_whole : bool
        Whether the one piece is the whole zone.
    """

    pieces: tuple[Polygon, ...]
    is_whole: bool

    @property
    def area_mm2(self) -> float:
        """Inside all cut lines."""
        return float(sum(piece.area for piece in self.pieces))


def cut(metal: MultiPolygon, zone: Polygon, policy: CutPolicy) -> Cuts:
    """Draw the cut lines of one zone.

    Parameters
    ----------
    metal : shapely.MultiPolygon
        What has to go, inside the zone, panel mm.
    zone : shapely.Polygon
        The zone.
    policy : CutPolicy
        Margin, snapping, merging.

    Returns
    -------
    Cuts
        No piece for no metal.
    """
    if metal.is_empty:
        return Cuts((), is_whole=False)
    boxes = _snapped(_grown(shapely.bounds(np.array(metal.geoms, dtype=object)), policy.margin), zone, policy.snap)
    pieces = _pieces(_merged(boxes, policy.gap), zone, metal)
    found = Cuts(pieces, is_whole=False)
    if found.area_mm2 >= policy.whole_share * zone.area:
        return Cuts((shapely.orient_polygons(zone),), is_whole=True)
    return found


def _grown(boxes: FloatArray, margin: float) -> FloatArray:
    return np.asarray(boxes + margin * np.array([-1.0, -1.0, 1.0, 1.0]))


def _snapped(boxes: FloatArray, zone: Polygon, snap: float) -> FloatArray:
    """Keep boxes in the zone's own box, and draw out edges that come near its edge."""
    u0, v0, u1, v1 = zone.bounds
    low, high = np.array([u0, v0]), np.array([u1, v1])
    start, end = np.clip(boxes[:, :2], low, high), np.clip(boxes[:, 2:], low, high)
    start = np.where(start <= low + snap, low, start)
    end = np.where(end >= high - snap, high, end)
    return np.concatenate([start, end], axis=1)


def _merged(boxes: FloatArray, gap: float) -> FloatArray:
    """Make boxes one that are not farther apart than the gap, until none are."""
    while len(boxes) > 1:
        apart = np.maximum(boxes[:, None, :2] - boxes[None, :, 2:], boxes[None, :, :2] - boxes[:, None, 2:])
        near = np.hypot(*np.maximum(apart, 0.0).transpose(2, 0, 1)) <= gap
        count, group = connected_components(csr_array(near), directed=False)
        if count == len(boxes):
            break
        boxes = np.array(
            [np.r_[boxes[group == g, :2].min(axis=0), boxes[group == g, 2:].max(axis=0)] for g in range(count)]
        )
    return boxes


def _pieces(boxes: FloatArray, zone: Polygon, metal: MultiPolygon) -> tuple[Polygon, ...]:
    """Clip boxes to the zone; of a box the zone cuts in two, only parts with metal count."""
    parts = [part for box in boxes for part in polygons_in(shapely.intersection(shapely.box(*box), zone)).geoms]
    found = [shapely.orient_polygons(part) for part in parts if shapely.intersection(part, metal).area > 0]
    return tuple(sorted(found, key=lambda piece: piece.bounds))
