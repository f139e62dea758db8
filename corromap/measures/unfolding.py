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
                    motion = _lay_flat(here, there, edge)
                    found[here.id].append(Hinge(here.id, there.id, edge.edge_mm, edge.other_edge_mm, motion))
    return {panel: tuple(hinges) for panel, hinges in found.items()}


def _same(hinge: Hinge, there: Panel, edge: Fold) -> bool:
    if hinge.other != there.id:
        return False
    ends = (edge.edge_mm, edge.edge_mm[::-1])
    return any(np.allclose(hinge.edge_mm, e, atol=1.0) for e in ends)


def _lay_flat(here: Panel, there: Panel, fold: Fold) -> Rigid:
    """Motion that brings the edge onto the other's and `here` to its far side."""
    along, other_along = (_unit(e[1] - e[0]) for e in (fold.edge_mm, fold.other_edge_mm))
    side, other_side = _inside(here, fold.edge_mm), _inside(there, fold.other_edge_mm)
    across = side * np.array([-along[1], along[0]])  # into `here`
    other_across = -other_side * np.array([-other_along[1], other_along[0]])  # away from `there`
    rotation = np.outer(other_along, along) + np.outer(other_across, across)
    middle, other_middle = fold.edge_mm.mean(axis=0), fold.other_edge_mm.mean(axis=0)
    return Rigid(rotation, other_middle - rotation @ middle)


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / np.hypot(*vector), dtype=np.float64)


def _inside(panel: Panel, edge_mm: FloatArray) -> int:
    """+1 if the panel lies to the left of its edge, -1 if to the right.

    A fold in the middle of a panel has it on both sides; the panel's
    own middle then decides.
    """
    along = _unit(edge_mm[1] - edge_mm[0])
    normal = np.array([-along[1], along[0]])
    middle = edge_mm.mean(axis=0)
    polygon = panel.outline.polygon
    left, right = (bool(shapely.contains_xy(polygon, *(middle + s * STEP_MM * normal))) for s in (1, -1))
    if left != right:
        return 1 if left else -1
    centre = np.array([polygon.centroid.x, polygon.centroid.y])
    return 1 if (centre - middle) @ normal >= 0 else -1
