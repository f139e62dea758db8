"""Toe-board, front rail, front wheel arch and screen frame base."""

from __future__ import annotations

import math

import shapely

from body_parts.dimensions import Body
from body_parts.sheet import Draft, Ring, circle, rectangle, unit

__all__ = ["MAP_GAP", "arch_ring", "band", "front_arch", "front_rail", "screen_frame", "toe_board"]

MAP_GAP = 40.0
"""Gap on the map between panels that are not hinged there, mm."""


def arch_ring(foot: Ring, start: float, end: float, height: float, spring: float, sides: int = 16) -> Ring:
    """Ring of an inner wheel arch: a foot, two upright edges and a half ellipse.

    `foot` are the lower points, from the front to the rear edge's last one;
    the half ellipse springs at height `spring` and reaches `height`.
    """
    middle, half = (start + end) / 2, (end - start) / 2
    turns = [math.pi * i / sides for i in range(sides + 1)]
    arc = [[middle + half * math.cos(t), spring + (height - spring) * math.sin(t)] for t in turns]
    return [[round(u, 3), round(v, 3)] for u, v in (*foot, *arc)]


def band(ring: Ring, u0: float, u1: float) -> Ring:
    """Return the part of a ring between two u."""
    area = shapely.Polygon(ring).intersection(shapely.box(u0, -1e4, u1, 1e4))
    # normalize(): the start vertex must not depend on the GEOS version
    return [[round(u, 3), round(v, 3)] for u, v in shapely.normalize(area).exterior.coords[:-1]]


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
    panel.datum("upper-inner", "upper inner corner", "seam crossing", (slope, 0), "Upper inner corner of the left toe-board, where it meets tunnel and bulkhead.")
    panel.datum("upper-outer", "upper outer corner", "seam crossing", (slope, width), "Upper outer corner of the left toe-board, at the foot of the front door pillar.")
    panel.datum("rail-inner", "rail top, inner corner", "plate corner", (rail_up, rail_in), "Where the upper inner corner of the left front rail meets the toe-board.")
    panel.datum("rail-outer", "rail top, outer corner", "plate corner", (rail_up, rail_out), "Where the upper outer corner of the left front rail meets the toe-board.")
    panel.datum("hole", "cable hole", "round hole", (0.72 * slope, 0.24 * width), "Middle of the grommet hole in the upper part of the left toe-board.")
    panel.datum("rib", "rib, upper end", "rib end", (0.82 * slope, 0.8 * width), "Upper end of the pressed rib in the outer part of the left toe-board.")
    panel.line("rib", [[0.3 * slope, 0.8 * width], [0.82 * slope, 0.8 * width]])
    panel.line("seam", [[slope - 15, 0], [slope - 15, width]])
    return panel


def front_rail(body: Body) -> list[Draft]:
    """Draw underside and outer side of the left front rail."""
    return [_rail_underside(body), _rail_side(body)]


def _rail_map_y(body: Body) -> float:
    return -(body.floor_front_x + body.toe_slope + MAP_GAP)


def _pick_up(body: Body) -> tuple[float, float, float]:
    """Return u of the front axle on the rail, and of the two ends of its pick-up zone."""
    axle = body.front_axle_x - body.floor_front_x
    return axle, axle - 170, axle + 170


