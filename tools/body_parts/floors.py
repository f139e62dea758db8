"""Floors, tunnel and floor crossmembers: everything between the sills."""

from __future__ import annotations

from body_parts.dimensions import Body, Crossmember
from body_parts.sheet import Draft, circle, rectangle, unit

__all__ = ["crossmembers", "floor", "tunnel"]


def floor(body: Body) -> Draft:
    """Draw the left floor; (u, v) runs from the rear tunnel corner forwards and outwards."""
    length, width = body.floor_length, body.floor_width
    panel = Draft(
        id="floor-left",
        name="Left floor",
        part="floor",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, length, width),
        origin=(body.floor_rear_x, body.tunnel_half_base, 0),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(body.tunnel_half_base + body.map_shift, -body.floor_rear_x),
    )
    _floor_zones(panel, body)
    _floor_datums(panel, body)
    _floor_mountings(panel, body)
    _floor_lines(panel, body)
    return panel


def _bays(body: Body) -> tuple[tuple[str, str, float, float], ...]:
    """Return what the crossmembers leave of a floor: suffix, word, u from, u to.

    The strip behind a crossmember cannot be seen from below and is in no zone.
    """
    rear = [body.crossmember_rear.at_x + s * body.crossmember_rear.width / 2 - body.floor_rear_x for s in (-1, 1)]
    front = [body.crossmember_front.at_x + s * body.crossmember_front.width / 2 - body.floor_rear_x for s in (-1, 1)]
    return (
        ("front", "front", front[1], body.floor_length),
        ("middle", "seat bay", rear[1], front[0]),
        ("rear", "rear", 0, rear[0]),
    )


def _floor_zones(panel: Draft, body: Body) -> None:
    inner = body.floor_width - body.floor_edge_width
    for suffix, word, start, end in _bays(body):
        ring = rectangle(start, inner, end, body.floor_width)
        panel.zone(f"edge-{suffix}", f"outer edge, {word}", "primary", 0.9, 2, ring)
    for suffix, word, start, end in _bays(body):
        role = "secondary" if suffix == "front" else "primary"
        panel.zone(suffix, word, role, 0.9, 2, rectangle(start, 0, end, inner))


def _floor_datums(panel: Draft, body: Body) -> None:
    length, width = body.floor_length, body.floor_width
    front, middle, rear = _bays(body)
    corner = "seam crossing"
    panel.datum(
        "rear-outer",
        "rear outer corner",
        corner,
        (0, width),
        "Where the seam along the rear edge of the left floor runs into the left sill.",
    )
    panel.datum(
        "front-inner",
        "front inner corner",
        corner,
        (length, 0),
        "Where the left floor, the left toe-board and the tunnel meet; three seams come together.",
    )
    panel.datum(
        "rear-inner",
        "rear inner corner",
        corner,
        (0, 0),
        "Where the rear edge of the left floor meets the tunnel, at the foot of the heel-board.",
    )
    panel.datum(
        "front-outer",
        "front outer corner",
        corner,
        (length, width),
        "Where the front edge of the left floor, at the toe-board's foot, runs into the left sill.",
    )
    panel.datum(
        "front-crossmember-sill-rear",
        "front crossmember to sill, rear corner",
        "plate corner",
        (middle[3], width),
        "Rear corner where the left front crossmember butts against the left sill.",
    )
    panel.datum(
        "rear-crossmember-sill-front",
        "rear crossmember to sill, front corner",
        "plate corner",
        (middle[2], width),
        "Front corner where the left rear crossmember butts against the left sill.",
    )
    panel.datum(
        "front-crossmember-tunnel-front",
        "front crossmember to tunnel, front corner",
        "plate corner",
        (front[2], 0),
        "Front corner where the left front crossmember meets the tunnel.",
    )
    panel.datum(
        "rear-crossmember-tunnel-rear",
        "rear crossmember to tunnel, rear corner",
        "plate corner",
        (rear[3], 0),
        "Rear corner where the left rear crossmember meets the tunnel.",
    )
    panel.datum(
        "drain-front",
        "front drain hole",
        "round hole",
        (front[2] + 0.62 * (length - front[2]), 0.45 * width),
        "Middle of the round drain hole in the left footwell, plugged with a rubber grommet when complete.",
    )
    panel.datum(
        "drain-rear",
        "rear drain hole",
        "round hole",
        (0.42 * rear[3], 0.55 * width),
        "Middle of the round drain hole behind the left seat, in the lowest part of the pan.",
    )
    span = middle[3] - middle[2]
    panel.datum(
        "rib-outer-front",
        "seat bay, outer rib, front end",
        "rib end",
        (middle[2] + 0.87 * span, 0.62 * width),
        "Front end of the outer of the two long pressed ribs in the seat bay of the left floor.",
    )
    panel.datum(
        "rib-inner-rear",
        "seat bay, inner rib, rear end",
        "rib end",
        (middle[2] + 0.13 * span, 0.25 * width),
        "Rear end of the inner of the two long pressed ribs in the seat bay of the left floor.",
    )


