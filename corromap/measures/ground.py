"""Unions of marks on one panel, zone by zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray
from corromap.measures.layers import LAYERS, class_of
from corromap.projection import ProjectedMark
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
    sizes : ndarray of float64, shape (N,)
        Of `areas`, mm2.
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
    sizes: FloatArray
    touching: NDArray[np.intp]
    cuts: tuple[tuple[NDArray[np.intp], Geometries, NDArray[np.bool_]], ...]


@dataclass(eq=False)
class Cell:
    """One layer in one zone, without its gradient.

    Parameters
    ----------
    layer : int
        Index into `LAYERS`.
    zone : int
        Index into the panel's zones.
    area_mm2 : float
        Of the union.
    alone : list of int
        Marks that are in the zone whole and touch no other of the layer.
    joined : shapely.MultiPolygon
        Union of the other marks, less what the layer takes away.
    marks : list of int
        Every mark with area here, by index into the ground's marks.
    """

    layer: int
    zone: int
    area_mm2: float
    alone: list[int]
    joined: MultiPolygon
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
    return Ground(
        panel, tuple(marks), areas, class_of([m.mark for m in marks]), shapely.area(areas), touching, tuple(cuts)
    )


def cells_of(ground: Ground) -> list[Cell]:
    """Form every layer in every zone of a panel.

    Parameters
    ----------
    ground : Ground
        The panel's marks.

    Returns
    -------
    list of Cell
        Only those with area.
    """
    cells = []
    for number, layer in enumerate(LAYERS):
        signs = layer.signs(ground.classes)
        if not (signs > 0).any():
            continue
        one, other = ground.touching[(signs[ground.touching] != 0).all(axis=1)].T
        busy = np.zeros(len(signs), dtype=bool)
        busy[one] = True
        near_over = np.zeros(len(signs), dtype=bool)
        near_over[one[signs[other] > 0]] = True
        for zone in range(len(ground.cuts)):
            cell = _cell(ground, (number, zone), signs, busy, near_over)
            if cell.area_mm2 > 0:
                cells.append(cell)
    return cells


def _cell(
    ground: Ground,
    place: tuple[int, int],
    signs: NDArray[np.int8],
    busy: NDArray[np.bool_],
    near_over: NDArray[np.bool_],
) -> Cell:
    """One layer in one zone; marks that stand alone need no overlay."""
    index, shapes, whole = ground.cuts[place[1]]
    alone = (signs[index] > 0) & whole & ~busy[index]
    rest = (signs[index] > 0) & ~alone
    cell = Cell(*place, float(ground.sizes[index[alone]].sum()), index[alone].tolist(), MultiPolygon(), [])
    cell.marks.extend(cell.alone)
    if rest.any():
        under = shapes[(signs[index] < 0) & near_over[index]]
        left = shapes[rest] if len(under) == 0 else _less(shapes[rest], shapely.union_all(under))
        kept = shapely.area(left) > 0
        cell.marks.extend(index[rest][kept].tolist())
        cell.joined = polygons_of(shapely.disjoint_subset_union_all(left[kept])) if kept.any() else cell.joined
        cell.area_mm2 = min(cell.area_mm2 + cell.joined.area, ground.panel.zones[place[1]].area_mm2)
    return cell


def _less(shapes: Geometries, taken: shapely.Geometry) -> Geometries:
    return np.array([polygons_of(g) for g in shapely.difference(shapes, taken)], dtype=object)
