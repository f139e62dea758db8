"""Where several photos draw the edge of one thing: the mean of their edges.

Every photo's outline errs in or out, by the hand and by the photo's place. A
union keeps, all the way round, the one that errs farthest out, so it is too
large, the more photos the larger. No mark is argued away: a mark has its say
only about the edge it drew itself. Where the union's edge is the edge of one
mark and a mark of another photo, of the same kind and stage, drew an edge so
near to it that both can be one edge erring, the likely edge is their mean,
weighted by 1 / variance (the estimate of least variance of one quantity
measured several times: JCGM 100:2008, F.1.2.3, and textbooks of adjustment).
Ground farther out than the errors explain is new ground and counts in full.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.measures.ground import Ground
from corromap.measures.layout import SourceLayout
from corromap.projection.edges import outline_label

__all__ = ["AllEdges", "MovingBoundary", "Shared", "shared_edges"]

REACH = 3.0
"""Two edges farther apart than this many standard uncertainties of their
distance are two edges. Ours: 3 is left by 3 in 1000."""

FARTHEST_MM = 25.0
"""Nor are edges farther apart than this one edge, however poor a placing is."""

LEAST_SIGMA_MM = 0.02
"""Keeps weights finite where nothing is said to err."""


@dataclass(frozen=True, eq=False)
class MovingBoundary:
    """Segments of the boundaries of cells, each part of the edge of a mark.

    Parameters
    ----------
    start, end : ndarray of float64, shape (S, 2)
        Ends, panel millimetres.
    cell : ndarray of int, shape (S,)
        Cell it bounds.
    edge : ndarray of int, shape (S,)
        Edge it is part of.
    sign : ndarray of int, shape (S,)
        1 where the mark adds ground to the cell, -1 where it takes it away.
    """

    start: FloatArray
    end: FloatArray
    cell: NDArray[np.intp]
    edge: NDArray[np.intp]
    sign: NDArray[np.int8]


@dataclass(frozen=True, eq=False)
class Shared:
    """How much each edge has its say along each segment.

    Parameters
    ----------
    segment, edge : ndarray of int, shape (W,)
        Segment and edge, each segment's own edge among them.
    weight : ndarray of float64, shape (W,)
        Weights; those of a segment sum to 1.
    inwards_mm : ndarray of float64, shape (S,)
        How far the mean of the edges lies inside each segment.
    """

    segment: NDArray[np.intp]
    edge: NDArray[np.intp]
    weight: FloatArray
    inwards_mm: FloatArray


@dataclass(frozen=True, eq=False)
class AllEdges:
    """Every mark's edges on a panel.

    Parameters
    ----------
    start, end : ndarray of float64, shape (E, 2)
        Ends, panel millimetres.
    owner : ndarray of int, shape (E,)
        Mark of each edge.
    """

    start: FloatArray
    end: FloatArray
    owner: NDArray[np.intp]

    def lines(self, which: NDArray[np.intp] | slice = slice(None)) -> NDArray[np.object_]:
        """Edges as lines.

        Parameters
        ----------
        which : ndarray of int or slice
            Some of them.

        Returns
        -------
        ndarray of shapely.LineString
            In that order.
        """
        return np.asarray(shapely.linestrings(np.stack([self.start[which], self.end[which]], axis=1)), dtype=object)


def shared_edges(ground: Ground, edges: AllEdges, boundary: MovingBoundary, layout: SourceLayout) -> Shared:
    """Find the edges that other photos drew of what each segment bounds.

    Parameters
    ----------
    ground : Ground
        The panel's marks.
    edges : AllEdges
        Their edges.
    boundary : MovingBoundary
        The segments.
    layout : SourceLayout
        Error sources.

    Returns
    -------
    Shared
        Segments that nobody else drew have their own edge alone.
    """
    count = len(boundary.edge)
    alone = Shared(np.arange(count), boundary.edge, np.ones(count), np.zeros(count))
    voting = _Voting.of(ground)
    asked = np.flatnonzero(voting.has_partner[edges.owner[boundary.edge]])
    if len(asked) == 0:
        return alone
    variance, is_drawn = _edge_errors(ground, voting, layout)
    # one segment may bound a cell of several layers: it is looked at once
    middle = (boundary.start[asked] + boundary.end[asked]) / 2
    key = np.column_stack([np.round(middle, 6), boundary.edge[asked]])
    _, first, which = np.unique(key, axis=0, return_index=True, return_inverse=True)
    own = boundary.edge[asked[first]]
    at, edge, away = _nearest(edges, voting, middle[first], own, variance)
    at, edge, away = at[is_drawn[edge]], edge[is_drawn[edge]], away[is_drawn[edge]]
    weight = 1.0 / variance[edge]
    total = 1.0 / variance[own] + np.bincount(at, weight, minlength=len(own))
    inwards = np.bincount(at, weight * away, minlength=len(own)) / total
    return _spread(alone, asked, which.ravel(), (at, edge, weight / total[at]), inwards)


@dataclass(frozen=True, eq=False)
class _Voting:
    """Which marks may show the same thing: of different photos, same kind and stage, touching."""

    partners: NDArray[np.bool_]
    photo: NDArray[np.intp]

    @classmethod
    def of(cls, ground: Ground) -> _Voting:
        names = {photo: i for i, photo in enumerate(dict.fromkeys(m.mark.photo for m in ground.marks))}
        photo = np.array([names[m.mark.photo] for m in ground.marks], dtype=np.intp)
        one, other = ground.touching.T
        same = (photo[one] != photo[other]) & (ground.classes[one] == ground.classes[other])
        partners = np.zeros((len(photo), len(photo)), dtype=bool)
        partners[one[same], other[same]] = True
        return cls(partners, photo)

    @cached_property
    def has_partner(self) -> NDArray[np.bool_]:
        """Marks that some other photo's mark may be the same thing as; it goes both ways."""
        return np.asarray(self.partners.any(axis=0), dtype=bool)


