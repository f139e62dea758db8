"""How much a union of several photos' outlines is expected to be too large.

Every photo's outline errs in or out; of several round one place the union keeps,
all the way round, the one that errs farthest out. The union stays the figure (no
mark is argued away), but its interval reaches down by what it is expected to
have grown, for a systematic effect that is not corrected belongs in the
interval (JCGM 100:2008, F.2.4.5).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
import shapely
from scipy.integrate import quad
from scipy.stats import norm

from corromap.frames import FloatArray
from corromap.measures.ground import Cell, Ground
from corromap.measures.layout import SourceLayout
from corromap.projection.edges import outline_label

__all__ = ["expected_largest", "growth_of"]

MOST_PHOTOS = 40
"""More photos of one place are counted as so many."""


@cache
def expected_largest(count: int) -> float:
    """Mean of the largest of some standard normal numbers.

    Parameters
    ----------
    count : int
        How many, >= 1.

    Returns
    -------
    float
        0, 0.564, 0.846, 1.029, ... (order statistics of the normal
        distribution, as tabulated by Harter, 1961; computed here).
    """
    if count < 2:
        return 0.0
    return float(quad(lambda x: count * x * norm.pdf(x) * norm.cdf(x) ** (count - 1), -8.0, 8.0)[0])


def growth_of(ground: Ground, cells: Sequence[Cell], gradient: FloatArray, layout: SourceLayout) -> FloatArray:
    """Estimate how much every cell's area has grown over what each photo would say alone.

    Parameters
    ----------
    ground : Ground
        The panel's marks.
    cells : sequence of Cell
        Its cells.
    gradient : ndarray of float64, shape (cells, width)
        From `exposed.gradients_of`: how far each outline's hand moves the area.
    layout : SourceLayout
        Columns of the gradient.

    Returns
    -------
    ndarray of float64, shape (cells,)
        mm2, at least 0; 0 where one photo shows the marks.
    """
    memo: dict[tuple[int, tuple[int, ...]], float] = {}
    grown = np.zeros(len(cells))
    for row, cell in enumerate(cells):
        marks = tuple(sorted(cell.marks))
        key = (cell.zone, marks)
        if key not in memo:
            memo[key] = _photos_over(ground, cell.zone, marks)
        largest = _between(memo[key])
        if largest == 0.0:
            continue
        swept = 0.0
        for label in {outline_label(ground.marks[i].mark) for i in marks}:
            sigma = float(np.sqrt(layout.sources[label].covariance[0, 0]))
            swept += sigma * float(gradient[row, layout.columns[label].start])
        grown[row] = largest * max(swept, 0.0)
    return grown


def _photos_over(ground: Ground, zone: int, marks: tuple[int, ...]) -> float:
    """Mean number of photos that mark a place of a zone which any of them marks."""
    photos = {ground.marks[i].mark.photo for i in marks}
    if len(photos) < 2:
        return 1.0
    index, shapes, _ = ground.cuts[zone]
    here: Mapping[int, shapely.Geometry] = dict(zip(index.tolist(), shapes, strict=True))
    by_photo = [
        shapely.union_all([here[i] for i in marks if i in here and ground.marks[i].mark.photo == photo])
        for photo in photos
    ]
    together = float(shapely.area(shapely.union_all(by_photo)))
    return float(np.sum(shapely.area(np.array(by_photo, dtype=object)))) / together if together > 0 else 1.0


def _between(photos: float) -> float:
    """Interpolate `expected_largest` between whole numbers of photos."""
    photos = min(max(photos, 1.0), MOST_PHOTOS - 1.0)
    low = int(photos)
    part = photos - low
    return (1.0 - part) * expected_largest(low) + part * expected_largest(low + 1)
