"""Pieces of ground and marks that touch, over zone seams and folds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from corromap.frames import MarkId, PanelId
from corromap.measures.ground import Cell, Ground
from corromap.measures.layers import LAYERS, kind_layer
from corromap.measures.patches import OVERLAP_SHARE
from corromap.measures.touching import TOUCHING_MM, count_groups, touching_over, touching_pairs
from corromap.measures.unfolding import Hinge
from corromap.survey import Mark, MarkKind

__all__ = ["PieceList", "Pieces", "touching_marks"]


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

    def count(self, member: NDArray[np.bool_]) -> int:
        """Separate pieces in a set of zones.

        Parameters
        ----------
        member : ndarray of bool, shape (Z,)
            Whether each zone is in the set.

        Returns
        -------
        int
            A piece that crosses from one of the zones into another is one.
        """
        here = member[self.zone]
        pairs = self.touching[here[self.touching].all(axis=1)]
        if len(pairs) == 0:
            return int(here.sum())
        return count_groups(int(here.sum()), np.asarray((np.cumsum(here) - 1)[pairs], dtype=np.intp))


class PieceList:
    """Collects the polygons of all cells and finds which touch."""

    def __init__(self) -> None:
        self._parts: list[list[Polygon]] = [[] for _ in LAYERS]
        self._zone: list[list[int]] = [[] for _ in LAYERS]
        self._panel: list[list[PanelId]] = [[] for _ in LAYERS]
        self._lonely: list[list[bool]] = [[] for _ in LAYERS]

    def add(self, ground: Ground, zone: int, cell: Cell) -> None:
        """Add a cell's polygons.

        Parameters
        ----------
        ground : Ground
            Its panel. The one part of a mark that stands alone there touches
            nothing on the panel, so it is not looked at again.
        zone : int
            Its zone in the template.
        cell : Cell
            The cell.
        """
        alone = [list(ground.areas[i].geoms) for i in cell.alone]
        parts = [*(part for shape in alone for part in shape), *cell.pieces]
        self._parts[cell.layer] += parts
        self._zone[cell.layer] += [zone] * len(parts)
        self._panel[cell.layer] += [ground.panel.id] * len(parts)
        self._lonely[cell.layer] += [len(shape) == 1 for shape in alone for _ in shape]
        self._lonely[cell.layer] += [False] * len(cell.pieces)

    def joined(self, hinges: Sequence[Hinge], patch_gap_mm: float = TOUCHING_MM) -> tuple[Pieces, ...]:
        """Find the touching pairs, over seams and folds.

        Parameters
        ----------
        hinges : sequence of Hinge
            Each fold once.
        patch_gap_mm : float
            Widest gap between two patches that count as one.

        Returns
        -------
        tuple of Pieces
            One for each layer.
        """
        gaps = [patch_gap_mm if layer.name == kind_layer(MarkKind.PATCH) else TOUCHING_MM for layer in LAYERS]
        return tuple(self._of_layer(layer, hinges, gap) for layer, gap in enumerate(gaps))

    def _of_layer(self, layer: int, hinges: Sequence[Hinge], gap_mm: float) -> Pieces:
        parts = np.array(self._parts[layer], dtype=object)
        panel = np.array(self._panel[layer], dtype=object)
        lonely = np.array(self._lonely[layer], dtype=bool)
        by_panel = {p: np.flatnonzero(panel == p) for p in dict.fromkeys(self._panel[layer])}
        pairs = [np.empty((0, 2), dtype=np.intp)]
        for index in by_panel.values():
            social = index[~lonely[index]] if gap_mm <= TOUCHING_MM else index
            pairs.append(social[touching_pairs(parts[social], gap_mm)])
        for hinge in hinges:
            if hinge.panel in by_panel and hinge.other in by_panel:
                here, there = by_panel[hinge.panel], by_panel[hinge.other]
                over = touching_over(hinge, parts[here], parts[there], gap_mm)
                pairs.append(np.stack([here[over[:, 0]], there[over[:, 1]]], axis=1))
        return Pieces(np.array(self._zone[layer], dtype=np.intp), np.concatenate(pairs))


def touching_marks(
    grounds: Sequence[Ground],
    hinges: Sequence[Hinge],
    patch_gap_mm: float = TOUCHING_MM,
    also: Iterable[tuple[MarkId, MarkId]] = (),
) -> dict[MarkId, frozenset[MarkId]]:
    """Find which marks touch, on a panel or over a fold.

    Two patches of one photo that meet without lying on each other do not
    count as touching: the person drew two.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    hinges : sequence of Hinge
        Each fold once.
    patch_gap_mm : float
        Widest gap between two patches that count as one; other kinds go by
        `TOUCHING_MM`.
    also : iterable of (MarkId, MarkId)
        Further pairs that count as touching.

    Returns
    -------
    dict of MarkId to frozenset of MarkId
        Marks that touch no other are left out.
    """
    near: dict[MarkId, set[MarkId]] = {}
    for first, second in also:
        near.setdefault(first, set()).add(second)
        near.setdefault(second, set()).add(first)
    by_panel = {ground.panel.id: ground for ground in grounds}
    for ground in grounds:
        for i, j in _pairs_on(ground, patch_gap_mm):
            if not _two_patches(ground, i, j):
                near.setdefault(ground.marks[i].mark.id, set()).add(ground.marks[j].mark.id)
                near.setdefault(ground.marks[j].mark.id, set()).add(ground.marks[i].mark.id)
    for hinge in hinges:
        if hinge.panel in by_panel and hinge.other in by_panel:
            here, there = by_panel[hinge.panel], by_panel[hinge.other]
            for one, other in _pairs_over(hinge, here, there, patch_gap_mm):
                if one.id != other.id and not (_are_patches(one, other) and one.photo == other.photo):
                    near.setdefault(one.id, set()).add(other.id)
                    near.setdefault(other.id, set()).add(one.id)
    return {mark: frozenset(others) for mark, others in near.items()}


def _are_patches(one: Mark, other: Mark) -> bool:
    return one.kind is other.kind is MarkKind.PATCH


def _patches_of(ground: Ground) -> NDArray[np.intp]:
    return np.flatnonzero([m.mark.kind is MarkKind.PATCH for m in ground.marks])


def _pairs_on(ground: Ground, patch_gap_mm: float) -> list[tuple[int, int]]:
    """Pairs of one panel that touch: patches by their own gap."""
    pairs = [(int(i), int(j)) for i, j in ground.touching if i < j]
    if patch_gap_mm == TOUCHING_MM:
        return pairs
    patches = _patches_of(ground)
    near = patches[touching_pairs(ground.areas[patches], patch_gap_mm)]
    others = [(i, j) for i, j in pairs if not _are_patches(ground.marks[i].mark, ground.marks[j].mark)]
    return others + [(int(i), int(j)) for i, j in near]


def _pairs_over(hinge: Hinge, here: Ground, there: Ground, patch_gap_mm: float) -> list[tuple[Mark, Mark]]:
    """Pairs that touch over a fold: patches by their own gap."""
    found = touching_over(hinge, here.areas, there.areas)
    pairs = [(here.marks[i].mark, there.marks[j].mark) for i, j in found]
    if patch_gap_mm == TOUCHING_MM:
        return pairs
    mine, theirs = _patches_of(here), _patches_of(there)
    near = touching_over(hinge, here.areas[mine], there.areas[theirs], patch_gap_mm)
    patches = [(here.marks[mine[i]].mark, there.marks[theirs[j]].mark) for i, j in near]
    return [pair for pair in pairs if not _are_patches(*pair)] + patches


def _two_patches(ground: Ground, i: int, j: int) -> bool:
    """Tell two patches drawn side by side on one photo that meet from one seen twice."""
    one, other = ground.marks[i].mark, ground.marks[j].mark
    if not (one.kind is other.kind is MarkKind.PATCH and one.photo == other.photo):
        return False
    shared = shapely.intersection(ground.areas[i], ground.areas[j]).area
    return bool(shared <= OVERLAP_SHARE * min(ground.sizes[i], ground.sizes[j]))
