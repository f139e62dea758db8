"""What a photo shows of a panel finely enough to judge."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray, PhotoId
from corromap.projection.fates import DrawnMark
from corromap.projection.result import SeenArea
from corromap.projection.view import PanelView, polygons_of
from corromap.survey import MarkKind

__all__ = ["seen_area"]

REMEMBERED = 1024
"""Panels in photos whose answer is kept: drawing a mark changes nothing it depends on."""

COARSE_CELLS = 24
FINE_CELLS = 16
"""Cells along the longer side, and parts each doubtful cell is cut into."""


def seen_area(photo: PhotoId, view: PanelView, drawn: Sequence[DrawnMark], coarsest_mm_per_px: float) -> SeenArea:
    """Work out what one photo shows of one panel, and what of it is under hidden marks.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    view : PanelView
        The panel in it.
    drawn : sequence of DrawnMark
        The photo's marks.
    coarsest_mm_per_px : float
        Coarser than this does not count as seen.

    Returns
    -------
    SeenArea
        In panel millimetres.

    Notes
    -----
    Where the photo has no camera the panel is taken as its viewpoint has it:
    six numbers, not the eight of the fit, which stray far from four clicks;
    where there are two such viewpoints, what both show is seen. What a hidden
    mark covers in the photo goes the same way, or ground beside it would count
    as covered and covered ground as seen.
    The cuts by frame, horizon and panels are exact. Where the detail limit
    runs through the photo it is followed by cells of 1/384 of the longer side;
    those fine enough in their middle are kept, so that what is kept too much
    and too little on the way cancels.
    """
    judged = view.by_viewpoint or (view,)
    shown = [polygons_of(one.to_mm(_fine_enough(one, coarsest_mm_per_px))) for one in judged]
    area = polygons_of(shapely.intersection_all(shown))
    hiding = [d.straight_px for d in drawn if d.mark.kind is MarkKind.HIDDEN and d.may_lie_on(view.panel.id)]
    if not hiding or area.is_empty:
        return SeenArea(photo, view.panel.id, area, MultiPolygon())
    cover = shapely.union_all(hiding)
    covered = [one.to_mm(polygons_of(shapely.intersection(cover, one.visible_px))) for one in judged]
    return SeenArea(photo, view.panel.id, area, polygons_of(shapely.intersection(area, shapely.union_all(covered))))


@lru_cache(maxsize=REMEMBERED)
def _fine_enough(view: PanelView, limit: float) -> MultiPolygon:
    """Cut the visible part down to where one pixel spans at most `limit` mm."""
    visible = view.visible_px
    if visible.is_empty:
        return visible
    x0, y0, x1, y1 = visible.bounds
    size = max(x1 - x0, y1 - y0) / COARSE_CELLS
    xs = np.linspace(x0, x1, int(np.ceil((x1 - x0) / size)) + 1)
    ys = np.linspace(y0, y1, int(np.ceil((y1 - y0) / size)) + 1)
    good = _good_at(view, xs, ys, limit)
    count = np.sum([good[i : i + len(ys) - 1, j : j + len(xs) - 1] for i in (0, 1) for j in (0, 1)], axis=0)
    if (count == 4).all():
        return visible
    if (count == 0).all():
        return MultiPolygon()
    mixed = _and_around((count > 0) & (count < 4))  # the limit is bent: it may reach into the next cell
    fine = np.kron((count == 4) & ~mixed, np.ones((FINE_CELLS, FINE_CELLS), dtype=bool))
    rows, columns = np.nonzero(np.kron(mixed, np.ones((FINE_CELLS, FINE_CELLS), dtype=bool)))
    xs, ys = (np.linspace(side[0], side[-1], FINE_CELLS * (len(side) - 1) + 1) for side in (xs, ys))
    middle = np.column_stack([(xs[columns] + xs[columns + 1]) / 2, (ys[rows] + ys[rows + 1]) / 2])
    fine[rows, columns] = _good(view, middle, limit)
    return polygons_of(shapely.intersection(shapely.union_all(_boxes(xs, ys, fine)), visible))


def _good_at(view: PanelView, xs: FloatArray, ys: FloatArray, limit: float) -> NDArray[np.bool_]:
    return _good(view, np.stack(np.meshgrid(xs, ys), axis=-1), limit)


def _good(view: PanelView, px: FloatArray, limit: float) -> NDArray[np.bool_]:
    """Whether places are short of the horizon and shown finely enough; straightened pixels, shape (..., 2)."""
    registration = view.registration
    third = registration.matrix[2]
    near = px @ third[:2] + third[2] >= registration.w_min
    detail = registration.straight_detail(px.reshape(-1, 2)).reshape(near.shape)
    return np.asarray(near & (np.nan_to_num(detail, nan=np.inf) <= limit))


def _and_around(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    padded = np.pad(cells, 1)
    rows, columns = cells.shape
    shifted = [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)]
    return np.asarray(np.any(shifted, axis=0), dtype=bool)


def _boxes(xs: FloatArray, ys: FloatArray, keep: NDArray[np.bool_]) -> NDArray[np.object_]:
    """One box for each run of kept cells in a row; rows that are alike are taken together."""
    starts = np.flatnonzero(np.r_[True, (keep[1:] != keep[:-1]).any(axis=1)])
    bottom, top = ys[starts], ys[np.r_[starts[1:], len(keep)]]
    step = np.diff(np.pad(keep[starts], ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, first = np.nonzero(step == 1)
    _, last = np.nonzero(step == -1)
    return np.asarray(shapely.box(xs[first], bottom[row], xs[last], top[row]), dtype=object)
