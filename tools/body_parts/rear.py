"""Heel-board, rear rail, rear wheel arch and boot floor."""

from __future__ import annotations

from body_parts.dimensions import Body, RearSprings
from body_parts.front import MAP_GAP, arch_ring, band
from body_parts.sheet import Draft, circle, rectangle, unit

__all__ = ["boot_floor", "heel_board", "rail_front_x", "rear_arch", "rear_rail"]


def rail_front_x(body: Body) -> float:
    """Return x where the rear rail's underside meets the heel-board."""
    heel_top_x = body.floor_rear_x - body.heel_run
    return heel_top_x + body.heel_run * (1 - body.rear_rail_z / body.boot_floor_z)


def _boot_map_y(body: Body) -> float:
    """Return map Y of the boot floor's rear edge: the rails' front ends clear the heel-board."""
    heel_top = -body.floor_rear_x + MAP_GAP + body.heel_slope
    return heel_top + MAP_GAP + (rail_front_x(body) - body.rear_end_x)


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
        "left": [[0, middle], [slope, middle], [slope, width], [0, width], [0, middle + out], [notch, middle + out], [notch, middle + inn], [0, middle + inn]],
        "right": [[0, 0], [slope, 0], [slope, middle], [0, middle], [0, middle - inn], [notch, middle - inn], [notch, middle - out], [0, middle - out]],
    }
    for side, ring in halves.items():
        panel.zone(side, side, "primary", 1.0, 6, ring)
    corner = "seam crossing"
    panel.datum("lower-right", "lower right corner", corner, (slope, 0), "Lower right corner of the heel-board, where it meets floor and sill.")
    panel.datum("upper-left", "upper left corner", corner, (0, width), "Upper left corner of the heel-board, in the wheel well.")
    panel.datum("upper-right", "upper right corner", corner, (0, 0), "Upper right corner of the heel-board, in the wheel well.")
    panel.datum("lower-left", "lower left corner", corner, (slope, width), "Lower left corner of the heel-board, where it meets floor and sill.")
    for side, sign in (("left", 1), ("right", -1)):
        panel.datum(f"rail-{side}", f"{side} rail, lower inner corner", "plate corner", (notch, middle + sign * inn), f"Where the lower inner edge of the {side} rear rail runs into the heel-board.")
        at = (0.6 * slope, middle + sign * 0.42 * inn)
        panel.datum(f"hole-{side}", f"{side} hole", "round hole", at, f"Middle of the {side} round hole half-way up the heel-board.")
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
        map_origin=(-body.rear_rail_outer_y, _boot_map_y(body)),
    )
    rail, middle = body.rear_rail_width, width / 2
    third = round((width - 2 * rail) / 6)
    # The strips above the rails cannot be seen from below and are in no zone.
    panel.zone("left", "left, beside the rail", "primary", 0.9, 9, rectangle(0, middle + third, length, width - rail))
    centre = "spare-wheel well" if body.has_spare_wheel_well else "centre"
    panel.zone("centre", centre, "secondary", 0.8, 9, rectangle(0, middle - third, length, middle + third))
    panel.zone("right", "right, beside the rail", "primary", 0.9, 9, rectangle(0, rail, length, middle - third))
    panel.datum("rear-right", "rear right corner at the rail", "seam crossing", (0, rail), "Where the rear edge of the boot floor meets the inner edge of the right rear rail.")
    panel.datum("front-left", "front left corner at the rail", "seam crossing", (length, width - rail), "Where the front edge of the boot floor meets the inner edge of the left rear rail.")
    panel.datum("rear-left", "rear left corner at the rail", "seam crossing", (0, width - rail), "Where the rear edge of the boot floor meets the inner edge of the left rear rail.")
    panel.datum("front-right", "front right corner at the rail", "seam crossing", (length, rail), "Where the front edge of the boot floor meets the inner edge of the right rear rail.")
    for side, sign in (("left", 1), ("right", -1)):
        v = middle + sign * (third + 0.5 * (middle - rail - third))
        panel.datum(f"drain-{side}", f"{side} drain hole", "round hole", (0.35 * length, v), f"Middle of the {side} drain hole in the boot floor.")
        panel.datum(f"rib-{side}", f"{side} rib, front end", "rib end", (0.85 * length, v), f"Front end of the {side} pressed rib in the boot floor.")
        panel.line("rib", [[0.5 * length, v], [0.85 * length, v]])
    if body.has_spare_wheel_well:
        panel.line("edge", circle(0.5 * length, middle, 0.9 * third, 40))
    return panel


