"""Where things stand along the car, and where groups of panels stand on the map."""

from __future__ import annotations

from body_parts.dimensions import Body

__all__ = [
    "MAP_GAP",
    "boot_map_y",
    "front_arch_end",
    "front_rail_map_y",
    "pick_up",
    "rail_front_x",
    "rear_arch_start",
    "rear_cuts",
]

MAP_GAP = 40.0
"""Gap on the map between panels that are not hinged there, mm."""


ARCH_REACH = (430.0, 450.0)
"""How far the front arch reaches forwards, and the rear arch rearwards, of its axle, mm."""


def front_arch_end(body: Body) -> float:
    """Return u on the front rail where the front wheel arch ends."""
    return min(body.front_end_x, body.front_axle_x + ARCH_REACH[0]) - body.floor_front_x


def rear_arch_start(body: Body) -> float:
    """Return u on the rear rail where the rear wheel arch starts."""
    return max(body.rear_end_x, body.rear_axle_x - ARCH_REACH[1]) - body.rear_end_x


def front_rail_map_y(body: Body) -> float:
    """Return map Y of the front rails' rear end: they clear the toe-boards."""
    return -(body.floor_front_x + body.toe_slope + MAP_GAP)


def pick_up(body: Body) -> tuple[float, float, float]:
    """Return u of the front axle on the rail, and of the two ends of its pick-up zone."""
    axle = body.front_axle_x - body.floor_front_x
    return axle, axle - 170, axle + 170


def rail_front_x(body: Body) -> float:
    """Return x where the rear rail's underside meets the heel-board."""
    heel_top_x = body.floor_rear_x - body.heel_run
    return heel_top_x + body.heel_run * (1 - body.rear_rail_z / body.boot_floor_z)


def rear_cuts(body: Body) -> tuple[float, float, float]:
    """Return u of the rail's end, of the rear axle, and the rail's length."""
    return 170, body.rear_axle_x - body.rear_end_x, rail_front_x(body) - body.rear_end_x


def boot_map_y(body: Body) -> float:
    """Return map Y of the boot floor's rear edge: the rails' front ends clear the heel-board."""
    heel_top = -body.floor_rear_x + MAP_GAP + body.heel_slope
    return heel_top + MAP_GAP + (rail_front_x(body) - body.rear_end_x)
