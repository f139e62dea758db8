"""One panel while it is being drawn: its frame, its contents, its mirror image."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import shapely

__all__ = ["DOWN_MAP", "Draft", "Ring", "Vector", "band", "circle", "mirrored", "rectangle", "unit"]

Vector = tuple[float, ...]
Ring = list[list[float]]

DOWN_MAP: tuple[Vector, Vector] = ((0, -1), (1, 0))
"""Map axes of u and v for a left or centre panel: front up, outwards to the right-hand side."""

_SWAP = {"left": "right", "right": "left", "Left": "Right", "Right": "Left"}


def _number(value: float) -> float | int:
    rounded = round(float(value), 9)
    return int(rounded) if rounded == int(rounded) else rounded


def _numbers(values: Iterable[float]) -> list[float | int]:
    return [_number(value) for value in values]


def rectangle(u0: float, v0: float, u1: float, v1: float) -> Ring:
    """Ring of a rectangle from its two opposite corners."""
    return [[u0, v0], [u1, v0], [u1, v1], [u0, v1]]


def band(ring: Ring, u0: float, u1: float) -> Ring:
    """Return the part of a ring between two u."""
    area = shapely.Polygon(ring).intersection(shapely.box(u0, -1e4, u1, 1e4))
    # normalize(): the start vertex must not depend on the GEOS version
    return [[round(u, 3), round(v, 3)] for u, v in shapely.normalize(area).exterior.coords[:-1]]


def circle(u: float, v: float, radius: float, sides: int = 16) -> Ring:
    """Closed line of a round hole: the last point repeats the first."""
    turns = [2 * math.pi * (i % sides) / sides for i in range(sides + 1)]
    return [[round(u + radius * math.cos(t), 2), round(v + radius * math.sin(t), 2)] for t in turns]


def unit(*parts: float) -> Vector:
    """Scale a vector to length one."""
    length = math.hypot(*parts)
    return tuple(part / length for part in parts)


@dataclass
class Draft:
    """A panel being drawn; see ``body_templates/template.schema.json`` for the fields."""

    id: str
    name: str
    part: str
    side: str
    seen_from: str
    outline: Ring
    origin: Vector
    u_axis: Vector
    v_axis: Vector
    map_origin: Vector
    map_u: Vector = DOWN_MAP[0]
    map_v: Vector = DOWN_MAP[1]
    covers: list[str] = field(default_factory=list)
    zones: list[dict[str, Any]] = field(default_factory=list)
    datum_points: list[dict[str, Any]] = field(default_factory=list)
    mountings: list[dict[str, Any]] = field(default_factory=list)
    features: list[dict[str, Any]] = field(default_factory=list)
    folds: list[dict[str, Any]] = field(default_factory=list)

    def zone(self, suffix: str, name: str, role: str, sheet_mm: float, prominence: int, ring: Ring) -> None:
        """Add a zone; its id and name start with the panel's."""
        self.zones.append(
            {
                "id": f"{self.id}-{suffix}" if suffix else self.id,
                "name": f"{self.name}, {name}" if name else self.name,
                "role": role,
                "sheet_mm": sheet_mm,
                "prominence": prominence,
                "outline_mm": [_numbers(point) for point in ring],
            }
        )

    def datum(self, suffix: str, name: str, shape: str, at: Sequence[float], description: str) -> None:
        """Add a datum point."""
        self.datum_points.append(
            {
                "id": f"{self.id}-{suffix}",
                "name": f"{self.name}: {name}",
                "description": description,
                "shape": shape,
                "at_mm": _numbers(at),
            }
        )
        if shape == "round hole":
            self.line("hole", circle(*at, 14))

    def datums(self, shape: str, where: str, *rows: tuple[str, str, float, float, str]) -> None:
        """Add datum points of one shape: suffix, name, u, v, and a description where {} stands for `where`."""
        for suffix, name, u, v, text in rows:
            self.datum(suffix, name, shape, (u, v), text.format(where))

    def box(self, kind: str, u0: float, v0: float, u1: float, v1: float) -> None:
        """Add the closed line of a rectangle."""
        self.line(kind, [*rectangle(u0, v0, u1, v1), [u0, v0]])

    def mounting(self, suffix: str, name: str, kind: str, at: Sequence[float]) -> None:
        """Add a mounting."""
        side = "" if self.side == "centre" else f"{self.side} "
        full = f"{side}{name}"
        self.mountings.append(
            {"id": f"{self.id}-{suffix}", "name": full[0].upper() + full[1:], "kind": kind, "at_mm": _numbers(at)}
        )

    def line(self, kind: str, points: Ring) -> None:
        """Add line work that only makes the drawing look like the part."""
        self.features.append({"kind": kind, "line_mm": [_numbers(point) for point in points]})

    def to_panel(self, car: Vector) -> list[float]:
        """Carry a car-frame point that lies on the panel into (u, v)."""
        away = [c - o for c, o in zip(car, self.origin, strict=True)]
        return [round(sum(a * b for a, b in zip(away, axis, strict=True)), 6) for axis in (self.u_axis, self.v_axis)]

    def document(self) -> dict[str, Any]:
        """Return the panel as it stands in the template's JSON."""
        return {
            "id": self.id,
            "name": self.name,
            "part": self.part,
            "side": self.side,
            "seen_from": self.seen_from,
            "outline_mm": [_numbers(point) for point in self.outline],
            "place": _frame(self.origin, self.u_axis, self.v_axis),
            "map": _frame(self.map_origin, self.map_u, self.map_v),
            "zones": self.zones,
            "datum_points": self.datum_points,
            "mountings": self.mountings,
            "folds": self.folds,
            "covers": self.covers,
            "features": self.features,
        }


def _frame(origin: Vector, u_axis: Vector, v_axis: Vector) -> dict[str, list[float | int]]:
    return {"origin_mm": _numbers(origin), "u_axis": _numbers(u_axis), "v_axis": _numbers(v_axis)}


def _swap(thing: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Exchange left and right in every text of a nested value."""
    if isinstance(thing, str):
        return re.sub(r"\b(left|right|Left|Right)\b", lambda found: _SWAP[found[0]], thing)
    if isinstance(thing, list):
        return [_swap(item) for item in thing]
    if isinstance(thing, dict):
        return {key: _swap(value) for key, value in thing.items()}
    return thing


def mirrored(draft: Draft) -> Draft:
    """Return the same panel on the car's other side.

    (u, v) stay: only the place, the drawing's place and the words change.
    """
    (x, y, z), (ux, uy, uz), (vx, vy, vz) = draft.origin, draft.u_axis, draft.v_axis
    words = {name: _swap(getattr(draft, name)) for name in ("id", "name", "side", "seen_from", "covers", "zones")}
    things = {name: _swap(getattr(draft, name)) for name in ("datum_points", "mountings", "features")}
    return replace(
        draft,
        **words,
        **things,
        origin=(x, -y, z),
        u_axis=(ux, -uy, uz),
        v_axis=(vx, -vy, vz),
        map_origin=(-draft.map_origin[0], draft.map_origin[1]),
        map_u=(-draft.map_u[0], draft.map_u[1]),
        map_v=(-draft.map_v[0], draft.map_v[1]),
        folds=[],
    )
