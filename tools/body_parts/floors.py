"""Floors and floor crossmembers."""

from __future__ import annotations

from body_parts.dimensions import Body, Crossmember
from body_parts.sheet import Draft, rectangle

__all__ = ["crossmembers", "floor"]


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
    corners = (
        ("rear-outer", "rear outer", 0, width, "the seam along its rear edge runs into the sill"),
        ("front-inner", "front inner", length, 0, "it meets toe-board and tunnel; three seams come together"),
        ("rear-inner", "rear inner", 0, 0, "its rear edge meets the tunnel, at the foot of the heel-board"),
        ("front-outer", "front outer", length, width, "its front edge, at the toe-board, runs into the sill"),
    )
    for suffix, word, u, v, where in corners:
        text = f"{word.capitalize()} corner of the left floor, where {where}."
        panel.datum(suffix, f"{word} corner", "seam crossing", (u, v), text)
    front, middle, rear = _bays(body)
    for word, ends in (("front", (middle[3], front[2])), ("rear", (rear[3], middle[2]))):
        for edge, u in zip(("rear", "front"), ends, strict=True):
            for place, v in (("sill", width), ("tunnel", 0)):
                name = f"{word} crossmember to {place}, {edge} corner"
                text = f"{edge.capitalize()} corner where the left {word} crossmember meets {place} and floor."
                panel.datum(f"{word}-crossmember-{place}-{edge}", name, "plate corner", (u, v), text)
    at = (front[2] + 0.62 * (length - front[2]), 0.45 * width)
    text = "Middle of the round drain hole in the left footwell, closed by a rubber plug when complete."
    panel.datum("drain-front", "front drain hole", "round hole", at, text)
    text = "Middle of the round drain hole behind the left seat, in the lowest part of the floor."
    panel.datum("drain-rear", "rear drain hole", "round hole", (0.42 * rear[3], 0.55 * width), text)
    for name, (u0, u1, v) in _ribs(body).items():
        for end, u in (("rear", u0), ("front", u1)):
            text = f"{end.capitalize()} end of the {name.replace('-', ' ')} pressed into the left floor."
            panel.datum(f"{name}-{end}", f"{name.replace('-', ' ')}, {end} end", "rib end", (u, v), text)
    for place, share in (("inner", 0.17), ("outer", 0.83)):
        text = f"Middle of the {place} rear bolt of the left seat, seen from below."
        panel.datum(f"seat-bolt-{place}", f"seat, {place} rear bolt", "bolt", (middle[2] + 60, share * width), text)


def _ribs(body: Body) -> dict[str, tuple[float, float, float]]:
    """Return the pressed ribs that serve as datum points: rear end, front end, v."""
    front, middle, rear = _bays(body)
    width, span = body.floor_width, middle[3] - middle[2]
    start, end = middle[2] + 0.13 * span, middle[2] + 0.87 * span
    return {
        "outer-rib": (start, end, 0.62 * width),
        "inner-rib": (start, end, 0.25 * width),
        "footwell-rib": (front[2] + 50, front[2] + 0.45 * (body.floor_length - front[2]), 0.59 * width),
        "rear-rib": (0.14 * rear[3], 0.86 * rear[3], 0.28 * width),
    }


def _floor_mountings(panel: Draft, body: Body) -> None:
    width = body.floor_width
    _, middle, rear = _bays(body)
    panel.mounting("belt-inner", "seat belt, inner lower anchorage", "belt", (rear[3] - 70, 40))
    panel.mounting("belt-outer", "seat belt, outer lower anchorage", "belt", (rear[3] - 70, width - 55))
    panel.mounting("seat-inner-rear", "seat, inner rear bolt", "seat", (middle[2] + 60, 0.17 * width))
    panel.mounting("seat-outer-rear", "seat, outer rear bolt", "seat", (middle[2] + 60, 0.83 * width))


def _floor_lines(panel: Draft, body: Body) -> None:
    length, width = body.floor_length, body.floor_width
    front = _bays(body)[0]
    for u0, u1, v in _ribs(body).values():
        panel.line("rib", _rib(u0, u1, v))
    for share in (0.15, 0.37):
        panel.line("rib", _rib(front[2] + 50, front[2] + 0.45 * (length - front[2]), share * width))
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
    panel.datums(
        "plate corner",
        f"the left {word} crossmember, on its lower face",
        ("rear-inner", "rear inner corner", 0, 0, "Rear inner corner of {}, at the tunnel."),
        ("front-outer", "front outer corner", width, span, "Front outer corner of {}, at the sill."),
        ("rear-outer", "rear outer corner", 0, span, "Rear outer corner of {}, at the sill."),
        ("front-inner", "front inner corner", width, 0, "Front inner corner of {}, at the tunnel."),
    )
    panel.datums(
        "round hole",
        f"the lower face of the left {word} crossmember",
        ("hole-inner", "inner hole", 0.4 * width, 0.32 * span, "Middle of the inner round hole in {}."),
        ("hole-outer", "outer hole", 0.6 * width, 0.68 * span, "Middle of the outer round hole in {}."),
    )
    panel.line("edge", [[10, 0], [10, span]])
    panel.line("edge", [[width - 10, 0], [width - 10, span]])
    return panel
