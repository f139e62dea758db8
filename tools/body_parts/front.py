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
    panel.datums(
        "seam crossing",
        "the left toe-board",
        (
            "upper-inner",
            "upper inner corner",
            slope,
            0,
            "Upper inner corner of {}, where it meets tunnel and bulkhead.",
        ),
        (
            "upper-outer",
            "upper outer corner",
            slope,
            width,
            "Upper outer corner of {}, at the foot of the door pillar.",
        ),
    )
    text = "Where the upper inner corner of the left front rail meets the left toe-board."
    panel.datum("rail-inner", "rail top, inner corner", "plate corner", (rail_up, rail_in), text)
    panel.datums(
        "rib end",
        "end of the rib pressed into the outer part of the left toe-board",
        ("rib-lower", "rib, lower end", 0.3 * slope, 0.8 * width, "Lower {}."),
        ("rib-upper", "rib, upper end", 0.82 * slope, 0.8 * width, "Upper {}."),
    )
    text = "Middle of the cable hole with its rubber grommet in the upper part of the left toe-board."
    panel.datum("hole", "cable hole", "round hole", (0.72 * slope, 0.24 * width), text)
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
    for edge, u in (("rear", 0), ("front", depth)):
        for side, v in (("right", 0), ("left", width)):
            what = {"rear": "where the screen frame rises", "front": "where wing and door pillar meet it"}[edge]
            text = f"{edge.capitalize()} {side} corner of the screen frame base, {what}."
            panel.datum(f"{edge}-{side}", f"{edge} {side} corner", "seam crossing", (u, v), text)
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
