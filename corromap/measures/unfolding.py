"""Panels unfolded into one plane along their folds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from corromap.frames import FloatArray, PanelId
from corromap.template import BodyTemplate, Fold, Panel

__all__ = ["Hinge", "Rigid", "hinges_of"]

STEP_MM = 0.5
"""How far beside a fold the panel's inside is looked for."""


@dataclass(frozen=True, slots=True, eq=False)
class Rigid:
    """A rigid motion of the plane, possibly mirrored: y = x R^T + t.

    Parameters
    ----------
    rotation : ndarray of float64, shape (2, 2)
        Orthogonal.
    shift_mm : ndarray of float64, shape (2,)
        Added afterwards.
    """

    rotation: FloatArray
    shift_mm: FloatArray

    def __call__(self, xy_mm: FloatArray) -> FloatArray:
        """Move points.

        Parameters
        ----------
        xy_mm : ndarray of float64, shape (N, 2)
            Points.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Moved points.
        """
        return np.asarray(xy_mm @ self.rotation.T + self.shift_mm, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Hinge:
    """A fold with the motion that lays its first panel flat beside the second.

    Parameters
    ----------
    panel, other : PanelId
        The panels on either side.
    edge_mm, other_edge_mm : ndarray of float64, shape (2, 2)
        The fold on each.
    to_other : Rigid
        From the first panel's frame to the second's, the first lying beyond
        the fold.
    """

    panel: PanelId
    other: PanelId
    edge_mm: FloatArray
    other_edge_mm: FloatArray
    to_other: Rigid


@lru_cache(maxsize=8)
def hinges_of(template: BodyTemplate) -> dict[PanelId, tuple[Hinge, ...]]:
    """Every fold of a template, from both of its sides.

    Parameters
    ----------
    template : BodyTemplate
        The body; a fold may be written on one panel or on both.

    Returns
    -------
    dict of PanelId to tuple of Hinge
        Hinges that lead away from each panel. Kept for the last few
        templates; not to be written to.
    """
    found: dict[PanelId, list[Hinge]] = {panel.id: [] for panel in template.panels}
    for panel in template.panels:
        for fold in panel.folds:
            other = template.panel(fold.other)
            back = Fold(panel.id, fold.other_edge_mm, fold.edge_mm)
            for here, there, edge in ((panel, other, fold), (other, panel, back)):
                if not any(_same(h, there, edge) for h in found[here.id]):
                    found[here.id] += _hinges(here, there, edge)
    return {panel: tuple(hinges) for panel, hinges in found.items()}


def _same(hinge: Hinge, there: Panel, edge: Fold) -> bool:
    if hinge.other != there.id:
        return False
    ends = (edge.edge_mm, edge.edge_mm[::-1])
    return any(np.allclose(hinge.edge_mm, e, atol=1.0) for e in ends)


def _hinges(here: Panel, there: Panel, fold: Fold) -> list[Hinge]:
    """One hinge, or two where a panel runs on past the fold on both sides (a T).

    Of the two, one lays either half of the panel that runs on beyond the fold.
    """
    turns = sorted({a * b for a in _sides(here, fold.edge_mm) for b in _sides(there, fold.other_edge_mm)})
    motions = [_lay_flat(fold, turn) for turn in turns]
    return [Hinge(here.id, there.id, fold.edge_mm, fold.other_edge_mm, motion) for motion in motions]


def _lay_flat(fold: Fold, turn: int) -> Rigid:
    """Motion that brings the edge onto the other's and the first panel to its far side."""
    along, other_along = (_unit(e[1] - e[0]) for e in (fold.edge_mm, fold.other_edge_mm))
    across = np.array([-along[1], along[0]])
    other_across = -turn * np.array([-other_along[1], other_along[0]])
    rotation = np.outer(other_along, along) + np.outer(other_across, across)
    middle, other_middle = fold.edge_mm.mean(axis=0), fold.other_edge_mm.mean(axis=0)
    return Rigid(rotation, other_middle - rotation @ middle)


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.hypot(*vector), dtype=np.float64)


def _sides(panel: Panel, edge_mm: FloatArray) -> tuple[int, ...]:
    """Sides of its edge a panel lies on: 1 left, -1 right; both in the middle of it."""
    along = _unit(edge_mm[1] - edge_mm[0])
    normal = np.array([-along[1], along[0]])
    middle = edge_mm.mean(axis=0)
    polygon = panel.outline.polygon
    found = tuple(s for s in (1, -1) if shapely.contains_xy(polygon, *(middle + s * STEP_MM * normal)))
    return found or (1, -1)
