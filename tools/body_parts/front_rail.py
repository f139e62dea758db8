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
    panel.datums(
        "seam end",
        "the lower face of the left front rail",
        ("front-inner", "front inner corner", length, 0, "Front inner corner of {}."),
        ("front-outer", "front outer corner", length, width, "Front outer corner of {}."),
    )
    panel.datums(
        "seam crossing",
        "lower edge of the left front rail starts at the floor's front edge",
        ("rear-outer", "rear outer corner", 0, width, "Where the outer {}."),
        ("rear-inner", "rear inner corner", 0, 0, "Where the inner {}."),
    )
    for edge, u in (("rear", axle - 130), ("front", axle + 130)):
        for side, v in (("inner", 0.12 * width), ("outer", 0.88 * width)):
            text = f"{edge.capitalize()} {side} corner of the suspension plate under the left front rail."
            panel.datum(f"plate-{edge}-{side}", f"pick-up plate, {edge} {side} corner", "plate corner", (u, v), text)
    panel.datums(
        "round hole",
        "round hole in the lower face of the left front rail",
        ("hole-rear", "rear hole", 0.5 * start, 0.5 * width, "Middle of the rear {}."),
        ("hole-front", "front hole", end + 0.55 * (length - end), 0.5 * width, "Middle of the front {}."),
    )
    panel.box("bracket", axle - 130, 0.12 * width, axle + 130, 0.88 * width)
    _underside_mountings(panel, body)
    return panel


def _underside_mountings(panel: Draft, body: Body) -> None:
    axle, start, _ = pick_up(body)
    width, length = body.front_rail_width, body.front_end_x - body.floor_front_x
    panel.mounting("pick-up-rear", "front suspension pick-up, rear", "suspension", (axle - 100, width / 2))
    panel.mounting("pick-up-front", "front suspension pick-up, front", "suspension", (axle + 100, width / 2))
    panel.mounting("steering", "steering rack bracket", "steering", (axle + 150, 0.35 * width))
    if body.has_front_subframe:
        panel.mounting("subframe-rear", "front subframe mounting, rear", "subframe", (0.3 * start, width / 2))
        panel.mounting("subframe-front", "front subframe mounting, front", "subframe", (length - 60, width / 2))


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
    upper = "Front upper corner of {}, at the seam with the wheel arch."
    panel.datums("seam end", where, ("front-upper", "front upper corner", length, height, upper))
    upper = "Rear upper corner of {}, where it meets toe-board and wheel arch."
    panel.datums("seam crossing", where, ("rear-upper", "rear upper corner", foot, height, upper))
    panel.datums(
        "bolt",
        f"suspension bolt in {where}",
        ("bolt-rear", "rear pick-up bolt", axle - 100, 0.45 * height, "Head of the rear {}."),
        ("bolt-front", "front pick-up bolt", axle + 100, 0.45 * height, "Head of the front {}."),
    )
    hole = (end + 0.5 * (length - end), 0.6 * height)
    panel.datums(
        "round hole", where, ("hole", "front hole", *hole, "Middle of the round hole in the front part of {}.")
    )
    panel.line("seam", [[foot, height - 10], [length, height - 10]])
    return panel
