"""Which pieces and marks touch, over zone seams and folds, and how many there are."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.measures.unfolding import Hinge
from corromap.projection.view import Geometries

__all__ = ["TOUCHING_MM", "count_groups", "most_separate", "touching_over", "touching_pairs"]

TOUCHING_MM = 2.0
"""A gap this narrow between two pieces is taken as closed. Ours: about the
width of one drawn line and of the usual error of a placed photo."""

EXACT_UP_TO = 24
"""Marks in one cluster up to which the count is exact; above it a greedy one,
which is never more than the exact one."""

Node = TypeVar("Node", bound=Hashable)


def touching_pairs(
    shapes: Geometries,
    gap_mm: float = TOUCHING_MM,
    wanted: Callable[[NDArray[np.intp], NDArray[np.intp]], NDArray[np.bool_]] | None = None,
) -> NDArray[np.intp]:
    """Pairs of shapes on one panel that are near enough to count as touching.

    Parameters
    ----------
    shapes : ndarray of shapely geometries, shape (N,)
        On one panel.
    gap_mm : float
        Widest gap between two that touch.
    wanted : callable, optional
        Tells of pairs, given as two arrays of indices, which are of interest; all if left out.

    Returns
    -------
    ndarray of int, shape (T, 2)
        Each pair once, lower index first.
    """
    if len(shapes) < 2:
        return np.empty((0, 2), dtype=np.intp)
    x0, y0, x1, y1 = shapely.bounds(shapes).T
    gap = gap_mm
    one, other = shapely.STRtree(shapes).query(np.asarray(shapely.box(x0 - gap, y0 - gap, x1 + gap, y1 + gap)))
    one, other = one[one < other], other[one < other]
    if wanted is not None:
        asked = wanted(one, other)
        one, other = one[asked], other[asked]
    near = shapely.dwithin(shapes[one], shapes[other], gap)
    return np.stack([one[near], other[near]], axis=1)


def touching_over(hinge: Hinge, here: Geometries, there: Geometries, gap_mm: float = TOUCHING_MM) -> NDArray[np.intp]:
    """Pairs of shapes that touch across a fold.

    Parameters
    ----------
    hinge : Hinge
        The fold.
    here, there : ndarray of shapely geometries
        Shapes on its first and second panel.
    gap_mm : float
        Widest gap between two that touch.

    Returns
    -------
    ndarray of int, shape (T, 2)
        Index into `here` and into `there`.
    """
    near = np.flatnonzero(shapely.dwithin(here, shapely.LineString(hinge.edge_mm), gap_mm))
    beyond = np.flatnonzero(shapely.dwithin(there, shapely.LineString(hinge.other_edge_mm), gap_mm))
    if len(near) == 0 or len(beyond) == 0:
        return np.empty((0, 2), dtype=np.intp)
    laid = shapely.transform(here[near], hinge.to_other)
    one, other = shapely.STRtree(there[beyond]).query(laid, predicate="dwithin", distance=gap_mm)
    return np.stack([near[one], beyond[other]], axis=1)


def count_groups(count: int, pairs: NDArray[np.intp]) -> int:
    """Count separate groups of things of which some touch.

    Parameters
    ----------
    count : int
        Number of things.
    pairs : ndarray of int, shape (T, 2)
        Those that touch.

    Returns
    -------
    int
        Connected components.
    """
    leader = list(range(count))

    def lead(i: int) -> int:
        while leader[i] != i:
            leader[i] = leader[leader[i]]
            i = leader[i]
        return i

    groups = count
    for one, other in pairs.tolist():
        a, b = lead(one), lead(other)
        leader[b] = a
        groups -= a != b
    return groups


def most_separate(
    nodes: Iterable[Node], touching: Mapping[Node, frozenset[Node]], memo: dict[frozenset[Node], int]
) -> int:
    """Count the most things no two of which touch.

    Unlike the number of pieces it cannot fall when a thing is added: a plate
    that bridges four patches does not turn four into one.

    Parameters
    ----------
    nodes : iterable
        The things.
    touching : mapping
        For each thing, those that touch it.
    memo : dict
        Clusters counted before; may be shared between calls with the same
        `touching`.

    Returns
    -------
    int
        Size of a maximum independent set, cluster by cluster; see
        `EXACT_UP_TO`.
    """
    left = set(nodes)
    total = 0
    while left:
        cluster = _cluster(next(iter(left)), left, touching)
        left -= cluster
        if len(cluster) == 1:
            total += 1
        else:
            total += _independent(frozenset(cluster), touching, memo)
    return total


def _cluster(start: Node, among: set[Node], touching: Mapping[Node, frozenset[Node]]) -> set[Node]:
    found, open_ = {start}, [start]
    while open_:
        for other in touching.get(open_.pop(), frozenset()):
            if other in among and other not in found:
                found.add(other)
                open_.append(other)
    return found


def _independent(
    cluster: frozenset[Node], touching: Mapping[Node, frozenset[Node]], memo: dict[frozenset[Node], int]
) -> int:
    """Take what touches at most one other; else branch on what touches most."""
    if cluster in memo:
        return memo[cluster]
    near = {node: touching.get(node, frozenset()) & cluster for node in cluster}
    least = min(near, key=lambda node: (len(near[node]), str(node)))
    if len(near[least]) <= 1:
        best = 1 + most_separate(cluster - near[least] - {least}, touching, memo)
    elif len(cluster) > EXACT_UP_TO:
        best = _greedy(near)
    else:
        most = max(near, key=lambda node: (len(near[node]), str(node)))
        without = most_separate(cluster - {most}, touching, memo)
        best = max(without, 1 + most_separate(cluster - near[most] - {most}, touching, memo))
    memo[cluster] = best
    return best


def _greedy(near: Mapping[Node, frozenset[Node]]) -> int:
    """Take what touches fewest of what is left, again and again; by name where equal, so that runs agree."""
    degree = {node: len(others) for node, others in near.items()}
    count = 0
    while degree:
        taken = min(degree, key=lambda node: (degree[node], str(node)))
        gone = {taken} | (near[taken] & degree.keys())
        for node in gone:
            del degree[node]
        for node in gone:
            for other in near[node] & degree.keys():
                degree[other] -= 1
        count += 1
    return count
