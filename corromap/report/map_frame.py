"""The frame of the map: LEFT and RIGHT, front, seen from below, scale."""

from __future__ import annotations

from corromap.report import figures
from corromap.report.language import current, tr
from corromap.report.palette import INK, STEEL
from corromap.report.sheet import MapSheet
from corromap.report.svg import element, text_element
from corromap.report.symbols import front_arrow

__all__ = ["map_frame"]


def map_frame(sheet: MapSheet) -> str:
    """Draw what tells how the map lies: sides, front, scale.

    Parameters
    ----------
    sheet : MapSheet
        The layout.

    Returns
    -------
    str
        SVG.
    """
    left, top, right, bottom = sheet.body
    middle_x, middle_y = (left + right) / 2, (top + bottom) / 2
    big: dict[str, str | float | None] = {
        "font_size": 15.0,
        "font_weight": "bold",
        "fill": INK,
        "text_anchor": "middle",
        "letter_spacing": 2.0,
    }
    note = text_element(tr("SEEN FROM BELOW"), left, 24, font_size=13, font_weight="bold", fill=INK, letter_spacing=1.2)
    turned, upright = tr("The car's left is at the top."), tr("The car's left is on the right-hand side.")
    note += text_element(turned if sheet.is_turned else upright, left, 42, font_size=12, fill=STEEL)
    if sheet.is_turned:
        labels = [
            text_element(tr("LEFT"), middle_x, top - 12, **big),
            text_element(tr("RIGHT"), middle_x, bottom + 24, **big),
            element("g", text_element(tr("FRONT"), 0, 0, **big), transform=f"translate(22 {middle_y:g}) rotate(-90)"),
            front_arrow(17, middle_y - 50, points_left=True),
        ]
    else:
        labels = [
            element("g", text_element(tr("RIGHT"), 0, 0, **big), transform=f"translate(24 {middle_y:g}) rotate(-90)"),
            element(
                "g",
                text_element(tr("LEFT"), 0, 0, **big),
                transform=f"translate({right + 12:g} {middle_y:g}) rotate(90)",
            ),
            text_element(tr("FRONT"), middle_x, top - 14, **big),
            front_arrow(middle_x - 48, top - 19, points_left=False),
        ]
    return element("g", note, *labels, _scale_bar(sheet), class_="frame")


def _scale_bar(sheet: MapSheet) -> str:
    steps = (508.0, 203.2) if current().unit == "in" else (500.0, 200.0)
    length_mm = steps[0] if sheet.px_per_mm * steps[0] < 0.35 * sheet.width else steps[1]
    _, _, right, bottom = sheet.body
    span, y = length_mm * sheet.px_per_mm, bottom + 22
    line = element("path", d=f"M{right - span:.2f} {y - 4:g}v8M{right - span:.2f} {y:g}H{right:g}m0-4v8", stroke=INK,
                   stroke_width=1.4, fill="none")  # fmt: skip
    label = text_element(figures.length(length_mm), right - span - 8, y + 4, font_size=12, fill=INK, text_anchor="end")
    return line + label
