"""Sketches of what each datum shape looks like on a real car, with the point to click."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from corromap.report.palette import ACCENT, INK, PANEL, PAPER, STEEL
from corromap.report.svg import element, plain
from corromap.template import DatumShape

__all__ = ["DATUM_SKETCHES", "datum_sketch_svg"]

WIDTH, HEIGHT = 120, 90


@dataclass(frozen=True, slots=True)
class Sketch:
    """Line work of one shape in a box of 120 x 90.

    Parameters
    ----------
    sheet : str
        Path of the sheet metal, filled.
    edges : str
        Path of edges, heavy lines.
    shade : str
        Path of shading and spot welds, light lines.
    point : tuple of float
        Where to click.
    words : str
        The sketch in words.
    dark : str
        Path of openings, filled dark.
    """

    sheet: str
    edges: str
    shade: str
    point: tuple[float, float]
    words: str
    dark: str = ""


_PLATE = "M14 24L96 14L110 68L24 80Z"

DATUM_SKETCHES: Mapping[DatumShape, Sketch] = MappingProxyType(
    {
        DatumShape.ROUND_HOLE: Sketch(
            sheet=_PLATE,
            edges="M41 47a20 17-6 1 0 40-3a20 17-6 1 0-40 3Z",
            shade="M45 53a17 14-6 0 0 32-3M20 70l8-1M26 74l12-1.5M98 22l4 16M92 20l3 12",
            point=(61, 45.5),
            words="A round hole in sheet metal; click its middle.",
            dark="M41 47a20 17-6 1 0 40-3a20 17-6 1 0-40 3Z",
        ),
        DatumShape.SLOT: Sketch(
            sheet=_PLATE,
            edges="M36 40L82 34A12 12 0 0 1 85 58L39 64A12 12 0 0 1 36 40Z",
            shade="M33 57a9 9 0 0 0 6 3.5L85 54.500a9 9 0 0 0 6-4M20 70l8-1M98 22l4 14",
            point=(60.5, 49),
            words="A slot, longer than wide, with round ends; click its middle.",
            dark="M36 40L82 34A12 12 0 0 1 85 58L39 64A12 12 0 0 1 36 40Z",
        ),
        DatumShape.PLATE_CORNER: Sketch(
            sheet="M6 16H114V80H6ZM52 12L112 8V46L58 52Z",
            edges="M112 8V46L58 52L52 12M58 52L58 57L112 51V46",
            shade="M66 44h.01M78 42.7h.01M90 41.3h.01M102 40h.01M59.5 18h.01M61.5 28h.01M63.2 37h.01M12 24v10M18 24v6",
            point=(58, 54),
            words="The corner of a plate that lies on another sheet; click the outer tip of the corner.",
        ),
        DatumShape.SEAM_END: Sketch(
            sheet="M8 20L112 12V70L8 78Z",
            edges="M8 42L74 37M8 50L74 45M74 37V45M112 12V70",
            shade="M16 45.4h.01M27 44.6h.01M38 43.7h.01M49 42.9h.01M60 42h.01M12 28l8-.6M12 33l5-.4M96 62l10-.8",
            point=(74, 41),
            words="The end of a seam where two sheets are joined; click the end of the raised edge.",
        ),
        DatumShape.SEAM_CROSSING: Sketch(
            sheet="M8 16L112 10V74L8 80Z",
            edges="M8 44L54 41.500M66 40.800L112 38M8 51L54 48.500M66 47.800L112 45"
            "M54 13.500L54 41.500M66 12.700V40.800M54 48.500V77.200M66 47.800V76.5",
            shade="M18 47h.01M30 46.3h.01M42 45.6h.01M78 43.5h.01M90 42.8h.01M102 42.1h.01"
            "M60 20h.01M60 31h.01M60 58h.01M60 69h.01",
            point=(60, 44.7),
            words="Two seams that cross; click the middle of the crossing.",
        ),
        DatumShape.RIB_END: Sketch(
            sheet="M6 14H114V78H6Z",
            edges="M6 34H70A13 13 0 0 1 70 60H6M6 40H68A7 7 0 0 1 68 54H6",
            shade="M12 37h6M24 37h6M36 37h6M48 37h6M60 37h6M12 57h6M24 57h6M36 57h6M48 57h6M60 57h6"
            "M76 40l4-3M78 47h5M76 54l4 3",
            point=(83, 47),
            words="The round end of a pressed rib (swage); click the tip where it runs out into the flat sheet.",
        ),
        DatumShape.BRACKET_CORNER: Sketch(
            sheet="M6 50L114 34V80H6ZM34 56L84 48V12L34 20ZM34 56L84 48L96 60L46 69Z",
            edges="M34 56V20L84 12V48L34 56L46 69L96 60L84 48M46 69V72L96 63V60",
            shade="M58 30a7 6 0 1 0 .01 0M52 62h.01M66 60h.01M80 57h.01M40 28l6-1M40 34l10-1.600M76 38l5-.8",
            point=(46, 70),
            words="The outer corner of a bracket's foot; click the tip where it meets the sheet.",
        ),
        DatumShape.BOLT: Sketch(
            sheet="M6 10H114V80H6ZM36 45A24 24 0 0 1 84 45A24 24 0 0 1 36 45Z",
            edges="M36 45A24 24 0 0 1 84 45A24 24 0 0 1 36 45ZM60 29L74 37V53L60 61L46 53V37Z",
            shade="M50 45A10 10 0 0 1 70 45A10 10 0 0 1 50 45ZM40 54a22 22 0 0 0 10 12M12 18v12M18 18v7",
            point=(60, 45),
            words="The head of a bolt with its washer; click the middle of the head.",
        ),
        DatumShape.FLANGE_NOTCH: Sketch(
            sheet="M6 12H114V50H6ZM6 50H114V74H72C70 58 50 58 48 74H6Z",
            edges="M6 50H114M6 74H48C50 58 70 58 72 74H114",
            shade="M6 54H114M14 64h.01M28 64h.01M42 62h.01M78 62h.01M92 64h.01M106 64h.01M12 20v12M18 20v7",
            point=(60, 62),
            words="A notch cut into the edge of a flange; click its deepest point.",
        ),
    }
)


def datum_sketch_svg(shape: DatumShape) -> str:
    """Sketch what a datum point of this shape looks like on the car.

    Parameters
    ----------
    shape : DatumShape
        Which.

    Returns
    -------
    str
        One ``<svg>`` element, 120 x 90 CSS px; the ring and cross in the
        accent colour show where to click.
    """
    sketch = DATUM_SKETCHES[shape]
    x, y = sketch.point
    return element(
        "svg",
        element("title", plain(f"{shape.value.capitalize()}. {sketch.words}")),
        element("rect", width=WIDTH, height=HEIGHT, rx=6, fill=PAPER),
        element("path", d=sketch.sheet, fill=PANEL, stroke=STEEL, stroke_width=0.9, stroke_linejoin="round"),
        element("path", d=sketch.dark, fill="#B9B4A8") if sketch.dark else "",
        element("path", d=sketch.shade, fill="none", stroke=STEEL, stroke_width=2, stroke_linecap="round"),
        element("path", d=sketch.edges, fill="none", stroke=INK, stroke_width=2, stroke_linejoin="round"),
        element("circle", cx=x, cy=y, r=7, fill="none", stroke="#FFFFFF", stroke_width=4),
        element("circle", cx=x, cy=y, r=7, fill="none", stroke=ACCENT, stroke_width=2),
        element("path", d=f"M{x - 12:g} {y:g}H{x + 12:g}M{x:g} {y - 12:g}V{y + 12:g}", stroke=ACCENT, stroke_width=1.6),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {HEIGHT}",
        width=WIDTH,
        height=HEIGHT,
        role="img",
        class_="corromap-sketch",
    )
