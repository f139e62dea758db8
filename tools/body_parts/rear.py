"""Heel-board and boot floor."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, circle, rectangle, unit
from body_parts.stations import MAP_GAP, boot_map_y

__all__ = ["boot_floor", "heel_board"]


def heel_board(body: Body) -> Draft:
    """Draw the heel-board across the car, from the floors up to the boot floor; u runs down its slope."""
    slope, width = body.heel_slope, 2 * body.floor_half_width
    panel = Draft(
        id="heel-board",
        name="Heel-board",
        part="floor",
        side="centre",
        seen_from="below",
        outline=rectangle(0, 0, slope, width),
        origin=(body.floor_rear_x - body.heel_run, -body.floor_half_width, body.boot_floor_z),
        u_axis=unit(body.heel_run, 0, -body.boot_floor_z),
        v_axis=(0, 1, 0),
        map_origin=(-body.floor_half_width, -body.floor_rear_x + MAP_GAP + slope),
    )
    # Inside the rails' boxes the heel-board cannot be seen: the notches are in no zone.
    notch = slope * (1 - body.rear_rail_z / body.boot_floor_z)
    middle = width / 2
    out, inn = body.rear_rail_outer_y, body.rear_rail_outer_y - body.rear_rail_width
    left = rectangle(0, middle, slope, width)
    left += [[0, middle + out], [notch, middle + out], [notch, middle + inn], [0, middle + inn]]
    right = [[u, width - v] for u, v in left]
    for side, sign, ring in (("left", 1, left), ("right", -1, right)):
        panel.zone(side, side, "primary", 1.0, 6, ring)
        text = f"Upper {side} corner of the heel-board, in the {side} wheel well."
        panel.datum(f"upper-{side}", f"upper {side} corner", "seam crossing", (0, middle + sign * middle), text)
        text = f"Middle of the {side} round hole half-way up the heel-board."
        at = (0.6 * slope, middle + sign * 0.42 * inn)
        panel.datum(f"hole-{side}", f"{side} hole", "round hole", at, text)
        text = f"Upper end of the {side} rib pressed into the heel-board, near the middle."
        at = (0.25 * slope, middle + sign * 0.15 * inn)
        panel.datum(f"rib-{side}", f"{side} rib, upper end", "rib end", at, text)
        panel.line("rib", [list(at), [0.8 * slope, at[1]]])
    panel.line("seam", [[slope - 15, 0], [slope - 15, width]])
    return panel


def boot_floor(body: Body) -> Draft:
    """Draw the boot floor across the car, seen from below."""
    length, width = body.floor_rear_x - body.heel_run - body.rear_end_x, 2 * body.rear_rail_outer_y
    panel = Draft(
        id="boot-floor",
        name="Boot floor",
        part="boot floor",
        side="centre",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(body.rear_end_x, -body.rear_rail_outer_y, body.boot_floor_z),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(-body.rear_rail_outer_y, boot_map_y(body)),
    )
    rail, middle = body.rear_rail_width, width / 2
    third = round((width - 2 * rail) / 6)
    # The strips above the rails cannot be seen from below and are in no zone.
    panel.zone("left", "left, beside the rail", "primary", 0.9, 9, rectangle(0, middle + third, length, width - rail))
    centre = "spare-wheel well" if body.has_spare_wheel_well else "centre"
    panel.zone("centre", centre, "secondary", 0.8, 9, rectangle(0, middle - third, length, middle + third))
    panel.zone("right", "right, beside the rail", "primary", 0.9, 9, rectangle(0, rail, length, middle - third))
    _boot_datums(panel, length, middle, rail, third)
    if body.has_spare_wheel_well:
        panel.line("edge", circle(0.5 * length, middle, 0.9 * third, 40))
    return panel


def _boot_datums(panel: Draft, length: float, middle: float, rail: float, third: float) -> None:
    sides = {"right": -1, "left": 1}
    for edge, u in (("rear", 0), ("front", length)):
        for side, sign in sides.items():
            text = f"Where the {edge} edge of the boot floor meets the inner edge of the {side} rear rail."
            at = (u, middle + sign * (middle - rail))
            panel.datum(f"{edge}-{side}", f"{edge} {side} corner at the rail", "seam crossing", at, text)
    for side, sign in sides.items():
        v = middle + sign * (third + 0.5 * (middle - rail - third))
        text = f"Middle of the {side} drain hole in the boot floor."
        panel.datum(f"drain-{side}", f"{side} drain hole", "round hole", (0.3 * length, v), text)
        for end, u in (("front", 0.85 * length), ("rear", 0.5 * length)):
            text = f"{end.capitalize()} end of the {side} rib pressed into the boot floor."
            panel.datum(f"rib-{side}-{end}", f"{side} rib, {end} end", "rib end", (u, v), text)
        panel.line("rib", [[0.5 * length, v], [0.85 * length, v]])
    text = "Middle of the bolt in the middle of the boot floor, for the spare wheel."
    panel.datum("bolt", "spare-wheel bolt", "bolt", (0.5 * length, middle), text)
