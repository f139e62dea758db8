"""Small writers of SVG: escaped elements, numbers, paths.

Everything that reaches a drawing passes `element`, which escapes attributes,
and `plain`, which escapes text; no string is pasted in by hand.
"""

from __future__ import annotations

import re
from html import escape

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from corromap.frames import FloatArray

__all__ = ["element", "number", "path_data", "plain", "printable", "shortened", "text_element"]

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (section 2.2) does not allow."""


def plain(text: str) -> str:
    """Escape text for SVG or HTML; what XML forbids becomes U+FFFD.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str
        Safe between tags and inside quoted attributes.
    """
    return escape(printable(text), quote=True)


def printable(text: str) -> str:
    """Replace characters that no page or drawing may hold.

    Parameters
    ----------
    text : str
        Anything, lone surrogates included.

    Returns
    -------
    str
        The same with U+FFFD in their place; not escaped.
    """
    return _NOT_XML.sub("\ufffd", text)


def shortened(text: str, most: int = 60) -> str:
    """Cut a text that would run out of a drawing.

    Parameters
    ----------
    text : str
        Anything.
    most : int
        Longest result.

    Returns
    -------
    str
        The text in one line, with an ellipsis where it was cut.
    """
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1] + "…"


def number(value: float) -> str:
    """Write a coordinate: two decimals at most, never ``-0``.

    Parameters
    ----------
    value : float
        Finite.

    Returns
    -------
    str
        For example ``12.5``.
    """
    return f"{round(float(value), 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def element(tag: str, *children: str, **attributes: str | float | None) -> str:
    """Write one element.

    Parameters
    ----------
    tag : str
        Its name.
    *children : str
        Markup made by this module.
    **attributes : str, float or None
        Underscores become hyphens, a trailing one is dropped; None leaves
        the attribute out.

    Returns
    -------
    str
        Markup.
    """
    parts = [tag]
    for name, value in attributes.items():
        if value is not None:
            written = plain(value) if isinstance(value, str) else number(value)
            parts.append(f'{name.rstrip("_").replace("_", "-")}="{written}"')
    inside = "".join(children)
    opening = " ".join(parts)
    return f"<{opening}>{inside}</{tag}>" if inside else f"<{opening}/>"


def text_element(text: str, x: float, y: float, **attributes: str | float | None) -> str:
    """Write a line of text that cannot disturb its neighbours.

    Right-to-left marks inside stay inside (``unicode-bidi``).

    Parameters
    ----------
    text : str
        Not escaped.
    x, y : float
        Anchor on the base line.
    **attributes : str, float or None
        As for `element`.

    Returns
    -------
    str
        A ``<text>`` element.
    """
    return element("text", plain(text), x=x, y=y, unicode_bidi="isolate", **attributes)


def path_data(geometry: BaseGeometry, matrix: FloatArray, tolerance: float = 0.1) -> str:
    """Write polygons or lines as SVG path data.

    Parameters
    ----------
    geometry : shapely geometry
        Polygons or lines, in any frame.
    matrix : ndarray of float64, shape (2, 3)
        Affine map from that frame to the drawing.
    tolerance : float
        Vertices closer than this to the line are left out, drawing units.

    Returns
    -------
    str
        Empty for an empty geometry. Holes need ``fill-rule="evenodd"``.
    """
    drawn = shapely.transform(geometry, lambda xy: xy @ matrix[:, :2].T + matrix[:, 2])
    drawn = shapely.simplify(drawn, tolerance)
    parts = []
    for part in shapely.get_parts(drawn):
        if part.geom_type == "Polygon":
            rings = (part.exterior, *part.interiors) if not part.is_empty else ()
            parts += [_line(ring.coords, is_closed=True) for ring in rings]
        elif part.geom_type in ("LineString", "LinearRing"):
            parts.append(_line(part.coords, is_closed=part.geom_type == "LinearRing"))
    return "".join(parts)


def _line(coordinates: object, *, is_closed: bool) -> str:
    points = np.asarray(coordinates, dtype=np.float64)
    if is_closed:
        points = points[:-1]
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + ("Z" if is_closed else "")
