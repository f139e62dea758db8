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
    halves = {
        "left": [
            [0, middle],
            [slope, middle],
            [slope, width],
            [0, width],
            [0, middle + out],
            [notch, middle + out],
            [notch, middle + inn],
            [0, middle + inn],
        ],
        "right": [
            [0, 0],
            [slope, 0],
            [slope, middle],
            [0, middle],
            [0, middle - inn],
            [notch, middle - inn],
            [notch, middle - out],
            [0, middle - out],
        ],
    }
    for side, ring in halves.items():
        panel.zone(side, side, "primary", 1.0, 6, ring)
    corner = "seam crossing"
    panel.datum(
        "lower-right",
        "lower right corner",
        corner,
        (slope, 0),
        "Lower right corner of the heel-board, where it meets floor and sill.",
    )
    panel.datum(
        "upper-left", "upper left corner", corner, (0, width), "Upper left corner of the heel-board, in the wheel well."
    )
    panel.datum(
        "upper-right", "upper right corner", corner, (0, 0), "Upper right corner of the heel-board, in the wheel well."
    )
    panel.datum(
        "lower-left",
        "lower left corner",
        corner,
        (slope, width),
        "Lower left corner of the heel-board, where it meets floor and sill.",
    )
    for side, sign in (("left", 1), ("right", -1)):
        panel.datum(
            f"rail-{side}",
            f"{side} rail, lower inner corner",
            "plate corner",
            (notch, middle + sign * inn),
            f"Where the lower inner edge of the {side} rear rail runs into the heel-board.",
        )
        at = (0.6 * slope, middle + sign * 0.42 * inn)
        panel.datum(
            f"hole-{side}",
            f"{side} hole",
            "round hole",
            at,
            f"Middle of the {side} round hole half-way up the heel-board.",
        )
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
    panel.datum(
        "rear-right",
        "rear right corner at the rail",
        "seam crossing",
        (0, rail),
        "Where the rear edge of the boot floor meets the inner edge of the right rear rail.",
    )
    panel.datum(
        "front-left",
        "front left corner at the rail",
        "seam crossing",
        (length, width - rail),
        "Where the front edge of the boot floor meets the inner edge of the left rear rail.",
    )
    panel.datum(
        "rear-left",
        "rear left corner at the rail",
        "seam crossing",
        (0, width - rail),
        "Where the rear edge of the boot floor meets the inner edge of the left rear rail.",
    )
    panel.datum(
        "front-right",
        "front right corner at the rail",
        "seam crossing",
        (length, rail),
        "Where the front edge of the boot floor meets the inner edge of the right rear rail.",
    )
    for side, sign in (("left", 1), ("right", -1)):
        v = middle + sign * (third + 0.5 * (middle - rail - third))
        panel.datum(
            f"drain-{side}",
            f"{side} drain hole",
            "round hole",
            (0.35 * length, v),
            f"Middle of the {side} drain hole in the boot floor.",
        )
        panel.datum(
            f"rib-{side}",
            f"{side} rib, front end",
            "rib end",
            (0.85 * length, v),
            f"Front end of the {side} pressed rib in the boot floor.",
        )
        panel.line("rib", [[0.5 * length, v], [0.85 * length, v]])
    if body.has_spare_wheel_well:
        panel.line("edge", circle(0.5 * length, middle, 0.9 * third, 40))
    return panel
