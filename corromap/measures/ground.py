"""Unions of marks on one panel, zone by zone, and how they move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.measures.layers import LAYERS, class_of
from corromap.measures.layout import SourceLayout
from corromap.projection import ProjectedMark
from corromap.projection.edges import ON_EDGE_MM, boundary_segments
from corromap.projection.view import Geometries, polygons_of
from corromap.template import Panel

__all__ = ["TOUCHING_MM", "Cell", "Ground", "cells_of", "ground_of"]

TOUCHING_MM = 2.0
"""A gap this narrow between two pieces is taken as closed. Ours: about the
width of one drawn line and of the usual error of a placed photo."""


@dataclass(frozen=True, eq=False)
class Ground:
    """The marks on one panel and how they lie to its zones and each other.

    Parameters
    ----------
    panel : Panel
        The panel.
    marks : tuple of ProjectedMark
        Those on it.
    areas : ndarray of shapely.MultiPolygon, shape (N,)
        Their areas.
    classes : ndarray of int, shape (N,)
        From `class_of`.
    touching : ndarray of int, shape (T, 2)
        Pairs of different marks no more than `TOUCHING_MM` apart, both ways.
    cuts : tuple of (index, geometry, whole)
        For each zone of the panel: the marks with area in it, that area, and
        whether it is all of the mark.
    """

    panel: Panel
    marks: tuple[ProjectedMark, ...]
    areas: Geometries
    classes: NDArray[np.intp]
    touching: NDArray[np.intp]
    cuts: tuple[tuple[NDArray[np.intp], Geometries, NDArray[np.bool_]], ...]


@dataclass(eq=False)
class Cell:
    """One layer in one zone.

    Parameters
    ----------
    layer : int
        Index into `LAYERS`.
    zone : int
        Index into the panel's zones.
    area_mm2, perimeter_mm : float
        Of the union.
    gradient : ndarray of float64, shape (width,)
        Of the area.
    parts : list of shapely.Polygon
        Separate polygons.
    marks : list of int
        Index into the ground's marks.
    """

    layer: int
    zone: int
    area_mm2: float
    perimeter_mm: float
    gradient: FloatArray
    parts: list[shapely.Polygon]
    marks: list[int]


def ground_of(panel: Panel, marks: Sequence[ProjectedMark]) -> Ground:
    """Work out how a panel's marks lie to its zones and to each other.

    Parameters
    ----------
    panel : Panel
        The panel.
    marks : sequence of ProjectedMark
        Marks on it, at least one.

    Returns
    -------
    Ground
        For `cells_of`.
    """
    areas = np.array([m.area for m in marks], dtype=object)
    tree = shapely.STRtree(areas)
    near = tree.query(areas, predicate="dwithin", distance=TOUCHING_MM).T
    touching = near[near[:, 0] != near[:, 1]]
    zones = np.array([zone.outline.polygon for zone in panel.zones], dtype=object)
    meets = tree.query(zones, predicate="intersects").T
    holds = {tuple(pair) for pair in tree.query(zones, predicate="contains").T.tolist()}
    cuts = []
    for z, zone in enumerate(zones):
        index = np.sort(meets[meets[:, 0] == z, 1])
        whole = np.array([(z, int(i)) in holds for i in index], dtype=bool)
        shapes = areas[index].copy()
        shapes[~whole] = [polygons_of(g) for g in shapely.intersection(shapes[~whole], zone)]
        held = shapely.area(shapes) > 0 if len(index) else whole
        cuts.append((index[held], shapes[held], whole[held]))
    return Ground(panel, tuple(marks), areas, class_of([m.mark for m in marks]), touching, tuple(cuts))


def cells_of(ground: Ground, layout: SourceLayout) -> list[Cell]:
    """Measure every layer in every zone of a panel.

    Parameters
    ----------
    ground : Ground
        The panel's marks.
    layout : SourceLayout
        Columns of the gradients.

    Returns
    -------
    list of Cell
        Only those with area.
    """
    cells: list[Cell] = []
    joined: list[tuple[Cell, shapely.MultiPolygon]] = []
    for number, layer in enumerate(LAYERS):
        signs = layer.signs(ground.classes)
        busy = _busy(ground, signs)
        for zone in range(len(ground.cuts)):
            cell, rest = _cell(ground, number, zone, signs, busy, layout)
            if rest is not None:
                joined.append((cell, rest))
            if cell.area_mm2 > 0:
                cells.append(cell)
    _add_joined_edges(ground, joined, layout)
    return cells


def _busy(ground: Ground, signs: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Find marks of a layer that touch another one taking part in it."""
    busy = np.zeros(len(signs), dtype=bool)
    one, other = ground.touching.T
    busy[one[signs[other] != 0]] = True
    return busy


