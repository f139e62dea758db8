"""Photos laid out on a panel: colours at panel points, at whole windows of a sheet, and how fine a photo is needed."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.evidence.quality import RgbArray
from corromap.evidence.sheet import PictureSheet, Window
from corromap.frames import FloatArray, PhotoId
from corromap.registration.result import Registration
from corromap.template import Panel

__all__ = ["LoadPhoto", "lattice_uv", "rectify", "rectify_window", "reduce_for", "spread"]

LoadPhoto = Callable[[PhotoId, int], RgbArray]
"""Gives a photo's upright pixels, reduced by a power of two; may be called from two threads at once."""

MAP_STEP_PX = 8
"""Where a pixel lies in a photo is worked out on every 8th pixel of the sheet and interpolated between. Ours."""
MOST_BEND_PX = 0.05
"""... as long as points halfway between every 16th, interpolated, are this near, px of the reduced photo. Ours."""


def rectify(
    rgb: RgbArray, registration: Registration, uv_mm: FloatArray, reduce: int = 1, *, repeat_edge: bool = True
) -> NDArray[np.float32]:
    """Look up the colours of panel points in a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, reduced by `reduce`.
    registration : Registration
        Its place on the panel.
    uv_mm : ndarray of float64, shape (H, W, 2)
        Panel millimetres.
    reduce : int
        As in ``io.photos.decode``.
    repeat_edge : bool
        Repeat the photo's edge outside its frame; else it is black there.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        Bilinear.
    """
    mode = cv2.BORDER_REPLICATE if repeat_edge else cv2.BORDER_CONSTANT
    at = _mappable(_reduced_px(registration, uv_mm, reduce))
    found = cv2.remap(rgb, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=mode)
    return np.asarray(found, dtype=np.float32)


def rectify_window(  # noqa: PLR0913  a photo, its place, and a place on a sheet
    rgb: RgbArray, registration: Registration, sheet: PictureSheet, panel: Panel, window: Window, *, reduce: int
) -> RgbArray:
    """Look up the colours of a rectangle of a sheet in a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, reduced by `reduce`; its edge is repeated outside.
    registration : Registration
        Its place on the panel.
    sheet : PictureSheet
        The raster.
    panel : Panel
        The panel.
    window : Window
        The rectangle.
    reduce : int
        As in ``io.photos.decode``.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        Bilinear, each pixel's place within 0.05 px of the reduced photo.
    """
    coarse = _reduced_px(registration, lattice_uv(sheet, panel, window, MAP_STEP_PX), reduce)
    if _straight(coarse):
        at = spread(coarse, window, MAP_STEP_PX)
    else:
        at = _mappable(_reduced_px(registration, _uv(sheet, panel, window, 1), reduce))
    found = cv2.remap(rgb, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, dtype=np.uint8)


def _reduced_px(registration: Registration, uv_mm: FloatArray, reduce: int) -> FloatArray:
    xy = registration.to_px(uv_mm.reshape(-1, 2))
    return np.asarray((xy - (reduce - 1) / 2) / reduce).reshape(uv_mm.shape)


def _mappable(xy_px: FloatArray) -> NDArray[np.float32]:
    return np.nan_to_num(xy_px, nan=-1e4).clip(-1e4, 3e4).astype(np.float32)


def _straight(xy_px: FloatArray) -> bool:
    """Whether every other point of a lattice tells those between; the whole lattice errs by a quarter of that."""
    odd = xy_px[: (len(xy_px) - 1) // 2 * 2 + 1, : (xy_px.shape[1] - 1) // 2 * 2 + 1]
    every = odd[::2, ::2]
    across, along = (every[:, :-1] + every[:, 1:]) / 2, (every[:-1] + every[1:]) / 2
    middle = (across[:-1] + across[1:]) / 2
    apart = (across - odd[::2, 1::2], along - odd[1::2, ::2], middle - odd[1::2, 1::2])
    # written so that NaN, behind the camera, is not straight
    return all(bool((np.abs(one) < MOST_BEND_PX).all()) for one in apart) and bool((np.abs(xy_px) < 3e4).all())


def _uv(sheet: PictureSheet, panel: Panel, window: Window, step: int) -> FloatArray:
    """Panel millimetres of every `step`-th block's middle, shape (H, W, 2)."""
    xs = window.x + (step - 1) / 2 + np.arange(0, window.width, step, dtype=np.float64)
    ys = window.y + (step - 1) / 2 + np.arange(0, window.height, step, dtype=np.float64)
    xy = np.stack(np.meshgrid(xs, ys), axis=-1)
    return sheet.to_uv(panel, xy.reshape(-1, 2)).reshape(xy.shape)


def lattice_uv(sheet: PictureSheet, panel: Panel, window: Window, step: int) -> FloatArray:
    """Panel millimetres on a lattice of the sheet that reaches around a window.

    Parameters
    ----------
    sheet : PictureSheet
        The raster.
    panel : Panel
        The panel.
    window : Window
        A rectangle of the sheet.
    step : int
        Pixels from point to point. The points are the same whatever the
        window, so that windows side by side agree.

    Returns
    -------
    ndarray of float64, shape (rows, columns, 2)
        For `spread`; at least three points a side.
    """
    return _uv(sheet, panel, _around(window, step), step)


def spread(values: FloatArray, window: Window, step: int) -> NDArray[np.float32]:
    """Bring values on a lattice to all pixels of a window, bilinear.

    Parameters
    ----------
    values : ndarray of float64, shape (rows, columns, ...)
        At the points of `lattice_uv` with the same window and step.
    window : Window
        The window.
    step : int
        Pixels from point to point.

    Returns
    -------
    ndarray of float32, shape (height, width, ...)
        One for each pixel.
    """
    around = _around(window, step)
    fine = cv2.resize(
        np.asarray(values, dtype=np.float32), (around.width, around.height), interpolation=cv2.INTER_LINEAR
    )
    return np.asarray(fine[window.within(around)], dtype=np.float32)


def _around(window: Window, step: int) -> Window:
    """Whole blocks around a window and one more on every side."""
    x0, y0 = window.x // step * step - step, window.y // step * step - step
    x1, y1 = (-(-end // step) * step + step for end in (window.x + window.width, window.y + window.height))
    return Window(x0, y0, x1 - x0, y1 - y0)


def reduce_for(registration: Registration, area: MultiPolygon, mm_per_px: float) -> int:
    """Find how far a photo can be reduced and still have the detail a picture needs.

    Parameters
    ----------
    registration : Registration
        The photo's place on the panel.
    area : shapely.MultiPolygon
        What is to be drawn, panel millimetres.
    mm_per_px : float
        Scale of the picture.

    Returns
    -------
    int
        1, 2, 4 or 8: decoding finer would only cost time and memory.
    """
    points = shapely.get_coordinates(shapely.segmentize(area.envelope, 200.0))
    inside = points[shapely.intersects_xy(area.buffer(1.0), points[:, 0], points[:, 1])]
    centre = np.array([[area.representative_point().x, area.representative_point().y]])
    detail = registration.detail(registration.to_px(np.concatenate([inside, centre])))
    finest = float(np.nanmin(detail)) if np.isfinite(detail).any() else mm_per_px
    return int(2 ** np.clip(np.floor(np.log2(max(mm_per_px / finest, 1.0))), 0, 3))