def rear_rail(body: Body) -> list[Draft]:
    """Draw underside and outer side of the left rear rail."""
    return [_underside(body), _side(body)]


def _cuts(body: Body) -> tuple[float, float, float]:
    """Return u of the rail's end, of the rear axle, and the rail's length."""
    return 170, body.rear_axle_x - body.rear_end_x, rail_front_x(body) - body.rear_end_x


def _underside(body: Body) -> Draft:
    rear_cut, axle, length = _cuts(body)
    width = body.rear_rail_width
    inner = body.rear_rail_outer_y - width
    panel = Draft(
        id="rail-left-rear-underside",
        name="Left rear rail, underside",
        part="rail",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(body.rear_end_x, inner, body.rear_rail_z),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(inner, _boot_map_y(body)),
        covers=["boot-floor", "heel-board"],
    )
    _rail_zones(panel, body, rectangle(0, 0, length, width))
    where = "the left rear rail"
    panel.datum("rear-inner", "rear inner corner", "seam end", (0, 0), f"Rear inner corner of the lower face of {where}.")
    panel.datum("front-outer", "front outer corner", "seam crossing", (length, width), f"Where the outer lower edge of {where} runs into the heel-board.")
    panel.datum("rear-outer", "rear outer corner", "seam end", (0, width), f"Rear outer corner of the lower face of {where}.")
    panel.datum("front-inner", "front inner corner", "seam crossing", (length, 0), f"Where the inner lower edge of {where} runs into the heel-board.")
    panel.datum("plate-front", "front plate, rear inner corner", "plate corner", (length - 150, 0.12 * width), f"Rear inner corner of the front mounting plate under {where}.")
    panel.datum("hole", "middle hole", "round hole", (0.5 * (rear_cut + length - 190), 0.5 * width), f"Middle of the round hole half-way along the lower face of {where}.")
    panel.datum("plate-rear", "rear plate, front outer corner", "plate corner", (120, 0.88 * width), f"Front outer corner of the rear mounting plate under {where}.")
    panel.line("bracket", [*rectangle(length - 150, 0.12 * width, length - 25, 0.88 * width), [length - 150, 0.12 * width]])
    panel.line("bracket", [*rectangle(20, 0.12 * width, 120, 0.88 * width), [20, 0.12 * width]])
    _rear_mountings(panel, body, axle, length, width)
    return panel


def _rail_zones(panel: Draft, body: Body, ring: list[list[float]]) -> None:
    rear_cut, _, length = _cuts(body)
    front_cut = length - 190
    names = {
        RearSprings.LEAF: ("front spring hanger", "rear spring hanger", 2.0),
        RearSprings.COIL: ("suspension arm pick-up", "rear end", 1.5),
        RearSprings.TORSION: ("torsion-bar mounting", "rear end", 1.8),
    }
    front, rear, sheet = names[body.springs]
    panel.zone("front", front, "primary", sheet, 3, band(ring, front_cut, length))
    if body.springs is RearSprings.LEAF:
        panel.zone("rear", rear, "primary", sheet, 3, band(ring, 0, rear_cut))
    else:
        panel.zone("rear", rear, "primary", 1.4, 5, band(ring, 0, rear_cut))
    panel.zone("middle", "over the axle", "primary", 1.4, 5, band(ring, rear_cut, front_cut))


def _rear_mountings(panel: Draft, body: Body, axle: float, length: float, width: float) -> None:
    v = width / 2
    if body.springs is RearSprings.LEAF:
        panel.mounting("hanger-front", "front spring hanger", "spring", (length - 85, v))
        panel.mounting("hanger-rear", "rear spring hanger", "spring", (70, v))
        return
    panel.mounting("arm", "rear suspension arm pick-up", "suspension", (length - 85, v))
    if body.springs is RearSprings.COIL:
        panel.mounting("spring", "rear spring seat", "spring", (axle, v))
    else:
        panel.mounting("torsion-bar", "torsion-bar mounting", "torsion bar", (length - 140, v))


