"""Unions of marks on one panel, zone by zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Any, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray
from corromap.measures.layers import RECIPES, TOGETHER, Layer, Recipe, class_of
from corromap.measures.touching import touching_pairs
from corromap.projection import ProjectedMark
from corromap.projection.view import Geometries
from corromap.template import Panel

__all__ = ["Cell", "Ground", "cells_of", "ground_of"]

NOTHING: Geometries = np.empty(0, dtype=object)

ROUNDING_MM2 = 1e-6
"""Polygons this small are what rounding leaves between lines that coincide: no pieces of ground."""


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
    parts, part_of : ndarray of shapely.Polygon and of int
        Polygons of all areas, and the mark of each.
    touching : ndarray of int, shape (T, 2)
        Pairs of different marks no more than `TOUCHING_MM` apart, both ways; only
        of classes that meet in a layer, as what is hidden and rust do not.
    cuts : tuple of (index, geometry, whole)
        For each zone of the panel: the marks with area in it, that area, and
        whether it is all of the mark.
    """

    panel: Panel
    marks: tuple[ProjectedMark, ...]
    areas: Geometries
    classes: NDArray[np.intp]
    sizes: FloatArray
    parts: Geometries
    part_of: NDArray[np.intp]
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
    pieces : ndarray of shapely.Polygon
        Union of the other marks, less what the layer takes away; apart from each other.
    marks : list of int
        Every mark with area here, by index into the ground's marks.
    """

    layer: int
    zone: int
    area_mm2: float = 0.0
    alone: list[int] = field(default_factory=list)
    pieces: Geometries = field(default_factory=lambda: NOTHING)
    marks: list[int] = field(default_factory=list)

    @property
    def joined(self) -> MultiPolygon:
        """All of `pieces`."""
        return _multipolygon(self.pieces)


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
    classes = class_of([m.mark for m in marks])
    pairs = touching_pairs(areas, wanted=lambda one, other: TOGETHER[classes[one], classes[other]])
    touching = np.concatenate([pairs, pairs[:, ::-1]])
    zones = np.array([zone.outline.polygon for zone in panel.zones], dtype=object)
    meets = tree.query(zones, predicate="intersects").T
    holds = {tuple(pair) for pair in tree.query(zones, predicate="contains").T.tolist()}
    cuts = []
    for z, zone in enumerate(zones):
        index = np.sort(meets[meets[:, 0] == z, 1])
        whole = np.array([(z, int(i)) in holds for i in index], dtype=bool)
        shapes = areas[index].copy()
        shapes[~whole] = _multipolygons_of(shapely.intersection(shapes[~whole], zone))
        held = shapely.area(shapes) > 0 if len(index) else whole
        cuts.append((index[held], shapes[held], whole[held]))
    return Ground(
        panel,
        tuple(marks),
        areas,
        classes,
        shapely.area(areas),
        *shapely.get_parts(areas, return_index=True),
        touching,
        tuple(cuts),
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
    parts = [_Part.of(ground, recipe.layer) for recipe in RECIPES]
    cells = []
    for zone, (index, *_) in enumerate(ground.cuts):
        formed: list[Cell] = []
        for recipe, part in zip(RECIPES, parts, strict=True):
            takes_part = bool((part.signs[index] > 0).any())
            cell = Cell(recipe.number, zone)
            formed.append(_form(ground, cell, part, recipe, formed) if takes_part else cell)
        cells += [cell for cell in formed if cell.layer >= 0 and cell.area_mm2 > 0]
    return cells


@dataclass(frozen=True, eq=False)
class _Part:
    """How a panel's marks take part in a layer.

    Parameters
    ----------
    signs : ndarray of int8, shape (N,)
        From `Layer.signs`.
    busy : ndarray of bool, shape (N,)
        Touches another mark that takes part.
    loses : ndarray of bool, shape (N,)
        Touches a mark that takes ground away from it.
    """

    signs: NDArray[np.int8]
    busy: NDArray[np.bool_]
    loses: NDArray[np.bool_]

    @classmethod
    def of(cls, ground: Ground, layer: Layer) -> _Part:
        signs = layer.signs(ground.classes)
        one, other = ground.touching[(signs[ground.touching] != 0).all(axis=1)].T
        busy, loses = np.zeros(len(signs), dtype=bool), np.zeros(len(signs), dtype=bool)
        busy[one] = True
        loses[one[(signs[one] > 0) & (signs[other] < 0)]] = True
        return cls(signs, busy, loses)


def _form(ground: Ground, cell: Cell, part: _Part, recipe: Recipe, formed: list[Cell]) -> Cell:
    """Join what touches; marks that stand alone need no overlay."""
    index, shapes, whole = ground.cuts[cell.zone]
    over = part.signs[index] > 0
    alone = over & whole & ~part.busy[index]
    cell.alone = index[alone].tolist()
    swallowed = np.zeros(len(index), dtype=bool)
    if recipe.over:
        cell.pieces = reduce(_union, (_pieces(ground, formed[step], part) for step in recipe.over))
    else:
        cell.pieces = _union_of_any(shapely.get_parts(shapes[over & ~alone]))
    if part.loses[index].any():
        under = reduce(_union, (_pieces(ground, formed[step], part) for step in recipe.under))
        cell.pieces, taken = _less(cell.pieces, under)
        at_risk = np.flatnonzero(over & part.loses[index])
        swallowed[at_risk] = shapely.covers(taken, shapes[at_risk])
    cell.marks = index[over & ~swallowed].tolist()
    area = float(ground.sizes[index[alone]].sum()) + float(shapely.area(cell.pieces).sum())
    cell.area_mm2 = min(area, ground.panel.zones[cell.zone].area_mm2)
    return cell


def _pieces(ground: Ground, cell: Cell, part: _Part) -> Geometries:
    """Polygons of an earlier cell, apart from each other, that may meet others in this layer."""
    if not cell.alone:
        return cell.pieces
    meets = np.zeros(len(ground.marks), dtype=bool)
    meets[cell.alone] = part.busy[cell.alone]
    return np.concatenate([ground.parts[meets[ground.part_of]], cell.pieces])


def _union_of_any(pieces: Geometries) -> Geometries:
    """Union of polygons that may overlap in any way."""
    if len(pieces) < 2:
        return pieces
    return _polygons_of(shapely.disjoint_subset_union_all(pieces))


def _union(one: Geometries, other: Geometries) -> Geometries:
    """Union of two sets of polygons, each set apart in itself: one overlay of those whose boxes meet."""
    here, there = _meeting(one, other)
    if not here.any():
        return np.concatenate([one, other])
    both = shapely.union(_multipolygon(one[here]), _multipolygon(other[there]))
    return np.concatenate([one[~here], other[~there], _polygons_of(both)])


def _less(ground: Geometries, under: Geometries) -> tuple[Geometries, MultiPolygon]:
    """Take ground away, looking only at polygons whose boxes meet; also returns what was taken."""
    here, there = _meeting(ground, under)
    taken = _multipolygon(under[there])
    left = shapely.difference(_multipolygon(ground[here]), taken)
    return np.concatenate([ground[~here], _polygons_of(left)]), taken


def _meeting(one: Geometries, other: Geometries) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Polygons of each set whose box meets that of one of the other set."""
    here, there = np.zeros(len(one), dtype=bool), np.zeros(len(other), dtype=bool)
    by, hit = shapely.STRtree(other).query(one)
    here[by] = there[hit] = True
    return here, there


def _multipolygon(pieces: Geometries) -> MultiPolygon:
    return cast("MultiPolygon", shapely.multipolygons(pieces))


def _polygons_of(overlaid: Any) -> Geometries:  # noqa: ANN401 - whatever an overlay returns
    """Polygons of an overlay's result, which may hold lines, points and slivers where edges touched."""
    parts = shapely.get_parts(overlaid)
    return np.asarray(parts[shapely.area(parts) > ROUNDING_MM2])


def _multipolygons_of(overlaid: Geometries) -> Geometries:
    """Polygons of each of some overlays' results, as one multi-polygon each."""
    parts, owner = shapely.get_parts(overlaid, return_index=True)
    keep = shapely.area(parts) > ROUNDING_MM2
    made = np.full(len(overlaid), MultiPolygon(), dtype=object)
    if keep.any():
        shapely.multipolygons(parts[keep], indices=owner[keep], out=made)
    return made
