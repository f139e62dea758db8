"""Inner wheel arches."""

from __future__ import annotations

import math

from body_parts.dimensions import Body
from body_parts.sheet import Draft, Ring, band
from body_parts.stations import boot_map_y, front_arch_end, front_rail_map_y, pick_up, rear_arch_start, rear_cuts

__all__ = ["front_arch", "rear_arch"]


def _arch_ring(start: float, end: float, height: float, spring: float, sides: int = 16) -> Ring:
    """Upper line of an inner wheel arch: a half ellipse from the front edge over to the rear edge.

    It springs at height `spring` and reaches `height`.
    """
    middle, half = (start + end) / 2, (end - start) / 2
    turns = [math.pi * i / sides for i in range(sides + 1)]
    arc = [[middle + half * math.cos(t), spring + (height - spring) * math.sin(t)] for t in turns]
    return [[round(u, 3), round(v, 3)] for u, v in arc]


def front_arch(body: Body) -> Draft:
    """Draw the left front inner wheel arch, above the rail's outer side."""
    length, rail = front_arch_end(body), body.front_rail_height
    foot = body.toe_run * rail / body.toe_rise
    lower = [[length, 0.0], [foot, 0.0], [body.toe_run, body.toe_rise - rail]]
    height, spring = body.front_arch_height, 0.45 * body.front_arch_height
    ring = [*_arch_ring(body.toe_run, length, height, spring), *reversed(lower)]
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
        map_origin=(body.front_rail_outer_y + body.map_shift + rail, front_rail_map_y(body)),
    )
    axle, start, end = pick_up(body)
    panel.zone("damper", "damper mounting", "primary", 1.2, 3, band(ring, start, end))
    panel.zone("front", "front", "secondary", 0.8, 8, band(ring, end, length))
    panel.zone("rear", "rear", "secondary", 0.8, 8, band(ring, 0, start))
    _arch_datums(panel, "the left front wheel arch", (body.toe_run, length, spring), (axle, height))
    panel.datums(
        "round hole",
        "round hole in the left front wheel arch",
        ("hole-front", "front hole", end + 0.45 * (length - end), 0.3 * height, "Middle of the front {}."),
        ("hole-rear", "rear hole", 0.5 * (body.toe_run + start), 0.25 * height, "Middle of the rear {}."),
    )
    panel.mounting("damper", "front damper, upper mounting", "damper", (axle, 0.74 * height))
    return panel


def rear_arch(body: Body) -> Draft:
    """Draw the left rear inner wheel arch, above the rail's outer side."""
    length = body.floor_rear_x - body.heel_run - body.rear_end_x
    _, axle, _ = rear_cuts(body)
    first = rear_arch_start(body)
    height, spring = body.rear_arch_height, 0.4 * body.rear_arch_height
    ring = [*_arch_ring(first, length, height, spring), [first, 0], [length, 0]]
    rail_height = body.boot_floor_z - body.rear_rail_z
    panel = Draft(
        id="arch-left-rear",
        name="Left rear wheel arch",
        part="wheel arch",
        side="left",
        seen_from="left",
        outline=ring,
        origin=(body.rear_end_x, body.rear_rail_outer_y, body.boot_floor_z),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, 1),
        map_origin=(body.rear_rail_outer_y + rail_height, boot_map_y(body)),
    )
    start, end = axle - 110, axle + 110
    panel.zone("damper", "damper mounting", "primary", 1.0, 3, band(ring, start, end))
    panel.zone("front", "front", "primary", 0.8, 8, band(ring, end, length))
    panel.zone("rear", "rear", "secondary", 0.8, 8, band(ring, 0, start))
    _arch_datums(panel, "the left rear wheel arch", (first, length, spring), (axle, height))
    panel.datums(
        "round hole",
        "round hole in the left rear wheel arch",
        ("hole-rear", "rear hole", 0.5 * (first + start), 0.3 * height, "Middle of the rear {}."),
        ("hole-front", "front hole", end + 0.5 * (length - end), 0.3 * height, "Middle of the front {}."),
    )
    panel.mounting("damper", "rear damper, upper mounting", "damper", (axle, 0.74 * height))
    panel.mounting("belt-upper", "seat belt, upper anchorage", "belt", (end + 0.45 * (length - end), 0.55 * height))
    return panel


def _arch_datums(panel: Draft, where: str, straight: tuple[float, float, float], damper: tuple[float, float]) -> None:
    """Add ends of the straight edges (rear u, front u, v) and the damper bracket (u of its middle, arch height)."""
    rear, front, spring = straight
    axle, height = damper
    panel.datums(
        "seam end",
        f"edge of {where}",
        ("front-spring", "front edge, upper end", front, spring, "Upper end of the straight front {}."),
        ("rear-spring", "rear edge, upper end", rear, spring, "Upper end of the straight rear {}."),
    )
    panel.datums(
        "bracket corner",
        f"corner of the damper bracket in {where}",
        ("damper-rear", "damper bracket, lower rear corner", axle - 65, 0.63 * height, "Lower rear {}."),
        ("damper-front", "damper bracket, lower front corner", axle + 65, 0.63 * height, "Lower front {}."),
    )
    panel.box("bracket", axle - 65, 0.63 * height, axle + 65, 0.88 * height)