def _floor_mountings(panel: Draft, body: Body) -> None:
    width = body.floor_width
    _, middle, rear = _bays(body)
    panel.mounting("belt-inner", "seat belt, inner lower anchorage", "belt", (rear[3] - 70, 40))
    panel.mounting("belt-outer", "seat belt, outer lower anchorage", "belt", (rear[3] - 70, width - 55))
    panel.mounting("seat-inner-rear", "seat, inner rear bolt", "seat", (middle[2] + 60, 0.17 * width))
    panel.mounting("seat-outer-rear", "seat, outer rear bolt", "seat", (middle[2] + 60, 0.83 * width))


def _floor_lines(panel: Draft, body: Body) -> None:
    length, width = body.floor_length, body.floor_width
    front, middle, rear = _bays(body)
    for share in (0.25, 0.62):
        panel.line(
            "rib",
            _rib(middle[2] + 0.13 * (middle[3] - middle[2]), middle[2] + 0.87 * (middle[3] - middle[2]), share * width),
        )
    for share in (0.15, 0.37, 0.59):
        panel.line("rib", _rib(front[2] + 50, front[2] + 0.45 * (length - front[2]), share * width))
    panel.line("rib", _rib(0.14 * rear[3], 0.86 * rear[3], 0.28 * width))
    panel.line("seam", [[18, 0], [18, width]])
    panel.line("seam", [[length - 18, 0], [length - 18, width]])
    panel.line("seam", [[0, width - 18], [length, width - 18]])
    panel.line("seam", [[0, 18], [length, 18]])


def _rib(u0: float, u1: float, v: float, half: float = 16) -> list[list[float]]:
    """Closed line round a pressed rib with blunt ends, u0 to u1 tip to tip."""
    ring = [
        [u0, v],
        [u0 + 10, v - half],
        [u1 - 10, v - half],
        [u1, v],
        [u1 - 10, v + half],
        [u0 + 10, v + half],
        [u0, v],
    ]
    return [[round(u, 2), round(w, 2)] for u, w in ring]


def crossmembers(body: Body) -> list[Draft]:
    """Draw the undersides of the left crossmembers, front first."""
    front = _crossmember(body, body.crossmember_front, "front")
    front.mounting(
        "seat-inner-front",
        "seat, inner front bolt",
        "seat",
        (body.crossmember_front.width / 2, 0.17 * body.floor_width),
    )
    front.mounting(
        "seat-outer-front",
        "seat, outer front bolt",
        "seat",
        (body.crossmember_front.width / 2, 0.83 * body.floor_width),
    )
    return [front, _crossmember(body, body.crossmember_rear, "rear")]