def _edge_errors(ground: Ground, voting: _Voting, layout: SourceLayout) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Variance of every edge's place across itself, mm2, and whether a hand drew it; marks without partners: zero."""
    variance, drawn = [], []
    for m, is_partner in zip(ground.marks, voting.has_partner.tolist(), strict=True):
        length = m.edges.length_mm
        total = np.zeros(len(length))
        for label, flux in m.edges.flux_mm2.items() if is_partner else ():
            total += ((flux @ layout.sources[label].covariance) * flux).sum(axis=1)
        variance.append(np.maximum(total / np.maximum(length, 1e-9) ** 2, LEAST_SIGMA_MM**2))
        drawn.append(m.edges.flux_mm2[outline_label(m.mark)][:, 0] > 0)
    return np.concatenate(variance), np.concatenate(drawn)


def _nearest(
    edges: AllEdges, voting: _Voting, point: FloatArray, own: NDArray[np.intp], variance: FloatArray
) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Nearest edge of each other photo within reach of each point: index of point, edge, distance."""
    owner = edges.owner
    voters = np.flatnonzero(voting.has_partner[owner])
    lines = edges.lines(voters)
    reach = np.minimum(REACH * np.sqrt(variance[own] + variance[voters].max()), FARTHEST_MM)
    at_mm = np.asarray(shapely.points(point), dtype=object)
    at, hit = shapely.STRtree(lines).query(at_mm, predicate="dwithin", distance=reach)
    may = voting.partners[owner[own[at]], owner[voters[hit]]]
    at, hit = at[may], hit[may]
    edge, away = voters[hit], np.asarray(shapely.distance(at_mm[at], lines[hit]), dtype=np.float64)
    order = np.lexsort((away, voting.photo[owner[edge]], at))
    at, edge, away = at[order], edge[order], away[order]
    photo = voting.photo[owner[edge]]
    is_first = np.ones(len(at), dtype=bool)
    is_first[1:] = (at[1:] != at[:-1]) | (photo[1:] != photo[:-1])
    near = is_first & (away <= np.minimum(REACH * np.sqrt(variance[own[at]] + variance[edge]), FARTHEST_MM))
    return at[near], edge[near], away[near]


def _spread(
    alone: Shared,
    asked: NDArray[np.intp],
    which: NDArray[np.intp],
    votes: tuple[NDArray[np.intp], NDArray[np.intp], FloatArray],
    inwards: FloatArray,
) -> Shared:
    """Give every segment what was found for its point."""
    at, edge, weight = votes
    own = alone.weight.copy()
    own[asked] -= np.bincount(at, weight, minlength=len(inwards))[which]
    inwards_mm = alone.inwards_mm.copy()
    inwards_mm[asked] = inwards[which]
    count = np.bincount(at, minlength=len(inwards))
    first = np.cumsum(count) - count
    order = np.argsort(at, kind="stable")
    segment = np.repeat(asked, count[which])
    offset = np.arange(len(segment)) - np.repeat(np.cumsum(count[which]) - count[which], count[which])
    vote = order[np.repeat(first[which], count[which]) + offset]
    return Shared(
        np.concatenate([alone.segment, segment]),
        np.concatenate([alone.edge, edge[vote]]),
        np.concatenate([own, weight[vote]]),
        inwards_mm,
    )
