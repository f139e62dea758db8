"""A welder's drawing at true size, cut into pages that overlap.

Every page has the same ruler of 100 mm, crosses that lie on each other when
two pages are joined, and a frame that shows where the page ends.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import shapely
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from corromap.report.language import tr
from corromap.report.palette import INK, STEEL
from corromap.report.svg import element, text_element
from corromap.report.welder_drawing import ZoneDrawing
from corromap.report.welder_items import Layer, Line
from corromap.report.welder_svg import items_markup

__all__ = ["PAPER_MM", "RULER_MM", "Tile", "tiles_of"]

PAPER_MM: Mapping[str, tuple[float, float]] = MappingProxyType({"A4": (210.0, 297.0), "Letter": (215.9, 279.4)})
"""Width and height, upright: ISO 216; 8.5 x 11 inches."""

BORDER_MM, FOOT_MM, OVERLAP_MM, ROOM_MM = 10.0, 14.0, 10.0, 8.0
"""Edge no printer reaches; strip for the ruler; overlap of pages; room around the pieces. Ours."""

RULER_MM = 100.0
_CROSS_MM = 4.0
_FONT = "Noto Sans, DejaVu Sans, sans-serif"


@dataclass(frozen=True, slots=True)
class Tile:
    """One page of a drawing at true size.

    Parameters
    ----------
    svg : str
        The whole page, one unit one millimetre of the paper.
    width_mm, height_mm : float
        Of the paper.
    row, column : int
        Of this page, from 1.
    rows, columns : int
        Of all; pages with nothing to cut are left out.
    window : tuple of float
        What it shows, in the drawing's millimetres: left, bottom, right, top.
    """

    svg: str
    width_mm: float
    height_mm: float
    row: int
    column: int
    rows: int
    columns: int
    window: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class _Grid:
    """How a drawing is laid on pages of one size."""

    width_mm: float
    height_mm: float
    left: float
    top: float
    columns: int
    rows: int

    @property
    def window(self) -> tuple[float, float]:
        """Width and height of what a page shows."""
        return self.width_mm - 2 * BORDER_MM, self.height_mm - 2 * BORDER_MM - FOOT_MM

    def shown(self, row: int, column: int) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of a page's window in the drawing; from 0."""
        width, height = self.window
        left, top = self.left + column * (width - OVERLAP_MM), self.top - row * (height - OVERLAP_MM)
        return left, top - height, left + width, top


def tiles_of(drawing: ZoneDrawing, paper: str) -> tuple[Tile, ...]:
    """Cut a drawing into pages at true size.

    Parameters
    ----------
    drawing : ZoneDrawing
        With figures of a size for paper.
    paper : str
        ``A4`` or ``Letter``; laid upright or across, whichever takes fewer
        pages.

    Returns
    -------
    tuple of Tile
        Row by row; those without a cut line or flange are left out.
    """
    cut = shapely.union_all([box(*piece) for piece in _pieces(drawing)])
    width, height = PAPER_MM[paper]
    grids = [_grid(cut, width, height), _grid(cut, height, width)]
    pages = [[at for at in _places(grid) if box(*grid.shown(*at)).intersects(cut)] for grid in grids]
    chosen = min((0, 1), key=lambda i: len(pages[i]))
    return tuple(_tile(drawing, grids[chosen], at) for at in pages[chosen])


def _pieces(drawing: ZoneDrawing) -> Iterator[tuple[float, float, float, float]]:
    """Boxes around cut lines and flanges."""
    for item in drawing.items:
        if isinstance(item, Line) and item.layer in {Layer.CUT, Layer.FLANGE}:
            low, high = item.points.min(axis=0) - 1.0, item.points.max(axis=0) + 1.0
            yield float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _grid(cut: BaseGeometry, width_mm: float, height_mm: float) -> _Grid:
    left, bottom, right, top = cut.bounds
    left, bottom, right, top = left - ROOM_MM, bottom - ROOM_MM, right + ROOM_MM, top + ROOM_MM
    window = width_mm - 2 * BORDER_MM, height_mm - 2 * BORDER_MM - FOOT_MM
    counts = [
        max(1, math.ceil((size - OVERLAP_MM) / (room - OVERLAP_MM) - 1e-9))
        for size, room in zip((right - left, top - bottom), window, strict=True)
    ]
    return _Grid(width_mm, height_mm, left, top, *counts)


