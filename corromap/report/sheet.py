"""The sheet a map is drawn on: where each panel comes to lie, in drawing units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray, PanelId
from corromap.template import BodyTemplate

__all__ = ["MapSheet", "lay_out"]

MARGIN_TOP = 84.0
MARGIN_SIDE = 34.0
MARGIN_BOTTOM = 46.0

UPRIGHT = np.array([[1.0, 0.0], [0.0, 1.0]])
# Front to the left: up becomes left, right becomes up. The car's left, on the
# right when seen from below, comes to lie at the top.
TURNED = np.array([[0.0, 1.0], [-1.0, 0.0]])


@dataclass(frozen=True, eq=False)
class MapSheet:
    """Where everything lies on the drawing.

    Parameters
    ----------
    width, height : float
        Of the sheet without its legend, drawing units (CSS px at full size).
    px_per_mm : float
        Scale of the drawing.
    panels : mapping of PanelId to ndarray, shape (2, 3)
        Affine map from a panel's (u, v) in mm to drawing units.
    body : tuple of float
        Left, top, right, bottom of all panels, drawing units.
    is_turned : bool
        Front to the left instead of to the top.
    """

    width: float
    height: float
    px_per_mm: float
    panels: Mapping[PanelId, FloatArray]
    body: tuple[float, float, float, float]
    is_turned: bool

    def at(self, panel: PanelId, uv_mm: FloatArray) -> tuple[float, float]:
        """Carry one point of a panel to the drawing.

        Parameters
        ----------
        panel : PanelId
            Its panel.
        uv_mm : ndarray of float64, shape (2,)
            The point, mm.

        Returns
        -------
        tuple of float
            x, y in drawing units.
        """
        matrix = self.panels[panel]
        x, y = matrix[:, :2] @ uv_mm + matrix[:, 2]
        return float(x), float(y)


def lay_out(template: BodyTemplate, *, width: float, turn: bool) -> MapSheet:
    """Fit all panels of a template on a sheet.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    width : float
        Of the sheet, drawing units.
    turn : bool
        Lay the front to the left, for wide screens.

    Returns
    -------
    MapSheet
        The layout.
    """
    rotation = TURNED if turn else UPRIGHT
    corners = np.concatenate([p.map_frame.to_map(p.outline.exterior_mm) @ rotation.T for p in template.panels])
    low, high = corners.min(axis=0), corners.max(axis=0)
    scale = (width - 2 * MARGIN_SIDE) / float(high[0] - low[0])
    shift = np.array([MARGIN_SIDE, MARGIN_TOP]) - scale * low
    panels = {}
    for panel in template.panels:
        frame = panel.map_frame
        axes = scale * rotation @ np.stack([frame.u_axis, frame.v_axis], axis=1)
        panels[panel.id] = np.column_stack([axes, scale * rotation @ frame.origin_mm + shift])
    bottom = MARGIN_TOP + scale * float(high[1] - low[1])
    return MapSheet(
        width=width,
        height=bottom + MARGIN_BOTTOM,
        px_per_mm=scale,
        panels=panels,
        body=(MARGIN_SIDE, MARGIN_TOP, width - MARGIN_SIDE, bottom),
        is_turned=turn,
    )