def _cell(  # noqa: PLR0913, PLR0917 - what one cell is made of
    ground: Ground, number: int, zone: int, signs: NDArray[np.int8], busy: NDArray[np.bool_], layout: SourceLayout
) -> tuple[Cell, shapely.MultiPolygon | None]:
    """One layer in one zone; marks that stand alone need no overlay.

    The union of the others is returned for their edges to be found later.
    """
    index, shapes, whole = ground.cuts[zone]
    over = signs[index] > 0
    alone = over & whole & ~busy[index]
    rest = over & ~alone
    cell = Cell(number, zone, 0.0, 0.0, np.zeros(layout.width), [], [])
    for i, shape in zip(index[alone], shapes[alone], strict=True):
        edges = ground.marks[i].edges
        cell.area_mm2 += shape.area
        cell.perimeter_mm += float(edges.length_mm.sum())
        cell.parts.extend(shape.geoms)
        for label, flux in edges.total_flux_mm2.items():
            cell.gradient[layout.columns[label]] += flux
    cell.marks.extend(index[alone].tolist())
    if not rest.any():
        return cell, None
    under = shapes[signs[index] < 0]
    taken = shapely.union_all(under) if len(under) else None
    left = shapes[rest] if taken is None else _less(shapes[rest], taken)
    kept = shapely.area(left) > 0
    cell.marks.extend(index[rest][kept].tolist())
    union = polygons_of(shapely.disjoint_subset_union_all(left[kept])) if kept.any() else shapely.MultiPolygon()
    cell.area_mm2 = min(cell.area_mm2 + union.area, ground.panel.zones[zone].area_mm2)
    cell.parts.extend(union.geoms)
    return cell, union


def _less(shapes: Geometries, taken: shapely.Geometry) -> Geometries:
    return np.array([polygons_of(g) for g in shapely.difference(shapes, taken)], dtype=object)


def _add_joined_edges(ground: Ground, joined: list[tuple[Cell, shapely.MultiPolygon]], layout: SourceLayout) -> None:
    """Add to each cell the flux of the edges its union still has."""
    if not joined:
        return
    found = _exposed(ground, joined)
    offsets = np.cumsum([0] + [len(m.edges.from_mm) for m in ground.marks])
    owner = np.searchsorted(offsets, found.edge, side="right") - 1
    order = np.lexsort((owner, found.cell))
    starts = np.flatnonzero(np.diff(found.cell[order], prepend=-1) | np.diff(owner[order], prepend=-1))
    for group in np.split(order, starts[1:]) if len(order) else []:
        cell, mark = joined[found.cell[group[0]]][0], int(owner[group[0]])
        local = found.edge[group] - offsets[mark]
        cell.perimeter_mm += float(found.length_mm[group].sum())
        for label, flux in ground.marks[mark].edges.flux_mm2.items():
            cell.gradient[layout.columns[label]] += found.weight[group] @ flux[local]


@dataclass(frozen=True, eq=False)
class _Exposed:
    """Boundary segments of unions that are (parts of) marks' own edges.

    Parameters
    ----------
    cell : ndarray of int, shape (S,)
        Whose union.
    edge : ndarray of int, shape (S,)
        Which edge, counted through all marks of the ground.
    weight : ndarray of float64, shape (S,)
        Share of that edge's length; negative where the mark takes ground away.
    length_mm : ndarray of float64, shape (S,)
        Of the segment.
    """

    cell: NDArray[np.intp]
    edge: NDArray[np.intp]
    weight: FloatArray
    length_mm: FloatArray


def _exposed(ground: Ground, joined: list[tuple[Cell, shapely.MultiPolygon]]) -> _Exposed:
    """Find which mark's edge every boundary segment of the unions is.

    A segment that is nobody's is a cut along a zone or panel: it does not move.
    """
    start, end, cell = boundary_segments(np.array([union for _, union in joined], dtype=object))
    edge_from = np.concatenate([m.edges.from_mm for m in ground.marks])
    edge_to = np.concatenate([m.edges.to_mm for m in ground.marks])
    owner = np.repeat(np.arange(len(ground.marks)), [len(m.edges.from_mm) for m in ground.marks])
    tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([edge_from, edge_to], axis=1))))
    middle = shapely.points((start + end) / 2)
    segment, edge = tree.query(middle, predicate="dwithin", distance=ON_EDGE_MM)
    signs = np.array([layer.signs(ground.classes) for layer in LAYERS])
    layer_of = np.array([c.layer for c, _ in joined])
    sign = signs[layer_of[cell[segment]], owner[edge]]
    segment, edge, sign = segment[sign != 0], edge[sign != 0], sign[sign != 0]
    segment, first = np.unique(segment, return_index=True)
    edge, sign = edge[first], sign[first]
    length = np.hypot(*(end - start)[segment].T)
    whole = np.hypot(*(edge_to - edge_from)[edge].T)
    return _Exposed(cell[segment], edge, sign * length / np.maximum(whole, 1e-12), length)
