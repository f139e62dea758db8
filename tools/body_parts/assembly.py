"""A whole body: left and centre panels, their mirror images, and the folds between them."""

from __future__ import annotations

from typing import Any

from body_parts.arches import front_arch, rear_arch
from body_parts.dimensions import Body
from body_parts.floors import crossmembers, floor
from body_parts.front import screen_frame, toe_board
from body_parts.front_rail import front_rail
from body_parts.rear import boot_floor, heel_board
from body_parts.rear_rail import rear_rail
from body_parts.sections import sill_sections
from body_parts.sheet import Draft, Vector, mirrored
from body_parts.sills import sill
from body_parts.stations import front_arch_end, rail_front_x, rear_arch_start
from body_parts.tunnel import tunnel

__all__ = ["template_of"]

Edge = tuple[str, str, Vector, Vector]


def template_of(body: Body) -> dict[str, Any]:
    """Return the template document of a body.

    Parameters
    ----------
    body : Body
        Its dimensions.

    Returns
    -------
    dict
        As in ``body_templates/template.schema.json``.
    """
    panels = {panel.id: panel for panel in _panels(body)}
    for one, other, start, end in _all_edges(body):
        _fold(panels[one], panels[other], (start, end))
        _fold(panels[other], panels[one], (start, end))
    return {
        "$schema": "template.schema.json",
        "format": "corromap body template",
        "version": 1,
        "id": body.id,
        "name": body.name,
        "description": body.description,
        "revision": body.revision,
        "unit": "mm",
        "scale_sigma": 0.01,
        "panels": [panel.document() for panel in panels.values()],
        "sections": sill_sections(body),
    }


def _panels(body: Body) -> list[Draft]:
    """Return every panel; those that stand in front of others come after them."""
    drawn = [
        *sill(body),
        floor(body),
        *crossmembers(body),
        toe_board(body),
        *front_rail(body),
        front_arch(body),
        heel_board(body),
        boot_floor(body),
        *rear_rail(body),
        rear_arch(body),
        *tunnel(body),
        screen_frame(body),
    ]
    panels: list[Draft] = []
    for panel in drawn:
        panels.append(panel)
        if panel.side == "left":
            panels.append(mirrored(panel))
    return panels


def _fold(panel: Draft, other: Draft, ends: tuple[Vector, Vector]) -> None:
    panel.folds.append(
        {
            "other": other.id,
            "edge_mm": [panel.to_panel(end) for end in ends],
            "other_edge_mm": [other.to_panel(end) for end in ends],
        }
    )


def _all_edges(body: Body) -> list[Edge]:
    """Return the folds of both sides, in the car frame."""
    edges: list[Edge] = []
    for one, other, start, end in (*_middle_edges(body), *_front_edges(body), *_rear_edges(body)):
        edges.append((one, other, start, end))
        pair = (one.replace("left", "right"), other.replace("left", "right"))
        if pair != (one, other):
            edges.append((*pair, (start[0], -start[1], start[2]), (end[0], -end[1], end[2])))
    return edges


def _middle_edges(body: Body) -> list[Edge]:
    rear, front, half = body.floor_rear_x, body.floor_front_x, body.floor_half_width
    base, roof, top = body.tunnel_half_base, body.tunnel_half_roof, body.tunnel_height
    sill_end, low, out = body.sill_half_length, -body.sill_inner_height, half + body.sill_width
    edges: list[Edge] = [
        ("floor-left", "sill-left-inner", (rear, half, 0), (front, half, 0)),
        ("sill-left-inner", "sill-left-underside", (-sill_end, half, low), (sill_end, half, low)),
        ("sill-left-underside", "sill-left-outer", (-sill_end, out, low), (sill_end, out, low)),
        ("floor-left", "tunnel-left", (rear, base, 0), (front, base, 0)),
        ("tunnel-left", "tunnel-roof", (rear, roof, top), (front, roof, top)),
    ]
    for word, beam in (("front", body.crossmember_front), ("rear", body.crossmember_rear)):
        ends = [(beam.at_x + s * beam.width / 2, half, -beam.depth) for s in (-1, 1)]
        edges.append((f"crossmember-left-{word}", "sill-left-inner", ends[0], ends[1]))
    return edges


def _front_edges(body: Body) -> list[Edge]:
    front, base, half = body.floor_front_x, body.tunnel_half_base, body.floor_half_width
    out, end, height = body.front_rail_outer_y, body.front_end_x, body.front_rail_height
    inn = out - body.front_rail_width
    arch = front + front_arch_end(body)
    foot = front + body.toe_run * height / body.toe_rise
    return [
        ("floor-left", "toe-board-left", (front, base, 0), (front, half, 0)),
        ("floor-left", "rail-left-front-underside", (front, inn, 0), (front, out, 0)),
        ("rail-left-front-underside", "rail-left-front-outer", (front, out, 0), (end, out, 0)),
        ("toe-board-left", "rail-left-front-outer", (front, out, 0), (foot, out, height)),
        ("rail-left-front-outer", "arch-left-front", (foot, out, height), (arch, out, height)),
    ]


def _rear_edges(body: Body) -> list[Edge]:
    rear, base, half = body.floor_rear_x, body.tunnel_half_base, body.floor_half_width
    heel, end, top = body.floor_rear_x - body.heel_run, body.rear_end_x, body.boot_floor_z
    out, low, start = body.rear_rail_outer_y, body.rear_rail_z, rail_front_x(body)
    inn, arch = out - body.rear_rail_width, end + rear_arch_start(body)
    return [
        ("floor-left", "heel-board", (rear, base, 0), (rear, half, 0)),
        ("heel-board", "boot-floor", (heel, -out, top), (heel, out, top)),
        ("heel-board", "rail-left-rear-underside", (start, inn, low), (start, out, low)),
        ("rail-left-rear-underside", "rail-left-rear-outer", (end, out, low), (start, out, low)),
        ("rail-left-rear-outer", "arch-left-rear", (arch, out, top), (heel, out, top)),
        ("boot-floor", "arch-left-rear", (arch, out, top), (heel, out, top)),
    ]
