"""A small drawing of where to hold the camera: the body from below and from behind, the camera, its field."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, Polygon

from corromap.evidence.requests import PhotoRequest
from corromap.evidence.viewpoints import HALF_HEIGHT, HALF_WIDTH, Viewpoint
from corromap.frames import FloatArray, PanelId, ZoneId
from corromap.report.language import tr
from corromap.report.palette import ACCENT, FAINT, INK, PANEL, PAPER, STEEL
from corromap.report.svg import element, number, path_data, text_element
from corromap.template import BodyTemplate, Panel

__all__ = ["viewpoint_svg", "viewpoint_words"]

WIDTH, HEIGHT = 348.0, 216.0
_BELOW = (np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]), (8.0, 26.0, 178.0, 182.0))
"""Seen from below: x up the sheet, left on the right-hand side; and its box."""
_BEHIND = (np.array([[0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]), (186.0, 26.0, 156.0, 182.0))
"""Seen from behind: left on the left, up is up."""
ROOM_MM = 830.0
_HALO: dict[str, str | float | None] = {"stroke": PAPER, "stroke_width": 3, "paint_order": "stroke"}
"""Keeps letters legible where the camera's field lies under them."""


@dataclass(frozen=True, eq=False)
class _Pane:
    """An affine view of the car frame inside a box of the drawing."""

    matrix: NDArray[np.float64]
    shift: NDArray[np.float64]

    def at(self, car_mm: FloatArray) -> FloatArray:
        return np.atleast_2d(car_mm) @ self.matrix.T + self.shift

    def ring(self, panel: Panel, uv_mm: FloatArray) -> FloatArray:
        return self.at(panel.place.to_car(uv_mm))


@lru_cache(maxsize=8)
def _panes(template: BodyTemplate) -> tuple[_Pane, _Pane]:
    corners = np.concatenate([p.place.to_car(p.outline.exterior_mm) for p in template.panels])
    low, high = corners.min(axis=0), corners.max(axis=0)
    low, high = low - np.array([50, ROOM_MM, ROOM_MM]), high + np.array([50, ROOM_MM, 250])
    panes = []
    for axes, (left, top, width, height) in (_BELOW, _BEHIND):
        ends = np.stack([low, high]) @ axes.T
        least, most = ends.min(axis=0), ends.max(axis=0)
        scale = min(width / (most[0] - least[0]), height / (most[1] - least[1]))
        middle = np.array([left + width / 2, top + height / 2])
        panes.append(_Pane(scale * axes, middle - scale * (least + most) / 2))
    return panes[0], panes[1]


def viewpoint_svg(request: PhotoRequest, template: BodyTemplate) -> str:
    """Draw where to hold the camera for one photo.

    Parameters
    ----------
    request : PhotoRequest
        The photo.
    template : BodyTemplate
        The body.

    Returns
    -------
    str
        One ``<svg>``: the body from below with the camera, its direction and
        what it is to show, and the same from behind.
    """
    below, behind = _panes(template)
    zones = set(request.zones)
    parts = [element("rect", width=WIDTH, height=HEIGHT, fill=PAPER)]
    for pane, title in ((below, tr("FROM BELOW")), (behind, tr("FROM BEHIND"))):
        parts += [
            _body(pane, template),
            _wanted(pane, template, zones),
            _camera(pane, request.view, request.distance_mm),
        ]
        box = _BELOW[1] if pane is below else _BEHIND[1]
        parts.append(
            text_element(
                title,
                box[0] + box[2] / 2,
                12,
                font_size=9,
                fill=STEEL,
                text_anchor="middle",
                letter_spacing=0.8,
                **_HALO,
            )
        )
    parts += _labels()
    return element(
        "svg", *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {number(WIDTH)} {number(HEIGHT)}",
        class_="viewpoint", role="img", aria_label=viewpoint_words(request),
        font_family="sans-serif",
    )  # fmt: skip


def viewpoint_words(request: PhotoRequest) -> str:
    """Say what the drawing shows.

    Parameters
    ----------
    request : PhotoRequest
        The photo.

    Returns
    -------
    str
        For people who cannot see it; the words beside it tell the rest.
    """
    return tr("Where to hold the camera for photo {number}", number=request.number)


def _labels() -> list[str]:
    (left, top, width, height), (left2, _, width2, _) = _BELOW[1], _BEHIND[1]
    style = {"font_size": 10, "fill": INK, "font_weight": "bold", "text_anchor": "middle", **_HALO}
    return [
        text_element(tr("FRONT"), left + width / 2, top - 3, **style),
        text_element(tr("R"), left + 30, top + height - 8, **style),
        text_element(tr("L"), left + width - 30, top + height - 8, **style),
        text_element(tr("L"), left2 + 6, top + 12, **style),
        text_element(tr("R"), left2 + width2 - 6, top + 12, **style),
    ]


@lru_cache(maxsize=16)
def _body(pane: _Pane, template: BodyTemplate) -> str:
    rings = [pane.ring(panel, panel.outline.exterior_mm) for panel in template.panels]
    return element(
        "path", d="".join(map(_closed, rings)), fill=PANEL, stroke=FAINT, stroke_width=0.6, fill_rule="nonzero"
    )


def _closed(points: FloatArray) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"


def _wanted(pane: _Pane, template: BodyTemplate, zones: set[ZoneId]) -> str:
    rings = [
        pane.ring(template.panel(PanelId(zone.panel)), zone.outline.exterior_mm)
        for zone in template.zones
        if zone.id in zones
    ]
    return element(
        "path", d="".join(map(_closed, rings)), fill=ACCENT, fill_opacity=0.28, stroke=ACCENT, stroke_width=1.1
    )


def _camera(pane: _Pane, view: Viewpoint, distance_mm: float) -> str:
    right = np.cross(view.towards, view.up)
    corners = [
        view.at_mm + distance_mm * (view.towards + a * HALF_WIDTH * right + b * HALF_HEIGHT * view.up)
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    ends = pane.at(np.array(corners))
    at = pane.at(view.at_mm)[0]
    hull = MultiPoint([*map(tuple, ends), tuple(at)]).convex_hull
    field = path_data(hull, np.eye(2, 3)) if isinstance(hull, Polygon) else ""
    cone = element("path", d=field, fill=INK, fill_opacity=0.07, stroke=INK, stroke_width=0.6, stroke_dasharray="3 2")
    tip = pane.at(view.at_mm + distance_mm * view.towards)[0]
    return element("g", cone, _arrow(at, tip), _body_of_camera(at))


def _arrow(start: FloatArray, tip: FloatArray) -> str:
    along = tip - start
    length = float(np.hypot(*along))
    if length < 12:  # looking into the sheet: a ring says so
        return element("circle", cx=float(start[0]), cy=float(start[1]), r=8, fill="none", stroke=INK, stroke_width=1)
    along, end = along / length, start + along * (length - 2) / length * 0.85
    side = np.array([-along[1], along[0]])
    head = [end, end - 6 * along + 3 * side, end - 6 * along - 3 * side]
    line = f"M{number(start[0])} {number(start[1])}L{number(end[0])} {number(end[1])}"
    return element("path", d=line, stroke=INK, stroke_width=1.3) + element("path", d=_closed(np.array(head)), fill=INK)


def _body_of_camera(at: FloatArray) -> str:
    x, y = float(at[0]), float(at[1])
    return element("rect", x=x - 5, y=y - 3.5, width=10, height=7, rx=1.5, fill=INK) + element(
        "circle", cx=x, cy=y, r=2, fill=PAPER
    )