def _places(grid: _Grid) -> Iterator[tuple[int, int]]:
    return ((row, column) for row in range(grid.rows) for column in range(grid.columns))


def _tile(drawing: ZoneDrawing, grid: _Grid, at: tuple[int, int]) -> Tile:
    row, column = at
    left, bottom, right, top = window = grid.shown(row, column)
    frame = {"x": BORDER_MM, "y": BORDER_MM, "width": right - left, "height": top - bottom}
    moved = f"translate({BORDER_MM - left:.4f} {BORDER_MM + top:.4f})"
    clip = f"page-{row}-{column}"
    svg = element(
        "svg",
        element("clipPath", element("rect", **frame), id=clip),
        element("rect", x=0, y=0, width=grid.width_mm, height=grid.height_mm, fill="#ffffff"),
        element(
            "g", element("g", items_markup(drawing.items, drawing.text_mm), transform=moved), clip_path=f"url(#{clip})"
        ),
        element("rect", **frame, fill="none", stroke=STEEL, stroke_width=0.2),
        _crosses(grid, at),
        _foot(drawing, grid, at),
        xmlns="http://www.w3.org/2000/svg",
        width=f"{grid.width_mm}mm",
        height=f"{grid.height_mm}mm",
        viewBox=f"0 0 {grid.width_mm} {grid.height_mm}",
    )
    return Tile(svg, grid.width_mm, grid.height_mm, row + 1, column + 1, grid.rows, grid.columns, window)


def _crosses(grid: _Grid, at: tuple[int, int]) -> str:
    """Draw crosses in the middle of each overlap with a neighbour: both pages draw them at the same place."""
    row, column = at
    width, height = grid.window
    half = OVERLAP_MM / 2
    beside = [x for x, has in ((half, column > 0), (width - half, column + 1 < grid.columns)) if has]
    below = [y for y, has in ((half, row > 0), (height - half, row + 1 < grid.rows)) if has]
    places = [(x, height * part) for x in beside for part in (0.25, 0.75)]
    places += [(width * part, y) for y in below for part in (0.25, 0.75)]
    line = "".join(
        f"M{BORDER_MM + x - _CROSS_MM:.3f} {BORDER_MM + y:.3f}h{2 * _CROSS_MM}"
        f"M{BORDER_MM + x:.3f} {BORDER_MM + y - _CROSS_MM:.3f}v{2 * _CROSS_MM}"
        for x, y in places
    )
    return element("path", d=line, stroke=INK, stroke_width=0.15, fill="none", data_layer="CROSS") if places else ""


def _foot(drawing: ZoneDrawing, grid: _Grid, at: tuple[int, int]) -> str:
    """Draw the ruler, and say which page this is."""
    y = grid.height_mm - BORDER_MM - 3.0
    ticks = "".join(f"M{BORDER_MM + 10 * i:.1f} {y:.1f}v{-3.0 if i % 5 == 0 else -1.8:.1f}" for i in range(11))
    ruler = element(
        "path",
        d=f"M{BORDER_MM} {y}h{RULER_MM}{ticks}",
        stroke=INK,
        stroke_width=0.3,
        fill="none",
        data_layer="RULER",
    )
    said = (
        tr("100 mm: check with a rule before you cut. Print at 100 % (actual size), do not fit to the page."),
        tr(
            "{zone}: page {row}.{column} of {rows} rows and {columns} columns, true size",
            zone=drawing.title,
            row=at[0] + 1,
            column=at[1] + 1,
            rows=grid.rows,
            columns=grid.columns,
        ),
    )
    texts = (
        text_element(said[0], BORDER_MM + RULER_MM + 3, y, font_size=2.2, font_family=_FONT, fill=INK)
        if grid.width_mm > grid.height_mm
        else text_element(said[0], BORDER_MM, y + 3.2, font_size=2.2, font_family=_FONT, fill=INK),
        text_element(said[1], BORDER_MM, y - 5.2, font_size=2.8, font_family=_FONT, fill=INK),
    )
    return ruler + "".join(texts)
