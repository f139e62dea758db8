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
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from corromap.frames import FloatArray, PanelId
from corromap.measures.result import PRESCRIBED_DISTANCE_MM, MountingDistance
from corromap.measures.unfolding import Hinge, hinges_of
from corromap.projection import ProjectedMark
from corromap.projection.view import Geometries
from corromap.template import BodyTemplate

__all__ = ["KEPT_MM", "MOST_FOLDS", "mounting_distances"]

MOST_FOLDS = 3
"""Folds one way may cross. Ours: the prescribed distance seldom spans more
than the three faces of a sill."""

ON_FOLD_MM = 1e-6
"""Rounding of a point on a fold."""

FAR_MM = 1e5
"""Beyond any body."""

KEPT_MM = 1.5 * PRESCRIBED_DISTANCE_MM
"""Farther marks are not listed."""


@dataclass(frozen=True, eq=False)
class _Chain:
    """A mounting unfolded into the plane of some panel.

    Parameters
    ----------
    mounting : int
        Index into the template's mountings.
    panel : PanelId
        Whose frame everything is in.
    start_mm : ndarray of float64, shape (2,)
        The mounting.
    windows_mm : tuple of ndarray of float64, shape (2, 2)
        The folds crossed, in order.
    visited : frozenset of PanelId
        Panels used.
    """

    mounting: int
    panel: PanelId
    start_mm: FloatArray
    windows_mm: tuple[FloatArray, ...]
    visited: frozenset[PanelId]

    def through(self, hinge: Hinge) -> _Chain:
        move = hinge.to_other
        windows = tuple(move(window) for window in self.windows_mm)
        start = move(self.start_mm[None])[0]
        return _Chain(self.mounting, hinge.other, start, (*windows, hinge.other_edge_mm), self.visited | {hinge.other})


@lru_cache(maxsize=8)
def _chains_by_panel(template: BodyTemplate, most_folds: int, kept_mm: float) -> Mapping[PanelId, tuple[_Chain, ...]]:
    """Every unfolding of every mounting, by the panel it ends on; depends on the template alone."""
    hinges = hinges_of(template)
    found: dict[PanelId, list[_Chain]] = {panel.id: [] for panel in template.panels}
    for number, (panel, mounting) in enumerate(template.mountings):
        first = _Chain(number, panel.id, np.asarray(mounting.at_mm), (), frozenset({panel.id}))
        for chain in _chains(first, hinges, most_folds, kept_mm):
            found[chain.panel].append(chain)
    return {panel: tuple(chains) for panel, chains in found.items()}


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
    affected = {m.mark.id: m.mark for m in marks if m.mark.kind.is_affected}
    row = {mark: i for i, mark in enumerate(affected)}
    best = np.full((len(template.mountings), len(row)), np.inf)
    turning: list[_Turning] = []
    for panel, chains in _chains_by_panel(template, most_folds, kept_mm).items():
        here = [m for m in marks if m.panel == panel and m.mark.id in row]
        if here and chains:
            shapes = np.array([m.area for m in here], dtype=object)
            turning += _straight_ways(chains, shapes, np.array([row[m.mark.id] for m in here]), best, kept_mm)
    for way in sorted(turning, key=lambda way: float(way.least_mm.min())):
        way.shorten(best)
    ids = list(affected)
    found = [
        MountingDistance(
            template.mountings[i][1].id, ids[j], affected[ids[j]].kind, affected[ids[j]].stage, float(best[i, j])
        )
        for i, j in np.argwhere(best <= kept_mm)
    ]
    return tuple(sorted(found, key=lambda d: (d.distance_mm, d.mounting, d.mark)))


@dataclass(frozen=True, eq=False)
class _Turning:
    """Targets whose straight line misses a fold of the chain, with that line's length."""

    chain: _Chain
    shapes: Geometries
    rows: NDArray[np.intp]
    least_mm: FloatArray

    def shorten(self, best: FloatArray) -> None:
        """Enter the exact way where the straight line, never longer, leaves room for it."""
        worth = self.least_mm < best[self.chain.mounting, self.rows]
        if worth.any():
            exact = _ways(self.chain.start_mm, self.chain.windows_mm, self.shapes[worth])
            np.minimum.at(best[self.chain.mounting], self.rows[worth], exact)


