"""Cells of all panels brought together: figures of zones and of groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray, MarkId, PanelId
from corromap.measures.ground import Cell, Ground, cells_of
from corromap.measures.layers import LAYERS
from corromap.measures.layout import SCALE_LABEL, SourceLayout, VectorGradient
from corromap.measures.patches import OVERLAP_SHARE
from corromap.measures.result import Figure
from corromap.measures.touching import count_groups, most_separate, touching_over, touching_pairs
from corromap.measures.unfolding import Hinge, hinges_of
from corromap.survey import MarkKind
from corromap.template import BodyTemplate
from corromap.uncertainty import COVERAGE_FACTOR

__all__ = ["Totals", "totals_of"]

SLIVER_MM2 = 100.0
SLIVER_SHARE = 0.1
"""A mark counts among a zone's separate marks when at least this much of it,
or this share, lies there: a drawn line that runs over a seam is not a patch
on the next zone. Ours."""


@dataclass(frozen=True, eq=False)
class Totals:
    """All cells of a survey, ready to be summed over any set of zones.

    Parameters
    ----------
    layout : SourceLayout
        Columns of the gradients.
    zone_area_mm2 : ndarray of float64, shape (Z,)
        In the order of the template's zones.
    area_mm2, perimeter_mm : ndarray of float64, shape (L, Z)
        By layer and zone.
    gradient : ndarray of float64, shape (L, Z, width)
        Of the areas, the template's scale included.
    marks : mapping of (layer, zone) to tuple of (MarkId, bool)
        Marks with area there, and whether it is enough to count.
    pieces : tuple of Pieces
        By layer.
    touching : mapping of MarkId to frozenset of MarkId
        Marks that touch.
    """

    layout: SourceLayout
    zone_area_mm2: FloatArray
    area_mm2: FloatArray
    perimeter_mm: FloatArray
    gradient: FloatArray
    marks: Mapping[tuple[int, int], dict[MarkId, bool]]
    pieces: tuple[Pieces, ...]
    touching: Mapping[MarkId, frozenset[MarkId]]
    memo: dict[frozenset[MarkId], int] = field(default_factory=dict)

    def figures(self, sets: Sequence[NDArray[np.intp]]) -> list[list[Figure]]:
        """Figures of every layer over some sets of zones.

        Parameters
        ----------
        sets : sequence of ndarray of int
            Zones by index.

        Returns
        -------
        list of list of Figure
            For each set, one figure a layer.
        """
        member = np.zeros((len(sets), len(self.zone_area_mm2)))
        for row, zones in enumerate(sets):
            member[row, zones] = 1.0
        whole = member @ self.zone_area_mm2
        area = np.minimum(self.area_mm2 @ member.T, whole)
        perimeter = self.perimeter_mm @ member.T
        gradient = np.einsum("sz,lzw->lsw", member, self.gradient)
        flat = gradient.reshape(-1, self.layout.width)
        variance = self.layout.variances(flat).reshape(area.shape)
        flat = flat.copy()
        flat[:, self.layout.columns[SCALE_LABEL]] = 0.0
        variance_of_share = self.layout.variances(flat).reshape(area.shape)
        return [
            [
                self._figure(
                    layer, zones, area[layer, row], whole[row], perimeter[layer, row], gradient[layer, row],
                    variance[layer, row], variance_of_share[layer, row],
                )
                for layer in range(len(LAYERS))
            ]
            for row, zones in enumerate(sets)
        ]  # fmt: skip

    def _figure(  # noqa: PLR0913, PLR0917 - one column of numbers each
        self,
        layer: int,
        zones: NDArray[np.intp],
        area: float,
        whole: float,
        perimeter: float,
        gradient: FloatArray,
        variance: float,
        variance_of_share: float,
    ) -> Figure:
        marks: dict[MarkId, bool] = {}
        for zone in zones:
            for mark, counts in self.marks.get((layer, int(zone)), {}).items():
                marks[mark] = marks.get(mark, False) or counts
        if not marks:
            return NOTHING
        sigma = float(np.sqrt(variance))
        low, high = _interval(area, sigma, whole)
        low_share, high_share = _interval(area / whole, float(np.sqrt(variance_of_share)) / whole, 1.0)
        return Figure(
            float(area), sigma, low, high, float(area / whole), low_share, high_share,
            self.pieces[layer].count(zones), float(perimeter), tuple(marks),
            most_separate([m for m, counts in marks.items() if counts], self.touching, self.memo),
            VectorGradient(self.layout, gradient),
        )  # fmt: skip


NOTHING = Figure(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, ())


def _interval(value: float, sigma: float, top: float) -> tuple[float, float]:
    reach = COVERAGE_FACTOR * sigma
    return float(max(0.0, value - reach)), float(min(top, value + reach))


@dataclass(frozen=True, eq=False)
class Pieces:
    """Polygons of one layer and which of them touch.

    Parameters
    ----------
    zone : ndarray of int, shape (N,)
        Zone of each polygon.
    touching : ndarray of int, shape (T, 2)
        Pairs that touch, over seams and folds too.
    """

    zone: NDArray[np.intp]
    touching: NDArray[np.intp]

    def count(self, zones: NDArray[np.intp]) -> int:
        """Separate pieces in a set of zones.

        Parameters
        ----------
        zones : ndarray of int
            Zones by index.

        Returns
        -------
        int
            A piece that crosses from one of the zones into another is one.
        """
        here = np.isin(self.zone, zones)
        new = np.cumsum(here) - 1
        pairs = self.touching[here[self.touching].all(axis=1)]
        return count_groups(int(here.sum()), np.asarray(new[pairs], dtype=np.intp))


def totals_of(grounds: Sequence[Ground], template: BodyTemplate, layout: SourceLayout) -> Totals:
    """Measure every panel and bring the cells together.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    template : BodyTemplate
        The body.
    layout : SourceLayout
        Columns of the gradients.

    Returns
    -------
    Totals
        Ready to be summed.
    """
    row = {zone.id: i for i, zone in enumerate(template.zones)}
    shape = (len(LAYERS), len(row))
    area, perimeter, gradient = np.zeros(shape), np.zeros(shape), np.zeros((*shape, layout.width))
    marks: dict[tuple[int, int], dict[MarkId, bool]] = {}
    placed: list[tuple[PanelId, int, Cell]] = []
    for ground in grounds:
        for cell in cells_of(ground, layout):
            zone = row[ground.panel.zones[cell.zone].id]
            area[cell.layer, zone], perimeter[cell.layer, zone] = cell.area_mm2, cell.perimeter_mm
            gradient[cell.layer, zone] = cell.gradient
            marks[cell.layer, zone] = _counting(ground, cell)
            placed.append((ground.panel.id, zone, cell))
    gradient[:, :, layout.columns[SCALE_LABEL]] = 2.0 * area[:, :, None]
    hinges = [hinge for panel in hinges_of(template).values() for hinge in panel if hinge.panel < hinge.other]
    pieces = tuple(_pieces([p for p in placed if p[2].layer == n], hinges) for n in range(len(LAYERS)))
    zone_area = np.array([zone.area_mm2 for zone in template.zones])
    return Totals(layout, zone_area, area, perimeter, gradient, marks, pieces, _touching_marks(grounds, hinges))


def _counting(ground: Ground, cell: Cell) -> dict[MarkId, bool]:
    index, shapes, _ = ground.cuts[cell.zone]
    here = dict(zip(index.tolist(), shapely.area(shapes).tolist(), strict=True))
    return {
        ground.marks[i].mark.id: here[i] >= min(SLIVER_MM2, SLIVER_SHARE * ground.areas[i].area) for i in cell.marks
    }


def _pieces(placed: Sequence[tuple[PanelId, int, Cell]], hinges: Sequence[Hinge]) -> Pieces:
    parts = np.array([part for _, _, cell in placed for part in cell.parts], dtype=object)
    count = [len(cell.parts) for _, _, cell in placed]
    zone = np.repeat(np.array([z for _, z, _ in placed], dtype=np.intp), count)
    panel = np.repeat(np.array([p for p, _, _ in placed], dtype=object), count)
    by_panel = {p: np.flatnonzero(panel == p) for p in dict.fromkeys(panel)}
    pairs = [index[touching_pairs(parts[index])] for index in by_panel.values()]
    for hinge in hinges:
        if hinge.panel in by_panel and hinge.other in by_panel:
            here, there = by_panel[hinge.panel], by_panel[hinge.other]
            over = touching_over(hinge, parts[here], parts[there])
            pairs.append(np.stack([here[over[:, 0]], there[over[:, 1]]], axis=1))
    return Pieces(zone, np.concatenate(pairs) if pairs else np.empty((0, 2), dtype=np.intp))


def _touching_marks(grounds: Sequence[Ground], hinges: Sequence[Hinge]) -> dict[MarkId, frozenset[MarkId]]:
    near: dict[MarkId, set[MarkId]] = {}
    by_panel = {ground.panel.id: ground for ground in grounds}
    for ground in grounds:
        for i, j in ground.touching:
            if not _two_patches(ground, int(i), int(j)):
                near.setdefault(ground.marks[i].mark.id, set()).add(ground.marks[j].mark.id)
    for hinge in hinges:
        if hinge.panel in by_panel and hinge.other in by_panel:
            here, there = by_panel[hinge.panel], by_panel[hinge.other]
            for i, j in touching_over(hinge, here.areas, there.areas):
                one, other = here.marks[i].mark, there.marks[j].mark
                if one.id != other.id and not (one.kind is other.kind is MarkKind.PATCH and one.photo == other.photo):
                    near.setdefault(one.id, set()).add(other.id)
                    near.setdefault(other.id, set()).add(one.id)
    return {mark: frozenset(others) for mark, others in near.items()}


def _two_patches(ground: Ground, i: int, j: int) -> bool:
    """Two patches drawn side by side on one photo are two, though they meet."""
    one, other = ground.marks[i].mark, ground.marks[j].mark
    if not (one.kind is other.kind is MarkKind.PATCH and one.photo == other.photo):
        return False
    shared = shapely.area(shapely.intersection(ground.areas[i], ground.areas[j]))
    return bool(shared <= OVERLAP_SHARE * min(ground.areas[i].area, ground.areas[j].area))
