"""The car's body from a body template: every panel's skin with what is pressed, drilled and welded into it."""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import coats
import cv2
import damage
import numpy as np
import shapely
from noise import Field, smoothstep
from numpy.typing import ArrayLike, NDArray
from scene_marks import DISTRACTORS, MARKS, SEED
from shapely.geometry.base import BaseGeometry
from skimage.measure import find_contours
from surface import Surface, srgb

BODY_COLOUR = "#46545f"
FINE = {
    "floor-left": 3.6,
    "sill-left-underside": 3.0,
    "sill-left-inner": 3.0,
    "sill-left-outer": 3.0,
    "floor-right": 3.0,
    "sill-right-outer": 3.0,
    "arch-left-rear": 3.0,
    "arch-left-front": 3.0,
    "rail-left-front-outer": 3.0,
}
SEEN = {
    "below": (0, 0, -1),
    "above": (0, 0, 1),
    "left": (0, 1, 0),
    "right": (0, -1, 0),
    "front": (1, 0, 0),
    "rear": (-1, 0, 0),
}


@dataclass
class Panel:
    """One panel of the template and its skin."""

    id: str
    document: dict[str, Any]
    surface: Surface
    truth: dict[str, BaseGeometry] = field(default_factory=dict)

    @property
    def place(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Origin, u axis, v axis and the direction heights go to."""
        p = self.document["place"]
        o, u, v = (np.array(p[k], float) for k in ("origin_mm", "u_axis", "v_axis"))
        n = np.cross(u, v)
        return o, u, v, n * np.sign(n @ np.array(SEEN[self.document["seen_from"]], float))

    def to_car(self, uv: ArrayLike, height: float = 0.0) -> NDArray[np.float64]:
        """Panel millimetres to the car frame, shape (N, 3)."""
        o, u, v, n = self.place
        uv = np.atleast_2d(np.asarray(uv, float))
        return np.asarray(o + uv[:, :1] * u + uv[:, 1:] * v + height * n)


def read_template(path: Path) -> list[dict[str, Any]]:
    """Panels of a body template, as written."""
    return list(json.loads(path.read_text(encoding="utf-8"))["panels"])


def make_panel(document: dict[str, Any], scale: float = 1.0) -> Panel:
    """Paint, coat, damage and dirty one panel.

    Parameters
    ----------
    document : dict
        A panel of the template.
    scale : float
        Less than 1 for a quick draft.
    """
    ident = document["id"]
    ring = np.array(document["outline_mm"], float)
    rng = np.random.default_rng([SEED, zlib.crc32(ident.encode())])
    s = Surface(ident, ring.min(0), ring.max(0), FINE.get(ident, 2.0) * scale, rng)
    panel = Panel(ident, document, s)
    _press(s, document)
    _coat(s, document)
    for mark in MARKS:
        if mark["panel"] == ident:
            panel.truth[mark["id"]] = _mark(s, mark).intersection(shapely.Polygon(ring))
    for thing in DISTRACTORS:
        if thing["panel"] == ident:
            _distract(s, thing)
    _finish(s, document)
    s.solid *= s.distance(ring) > -0.5
    return panel


def _press(s: Surface, document: dict[str, Any]) -> None:
    for feature in document.get("features", []):
        line = np.array(feature["line_mm"], float)
        low, high = line.min(0) - 45, line.max(0) + 45
        w = s.window(low, high)
        kind = feature["kind"]
        if kind == "rib":
            d = _capsule(w, line) if len(line) == 2 else w.distance(line)
            w.height += 6.5 * smoothstep(-2.5, 6.5, d)
        elif kind == "seam":
            _seam(w, line)
        elif kind == "edge":
            d = w.segment(line[0], line[-1])
            w.height += 0.9 * np.exp(-((d / 3.0) ** 2))
        elif kind == "bracket":
            _bracket(w, line)


def _capsule(w: Surface, line: NDArray[np.float64], half_mm: float = 15.0) -> Field:
    """Distance to a round-ended rib whose ends are the line's ends."""
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    return half_mm - w.segment(line[0] + half_mm * along, line[1] - half_mm * along)


def _seam(w: Surface, line: NDArray[np.float64]) -> None:
    d = line[-1] - line[0]
    n = np.array([-d[1], d[0]]) / np.linalg.norm(d)
    side = (w.u - line[0, 0]) * n[0] + (w.v - line[0, 1]) * n[1]
    along = (w.u - line[0, 0]) * d[0] / np.linalg.norm(d) + (w.v - line[0, 1]) * d[1] / np.linalg.norm(d)
    w.height += 1.0 * smoothstep(-0.8, 0.8, side) * smoothstep(40, 30, np.abs(side)) * 0.7
    width = 3.2 + 1.1 * w.noise(30)
    bead = np.sqrt(np.clip(1 - (side / np.maximum(width, 1.2)) ** 2, 0, 1)) * smoothstep(-1.8, -0.9, w.noise(60))
    w.height += 1.5 * bead.astype(np.float32)
    spot = np.hypot((along + 20) % 42 - 21, side - 9)
    w.height -= 0.8 * smoothstep(4.2, 2.6, spot.astype(np.float32))


def _bracket(w: Surface, ring: NDArray[np.float64]) -> None:
    d = w.distance(ring)
    centre, size = (ring.min(0) + ring.max(0)) / 2, ring.max(0) - ring.min(0)
    top = 3.6 * smoothstep(-0.6, 0.7, d)
    w.height += top
    w.height -= 1.6 * smoothstep(3.5, 2.2, np.abs(d - 0.22 * float(size.min())))
    w.height += 1.0 * smoothstep(4.0, 2.2, np.abs(d + 2.5)) * smoothstep(0.0, 0.8, w.noise(16))
    hole = w.disc(centre, 0.17 * float(size.min()))
    w.height -= 2.5 * smoothstep(-0.5, 0.5, hole)


def _coat(s: Surface, document: dict[str, Any]) -> None:
    whole = np.ones(s.shape, np.float32)
    coats.body_paint(s, BODY_COLOUR)
    part, ident = document["part"], document["id"]
    if ident.endswith("-outer") and part == "sill":
        edge = s.v + 7 * s.fbm(160, octaves=3) + 2.5 * s.fbm(12, octaves=4)
        coats.underseal(s, smoothstep(31, 27, edge), thick_mm=0.55, worn=-0.2)
        speck = smoothstep(1.6, 2.1, s.noise(2.2)) * smoothstep(80, 25, s.v)
        s.paint(speck, srgb("#2a2927"), lift=0.3)
    else:
        coats.underseal(s, whole, thick_mm=0.75 if part == "floor" else 0.6, worn=-0.35)
    _holes(s, document)


def _holes(s: Surface, document: dict[str, Any]) -> None:
    for k, feature in enumerate(f for f in document.get("features", []) if f["kind"] == "hole"):
        ring = np.array(feature["line_mm"], float)
        w = s.window(ring.min(0) - 20, ring.max(0) + 20)
        d = w.distance(ring)
        rim = smoothstep(-5, -0.5, d)
        w.height += 1.3 * rim * smoothstep(0.5, -1.5, d)
        w.paint(smoothstep(-2.2, -0.8, d) * 0.7, srgb("#514c45"), rough=0.6)
        if document["part"] == "floor" or (document["part"] == "boot floor" and k == 0):
            _plug(w, d)
        else:
            w.solid *= 1 - (d > 0)


def _plug(w: Surface, d: Field) -> None:
    m = smoothstep(-3.6, -3.0, d)
    w.paint(m, srgb("#191919"), rough=0.5, metal=0.0)
    w.height += m * (2.4 * np.exp(-(((d + 0.2) / 2.6) ** 2)) - 0.4 + 1.1 * np.exp(-(((d - 7.5) / 1.6) ** 2)))
    w.dust *= 1 - 0.2 * m


def _shape(w: Surface, mark: dict[str, Any]) -> Field:
    if "box" in mark:
        u, v, length, width, radius, turn = mark["box"]
        return w.box((u, v), (length, width), radius, turn)
    if "disc" in mark:
        return w.disc(mark["disc"][:2], mark["disc"][2])
    return w.distance(mark["ring"])


def _window(s: Surface, mark: dict[str, Any], margin: float) -> Surface:
    if "box" in mark:
        u, v, length, width = mark["box"][:4]
        half = np.hypot(length, width) / 2
        low, high = np.array([u - half, v - half]), np.array([u + half, v + half])
    elif "disc" in mark:
        low, high = (np.array(mark["disc"][:2]) + k * mark["disc"][2] for k in (-1, 1))
    else:
        ring = np.array(mark["ring"], float)
        low, high = ring.min(0), ring.max(0)
    return s.window(low - margin, high + margin)


def _mark(s: Surface, mark: dict[str, Any]) -> BaseGeometry:
    w = _window(s, mark, 70)
    w.rng = np.random.default_rng([SEED, zlib.crc32(mark["id"].encode())])
    sd = _shape(w, mark)
    if mark["kind"] == "patch":
        u, v, length, width, _, turn = mark["box"]
        c, sn = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        x, y = c * (w.u - u) + sn * (w.v - v), -sn * (w.u - u) + c * (w.v - v)
        along = np.where(np.abs(x) - length / 2 > np.abs(y) - width / 2, y, x)
        damage.weld_patch(w, sd, along, fresh=mark["fresh"])
        return contour(w, sd + damage.BEAD_MM)
    sd = damage.ragged(w, sd, *mark["fray"])
    if mark["kind"] == "filler":
        damage.filler(w, sd)
    elif mark["kind"] == "hidden":
        (coats.thick_coat if mark["cover"] == "coat" else coats.mud)(w, sd)
    else:
        {"surface": damage.surface_rust, "scaled": damage.scaled_rust, "holed": damage.hole}[mark["stage"]](w, sd)
    return contour(w, sd)


def contour(w: Surface, sd: Field) -> BaseGeometry:
    """Where a distance field is positive, as polygons in panel millimetres."""
    padded = np.pad(sd, 1, constant_values=-1e-3)
    lines = find_contours(padded, 0.0)  # type: ignore[no-untyped-call]  # the library leaves it untyped
    rings = [r[:, ::-1] - 1 for r in lines if len(r) > 8]
    area: BaseGeometry = shapely.Polygon()
    for ring in rings:  # nested rings: even-odd
        mm = w.low_mm + (ring + 0.5) / w.ppm
        area = area.symmetric_difference(shapely.make_valid(shapely.Polygon(mm)))
    kept = [p for p in shapely.get_parts(area) if p.geom_type == "Polygon" and p.area > 4.0]
    return shapely.MultiPolygon(kept).simplify(0.15)


def _distract(s: Surface, thing: dict[str, Any]) -> None:
    if thing["what"] == "wax":
        coats.wax(s, thing["at"], thing["reach"], thing["count"])
    elif thing["what"] == "leak":
        coats.leak(s, thing["ring"])
    else:
        w = _window(s, thing, 40)
        sd = w.distance(thing["ring"])
        if thing["what"] == "oxide":
            coats.red_oxide(w, sd)
        else:
            coats.mud(w, damage.ragged(w, sd, *thing["fray"]), 2.2)


def _finish(s: Surface, document: dict[str, Any]) -> None:
    area = float(np.prod(s.high_mm - s.low_mm)) / 1e6
    is_outer = document["part"] == "sill" and document["id"].endswith("-outer")
    coats.chips(s, int((260 if is_outer else 130) * area))
    if is_outer:
        coats.road_dust(s, 0.08, wake=0.22 * smoothstep(70, 10, s.v))
    else:
        coats.splash(s)
        coats.road_dust(s, 0.34)


def plain_skin(length: float, width: float, seed: int, *, dust: float = 0.34, ppm: float = 1.6) -> Surface:
    """Undersealed skin of a face that the template does not hold (crossmember walls and the like)."""
    s = Surface("extra", np.zeros(2), np.array([length, width]), ppm, np.random.default_rng([SEED, seed]))
    coats.underseal(s, np.ones(s.shape, np.float32), thick_mm=0.5, worn=-0.4)
    coats.road_dust(s, dust)
    return s


def soften(height: Field, ppm: float) -> Field:
    """A blur the renderer's mesh can carry."""
    return np.asarray(cv2.GaussianBlur(height, (0, 0), 0.6 * ppm), np.float32)
