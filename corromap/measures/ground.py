"""Unions of marks on one panel, zone by zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import FloatArray
from corromap.measures.layers import RECIPES, Layer, Recipe, class_of
from corromap.measures.touching import touching_pairs
from corromap.projection import ProjectedMark
from corromap.projection.view import Geometries, polygons_of
from corromap.template import Panel

__all__ = ["Cell", "Ground", "cells_of", "ground_of"]

NO_GROUND = MultiPolygon()


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
    pairs = touching_pairs(areas)
    touching = np.concatenate([pairs, pairs[:, ::-1]])
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
    parts = [_Part.of(ground, recipe.layer) for recipe in RECIPES]
    cells = []
    for zone, (index, *_) in enumerate(ground.cuts):
        formed: list[Cell] = []
        for recipe, part in zip(RECIPES, parts, strict=True):
            takes_part = bool((part.signs[index] > 0).any())
            cell = Cell(recipe.number, zone, 0.0, [], NO_GROUND, [])
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
    raw = [g for shape in shapes[over & ~alone] for g in shape.geoms] if not recipe.over else []
    joined = _joined([raw, *(_pieces(ground, formed[step], part) for step in recipe.over)], is_raw=not recipe.over)
    swallowed = np.zeros(len(index), dtype=bool)
    if part.loses[index].any():
        joined, taken = _less(joined, [_pieces(ground, formed[step], part) for step in recipe.under])
        at_risk = np.flatnonzero(over & part.loses[index])
        swallowed[at_risk] = shapely.covers(taken, shapes[at_risk])
    cell.joined = joined
    cell.marks = index[over & ~swallowed].tolist()
    area = float(ground.sizes[index[alone]].sum()) + joined.area
    cell.area_mm2 = min(area, ground.panel.zones[cell.zone].area_mm2)
    return cell


def _pieces(ground: Ground, cell: Cell, part: _Part) -> list[Polygon]:
    """Polygons of an earlier cell, apart from each other, that may meet others in this layer."""
    return [*(g for i in cell.alone if part.busy[i] for g in ground.areas[i].geoms), *cell.joined.geoms]


def _less(ground: MultiPolygon, under: list[list[Polygon]]) -> tuple[MultiPolygon, MultiPolygon]:
    """Take ground away, looking only at polygons whose boxes meet; also returns what was taken."""
    pieces = np.array(ground.geoms, dtype=object)
    flat = np.array([piece for group in under for piece in group], dtype=object)
    number = np.array([i for i, group in enumerate(under) for _ in group])
    by, hit = shapely.STRtree(pieces).query(flat)
    met, by = np.unique(hit), np.unique(by)
    taken = _joined([list(flat[by][number[by] == i]) for i in range(len(under))], is_raw=False)
    left = polygons_of(shapely.difference(MultiPolygon(list(pieces[met])), taken))
    return MultiPolygon([*np.delete(pieces, met), *left.geoms]), taken


def _joined(groups: list[list[Polygon]], *, is_raw: bool) -> MultiPolygon:
    """Union of groups of polygons; those of one group are apart already, unless raw."""
    pieces = [piece for group in groups for piece in group]
    if len(pieces) < 2 or (not is_raw and sum(map(bool, groups)) < 2):
        return MultiPolygon(pieces)
    return polygons_of(shapely.disjoint_subset_union_all(pieces))
