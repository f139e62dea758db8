"""Front rail: underside and outer side."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, band, rectangle
from body_parts.stations import front_rail_map_y, pick_up

__all__ = ["front_rail"]


def front_rail(body: Body) -> list[Draft]:
    """Draw underside and outer side of the left front rail."""
    return [_rail_underside(body), _rail_side(body)]


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
        map_origin=(inner + body.map_shift, front_rail_map_y(body)),
        covers=["toe-board-left"],
    )
    axle, start, end = pick_up(body)
    panel.zone("pick-up", "suspension pick-up", "primary", 1.5, 3, rectangle(start, 0, end, width))
    panel.zone("front", "front", "primary", 1.5, 5, rectangle(end, 0, length, width))
    panel.zone("rear", "rear", "primary", 1.5, 5, rectangle(0, 0, start, width))
    where = "the left front rail"
    panel.datum(
        "front-inner",
        "front inner corner",
        "seam end",
        (length, 0),
        f"Front inner corner of the lower face of {where}.",
    )
    panel.datum(
        "rear-outer",
        "rear outer corner",
        "seam crossing",
        (0, width),
        f"Where the outer lower edge of {where} starts at the floor's front edge.",
    )
    panel.datum(
        "front-outer",
        "front outer corner",
        "seam end",
        (length, width),
        f"Front outer corner of the lower face of {where}.",
    )
    panel.datum(
        "rear-inner",
        "rear inner corner",
        "seam crossing",
        (0, 0),
        f"Where the inner lower edge of {where} starts at the floor's front edge.",
    )
    panel.datum(
        "plate-rear",
        "pick-up plate, rear inner corner",
        "plate corner",
        (axle - 130, 0.12 * width),
        f"Rear inner corner of the suspension plate under {where}.",
    )
    panel.datum(
        "plate-front",
        "pick-up plate, front outer corner",
        "plate corner",
        (axle + 130, 0.88 * width),
        f"Front outer corner of the suspension plate under {where}.",
    )
    panel.datum(
        "hole-rear",
        "rear hole",
        "round hole",
        (0.5 * start, 0.5 * width),
        f"Middle of the rear round hole in the lower face of {where}.",
    )
    panel.datum(
        "hole-front",
        "front hole",
        "round hole",
        (end + 0.55 * (length - end), 0.5 * width),
        f"Middle of the front round hole in the lower face of {where}.",
    )
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
        map_origin=(body.front_rail_outer_y + body.map_shift, front_rail_map_y(body)),
    )
    axle, start, end = pick_up(body)
    panel.zone("pick-up", "suspension pick-up", "primary", 1.5, 3, band(ring, start, end))
    panel.zone("front", "front", "primary", 1.5, 5, band(ring, end, length))
    panel.zone("rear", "rear", "primary", 1.5, 5, band(ring, 0, start))
    where = "the outer side of the left front rail"
    panel.datum(
        "front-upper",
        "front upper corner",
        "seam end",
        (length, height),
        f"Front upper corner of {where}, at the seam with the wheel arch.",
    )
    panel.datum(
        "rear-upper",
        "rear upper corner",
        "seam crossing",
        (foot, height),
        f"Rear upper corner of {where}, where it meets toe-board and wheel arch.",
    )
    panel.datum(
        "bolt-rear",
        "rear pick-up bolt",
        "bolt",
        (axle - 100, 0.45 * height),
        f"Head of the rear suspension bolt in {where}.",
    )
    panel.datum(
        "bolt-front",
        "front pick-up bolt",
        "bolt",
        (axle + 100, 0.45 * height),
        f"Head of the front suspension bolt in {where}.",
    )
    panel.datum(
        "hole",
        "front hole",
        "round hole",
        (end + 0.5 * (length - end), 0.6 * height),
        f"Middle of the round hole in the front part of {where}.",
    )
    panel.line("seam", [[foot, height - 10], [length, height - 10]])
    return panel
