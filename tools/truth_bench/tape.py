"""Lengths a person takes on the car with a tape."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from corromap.control import MeasuredLength
from corromap.frames import DatumId, LengthId
from tools.truth_bench.scene import Scene

__all__ = ["lengths_of"]

Array = NDArray[np.float64]

TAPE_MM, END_MM = 2.0, 2.0
"""Standard errors of the tape, and of where a point of the body lies at each end, as the program states them."""

ASIDE_MM = 5.0
"""A length lies along an axis when its ends are no farther apart than this across it."""


def lengths_of(scene: Scene, rng: np.random.Generator) -> tuple[MeasuredLength, ...]:
    """Measure the longest ways along the car and the widest across it.

    Parameters
    ----------
    scene : Scene
        The car; its scale is what the tape shows.
    rng : Generator
        Source of the numbers.

    Returns
    -------
    tuple of MeasuredLength
        One along, one across, and in half of the surveys a second one along.
    """
    template = scene.template
    car = {d: np.asarray(panel.place.to_car(p.at_mm)[0]) for d, (panel, p) in template.datum_points.items()}
    pairs = _pairs(car, 0)[:1] + _pairs(car, 1)[:1]
    if rng.random() < 0.5:
        used = {datum for pair in pairs for datum in pair}
        pairs += [pair for pair in _pairs(car, 0) if not used & set(pair)][:1]
    found = []
    for number, (first, second) in enumerate(pairs):
        true = float(np.linalg.norm(car[first] - car[second])) * scene.scale
        error = rng.normal(0, TAPE_MM) + rng.normal(0, END_MM) + rng.normal(0, END_MM)
        found.append(MeasuredLength(LengthId(f"length-{number + 1}"), first, second, true + float(error), TAPE_MM))
    return tuple(found)


def _pairs(car: dict[DatumId, Array], axis: int) -> list[tuple[DatumId, DatumId]]:
    """Pairs of points that differ along one axis alone, the farthest apart first."""
    others = [k for k in range(3) if k != axis]
    straight = [(a, b) for a, b in combinations(sorted(car), 2) if np.abs(car[a] - car[b])[others].max() < ASIDE_MM]
    return sorted(straight, key=lambda pair: (-abs(car[pair[0]][axis] - car[pair[1]][axis]), pair))
