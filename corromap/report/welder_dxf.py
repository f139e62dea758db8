"""Welder's drawings as DXF in millimetres, through ezdxf."""

from __future__ import annotations

import io
from collections.abc import Mapping
from types import MappingProxyType

from ezdxf import units
from ezdxf._options import options  # as the package exports it at run time, and mypy sees it
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from corromap.report.svg import printable
from corromap.report.welder_drawing import ZoneDrawing
from corromap.report.welder_items import Circle, Dimension, Item, Label, Layer, Line

__all__ = ["drawing_dxf"]

# ezdxf's name for it; without it every file has the clock and a random number in it, and a seal would never match
options.write_fixed_meta_data_for_testing = True

_COLOURS: Mapping[Layer, int] = MappingProxyType(
    {
        Layer.ZONE: 8, Layer.CUT: 7, Layer.FLANGE: 3, Layer.FOLD: 4, Layer.MARK: 1,
        Layer.DATUM: 5, Layer.MOUNTING: 6, Layer.DIMENSION: 8, Layer.TEXT: 7,
    }
)  # fmt: skip
"""AutoCAD colour numbers, the index every reader of DXF knows."""

_LINES: Mapping[Layer, str] = MappingProxyType({Layer.FLANGE: "DASHED", Layer.FOLD: "DASHDOT", Layer.MARK: "DOT"})


def drawing_dxf(drawing: ZoneDrawing) -> str:
    """Write a drawing as DXF R2010, one unit one millimetre.

    Parameters
    ----------
    drawing : ZoneDrawing
        The drawing.

    Returns
    -------
    str
        ASCII DXF; layers as `Layer` names them, dimensions as DIMENSION
        entities.
    """
    document = new("R2010", setup=True)
    document.units = units.MM
    for layer in Layer:
        document.layers.add(layer.value, color=_COLOURS[layer], linetype=_LINES.get(layer, "CONTINUOUS"))
    space = document.modelspace()
    for item in drawing.items:
        _add(space, item)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def _add(space: Modelspace, item: Item) -> None:
    match item:
        case Line():
            points = [(float(x), float(y)) for x, y in item.points]
            space.add_lwpolyline(points, close=item.is_closed, dxfattribs={"layer": item.layer.value})
        case Circle():
            space.add_circle(item.at, item.radius, dxfattribs={"layer": item.layer.value})
        case Label():
            attributes = {"layer": item.layer.value, "rotation": item.angle_deg}
            text = space.add_text(_one_line(item.text), height=item.height, dxfattribs=attributes)
            text.set_placement(item.at, align=TextEntityAlignment.MIDDLE_CENTER)
        case Dimension():
            dimension = space.add_linear_dim(
                base=item.through,
                p1=item.first,
                p2=item.second,
                angle=90 if item.is_vertical else 0,
                override={"dimtxt": item.height, "dimasz": 0.6 * item.height, "dimdec": 0, "dimscale": 1, "dimlfac": 1},
                dxfattribs={"layer": Layer.DIMENSION.value},
            )
            dimension.render()


def _one_line(text: str) -> str:
    """Text without line ends and without the codes that a reader of DXF would obey."""
    return " ".join(printable(text).split()).replace("%%", "% %")
