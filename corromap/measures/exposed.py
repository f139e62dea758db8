"""Which edges of which marks bound a union, and so move it.

The union of many marks moves where a mark's own edge is still its boundary:
not where marks overlap, and not along the cut of a zone or panel. Where other
photos drew the same edge, all of them have their say; see `consensus`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import csr_array

from corromap.frames import FloatArray
from corromap.measures.consensus import AllEdges, MovingBoundary, shared_edges
from corromap.measures.ground import Cell, Ground
from corromap.measures.layers import LAYERS
from corromap.measures.layout import SourceLayout
from corromap.projection.edges import ON_EDGE_MM, boundary_segments, outline_label

__all__ = ["Exposed", "exposed_edges", "gradients_of"]


@dataclass(frozen=True, eq=False)
class Exposed:
    """How much of each mark's edge bounds each cell of a panel.

    Parameters
    ----------
    weight : csr_array, shape (cells, edges)
        Share of the edge's length that moves the cell's likely area; negative
        where the mark takes ground away.
    owner : ndarray of int, shape (edges,)
        Mark of each edge.
    perimeter_mm : ndarray of float64, shape (cells,)
        Length of all exposed edges.
    excess_mm2 : ndarray of float64, shape (cells,)
        What the cell's union has more than the mean of the edges encloses;
        negative where ground taken away has it.
    """

    weight: csr_array
    owner: NDArray[np.intp]
    perimeter_mm: FloatArray
    excess_mm2: FloatArray


def exposed_edges(ground: Ground, cells: Sequence[Cell], layout: SourceLayout) -> Exposed:
    """Find the edges that bound each cell.

    Parameters
    ----------
    ground : Ground
        The panel's marks.
    cells : sequence of Cell
        From `cells_of`, at least one.
    layout : SourceLayout
        Error sources, which say how near two edges must be to be one.

    Returns
    -------
    Exposed
        For `gradients_of`.
    """
    count = np.array([len(m.edges.from_mm) for m in ground.marks])
    edges = AllEdges(
        np.concatenate([m.edges.from_mm for m in ground.marks]),
        np.concatenate([m.edges.to_mm for m in ground.marks]),
        np.repeat(np.arange(len(count)), count),
    )
    length = np.hypot(*(edges.end - edges.start).T)
    cell, edge = _whole(cells, count)
    boundary = _boundary(ground, cells, edges)
    along = np.hypot(*(boundary.end - boundary.start).T)
    perimeter = np.bincount(cell, length[edge], minlength=len(cells)).astype(np.float64)
    perimeter += np.bincount(boundary.cell, along, minlength=len(cells))
    shared = shared_edges(ground, edges, boundary, layout)
    signed = boundary.sign * along
    excess = np.bincount(boundary.cell, signed * shared.inwards_mm, minlength=len(cells)).astype(np.float64)
    weight = np.concatenate(
        [np.ones(len(edge)), signed[shared.segment] * shared.weight / np.maximum(length[shared.edge], 1e-12)]
    )
    where = np.concatenate([cell, boundary.cell[shared.segment]]), np.concatenate([edge, shared.edge])
    return Exposed(csr_array((weight, where), shape=(len(cells), len(length))), edges.owner, perimeter, excess)


def _whole(cells: Sequence[Cell], count: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Every edge of the marks that stand alone."""
    first = np.cumsum(count) - count
    cell = np.repeat(np.arange(len(cells)), [len(c.alone) for c in cells])
    mark = np.array([i for c in cells for i in c.alone], dtype=np.intp)
    edge = np.concatenate([np.arange(first[i], first[i] + count[i]) for i in mark]) if len(mark) else mark
    return np.repeat(cell, count[mark]), edge


def _boundary(ground: Ground, cells: Sequence[Cell], edges: AllEdges) -> MovingBoundary:
    """Find which mark's edge every boundary segment of the unions is.

    A segment that is nobody's is a cut along a zone or panel: it does not move.
    """
    start, end, cell = boundary_segments(np.array([c.joined for c in cells], dtype=object))
    if len(start) == 0:
        return MovingBoundary(start, end, cell, cell, np.empty(0, dtype=np.int8))
    tree = shapely.STRtree(edges.lines())
    segment, edge = tree.query(shapely.points((start + end) / 2), predicate="dwithin", distance=ON_EDGE_MM)
    signs = np.array([layer.signs(ground.classes) for layer in LAYERS])
    layer_of = np.array([c.layer for c in cells])
    sign = signs[layer_of[cell[segment]], edges.owner[edge]]
    segment, edge, sign = segment[sign != 0], edge[sign != 0], sign[sign != 0]
    segment, first = np.unique(segment, return_index=True)
    return MovingBoundary(start[segment], end[segment], cell[segment], edge[first], sign[first])


def gradients_of(ground: Ground, exposed: Exposed, layout: SourceLayout) -> FloatArray:
    """Differentiate each cell's area by every source but the template's scale.

    Parameters
    ----------
    ground : Ground
        The panel's marks.
    exposed : Exposed
        From `exposed_edges`.
    layout : SourceLayout
        Columns.

    Returns
    -------
    ndarray of float64, shape (cells, width)
        In mm2 per unit of each source.
    """
    gradient = np.zeros((exposed.weight.shape[0], layout.width))
    by_label: dict[str, list[int]] = {}
    for i, m in enumerate(ground.marks):
        for label in m.edges.flux_mm2:
            by_label.setdefault(label, []).append(i)
    by_hand = np.concatenate([m.edges.flux_mm2[outline_label(m.mark)][:, 0] for m in ground.marks])
    columns = np.array([layout.columns[outline_label(m.mark)].start for m in ground.marks])
    entry = exposed.weight.tocoo()
    np.add.at(gradient, (entry.row, columns[exposed.owner[entry.col]]), entry.data * by_hand[entry.col])
    hands = {outline_label(m.mark) for m in ground.marks}
    for label, marks in by_label.items():
        if label in hands:
            continue
        flux = np.concatenate([ground.marks[i].edges.flux_mm2[label] for i in marks])
        gradient[:, layout.columns[label]] += exposed.weight[:, np.isin(exposed.owner, marks)] @ flux
    return gradient