def _crossmember(body: Body, beam: Crossmember, word: str) -> Draft:
    width, span = beam.width, body.floor_width
    rear_x = beam.at_x - width / 2
    panel = Draft(
        id=f"crossmember-left-{word}",
        name=f"Left {word} crossmember",
        part="crossmember",
        side="left",
        seen_from="below",
        outline=rectangle(0, 0, width, span),
        origin=(rear_x, body.tunnel_half_base, -beam.depth),
        u_axis=(1, 0, 0),
        v_axis=(0, 1, 0),
        map_origin=(body.tunnel_half_base + body.map_shift, -rear_x),
        covers=["floor-left"],
    )
    panel.zone("inner", "inner half", "primary", 1.4, 4, rectangle(0, 0, width, span / 2))
    panel.zone("outer", "outer half", "primary", 1.4, 4, rectangle(0, span / 2, width, span))
    where = f"the left {word} crossmember"
    panel.datum(
        "rear-inner",
        "rear inner corner",
        "plate corner",
        (0, 0),
        f"Rear inner corner of {where}, on its lower face, at the tunnel.",
    )
    panel.datum(
        "front-outer",
        "front outer corner",
        "plate corner",
        (width, span),
        f"Front outer corner of {where}, on its lower face, at the sill.",
    )
    panel.datum(
        "rear-outer",
        "rear outer corner",
        "plate corner",
        (0, span),
        f"Rear outer corner of {where}, on its lower face, at the sill.",
    )
    panel.datum(
        "front-inner",
        "front inner corner",
        "plate corner",
        (width, 0),
        f"Front inner corner of {where}, on its lower face, at the tunnel.",
    )
    panel.datum(
        "hole-inner",
        "inner hole",
        "round hole",
        (0.4 * width, 0.32 * span),
        f"Middle of the inner round hole in the lower face of {where}.",
    )
    panel.datum(
        "hole-outer",
        "outer hole",
        "round hole",
        (0.6 * width, 0.68 * span),
        f"Middle of the outer round hole in the lower face of {where}.",
    )
    panel.line("edge", [[10, 0], [10, span]])
    panel.line("edge", [[width - 10, 0], [width - 10, span]])
    return panel


def tunnel(body: Body) -> list[Draft]:
    """Draw the left tunnel wall and the tunnel roof, seen from below."""
    return [_tunnel_wall(body), _tunnel_roof(body)]


def _tunnel_wall(body: Body) -> Draft:
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
    panel.zone("front", "front", "primary", 1.0, 7, rectangle(length / 2, 0, length, slope))
    panel.zone("rear", "rear", "primary", 1.0, 7, rectangle(0, 0, length / 2, slope))
    panel.datum(
        "rear-upper",
        "rear upper corner",
        "seam end",
        (0, 0),
        "Rear end of the bend between the left tunnel wall and the tunnel roof.",
    )
    panel.datum(
        "front-upper",
        "front upper corner",
        "seam end",
        (length, 0),
        "Front end of the bend between the left tunnel wall and the tunnel roof.",
    )
    panel.datum(
        "hole-front",
        "front hole",
        "round hole",
        (0.8 * length, 0.55 * slope),
        "Middle of the round hole for the cables in the front of the left tunnel wall.",
    )
    panel.datum(
        "bracket-rear",
        "rear bracket, lower rear corner",
        "bracket corner",
        (0.24 * length, 0.7 * slope),
        "Lower rear corner of the small bracket for the pipe clip on the left tunnel wall.",
    )
    panel.datum(
        "bracket-middle",
        "middle bracket, lower rear corner",
        "bracket corner",
        (0.56 * length, 0.62 * slope),
        "Lower rear corner of the exhaust hanger bracket on the left tunnel wall.",
    )
    u, v = 0.24 * length, 0.7 * slope
    panel.line("bracket", [[u, v], [u + 45, v], [u + 45, v - 40], [u, v - 40], [u, v]])
    u, v = 0.56 * length, 0.62 * slope
    panel.line("bracket", [[u, v], [u + 60, v], [u + 60, v - 45], [u, v - 45], [u, v]])
    return panel


def _tunnel_roof(body: Body) -> Draft:
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
    panel.zone("front", "front", "primary", 1.0, 7, rectangle(length / 2, 0, length, width))
    panel.zone("rear", "rear", "primary", 1.0, 7, rectangle(0, 0, length / 2, width))
    panel.datum(
        "lever-rear",
        "lever opening, rear edge",
        "slot",
        (0.72 * length, width / 2),
        "Middle of the rear edge of the opening for the gear lever in the tunnel roof.",
    )
    panel.datum(
        "brake-front",
        "hand brake opening, front edge",
        "slot",
        (0.42 * length, width * 0.6),
        "Middle of the front edge of the slot for the hand brake in the tunnel roof.",
    )
    u = 0.72 * length
    panel.line("hole", circle(u + 40, width / 2, 40))
    u, v = 0.42 * length, width * 0.6
    panel.line("hole", [[u, v - 15], [u, v + 15], [u - 110, v + 15], [u - 110, v - 15], [u, v - 15]])
    return panel
