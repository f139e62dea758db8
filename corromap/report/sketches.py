"""Sketches of what each datum shape looks like on a real car, with the point to click."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from corromap.report.palette import ACCENT, INK, PANEL, PAPER, STEEL
from corromap.report.svg import element, number, plain
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
    raised : str
        Path of what lies on the sheet, filled lighter.
    """

    sheet: str
    edges: str
    shade: str
    point: tuple[float, float]
    words: str
    dark: str = ""
    raised: str = ""


_TILTED = "M14 24L96 14L110 68L24 80Z"
_FLAT = "M6 14H114V78H6Z"

DATUM_SKETCHES: Mapping[DatumShape, Sketch] = MappingProxyType(
    {
        DatumShape.ROUND_HOLE: Sketch(
            sheet=_TILTED,
            edges="M41 47a20 17-6 1 0 40-3a20 17-6 1 0-40 3Z",
            shade="M45 53a17 14-6 0 0 32-3M28 72l12-1.5M32 66l7-1M92 24l3 12M87 26l1.5 7",
            point=(61, 45.5),
            words="A round hole in sheet metal; click its middle.",
            dark="M41 47a20 17-6 1 0 40-3a20 17-6 1 0-40 3Z",
        ),
        DatumShape.SLOT: Sketch(
            sheet=_TILTED,
            edges="M36 40L82 34A12 12 0 0 1 85 58L39 64A12 12 0 0 1 36 40Z",
            shade="M33 57a9 9 0 0 0 6 3.5L85 54.5a9 9 0 0 0 6-4M30 72l10-1.5M90 22l2 7",
            point=(60.5, 49),
            words="A slot, longer than wide, with round ends; click its middle.",
            dark="M36 40L82 34A12 12 0 0 1 85 58L39 64A12 12 0 0 1 36 40Z",
        ),
        DatumShape.PLATE_CORNER: Sketch(
            sheet=_FLAT,
            raised="M50 14L114 14V50L56 57Z",
            edges="M50 14L56 57L114 50M56 57V61.5L114 54.5",
            shade="M64 49h.01M78 47.3h.01M92 45.6h.01M106 43.9h.01M58 20h.01M59.5 31h.01M61 41h.01M14 24v12M20 24v7",
            point=(56, 58.5),
            words="The corner of a plate that lies on another sheet; click the outer tip of the corner.",
        ),
        DatumShape.SEAM_END: Sketch(
            sheet=_FLAT,
            raised="M6 42L72 40V50L6 52Z",
            edges="M6 42L72 40V50L6 52M6 55L74 53V42",
            shade="M14 47h.01M26 46.6h.01M38 46.3h.01M50 46h.01M62 45.6h.01M14 22v10M20 22v6M100 62v10M94 66v6",
            point=(72, 46),
            words="The end of a seam where two sheets are joined; click the middle of the raised edge's end.",
        ),
        DatumShape.SEAM_CROSSING: Sketch(
            sheet=_FLAT,
            raised="M6 41H54V14H66V41H114V51H66V78H54V51H6Z",
            edges="M6 41H54V14M66 14V41H114M114 51H66V78M54 78V51H6",
            shade="M14 46h.01M26 46h.01M38 46h.01M82 46h.01M94 46h.01M106 46h.01"
            "M60 20h.01M60 30h.01M60 62h.01M60 72h.01",
            point=(60, 46),
            words="Two seams that cross; click the middle of the crossing.",
        ),
        DatumShape.RIB_END: Sketch(
            sheet=_FLAT,
            raised="M6 33H72A13 13 0 0 1 72 59H6Z",
            edges="M6 33H72A13 13 0 0 1 72 59H6",
            shade="M6 39H70A7.5 7.5 0 0 1 70 53H6M12 62h8M28 62h8M44 62h8M60 62h8",
            point=(85, 46),
            words="The round end of a pressed rib (swage); click the tip where it runs out into the flat sheet.",
        ),
        DatumShape.BRACKET_CORNER: Sketch(
            sheet="M6 46L114 34V80H6Z",
            raised="M34 54V18L86 11V47ZM34 54L86 47L100 62L46 70Z",
            edges="M34 54V18L86 11V47L34 54L46 70L100 62L86 47M46 70V73.5L100 65.5V62",
            shade="M60 26a7 6.5 0 1 0 .01 0M52 63h.01M67 60.7h.01M82 58.5h.01M38 24l8-1M38 29l5-.6",
            point=(46, 72),
            words="The outer corner of a bracket's foot; click the tip where it meets the sheet.",
        ),
        DatumShape.BOLT: Sketch(
            sheet=_FLAT,
            raised="M34 46A26 26 0 0 1 86 46A26 26 0 0 1 34 46Z",
            edges="M34 46A26 26 0 0 1 86 46A26 26 0 0 1 34 46ZM60 26L77.3 36V56L60 66L42.7 56V36Z",
            shade="M45 46A15 15 0 0 1 75 46A15 15 0 0 1 45 46ZM14 22v10M20 22v6",
            point=(60, 46),
            words="The head of a bolt with its washer; click the middle of the head.",
        ),
        DatumShape.FLANGE_NOTCH: Sketch(
            sheet="M6 12H114V48H6Z",
            raised="M6 48H114V76H74C74 54 46 54 46 76H6Z",
            edges="M6 48H114M6 76H46C46 54 74 54 74 76H114",
            shade="M7 52H113M14 64h.01M28 64h.01M92 64h.01M106 64h.01M14 20v12M20 20v7",
            point=(60, 59.5),
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
    # The cross leaves its middle free: what is to be clicked stays visible.
    ticks = "".join(
        f"M{number(x + 5 * i)} {number(y + 5 * j)}l{9 * i} {9 * j}" for i, j in ((1, 0), (0, 1), (-1, 0), (0, -1))
    )
    return element(
        "svg",
        element("title", plain(f"{shape.value.capitalize()}. {sketch.words}")),
        element("rect", width=WIDTH, height=HEIGHT, rx=6, fill=PAPER),
        element("path", d=sketch.sheet, fill=PANEL, stroke=STEEL, stroke_width=0.9, stroke_linejoin="round"),
        element("path", d=sketch.dark, fill="#B9B4A8") if sketch.dark else "",
        element("path", d=sketch.raised, fill="#FFFFFF", stroke="none") if sketch.raised else "",
        element("path", d=sketch.shade, fill="none", stroke=STEEL, stroke_width=1.7, stroke_linecap="round"),
        element("path", d=sketch.edges, fill="none", stroke=INK, stroke_width=1.8, stroke_linejoin="round"),
        element("circle", cx=x, cy=y, r=9, fill="none", stroke="#FFFFFF", stroke_width=4.2),
        element("path", d=ticks, stroke="#FFFFFF", stroke_width=4, fill="none"),
        element("circle", cx=x, cy=y, r=9, fill="none", stroke=ACCENT, stroke_width=2),
        element("path", d=ticks, stroke=ACCENT, stroke_width=2, fill="none"),
        element("circle", cx=x, cy=y, r=1.7, fill=ACCENT, stroke="#FFFFFF", stroke_width=0.8),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {HEIGHT}",
        width=WIDTH,
        height=HEIGHT,
        role="img",
        class_="corromap-sketch",
    )