def _straight_ways(
    chains: Sequence[_Chain], shapes: Geometries, rows: NDArray[np.intp], best: FloatArray, kept_mm: float
) -> list[_Turning]:
    """Enter every way that is a straight line; return those that are not."""
    starts = np.asarray(shapely.points(np.array([chain.start_mm for chain in chains])))
    chain, target = shapely.STRtree(shapes).query(starts, predicate="dwithin", distance=kept_mm)
    lines = shapely.shortest_line(starts[chain], shapes[target])
    length = np.asarray(shapely.length(lines))
    straight = np.ones(len(chain), dtype=bool)
    for fold in range(max(len(c.windows_mm) for c in chains)):
        has = np.array([len(c.windows_mm) > fold for c in chains])
        ends = np.array([c.windows_mm[fold] if len(c.windows_mm) > fold else np.zeros((2, 2)) for c in chains])
        window = np.asarray(shapely.linestrings(ends))
        straight &= ~has[chain] | shapely.dwithin(lines, window[chain], ON_FOLD_MM)
    mounting = np.array([c.mounting for c in chains])[chain]
    np.minimum.at(best, (mounting[straight], rows[target[straight]]), length[straight])
    found = []
    for number in np.unique(chain[~straight]):
        mine = ~straight & (chain == number)
        found.append(_Turning(chains[number], shapes[target[mine]], rows[target[mine]], length[mine]))
    return found


def _ways(start: FloatArray, windows: tuple[FloatArray, ...], targets: Geometries) -> FloatArray:
    """Shortest ways from a point through windows, in order, to each target."""
    nodes = [(0, start), *((i + 1, end) for i, window in enumerate(windows) for end in window)]
    length = np.full(len(nodes), np.inf)
    length[0] = 0.0
    for k, (level, point) in enumerate(nodes):  # levels rise, so each length is final when met
        for other, (deeper, end) in enumerate(nodes):
            reach = length[k] + float(np.hypot(*(end - point)))
            if deeper > level and reach < length[other] and _passes(point, end, windows[level : deeper - 1]):
                length[other] = reach
    best = np.full(len(targets), np.inf)
    # the last turns first: from there nothing is in the way, and most other ways are then out of the running
    for k, (level, point) in sorted(enumerate(nodes), key=lambda node: -node[1][0]):
        worth = length[k] + shapely.distance(targets, shapely.Point(point)) < best
        if worth.any():
            found = length[k] + _straight(point, windows[level:], targets[worth])
            best[worth] = np.minimum(best[worth], found)
    return best


def _passes(point: FloatArray, end: FloatArray, windows: tuple[FloatArray, ...]) -> bool:
    line = shapely.LineString([point, end])
    return all(line.distance(shapely.LineString(window)) <= ON_FOLD_MM for window in windows)


def _straight(point: FloatArray, windows: tuple[FloatArray, ...], targets: Geometries) -> FloatArray:
    """Straight distance to the part of each target that is seen through all windows."""
    seen: Geometries = targets
    for window in windows:
        if shapely.LineString(window).distance(shapely.Point(point)) <= ON_FOLD_MM:
            continue  # the point is in the window
        cone = _cone(point, window)
        if cone is None:
            return np.full(len(targets), np.inf)
        seen = shapely.intersection(seen, cone)
    distance = shapely.distance(seen, shapely.Point(point))
    return np.asarray(np.nan_to_num(distance, nan=np.inf), dtype=np.float64)


def _cone(point: FloatArray, window: FloatArray) -> Polygon | None:
    """Return what is seen from a point beyond a window, out to well past any panel."""
    rays = window - point
    if abs(rays[0, 0] * rays[1, 1] - rays[0, 1] * rays[1, 0]) < 1e-9:
        return None  # seen edge-on: the way by its ends is tried anyway
    units = rays / np.hypot(*rays.T)[:, None]
    between = units.sum(axis=0)
    between /= max(float(np.hypot(*between)), 1e-9)
    return Polygon([window[0], *(point + FAR_MM * d for d in (units[0], between, units[1])), window[1]])
