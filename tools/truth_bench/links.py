"""Ties between photos as the link finder gives them: points that both photos show, panel by panel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.control import PhotoTie
from corromap.frames import TieId
from tools.truth_bench.cameras import Shot
from tools.truth_bench.conditions import Condition
from tools.truth_bench.hand import detail_mm_per_px, pixels_of
from tools.truth_bench.relief import Relief
from tools.truth_bench.sight import Sight

__all__ = ["ties_of"]

Array = NDArray[np.float64]

MOST_NEIGHBOURS = 3
"""Photos one photo is tied to, as the link finder stops looking; more where others chose it."""

MOST_POINTS, LEAST_POINTS = 40, 12
TRIED_POINTS = 400

MOST_SCALE_RATIO = 4.0
"""Detail of one photo over the other's: features of photos farther apart are not found again."""

COARSEST_MM_PER_PX = 3.0
STRAY_POINT, STRAY_PX = 0.04, 8.0
"""Chance that a point is not the same in both photos, and how far it lies off: more would be seen by the finder."""

WRONG_PAIR, RIB_MM = 0.04, (60.0, 120.0)
"""Chance that two photos were matched one rib or hole too far along, and how far that is."""


def ties_of(
    shots: Sequence[Shot], condition: Condition, relief: Relief | None, rng: np.random.Generator
) -> tuple[PhotoTie, ...]:
    """Tie photos to those that show most of the same ground.

    Parameters
    ----------
    shots : sequence of Shot
        The photos.
    condition : Condition
        For the error of a tied point.
    relief : Relief or None
        None for flat panels.
    rng : Generator
        Source of the numbers.

    Returns
    -------
    tuple of PhotoTie
        Panel by panel; a person accepted all of them, the wrong ones too.
    """
    shared = {(i, j): _common(shots[i], shots[j]) for i, j in combinations(range(len(shots)), 2)}
    ground = {pair: sum(area.area for _, _, area in parts) for pair, parts in shared.items()}
    chosen: set[tuple[int, int]] = set()
    for k in range(len(shots)):
        mine = sorted((p for p in ground if k in p and ground[p] > 0), key=lambda pair: -ground[pair])
        chosen |= set(mine[:MOST_NEIGHBOURS])
    return tuple(
        tie for i, j in sorted(chosen) for tie in _pair(shots[i], shots[j], shared[i, j], condition, relief, rng)
    )


def _common(known: Shot, new: Shot) -> list[tuple[Sight, Sight, shapely.Geometry]]:
    """Ground of each panel that both photos show."""
    found = []
    for panel, sight in known.sights.items():
        other = new.sights.get(panel)
        if other is not None and sight.visible.intersects(other.visible):
            found.append((sight, other, shapely.intersection(sight.visible, other.visible)))
    return found


def _pair(
    known: Shot,
    new: Shot,
    common: Sequence[tuple[Sight, Sight, shapely.Geometry]],
    condition: Condition,
    relief: Relief | None,
    rng: np.random.Generator,
) -> Iterator[PhotoTie]:
    along = float(rng.uniform(*RIB_MM)) * float(rng.choice([-1.0, 1.0])) if rng.random() < WRONG_PAIR else 0.0
    for sight, _, area in common:
        uv = _spread(area, rng)
        detail = [detail_mm_per_px(shot, sight.panel, uv) for shot in (known, new)]
        ratio = np.maximum(detail[0] / detail[1], detail[1] / detail[0]) if len(uv) else np.empty(0)
        uv = uv[(np.maximum(*detail) < COARSEST_MM_PER_PX) & (ratio < MOST_SCALE_RATIO)][:MOST_POINTS]
        if len(uv) < LEAST_POINTS:
            continue
        sigma = condition.tie_sigma_px
        here = pixels_of(known, sight.panel, uv, relief)
        there = pixels_of(new, sight.panel, uv + np.array([along, 0.0]), relief) + rng.normal(0, sigma, uv.shape)
        stray = rng.random(len(uv)) < STRAY_POINT
        there[stray] += rng.normal(0, STRAY_PX, (int(stray.sum()), 2))
        name = TieId(f"{known.photo.id}-{new.photo.id}/{sight.panel.id}")
        yield PhotoTie(name, known.photo.id, new.photo.id, sight.panel.id, here, there, sigma)


def _spread(area: shapely.Geometry, rng: np.random.Generator) -> Array:
    """Points inside an area, panel millimetres."""
    x0, y0, x1, y1 = area.bounds
    tried = rng.uniform([x0, y0], [x1, y1], (TRIED_POINTS, 2))
    return np.asarray(tried[shapely.contains_xy(area, *tried.T)])
