"""Tunnel walls and tunnel roof."""

from __future__ import annotations

from body_parts.dimensions import Body
from body_parts.sheet import Draft, circle, rectangle, unit

__all__ = ["tunnel"]


def tunnel(body: Body) -> list[Draft]:
    """Draw the left tunnel wall and the tunnel roof, seen from below."""
    return [_wall(body), _roof(body)]


def _halves(panel: Draft, length: float, width: float) -> None:
    panel.zone("front", "front", "primary", 1.0, 7, rectangle(length / 2, 0, length, width))
    panel.zone("rear", "rear", "primary", 1.0, 7, rectangle(0, 0, length / 2, width))


def _wall(body: Body) -> Draft:
    length, slope = body.floor_length, body.tunnel_slope
    panel = Draft(
        id="tunnel-left",
        name="Left tunnel wall",
        part="tunnel",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, length, slope),
        origin=(body.floor_rear_x, body.tunnel_half_roof, body.tunnel_height),
        u_axis=(1, 0, 0),
        v_axis=unit(0, body.tunnel_half_base - body.tunnel_half_roof, -body.tunnel_height),
        map_origin=(body.tunnel_half_roof, -body.floor_rear_x),
    )
    _halves(panel, length, slope)
    panel.datums(
        "seam end",
        "the bend between the left tunnel wall and the tunnel roof",
        ("rear-upper", "rear upper corner", 0, 0, "Rear end of {}."),
        ("front-upper", "front upper corner", length, 0, "Front end of {}."),
    )
    panel.datums(
        "round hole",
        "the left tunnel wall",
        (
            "hole-front",
            "front hole",
            0.8 * length,
            0.55 * slope,
            "Middle of the front round hole for the cables in {}.",
        ),
        ("hole-rear", "rear hole", 0.4 * length, 0.6 * slope, "Middle of the rear round hole for the cables in {}."),
    )
    for word, what, start, low in (("rear", "pipe clip", 0.2, 0.72), ("middle", "exhaust hanger", 0.56, 0.66)):
        u, v, end, top = start * length, low * slope, start * length + 60, (low - 0.3) * slope
        panel.box("bracket", u, v, end, top)
        panel.datums(
            "bracket corner",
            f"the {what} bracket on the left tunnel wall",
            (f"bracket-{word}", f"{what} bracket, lower rear corner", u, v, "Lower rear corner of {}."),
            (f"bracket-{word}-front", f"{what} bracket, upper front corner", end, top, "Upper front corner of {}."),
        )
    return panel


def _roof(body: Body) -> Draft:
    length, width = body.floor_length, 2 * body.tunnel_half_roof
    panel = Draft(
        id="tunnel-roof",
        name="Tunnel roof",
        part="tunnel",
        side="centre",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(body.floor_rear_x, -body.tunnel_half_roof, body.tunnel_height),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(-body.tunnel_half_roof, -body.floor_rear_x),
    )
    _halves(panel, length, width)
    lever, brake, middle = 0.72 * length, 0.42 * length, width / 2
    panel.datums(
        "bolt",
        "bolt of the gearbox mounting in the tunnel roof",
        ("bolt-left", "left mounting bolt", 0.87 * length, 0.8 * width, "Left {}."),
        ("bolt-right", "right mounting bolt", 0.87 * length, 0.2 * width, "Right {}."),
        ("bolt-rear", "rear mounting bolt", 0.52 * length, 0.5 * width, "Rear {}."),
    )
    panel.datums(
        "slot",
        "in the tunnel roof",
        (
            "lever-rear",
            "lever opening, rear edge",
            lever,
            middle,
            "Middle of the rear edge of the gear lever opening {}.",
        ),
        ("brake-front", "hand brake slot, front end", brake, 0.6 * width, "Front end of the hand brake slot {}."),
        ("brake-rear", "hand brake slot, rear end", brake - 110, 0.6 * width, "Rear end of the hand brake slot {}."),
    )
    panel.line("hole", circle(lever + 40, middle, 40))
    panel.box("hole", brake - 110, 0.6 * width - 15, brake, 0.6 * width + 15)
    return panel
