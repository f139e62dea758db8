"""Welder's drawings as SVG in millimetres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from corromap.frames import FloatArray
from corromap.report.language import number as localised
from corromap.report.palette import ACCENT, INK, PAPER, RUST_SCALED, STEEL
from corromap.report.svg import element, number, plain, text_element
from corromap.report.welder_drawing import ZoneDrawing
from corromap.report.welder_items import Circle, Dimension, Item, Label, Layer, Line

__all__ = ["drawing_svg", "items_markup"]

_FONT = "Noto Sans, DejaVu Sans, sans-serif"


@dataclass(frozen=True, slots=True)
class _Pen:
    """How a layer is drawn; widths and dashes in parts of the figures' height."""

    colour: str
    width: float
    dash: tuple[float, ...] = ()
    fill: str = "none"


_PENS: Mapping[Layer, _Pen] = MappingProxyType(
    {
        Layer.ZONE: _Pen(STEEL, 0.08),
        Layer.CUT: _Pen(INK, 0.22),
        Layer.FLANGE: _Pen(INK, 0.1, (0.8, 0.5)),
        Layer.FOLD: _Pen(STEEL, 0.14, (1.8, 0.5, 0.3, 0.5)),
        Layer.MARK: _Pen(RUST_SCALED.colour, 0.06, (0.3, 0.3), "#F3DDD7"),
        Layer.DATUM: _Pen(ACCENT, 0.12),
        Layer.MOUNTING: _Pen(INK, 0.1),
        Layer.DIMENSION: _Pen(STEEL, 0.06),
        Layer.TEXT: _Pen(INK, 0.1),
    }
)
_ORDER = (Layer.MARK, *(layer for layer in Layer if layer is not Layer.MARK))


def drawing_svg(drawing: ZoneDrawing, *, scale: float = 1.0, margin_mm: float = 5.0) -> str:
    """Write a drawing as SVG with its size in millimetres.

    Parameters
    ----------
    drawing : ZoneDrawing
        The drawing.
    scale : float
        Millimetres of the car for one of the paper; 1 is true size.
    margin_mm : float
        Empty border, mm of the car.

    Returns
    -------
    str
        An ``<svg>``; its units are millimetres of the car, y downwards:
        (x, y) of the drawing is at (x, -y).
    """
    x0, y0, x1, y1 = drawing.bounds
    left, top = x0 - margin_mm, -y1 - margin_mm
    width, height = x1 - x0 + 2 * margin_mm, y1 - y0 + 2 * margin_mm
    return element(
        "svg",
        element("title", plain(drawing.title)),
        element("rect", x=left, y=top, width=width, height=height, fill=PAPER),
        items_markup(drawing.items, drawing.text_mm),
        xmlns="http://www.w3.org/2000/svg",
        width=f"{number(width / scale)}mm",
        height=f"{number(height / scale)}mm",
        viewBox=" ".join(number(v) for v in (left, top, width, height)),
        role="img",
    )


def items_markup(items: Sequence[Item], text_mm: float) -> str:
    """Write the items of a drawing, y downwards.

    Parameters
    ----------
    items : sequence of Item
        In any order; marked metal comes to lie below the lines.
    text_mm : float
        Height of figures, for widths of lines.

    Returns
    -------
    str
        Markup.
    """
    return "".join(_item(item, text_mm) for item in sorted(items, key=lambda item: _ORDER.index(_layer(item))))


def _layer(item: Item) -> Layer:
    return Layer.DIMENSION if isinstance(item, Dimension) else item.layer


def _item(item: Item, text_mm: float) -> str:
    pen = _PENS[_layer(item)]
    drawn: dict[str, str | float | None] = {
        "stroke": pen.colour,
        "stroke_width": pen.width * text_mm,
        "stroke_dasharray": " ".join(number(d * text_mm) for d in pen.dash) or None,
        "fill": pen.fill,
    }
    match item:
        case Line():
            drawn |= {"d": _path(item.points, is_closed=item.is_closed), "data_layer": item.layer.value}
            return element("path", **drawn)
        case Circle():
            x, y = item.at
            drawn |= {"cx": x, "cy": -y, "r": item.radius, "data_layer": item.layer.value}
            return element("circle", **drawn)
        case Label():
            return _text(item.text, item.at, item.height, item.angle_deg, pen.colour)
        case Dimension():
            return _dimension(item, pen)


def _path(points: FloatArray, *, is_closed: bool) -> str:
    line = "L".join(f"{_exact(x)} {_exact(-y)}" for x, y in points)
    return f"M{line}Z" if is_closed else f"M{line}"


def _exact(value: float) -> str:
    """Four decimals: a tenth of a micrometre."""
    return f"{value + 0.0:.4f}".rstrip("0").rstrip(".") or "0"


def _text(text: str, at: tuple[float, float], height: float, angle_deg: float, colour: str) -> str:
    x, y = at
    return text_element(
        text,
        x,
        -y + 0.36 * height * (1 if angle_deg == 0 else 0),
        font_size=1.35 * height,
        font_family=_FONT,
        text_anchor="middle",
        fill=colour,
        transform=f"rotate({number(-angle_deg)} {number(x)} {number(-y)})" if angle_deg else None,
        stroke=PAPER,
        stroke_width=0.22 * height,
        paint_order="stroke",
    )


def _dimension(item: Dimension, pen: _Pen) -> str:
    """Extension lines, dimension line, oblique strokes at its ends, the figure."""
    ends = item.ends
    tick = 0.5 * item.height
    paths = [_path(ends, is_closed=False)]
    for end, measured in zip(ends, (item.first, item.second), strict=True):
        paths.append(
            _path(np.array([measured, end + 0.4 * _towards(np.array(measured), end) * item.height]), is_closed=False)
        )
        paths.append(_path(np.array([end - tick, end + tick]), is_closed=False))
    middle = ends.mean(axis=0)
    offset = np.array([-0.8, 0.0]) if item.is_vertical else np.array([0.0, 0.8])
    at = middle + offset * item.height
    text = localised(item.length, ".0f")
    line = element("path", d="".join(paths), stroke=pen.colour, stroke_width=pen.width * item.height, fill="none",
                   data_layer=Layer.DIMENSION.value)  # fmt: skip
    angle = 90.0 if item.is_vertical else 0.0
    return line + _text(text, (float(at[0]), float(at[1])), item.height, angle, INK)


def _towards(start: FloatArray, end: FloatArray) -> FloatArray:
    way = end - start
    length = float(np.hypot(*way))
    return np.asarray(way / length) if length > 0 else np.zeros(2)
