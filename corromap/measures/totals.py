"""Cells of all panels brought together: figures of zones and of groups."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray, MarkId
from corromap.measures.exposed import exposed_edges, gradients_of
from corromap.measures.fragments import may_be_one
from corromap.measures.ground import Cell, Ground, cells_of
from corromap.measures.layers import LAYERS
from corromap.measures.layout import SCALE_LABEL, SourceLayout, VectorGradient
from corromap.measures.panels import panel_by_panel
from corromap.measures.pieces import PieceList, Pieces, touching_marks
from corromap.measures.result import Figure
from corromap.measures.touching import TOUCHING_MM, most_separate
from corromap.measures.unfolding import hinges_of
from corromap.projection import SeenArea
from corromap.template import BodyTemplate
from corromap.uncertainty import COVERAGE_FACTOR

__all__ = ["Totals", "totals_of"]

SLIVER_MM2 = 100.0
SLIVER_SHARE = 0.1
"""A mark counts among a zone's separate marks when at least this much of it,
or this share, lies there: a drawn line that runs over a seam is not a patch
on the next zone. Ours."""


NOTHING = Figure(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, ())


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
    excess_mm2 : ndarray of float64, shape (L, Z)
        What the union has more than is likely; see `corromap.measures.consensus`.
    gradient : ndarray of float64, shape (L, Z, width)
        Of the areas, the template's scale included.
    marks : mapping of (layer, zone) to dict of MarkId to bool
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
    excess_mm2: FloatArray
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
        rows = []
        layers = self.area_mm2.any(axis=1)
        for zones in sets:
            here = np.flatnonzero(layers & self.area_mm2[:, zones].any(axis=1))
            row = [NOTHING] * len(LAYERS)
            if len(here):
                marked = zones[self.area_mm2[:, zones].any(axis=0)]
                gradient = self.gradient[np.ix_(here, marked)].sum(axis=1)
                for layer, figure in zip(here.tolist(), self._some(here, zones, gradient), strict=True):
                    row[layer] = figure
            rows.append(row)
        return rows

    def _some(self, layers: NDArray[np.intp], zones: NDArray[np.intp], gradient: FloatArray) -> Iterator[Figure]:
        """Figures of some layers over one set of zones."""
        whole = float(self.zone_area_mm2[zones].sum())
        area = np.minimum(self.area_mm2[layers][:, zones].sum(axis=1), whole)
        perimeter = self.perimeter_mm[layers][:, zones].sum(axis=1)
        likely = np.clip(area - self.excess_mm2[layers][:, zones].sum(axis=1), 0.0, whole)
        variance = self.layout.variances(gradient)
        by_scale = gradient[:, self.layout.columns[SCALE_LABEL]][:, 0] ** 2
        by_scale *= self.layout.sources[SCALE_LABEL].covariance[0, 0]
        sigma, sigma_of_share = np.sqrt(variance), np.sqrt(np.maximum(variance - by_scale, 0.0)) / whole
        member = np.zeros(len(self.zone_area_mm2), dtype=bool)
        member[zones] = True
        for i, layer in enumerate(layers.tolist()):
            marks: dict[MarkId, bool] = {}
            for zone in zones.tolist():
                for mark, counts in self.marks.get((layer, zone), {}).items():
                    marks[mark] = marks.get(mark, False) or counts
            counting = [m for m, counts in marks.items() if counts]
            yield Figure(
                float(area[i]), float(sigma[i]), *_interval(likely[i], sigma[i], area[i], whole),
                float(area[i] / whole), *_interval(likely[i] / whole, sigma_of_share[i], area[i] / whole, 1.0),
                self.pieces[layer].count(member), float(perimeter[i]), tuple(marks),
                most_separate(counting, self.touching, self.memo), float(likely[i]), float(likely[i] / whole),
                VectorGradient(self.layout, gradient[i]),
            )  # fmt: skip


def _interval(likely: float, sigma: float, union: float, top: float) -> tuple[float, float]:
    """95 % interval about what is likely; all that was drawn is inside it."""
    reach = COVERAGE_FACTOR * sigma
    return float(max(0.0, min(union, likely - reach))), float(min(top, max(union, likely + reach)))


def totals_of(
    grounds: Sequence[Ground],
    template: BodyTemplate,
    layout: SourceLayout,
    patch_gap_mm: float = TOUCHING_MM,
    seen: Sequence[SeenArea] = (),
) -> Totals:
    """Measure every panel and bring the cells together.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    template : BodyTemplate
        The body.
    layout : SourceLayout
        Columns of the gradients.
    patch_gap_mm : float
        Widest gap between two patches that count as one.
    seen : sequence of SeenArea
        What each photo shows: it tells patches seen in parts from two patches.

    Returns
    -------
    Totals
        Ready to be summed.
    """
    row = {zone.id: i for i, zone in enumerate(template.zones)}
    shape = (len(LAYERS), len(row))
    area, perimeter, excess = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    gradient = np.zeros((*shape, layout.width))
    marks: dict[tuple[int, int], dict[MarkId, bool]] = {}
    pieces = PieceList()
    formed = panel_by_panel(cells_of, grounds, sum(len(ground.marks) for ground in grounds))
    for ground, cells in zip(grounds, formed, strict=True):
        if not cells:
            continue
        exposed = exposed_edges(ground, cells, layout)
        zones = [row[ground.panel.zones[cell.zone].id] for cell in cells]
        at = ([cell.layer for cell in cells], zones)
        area[at], perimeter[at] = [cell.area_mm2 for cell in cells], exposed.perimeter_mm
        gradient[at], excess[at] = gradients_of(ground, exposed, layout), exposed.excess_mm2
        for zone, cell in zip(zones, cells, strict=True):
            marks[cell.layer, zone] = _counting(ground, cell)
            pieces.add(ground, zone, cell)
    gradient[:, :, layout.columns[SCALE_LABEL]] = 2.0 * (area - excess)[:, :, None]
    hinges = [hinge for panel in hinges_of(template).values() for hinge in panel if hinge.panel < hinge.other]
    zone_area = np.array([zone.area_mm2 for zone in template.zones])
    return Totals(
        layout,
        zone_area,
        area,
        perimeter,
        excess,
        gradient,
        marks,
        pieces.joined(hinges, patch_gap_mm),
        touching_marks(grounds, hinges, patch_gap_mm, may_be_one(grounds, seen)),
    )


def _counting(ground: Ground, cell: Cell) -> dict[MarkId, bool]:
    index, shapes, _ = ground.cuts[cell.zone]
    here = dict(zip(index.tolist(), shapely.area(shapes).tolist(), strict=True))
    return {ground.marks[i].mark.id: here[i] >= min(SLIVER_MM2, SLIVER_SHARE * ground.sizes[i]) for i in cell.marks}
