"""How far the real sheet stands off the panel's plane: ribs, waviness, plates."""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import PanelId
from corromap.survey import MarkKind
from corromap.template import FeatureKind, Panel
from tools.truth_bench.scene import Scene

__all__ = ["CELL_MM", "PLATE_MM", "RIB_MM", "WAVE_MM", "Relief"]

Array = NDArray[np.float64]

RIB_MM, RIB_WIDTH_MM = 7.0, 14.0
"""Height of a pressed rib and standard deviation of its section: common practice."""

WAVE_MM = 2.0
"""Standard deviation of the waviness of a used floor: common practice."""

PLATE_MM = 1.5
"""Sheet of a patch."""

CELL_MM = 4.0


class Relief:
    """Height of every panel of a scene, towards the viewer, on a grid.

    Parameters
    ----------
    scene : Scene
        The car.
    """

    def __init__(self, scene: Scene) -> None:
        self._scene = scene
        self._grids: dict[PanelId, tuple[Array, Array]] = {}

    def height_mm(self, panel: Panel, uv_mm: Array) -> Array:
        """Height above the plane, towards the viewer.

        Parameters
        ----------
        panel : Panel
            The panel.
        uv_mm : ndarray of float64, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N,)
            mm.
        """
        low, grid = self.grid(panel)
        at = np.clip((uv_mm - low) / CELL_MM, 0, np.array(grid.shape)[::-1] - 1.001)
        i, f = at.astype(int), at % 1.0
        x, y = i.T
        fx, fy = f.T
        top = grid[y, x] * (1 - fx) + grid[y, x + 1] * fx
        bottom = grid[y + 1, x] * (1 - fx) + grid[y + 1, x + 1] * fx
        return np.asarray(top * (1 - fy) + bottom * fy)

    def grid(self, panel: Panel) -> tuple[Array, Array]:
        """Heights at grid corners.

        Parameters
        ----------
        panel : Panel
            The panel.

        Returns
        -------
        low_mm : ndarray of float64, shape (2,)
            (u, v) of the first corner.
        heights : ndarray of float64, shape (rows, columns)
            Every `CELL_MM`; v along the rows.
        """
        if panel.id not in self._grids:
            self._grids[panel.id] = self._made(panel)
        return self._grids[panel.id]

    def _made(self, panel: Panel) -> tuple[Array, Array]:
        bounds = np.array(panel.outline.polygon.bounds).reshape(2, 2)
        low = bounds[0] - 2 * CELL_MM
        cols, rows = np.ceil((bounds[1] - low) / CELL_MM).astype(int) + 3
        u, v = np.meshgrid(low[0] + CELL_MM * np.arange(cols), low[1] + CELL_MM * np.arange(rows))
        number = [p.id for p in self._scene.template.panels].index(panel.id)
        rng = np.random.default_rng([self._scene.seed, 7, number])
        coarse = rng.standard_normal((rows // 45 + 4, cols // 45 + 4))
        wave = cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_CUBIC)
        height = WAVE_MM * wave / max(float(wave.std()), 0.2)
        points = shapely.points(u.ravel(), v.ravel())
        ribs = [shapely.LineString(f.line_mm) for f in panel.features if f.kind is FeatureKind.RIB]
        if ribs:
            away = shapely.distance(shapely.MultiLineString(ribs), points).reshape(rows, cols)
            height = height + RIB_MM * np.exp(-0.5 * (away / RIB_WIDTH_MM) ** 2)
        for mark in self._scene.marks:
            if mark.panel == panel.id and mark.kind is MarkKind.PATCH:
                height = height + PLATE_MM * shapely.contains_xy(mark.area, u, v)
        return low, np.asarray(height, dtype=np.float64)
