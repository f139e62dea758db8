"""The sills' boxes cut across: walls, sheets, cells."""

from __future__ import annotations

from typing import Any

from body_parts.dimensions import Body

__all__ = ["sill_sections"]

MEMBRANE_MM = 1.2
"""Sheet of the strengthener between the two cells; what old sills have, common practice."""

Point = tuple[float, float]


def sill_sections(body: Body) -> list[dict[str, Any]]:
    """Draw the box of both sills.

    Parameters
    ----------
    body : Body
        Its dimensions.

    Returns
    -------
    list of dict
        Left and right, as in ``body_templates/template.schema.json``. The
        inner wall runs on above the floor, where only the cabin shows it.
    """
    return [_sill(body, "left", 1.0), _sill(body, "right", -1.0)]


def _sill(body: Body, side: str, sign: float) -> dict[str, Any]:
    inner, outer = body.floor_half_width, body.floor_half_width + body.sill_width
    low, top = -body.sill_inner_height, body.sill_outer_height - body.sill_inner_height
    middle = inner + round(body.sill_membrane_share * body.sill_width) if body.sill_membrane_share else 0.0

    def wall(name: str, text: str, start: Point, end: Point, sheet: float, panel: str = "") -> dict[str, Any]:
        ends = {key: [sign * point[0], point[1]] for key, point in (("from_mm", start), ("to_mm", end))}
        entry = {"id": name, "name": text, **ends, "sheet_mm": sheet}
        return entry | ({"panel": f"sill-{side}-{panel}"} if panel else {})

    faces = [
        wall("inner", "inner face below the floor", (inner, low), (inner, 0), 1.2, "inner"),
        wall("inner-upper", "inner face above the floor", (inner, 0), (inner, top), 1.2),
    ]
    outer_face = wall("outer", "outer face", (outer, top), (outer, low), 1.0, "outer")
    if middle:
        walls = [
            *faces,
            wall("tread-inner", "tread, inner half", (inner, top), (middle, top), 1.2),
            wall("membrane", "membrane", (middle, top), (middle, low), MEMBRANE_MM),
            wall("underside-inner", "underside, inner half", (middle, low), (inner, low), 1.2, "underside"),
            wall("tread-outer", "tread, outer half", (middle, top), (outer, top), 1.0),
            outer_face,
            wall("underside-outer", "underside, outer half", (outer, low), (middle, low), 1.2, "underside"),
        ]
        cells = [
            _cell("inner-cell", "inner cell", "inner", "inner-upper", "tread-inner", "membrane", "underside-inner"),
            _cell("outer-cell", "outer cell", "membrane", "tread-outer", "outer", "underside-outer"),
        ]
    else:
        walls = [
            *faces,
            wall("tread", "tread", (inner, top), (outer, top), 1.2),
            outer_face,
            wall("underside", "underside", (outer, low), (inner, low), 1.2, "underside"),
        ]
        cells = [_cell("box", "box", "inner", "inner-upper", "tread", "outer", "underside")]
    return {
        "id": f"sill-{side}",
        "name": f"{side.capitalize()} sill",
        "from_x_mm": -body.sill_half_length,
        "to_x_mm": body.sill_half_length,
        "walls": walls,
        "cells": cells,
    }


def _cell(name: str, text: str, *walls: str) -> dict[str, Any]:
    return {"id": name, "name": text, "walls": list(walls)}
