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
    where = "the left rear rail"
    panel.datum(
        "rear-inner", "rear inner corner", "seam end", (0, 0), f"Rear inner corner of the lower face of {where}."
    )
    panel.datum(
        "front-outer",
        "front outer corner",
        "seam crossing",
        (length, width),
        f"Where the outer lower edge of {where} runs into the heel-board.",
    )
    panel.datum(
        "rear-outer", "rear outer corner", "seam end", (0, width), f"Rear outer corner of the lower face of {where}."
    )
    panel.datum(
        "front-inner",
        "front inner corner",
        "seam crossing",
        (length, 0),
        f"Where the inner lower edge of {where} runs into the heel-board.",
    )
    panel.datum(
        "plate-front",
        "front plate, rear inner corner",
        "plate corner",
        (length - 150, 0.12 * width),
        f"Rear inner corner of the front mounting plate under {where}.",
    )
    panel.datum(
        "hole",
        "middle hole",
        "round hole",
        (0.5 * (rear_cut + length - 190), 0.5 * width),
        f"Middle of the round hole half-way along the lower face of {where}.",
    )
    panel.datum(
        "plate-rear",
        "rear plate, front outer corner",
        "plate corner",
        (120, 0.88 * width),
        f"Front outer corner of the rear mounting plate under {where}.",
    )
    panel.line(
        "bracket", [*rectangle(length - 150, 0.12 * width, length - 25, 0.88 * width), [length - 150, 0.12 * width]]
    )
    panel.line("bracket", [*rectangle(20, 0.12 * width, 120, 0.88 * width), [20, 0.12 * width]])
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
    panel.datum(
        "rear-upper",
        "rear upper corner",
        "seam end",
        (0, height),
        f"Rear upper corner of {where}, at the seam with the wheel arch.",
    )
    panel.datum(
        "front-upper",
        "front upper corner",
        "seam crossing",
        (top, height),
        f"Front upper corner of {where}, where it meets heel-board and wheel arch.",
    )
    panel.datum(
        "bolt-front",
        "front bolt",
        "bolt",
        (length - 85, 0.35 * height),
        f"Head of the front spring or arm bolt in {where}.",
    )
    panel.datum("bolt-rear", "rear bolt", "bolt", (70, 0.4 * height), f"Head of the rear bolt in {where}.")
    panel.datum(
        "bump-stop",
        "bump stop bracket, lower rear corner",
        "bracket corner",
        (axle - 40, 0.3 * height),
        f"Lower rear corner of the bump stop bracket on {where}.",
    )
    panel.line("bracket", [*rectangle(axle - 40, 0.3 * height, axle + 40, 0.8 * height), [axle - 40, 0.3 * height]])
    panel.line("seam", [[0, height - 10], [top, height - 10]])
    return panel