def _rail_underside(body: Body) -> Draft:
    length, width = body.front_end_x - body.floor_front_x, body.front_rail_width
    inner = body.front_rail_outer_y - width
    panel = Draft(
        id="rail-left-front-underside",
        name="Left front rail, underside",
        part="rail",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(body.floor_front_x, inner, 0),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(inner + body.map_shift, _rail_map_y(body)),
        covers=["toe-board-left"],
    )
    axle, start, end = _pick_up(body)
    panel.zone("pick-up", "suspension pick-up", "primary", 1.5, 3, rectangle(start, 0, end, width))
    panel.zone("front", "front", "primary", 1.5, 5, rectangle(end, 0, length, width))
    panel.zone("rear", "rear", "primary", 1.5, 5, rectangle(0, 0, start, width))
    where = "the left front rail"
    panel.datum("front-inner", "front inner corner", "seam end", (length, 0), f"Front inner corner of the lower face of {where}.")
    panel.datum("rear-outer", "rear outer corner", "seam crossing", (0, width), f"Where the outer lower edge of {where} starts at the floor's front edge.")
    panel.datum("front-outer", "front outer corner", "seam end", (length, width), f"Front outer corner of the lower face of {where}.")
    panel.datum("rear-inner", "rear inner corner", "seam crossing", (0, 0), f"Where the inner lower edge of {where} starts at the floor's front edge.")
    panel.datum("plate-rear", "pick-up plate, rear inner corner", "plate corner", (axle - 130, 0.12 * width), f"Rear inner corner of the suspension plate under {where}.")
    panel.datum("plate-front", "pick-up plate, front outer corner", "plate corner", (axle + 130, 0.88 * width), f"Front outer corner of the suspension plate under {where}.")
    panel.datum("hole-rear", "rear hole", "round hole", (0.5 * start, 0.5 * width), f"Middle of the rear round hole in the lower face of {where}.")
    panel.datum("hole-front", "front hole", "round hole", (end + 0.55 * (length - end), 0.5 * width), f"Middle of the front round hole in the lower face of {where}.")
    panel.line("bracket", [*rectangle(axle - 130, 0.12 * width, axle + 130, 0.88 * width), [axle - 130, 0.12 * width]])
    panel.mounting("pick-up-rear", "front suspension pick-up, rear", "suspension", (axle - 100, width / 2))
    panel.mounting("pick-up-front", "front suspension pick-up, front", "suspension", (axle + 100, width / 2))
    panel.mounting("steering", "steering rack bracket", "steering", (axle + 150, 0.35 * width))
    if body.has_front_subframe:
        panel.mounting("subframe-rear", "front subframe mounting, rear", "subframe", (0.3 * start, width / 2))
        panel.mounting("subframe-front", "front subframe mounting, front", "subframe", (length - 60, width / 2))
    return panel


def _rail_side(body: Body) -> Draft:
    length, height = body.front_end_x - body.floor_front_x, body.front_rail_height
    foot = body.toe_run * height / body.toe_rise
    ring = [[0, 0], [length, 0], [length, height], [foot, height]]
    panel = Draft(
        id="rail-left-front-outer",
        name="Left front rail, outer side",
        part="rail",
        side="left",
        seen_from="left",
        outline=ring,
        origin=(body.floor_front_x, body.front_rail_outer_y, 0),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, 1),
        map_origin=(body.front_rail_outer_y + body.map_shift, _rail_map_y(body)),
    )
    axle, start, end = _pick_up(body)
    panel.zone("pick-up", "suspension pick-up", "primary", 1.5, 3, band(ring, start, end))
    panel.zone("front", "front", "primary", 1.5, 5, band(ring, end, length))
    panel.zone("rear", "rear", "primary", 1.5, 5, band(ring, 0, start))
    where = "the outer side of the left front rail"
    panel.datum("front-upper", "front upper corner", "seam end", (length, height), f"Front upper corner of {where}, at the seam with the wheel arch.")
    panel.datum("rear-upper", "rear upper corner", "seam crossing", (foot, height), f"Rear upper corner of {where}, where it meets toe-board and wheel arch.")
    panel.datum("bolt-rear", "rear pick-up bolt", "bolt", (axle - 100, 0.45 * height), f"Head of the rear suspension bolt in {where}.")
    panel.datum("bolt-front", "front pick-up bolt", "bolt", (axle + 100, 0.45 * height), f"Head of the front suspension bolt in {where}.")
    panel.datum("hole", "front hole", "round hole", (end + 0.5 * (length - end), 0.6 * height), f"Middle of the round hole in the front part of {where}.")
    panel.line("seam", [[foot, height - 10], [length, height - 10]])
    return panel