def _side(body: Body) -> Draft:
    rear_cut, axle, length = _cuts(body)
    height = body.boot_floor_z - body.rear_rail_z
    top = body.floor_rear_x - body.heel_run - body.rear_end_x
    ring = [[0, 0], [length, 0], [top, height], [0, height]]
    panel = Draft(
        id="rail-left-rear-outer",
        name="Left rear rail, outer side",
        part="rail",
        side="left",
        seen_from="left",
        outline=ring,
        origin=(body.rear_end_x, body.rear_rail_outer_y, body.rear_rail_z),
        u_axis=(1, 0, 0),
        v_axis=(0, 0, 1),
        map_origin=(body.rear_rail_outer_y, _boot_map_y(body)),
    )
    _rail_zones(panel, body, ring)
    where = "the outer side of the left rear rail"
    panel.datum("rear-upper", "rear upper corner", "seam end", (0, height), f"Rear upper corner of {where}, at the seam with the wheel arch.")
    panel.datum("front-upper", "front upper corner", "seam crossing", (top, height), f"Front upper corner of {where}, where it meets heel-board and wheel arch.")
    panel.datum("bolt-front", "front bolt", "bolt", (length - 85, 0.35 * height), f"Head of the front spring or arm bolt in {where}.")
    panel.datum("bolt-rear", "rear bolt", "bolt", (70, 0.4 * height), f"Head of the rear bolt in {where}.")
    panel.datum("bump-stop", "bump stop bracket, lower rear corner", "bracket corner", (axle - 40, 0.3 * height), f"Lower rear corner of the bump stop bracket on {where}.")
    panel.line("bracket", [*rectangle(axle - 40, 0.3 * height, axle + 40, 0.8 * height), [axle - 40, 0.3 * height]])
    panel.line("seam", [[0, height - 10], [top, height - 10]])
    return panel


def rear_arch(body: Body) -> Draft:
    """Draw the left rear inner wheel arch, above the rail's outer side."""
    length = body.floor_rear_x - body.heel_run - body.rear_end_x
    _, axle, _ = _cuts(body)
    height, spring = body.rear_arch_height, 0.4 * body.rear_arch_height
    ring = [*arch_ring([], 0, length, height, spring), [0, 0], [length, 0]]
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
        map_origin=(body.rear_rail_outer_y + rail_height, _boot_map_y(body)),
    )
    start, end = axle - 110, axle + 110
    panel.zone("damper", "damper mounting", "primary", 1.0, 3, band(ring, start, end))
    panel.zone("front", "front", "primary", 0.8, 8, band(ring, end, length))
    panel.zone("rear", "rear", "secondary", 0.8, 8, band(ring, 0, start))
    where = "the left rear wheel arch"
    panel.datum("rear-spring", "rear edge, upper end", "seam end", (0, spring), f"Upper end of the straight rear edge of {where}.")
    panel.datum("front-spring", "front edge, upper end", "seam end", (length, spring), f"Upper end of the straight front edge of {where}.")
    panel.datum("damper-rear", "damper bracket, lower rear corner", "bracket corner", (axle - 60, 0.5 * height), f"Lower rear corner of the damper bracket in {where}.")
    panel.datum("damper-front", "damper bracket, lower front corner", "bracket corner", (axle + 60, 0.5 * height), f"Lower front corner of the damper bracket in {where}.")
    panel.datum("hole-rear", "rear hole", "round hole", (0.5 * start, 0.3 * height), f"Middle of the round hole in the rear of {where}.")
    panel.datum("hole-front", "front hole", "round hole", (end + 0.5 * (length - end), 0.3 * height), f"Middle of the round hole in the front of {where}.")
    panel.line("bracket", [*rectangle(axle - 60, 0.5 * height, axle + 60, 0.8 * height), [axle - 60, 0.5 * height]])
    panel.mounting("damper", "rear damper, upper mounting", "damper", (axle, 0.68 * height))
    panel.mounting("belt-upper", "seat belt, upper anchorage", "belt", (end + 0.45 * (length - end), 0.55 * height))
    return panel
