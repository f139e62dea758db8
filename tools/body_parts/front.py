"""Toe-board and screen frame base."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, circle, rectangle, unit
from body_parts.stations import MAP_GAP, front_rail_map_y

__all__ = ["screen_frame", "toe_board"]


def toe_board(body: Body) -> Draft:
    """Draw the left toe-board; u runs up its slope."""
    slope, width = body.toe_slope, body.floor_width
    panel = Draft(
        id="toe-board-left",
        name="Left toe-board",
        part="toe-board",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, slope, width),
        origin=(body.floor_front_x, body.tunnel_half_base, 0),
        u_axis=unit(body.toe_run, 0, body.toe_rise),
        v_axis=(0, 1, 0),
        map_origin=(body.tunnel_half_base + body.map_shift, -body.floor_front_x),
    )
    rail_out = body.front_rail_outer_y - body.tunnel_half_base
    rail_in = rail_out - body.front_rail_width
    rail_up = slope * body.front_rail_height / body.toe_rise
    half = round(0.62 * slope)
    # Inside the rail's box the toe-board cannot be seen: the notch is in no zone.
    notch = [[0, rail_out], [rail_up, rail_out], [rail_up, rail_in], [0, rail_in]]
    panel.zone("lower", "lower", "primary", 0.9, 6, [[0, 0], [half, 0], [half, width], [0, width], *notch])
    panel.zone("upper", "upper", "secondary", 0.9, 6, rectangle(half, 0, slope, width))
    panel.datum(
        "upper-inner",
        "upper inner corner",
        "seam crossing",
        (slope, 0),
        "Upper inner corner of the left toe-board, where it meets tunnel and bulkhead.",
    )
    panel.datum(
        "upper-outer",
        "upper outer corner",
        "seam crossing",
        (slope, width),
        "Upper outer corner of the left toe-board, at the foot of the front door pillar.",
    )
    panel.datum(
        "rail-inner",
        "rail top, inner corner",
        "plate corner",
        (rail_up, rail_in),
        "Where the upper inner corner of the left front rail meets the toe-board.",
    )
    panel.datum(
        "rail-outer",
        "rail top, outer corner",
        "plate corner",
        (rail_up, rail_out),
        "Where the upper outer corner of the left front rail meets the toe-board.",
    )
    panel.datum(
        "hole",
        "cable hole",
        "round hole",
        (0.72 * slope, 0.24 * width),
        "Middle of the grommet hole in the upper part of the left toe-board.",
    )
    panel.datum(
        "rib",
        "rib, upper end",
        "rib end",
        (0.82 * slope, 0.8 * width),
        "Upper end of the pressed rib in the outer part of the left toe-board.",
    )
    panel.line("rib", [[0.3 * slope, 0.8 * width], [0.82 * slope, 0.8 * width]])
    panel.line("seam", [[slope - 15, 0], [slope - 15, width]])
    return panel


def screen_frame(body: Body) -> Draft:
    """Draw the screen frame base, seen from above; on the map its front edge is the lower one.

    So the car's left stays on the right-hand side of the map, as everywhere.
    """
    depth, width = body.screen_depth, 2 * body.screen_half_width
    top = front_rail_map_y(body) - (body.front_end_x - body.floor_front_x) - MAP_GAP
    panel = Draft(
        id="screen-frame-base",
        name="Screen frame base",
        part="screen frame base",
        side="centre",
        seen_from="above",
        outline=rectangle(0, 0, depth, width),
        origin=(body.screen_rear_x, -body.screen_half_width, body.screen_z),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(-body.screen_half_width, top - depth),
        map_u=(0, 1),
        map_v=(1, 0),
    )
    corner = round(0.2 * width)
    panel.zone("left", "left corner", "primary", 1.0, 9, rectangle(0, width - corner, depth, width))
    panel.zone("centre", "centre", "secondary", 0.8, 9, rectangle(0, corner, depth, width - corner))
    panel.zone("right", "right corner", "primary", 1.0, 9, rectangle(0, 0, depth, corner))
    panel.datum(
        "rear-right",
        "rear right corner",
        "seam crossing",
        (0, 0),
        "Rear right corner, where the screen frame rises from its base.",
    )
    panel.datum(
        "front-left",
        "front left corner",
        "seam crossing",
        (depth, width),
        "Front left corner, where base, wing and door pillar meet.",
    )
    panel.datum(
        "rear-left",
        "rear left corner",
        "seam crossing",
        (0, width),
        "Rear left corner, where the screen frame rises from its base.",
    )
    panel.datum(
        "front-right",
        "front right corner",
        "seam crossing",
        (depth, 0),
        "Front right corner, where base, wing and door pillar meet.",
    )
    for side, share in (("left", 0.7), ("right", 0.3)):
        panel.datum(
            f"wiper-{side}",
            f"{side} wiper hole",
            "round hole",
            (0.55 * depth, share * width),
            f"Middle of the hole for the {side} wiper spindle.",
        )
    panel.line("hole", circle(0.5 * depth, 0.5 * width, 24))
    return panel
