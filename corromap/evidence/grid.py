"""A panel cut into square cells: what every question about evidence is asked on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray
from corromap.template import Panel

__all__ = ["PanelGrid", "grid_of"]

MOST_CELLS = 4_000_000


@dataclass(frozen=True, eq=False)
class PanelGrid:
    """The cells of one panel whose centres belong to one of its zones.

    Parameters
    ----------
    panel : Panel
        The panel.
    step_mm : float
        Side of a cell.
    uv_mm : ndarray of float64, shape (N, 2)
        Centres of the cells.
    zone : ndarray of int, shape (N,)
        Index into ``panel.zones``.
    """

    panel: Panel
    step_mm: float
    uv_mm: FloatArray
    zone: NDArray[np.intp]

    @property
    def cell_mm2(self) -> float:
        """Area of a cell, mm2."""
        return self.step_mm**2

    @cached_property
    def car_mm(self) -> FloatArray:
        """Centres in the car frame, shape (N, 3), mm."""
        return self.panel.place.to_car(self.uv_mm)

    def inside(self, area: BaseGeometry) -> NDArray[np.bool_]:
        """Whether the centres lie in an area.

        Parameters
        ----------
        area : shapely geometry
            Panel millimetres.

        Returns
        -------
        ndarray of bool, shape (N,)
            True inside.
        """
        found = np.zeros(len(self.uv_mm), dtype=bool)
        if area.is_empty:
            return found
        low_u, low_v, high_u, high_v = area.bounds
        u, v = self.uv_mm.T
        near = np.flatnonzero((u >= low_u) & (u <= high_u) & (v >= low_v) & (v <= high_v))
        found[near] = shapely.contains_xy(area, u[near], v[near])
        return found


def grid_of(panel: Panel, step_mm: float) -> PanelGrid:
    """Cut a panel into cells.

    Parameters
    ----------
    panel : Panel
        The panel.
    step_mm : float
        Side of a cell, mm.

    Returns
    -------
    PanelGrid
        Cells in no zone are left out.

    Raises
    ------
    InvalidValueError
        If the step is not positive or would give more than four million cells.
    """
    low_u, low_v, high_u, high_v = panel.outline.polygon.bounds
    if not step_mm > 0 or (high_u - low_u) * (high_v - low_v) / step_mm**2 > MOST_CELLS:
        raise InvalidValueError(f"grid of panel '{panel.id}': step of {step_mm} mm is not usable")
    us = np.arange(low_u + step_mm / 2, high_u, step_mm)
    vs = np.arange(low_v + step_mm / 2, high_v, step_mm)
    uv = np.stack(np.meshgrid(us, vs), axis=-1).reshape(-1, 2)
    zone = np.full(len(uv), -1, dtype=np.intp)
    for index, item in enumerate(panel.zones):
        zone[np.asarray(shapely.contains_xy(item.outline.polygon, uv[:, 0], uv[:, 1]))] = index
    return PanelGrid(panel, step_mm, uv[zone >= 0], zone[zone >= 0])