def front_arch(body: Body) -> Draft:
    """Draw the left front inner wheel arch, above the rail's outer side."""
    length, rail = body.front_end_x - body.floor_front_x, body.front_rail_height
    foot = body.toe_run * rail / body.toe_rise
    lower = [[length, 0.0], [foot, 0.0], [body.toe_run, body.toe_rise - rail]]
    height, spring = body.front_arch_height, 0.45 * body.front_arch_height
    ring = [*arch_ring([], body.toe_run, length, height, spring), *reversed(lower)]
    panel = Draft(
        id="arch-left-front",
        name="Left front wheel arch",
        part="wheel arch",
        side="left",
        seen_from="left",
        outline=ring,
        origin=(body.floor_front_x, body.front_rail_outer_y, rail),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, 1),
        map_origin=(body.front_rail_outer_y + body.map_shift + rail, _rail_map_y(body)),
    )
    axle, start, end = _pick_up(body)
    panel.zone("damper", "damper mounting", "primary", 1.2, 3, band(ring, start, end))
    panel.zone("front", "front", "secondary", 0.8, 8, band(ring, end, length))
    panel.zone("rear", "rear", "secondary", 0.8, 8, band(ring, 0, start))
    where = "the left front wheel arch"
    panel.datum("front-spring", "front edge, upper end", "seam end", (length, spring), f"Upper end of the straight front edge of {where}.")
    panel.datum("rear-spring", "rear edge, upper end", "seam end", (body.toe_run, spring), f"Upper end of the straight rear edge of {where}, at the bulkhead.")
    panel.datum("damper-rear", "damper bracket, lower rear corner", "bracket corner", (axle - 70, 0.55 * height), f"Lower rear corner of the damper bracket in {where}.")
    panel.datum("damper-front", "damper bracket, lower front corner", "bracket corner", (axle + 70, 0.55 * height), f"Lower front corner of the damper bracket in {where}.")
    panel.datum("hole-front", "front hole", "round hole", (end + 0.45 * (length - end), 0.3 * height), f"Middle of the round hole for the wiring in the front of {where}.")
    panel.datum("hole-rear", "rear hole", "round hole", (0.5 * (body.toe_run + start), 0.25 * height), f"Middle of the round drain hole in the rear of {where}.")
    panel.line("bracket", [*rectangle(axle - 70, 0.55 * height, axle + 70, 0.85 * height), [axle - 70, 0.55 * height]])
    panel.mounting("damper", "front damper, upper mounting", "damper", (axle, 0.72 * height))
    return panel


def screen_frame(body: Body) -> Draft:
    """Draw the screen frame base, seen from above; on the map its front edge is the lower one.

    So the car's left stays on the right-hand side of the map, as everywhere.
    """
    depth, width = body.screen_depth, 2 * body.screen_half_width
    top = _rail_map_y(body) - (body.front_end_x - body.floor_front_x) - MAP_GAP
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
    panel.datum("rear-right", "rear right corner", "seam crossing", (0, 0), "Rear right corner, where the screen frame rises from its base.")
    panel.datum("front-left", "front left corner", "seam crossing", (depth, width), "Front left corner, where base, wing and door pillar meet.")
    panel.datum("rear-left", "rear left corner", "seam crossing", (0, width), "Rear left corner, where the screen frame rises from its base.")
    panel.datum("front-right", "front right corner", "seam crossing", (depth, 0), "Front right corner, where base, wing and door pillar meet.")
    for side, share in (("left", 0.7), ("right", 0.3)):
        panel.datum(f"wiper-{side}", f"{side} wiper hole", "round hole", (0.55 * depth, share * width), f"Middle of the hole for the {side} wiper spindle.")
    panel.line("hole", circle(0.5 * depth, 0.5 * width, 24))
    return panel
