"""The raster of the whole picture: which pixel shows which millimetre of which panel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray
from corromap.template import BodyTemplate, Panel

__all__ = ["TILE_PX", "PictureSheet", "Window", "sheet_of"]

TILE_PX = 512
MARGIN_MM = (110.0, 230.0, 110.0, 190.0)
"""Left, top, right, bottom: room for title, sides and scale bar."""
MOST_PX = 60_000
"""Longest side; a JPEG holds 65 535."""


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the sheet's pixels.

    Parameters
    ----------
    x, y, width, height : int
        Left, top and size, px.
    """

    x: int
    y: int
    width: int
    height: int

    def grown(self, by: int) -> Window:
        """Widen it on every side.

        Parameters
        ----------
        by : int
            Pixels.

        Returns
        -------
        Window
            May reach beyond the sheet.
        """
        return Window(self.x - by, self.y - by, self.width + 2 * by, self.height + 2 * by)

    def common(self, other: Window) -> Window | None:
        """Cut it down to what another one has too.

        Parameters
        ----------
        other : Window
            The other.

        Returns
        -------
        Window or None
            None if they have no pixel in common.
        """
        x0, y0 = max(self.x, other.x), max(self.y, other.y)
        x1 = min(self.x + self.width, other.x + other.width)
        y1 = min(self.y + self.height, other.y + other.height)
        return Window(x0, y0, x1 - x0, y1 - y0) if x1 > x0 and y1 > y0 else None

    def within(self, outer: Window) -> tuple[slice, slice]:
        """Say which rows and columns of a larger window it is.

        Parameters
        ----------
        outer : Window
            Holds it whole.

        Returns
        -------
        rows, columns : slice
            Into an array of `outer`.
        """
        x, y = self.x - outer.x, self.y - outer.y
        return slice(y, y + self.height), slice(x, x + self.width)


@dataclass(frozen=True, slots=True, eq=False)
class PictureSheet:
    """The whole picture's raster: the flat map of the body at a scale.

    Parameters
    ----------
    width_px, height_px : int
        Of the whole picture.
    mm_per_px : float
        Scale, the same everywhere.
    corner_mm : ndarray of float64, shape (2,)
        Map position of the outer corner of the top-left pixel.
    """

    width_px: int
    height_px: int
    mm_per_px: float
    corner_mm: FloatArray

    def to_px(self, panel: Panel, uv_mm: FloatArray) -> FloatArray:
        """Carry panel millimetres to pixels of the sheet.

        Parameters
        ----------
        panel : Panel
            The panel.
        uv_mm : ndarray of float64, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            The centre of the top-left pixel is (0, 0).
        """
        return np.asarray((panel.map_frame.to_map(uv_mm) - self.corner_mm) / self.mm_per_px - 0.5)

    def to_uv(self, panel: Panel, xy_px: FloatArray) -> FloatArray:
        """Carry pixels of the sheet to panel millimetres.

        Parameters
        ----------
        panel : Panel
            The panel.
        xy_px : ndarray of float64, shape (N, 2)
            Pixels of the sheet.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Panel millimetres, also off the panel.
        """
        frame = panel.map_frame
        away = (xy_px + 0.5) * self.mm_per_px + self.corner_mm - frame.origin_mm
        return np.stack([away @ frame.u_axis, away @ frame.v_axis], axis=1)

    def tiles(self) -> Iterator[Window]:
        """Walk over the tiles, row by row; those at the edge are smaller.

        Yields
        ------
        Window
            At most `TILE_PX` square.
        """
        for y in range(0, self.height_px, TILE_PX):
            for x in range(0, self.width_px, TILE_PX):
                yield Window(x, y, min(TILE_PX, self.width_px - x), min(TILE_PX, self.height_px - y))


def sheet_of(template: BodyTemplate, mm_per_px: float) -> PictureSheet:
    """Lay the flat map of a body out in pixels.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    mm_per_px : float
        Scale.

    Returns
    -------
    PictureSheet
        Seen from below, front at the top, with room around.

    Raises
    ------
    InvalidValueError
        If the scale is not positive or the picture would be too large.
    """
    corners = np.concatenate([panel.map_frame.to_map(panel.outline.exterior_mm) for panel in template.panels])
    low, high = corners.min(axis=0) - MARGIN_MM[:2], corners.max(axis=0) + MARGIN_MM[2:]
    if not mm_per_px > 0 or max(high - low) / mm_per_px > MOST_PX:
        raise InvalidValueError(
            f"whole picture: {mm_per_px} mm per pixel cannot be drawn; the longest side may have {MOST_PX} px"
        )
    width, height = np.ceil((high - low) / mm_per_px).astype(int)
    return PictureSheet(int(width), int(height), mm_per_px, np.asarray(low))
