"""Shortest way along the body from a mounting to a mark.

What is computed: for every chain of up to `MOST_FOLDS` folds that starts on
the mounting's panel and enters no panel twice, the panels of the chain are
laid flat in the mark's panel, and the shortest way from the mounting to the
mark that goes through the folds in turn is found exactly: it is straight but
where it turns at the end of a fold, so the ends of the folds are the only
points to try. The least over all chains is the distance.

What that is worth: a panel is taken to be without notches and holes, so the
way may cut a corner that the sheet does not have. The result is therefore
never longer than the shortest way over the sheet that crosses up to
`MOST_FOLDS` folds (it errs to the near side, which is the cautious one), equal
to it when the panels are convex, and never shorter than the straight line
through the air. Panels that do not share a fold are not joined.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from corromap.frames import FloatArray, MarkId, PanelId
from corromap.measures.result import PRESCRIBED_DISTANCE_MM, MountingDistance
from corromap.measures.unfolding import Hinge, hinges_of
from corromap.projection import ProjectedMark
from corromap.projection.view import Geometries
from corromap.template import BodyTemplate, Mounting

__all__ = ["KEPT_MM", "MOST_FOLDS", "mounting_distances"]

MOST_FOLDS = 3
"""Folds one way may cross. Ours: the prescribed distance seldom spans more
than the three faces of a sill."""

FAR_MM = 1e5
"""Beyond any body."""

KEPT_MM = 1.5 * PRESCRIBED_DISTANCE_MM
"""Farther marks are not listed."""


@dataclass(frozen=True, eq=False)
class _Chain:
    """A mounting unfolded into the plane of some panel.

    Parameters
    ----------
    panel : PanelId
        Whose frame everything is in.
    start_mm : ndarray of float64, shape (2,)
        The mounting.
    windows_mm : tuple of ndarray of float64, shape (2, 2)
        The folds crossed, in order.
    visited : frozenset of PanelId
        Panels used.
    """

    panel: PanelId
    start_mm: FloatArray
    windows_mm: tuple[FloatArray, ...]
    visited: frozenset[PanelId]

    def through(self, hinge: Hinge) -> _Chain:
        move = hinge.to_other
        windows = tuple(move(window) for window in self.windows_mm)
        start = move(self.start_mm[None])[0]
        return _Chain(hinge.other, start, (*windows, hinge.other_edge_mm), self.visited | {hinge.other})


def mounting_distances(
    marks: Sequence[ProjectedMark], template: BodyTemplate, *, most_folds: int = MOST_FOLDS, kept_mm: float = KEPT_MM
) -> tuple[MountingDistance, ...]:
    """Distance of each affected mark from each mounting it comes near.

    Parameters
    ----------
    marks : sequence of ProjectedMark
        All projected marks.
    template : BodyTemplate
        Mountings, panels and folds.
    most_folds : int
        Folds one way may cross.
    kept_mm : float
        Farthest that is listed.

    Returns
    -------
    tuple of MountingDistance
        Nearest first; a mark on several panels appears once a mounting.
    """
    hinges = hinges_of(template)
    by_panel: dict[PanelId, list[ProjectedMark]] = {}
    for m in marks:
        if m.mark.kind.is_affected:
            by_panel.setdefault(m.panel, []).append(m)
    shapes = {panel: np.array([m.area for m in here], dtype=object) for panel, here in by_panel.items()}
    found: list[MountingDistance] = []
    for panel, mounting in template.mountings:
        best: dict[MarkId, tuple[float, ProjectedMark]] = {}
        first = _Chain(panel.id, np.asarray(mounting.at_mm), (), frozenset({panel.id}))
        for chain in _chains(first, hinges, most_folds, kept_mm):
            for m, distance in _reached(chain, by_panel, shapes, kept_mm):
                if distance < best.get(m.mark.id, (np.inf, m))[0]:
                    best[m.mark.id] = (distance, m)
        found.extend(_listed(mounting, best))
    return tuple(sorted(found, key=lambda d: (d.distance_mm, d.mounting, d.mark)))


def _listed(mounting: Mounting, best: Mapping[MarkId, tuple[float, ProjectedMark]]) -> list[MountingDistance]:
    return [
        MountingDistance(mounting.id, mark_id, m.mark.kind, m.mark.stage, distance)
        for mark_id, (distance, m) in best.items()
    ]


def _chains(
    chain: _Chain, hinges: Mapping[PanelId, tuple[Hinge, ...]], folds_left: int, kept_mm: float
) -> Iterator[_Chain]:
    """Every unfolding whose last fold is near enough, depth first."""
    yield chain
    if folds_left == 0:
        return
    at = shapely.Point(chain.start_mm)
    for hinge in hinges[chain.panel]:
        if hinge.other not in chain.visited and at.distance(shapely.LineString(hinge.edge_mm)) <= kept_mm:
            yield from _chains(chain.through(hinge), hinges, folds_left - 1, kept_mm)


def _reached(
    chain: _Chain,
    by_panel: Mapping[PanelId, list[ProjectedMark]],
    shapes: Mapping[PanelId, Geometries],
    kept_mm: float,
) -> Iterator[tuple[ProjectedMark, float]]:
    """Find marks on the chain's panel within reach, with their distance.

    The straight line is never longer than the way through the folds, so it
    sorts out what cannot be near enough.
    """
    if chain.panel not in by_panel:
        return
    near = np.flatnonzero(shapely.dwithin(shapes[chain.panel], shapely.Point(chain.start_mm), kept_mm))
    if len(near) == 0:
        return
    distance = _ways(chain.start_mm, chain.windows_mm, shapes[chain.panel][near])
    for i, d in zip(near, distance, strict=True):
        if d <= kept_mm:
            yield by_panel[chain.panel][i], float(d)


def _ways(start: FloatArray, windows: tuple[FloatArray, ...], targets: Geometries) -> FloatArray:
    """Shortest ways from a point through windows, in order, to each target."""
    nodes = [(0, start), *((i + 1, end) for i, window in enumerate(windows) for end in window)]
    length = np.full(len(nodes), np.inf)
    length[0] = 0.0
    best = np.full(len(targets), np.inf)
    for k, (level, point) in enumerate(nodes):  # levels rise, so each length is final when met
        if not np.isfinite(length[k]):
            continue
        for other, (deeper, end) in enumerate(nodes):
            if deeper > level and _passes(point, end, windows[level : deeper - 1]):
                length[other] = min(length[other], length[k] + float(np.hypot(*(end - point))))
        best = np.minimum(best, length[k] + _straight(point, windows[level:], targets))
    return best


def _passes(point: FloatArray, end: FloatArray, windows: tuple[FloatArray, ...]) -> bool:
    line = shapely.LineString([point, end])
    return all(line.distance(shapely.LineString(window)) <= 1e-6 for window in windows)


def _straight(point: FloatArray, windows: tuple[FloatArray, ...], targets: Geometries) -> FloatArray:
    """Straight distance to the part of each target that is seen through all windows."""
    seen: Geometries = targets
    for window in windows:
        if shapely.LineString(window).distance(shapely.Point(point)) <= 1e-6:
            continue  # the point is in the window
        cone = _cone(point, window)
        if cone is None:
            return np.full(len(targets), np.inf)
        seen = shapely.intersection(seen, cone)
    distance = shapely.distance(seen, shapely.Point(point))
    return np.asarray(np.nan_to_num(distance, nan=np.inf), dtype=np.float64)


def _cone(point: FloatArray, window: FloatArray) -> Polygon | None:
    """Return what is seen from a point through a window, out to well beyond any panel."""
    rays = window - point
    if abs(rays[0, 0] * rays[1, 1] - rays[0, 1] * rays[1, 0]) < 1e-9:
        return None  # seen edge-on: the way by its ends is tried anyway
    units = rays / np.hypot(*rays.T)[:, None]
    between = units.sum(axis=0)
    between /= max(float(np.hypot(*between)), 1e-9)
    return Polygon([point, *(point + FAR_MM * d for d in (units[0], between, units[1]))])
