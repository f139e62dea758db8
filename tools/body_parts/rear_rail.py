"""Rear rail: underside and outer side."""

from __future__ import annotations

from body_parts.dimensions import Body, RearSprings
from body_parts.sheet import Draft, band, rectangle
from body_parts.stations import boot_map_y, rear_cuts

__all__ = ["rear_rail"]


def rear_rail(body: Body) -> list[Draft]:
    """Draw underside and outer side of the left rear rail."""
    return [_underside(body), _side(body)]


def _underside(body: Body) -> Draft:
    rear_cut, axle, length = rear_cuts(body)
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
        map_origin=(inner, boot_map_y(body)),
        covers=["boot-floor", "heel-board"],
    )
    _rail_zones(panel, body, rectangle(0, 0, length, width))
    panel.datums(
        "seam end",
        "the lower face of the left rear rail",
        ("rear-inner", "rear inner corner", 0, 0, "Rear inner corner of {}."),
        ("rear-outer", "rear outer corner", 0, width, "Rear outer corner of {}."),
    )
    panel.datums(
        "seam crossing",
        "lower edge of the left rear rail runs into the heel-board",
        ("front-outer", "front outer corner", length, width, "Where the outer {}."),
        ("front-inner", "front inner corner", length, 0, "Where the inner {}."),
    )
    low, high = 0.12 * width, 0.88 * width
    for plate, ends in (("front", (length - 150, length - 25)), ("rear", (20, 120))):
        panel.box("bracket", ends[0], low, ends[1], high)
        panel.datums(
            "plate corner",
            f"corner of the {plate} mounting plate under the left rear rail",
            (f"plate-{plate}-rear", f"{plate} plate, rear inner corner", ends[0], low, "Rear inner {}."),
            (f"plate-{plate}-front", f"{plate} plate, front outer corner", ends[1], high, "Front outer {}."),
        )
    text = "Middle of the round hole half-way along the lower face of the left rear rail."
    panel.datum("hole", "middle hole", "round hole", (0.5 * (rear_cut + length - 190), 0.5 * width), text)
    _rear_mountings(panel, body, axle, length, width)
    return panel


def _rail_zones(panel: Draft, body: Body, ring: list[list[float]]) -> None:
    rear_cut, _, length = rear_cuts(body)
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
    if body.springs is RearSprings.COIL:
        panel.zone("middle", "spring seat, over the axle", "primary", 1.5, 3, band(ring, rear_cut, front_cut))
    else:
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
    _, axle, length = rear_cuts(body)
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
        map_origin=(body.rear_rail_outer_y, boot_map_y(body)),
    )
    _rail_zones(panel, body, ring)
    where = "the outer side of the left rear rail"
    text = "Rear upper corner of {}, at the seam with the wheel arch."
    panel.datums("seam end", where, ("rear-upper", "rear upper corner", 0, height, text))
    text = "Front upper corner of {}, where it meets heel-board and wheel arch."
    panel.datums("seam crossing", where, ("front-upper", "front upper corner", top, height, text))
    panel.datums(
        "bolt",
        f"bolt in {where}",
        ("bolt-front", "front bolt", length - 85, 0.35 * height, "Head of the front {}."),
        ("bolt-rear", "rear bolt", 70, 0.4 * height, "Head of the rear {}."),
    )
    panel.datums(
        "bracket corner",
        f"corner of the bump stop bracket on {where}",
        ("bump-stop", "bump stop bracket, lower rear corner", axle - 40, 0.3 * height, "Lower rear {}."),
        ("bump-stop-front", "bump stop bracket, upper front corner", axle + 40, 0.8 * height, "Upper front {}."),
    )
    panel.box("bracket", axle - 40, 0.3 * height, axle + 40, 0.8 * height)
    panel.line("seam", [[0, height - 10], [top, height - 10]])
    return panel
