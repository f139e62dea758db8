"""Which panel a ray of a photo meets first."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, CameraPose
from corromap.registration.lens import Lens
from corromap.template import BodyTemplate

__all__ = ["EDGE_ON_MM", "first_panels"]

EDGE_ON_MM = 1e-3
"""An eye so near to a panel's plane sees nothing of it."""

NEAR_EDGE_MM = 0.5
"""A ray this near to an edge hits either panel."""


def first_panels(
    pose: CameraPose, lens: Lens, px: FloatArray, template: BodyTemplate
) -> tuple[NDArray[np.int64], FloatArray]:
    """Find what pixels of a photo show.

    Parameters
    ----------
    pose : CameraPose
        Where it was taken from.
    lens : Lens
        Its lens.
    px : ndarray of float64, shape (N, 2)
        Pixels of the photo.
    template : BodyTemplate
        The body.

    Returns
    -------
    index : ndarray of int64, shape (N,)
        Of the panel in the template; -1 where the first thing met is the back of
        a panel, or nothing.
    at_mm : ndarray of float64, shape (N, 2)
        Where on it; NaN without a panel.
    """
    rays = np.column_stack([(lens.undistort(px) - lens.centre_px) / pose.focal_px, np.ones(len(px))])
    index = np.full(len(px), -1, dtype=np.int64)
    at_mm, nearest = np.full((len(px), 2), np.nan), np.full(len(px), np.inf)
    for number, panel in enumerate(template.panels):
        if abs(float((pose.eye_mm - panel.place.origin_mm) @ panel.place.normal)) < EDGE_ON_MM:
            continue  # seen as a line, it stands in nothing's way
        met = rays @ np.linalg.inv(pose.plane(panel.place)).T
        ahead = met[:, 2] > 1e-9
        depth = np.where(ahead, 1.0 / np.where(ahead, met[:, 2], 1.0), np.inf)
        here = ahead & (depth > NEAREST_MM) & (depth < nearest)
        if not here.any():
            continue
        uv = met[:, :2] * np.where(ahead, depth, 0.0)[:, None]
        area = panel.outline.polygon
        here[here] = shapely.dwithin(area, shapely.points(uv[here]), NEAR_EDGE_MM)
        is_front = float((pose.eye_mm - panel.place.origin_mm) @ panel.place.normal) * panel.facing > 0
        nearest[here] = depth[here]
        index[here] = number if is_front else -1
        at_mm[here] = uv[here] if is_front else np.nan
    return index, at_mm
