"""What the map shows of the body itself: the same for every survey on a template, so made once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corromap.frames import PanelId, ZoneId
from corromap.report.language import Language, current, tr
from corromap.report.legend import MOUNTING_NAMES
from corromap.report.map_frame import map_frame
from corromap.report.palette import FAINT, INK, PANEL, STEEL
from corromap.report.sheet import MapSheet, lay_out
from corromap.report.svg import element, path_data, plain, shortened
from corromap.report.symbols import datum_cross, mounting_sign
from corromap.template import BodyTemplate, Feature, FeatureKind, Panel

__all__ = ["BodyDrawing", "body_drawing", "title_element"]

FEATURE_LINES: Mapping[FeatureKind, dict[str, str | float | None]] = {
    FeatureKind.RIB: {"fill": "none", "stroke": FAINT, "stroke_width": 1.0},
    FeatureKind.SEAM: {"fill": "none", "stroke": FAINT, "stroke_width": 1.4, "stroke_dasharray": "1 3.5",
                       "stroke_linecap": "round"},
    FeatureKind.HOLE: {"fill": "#D5D0C4", "stroke": FAINT, "stroke_width": 0.9},
    FeatureKind.EDGE: {"fill": "none", "stroke": FAINT, "stroke_width": 0.9},
    FeatureKind.BRACKET: {"fill": "#E6E1D5", "stroke": FAINT, "stroke_width": 1.1},
}  # fmt: skip
"""Line work of the body: quiet, for finding one's way; nothing is measured on it."""
NUMBER_ROOM_PX = 6.5
"""A zone narrower than twice this carries no number; its name shows under the pointer."""


@dataclass(frozen=True, eq=False)
class BodyDrawing:
    """The parts of a map that no survey changes.

    Parameters
    ----------
    sheet : MapSheet
        Where everything lies.
    grounds : mapping of PanelId to str
        SVG of each panel: its fill and line work.
    zone_paths : mapping of ZoneId to str
        Path data of each zone's outline.
    reported : mapping of PanelId to shapely geometry
        Ground of each panel that belongs to a zone, mm.
    numbers, mountings, datum_points, frame : str
        SVG of these layers.
    """

    sheet: MapSheet
    grounds: Mapping[PanelId, str]
    zone_paths: Mapping[ZoneId, str]
    reported: Mapping[PanelId, BaseGeometry]
    numbers: str
    mountings: str
    datum_points: str
    frame: str


def body_drawing(template: BodyTemplate, width: float, *, turn: bool) -> BodyDrawing:
    """Draw a template, or return what was drawn before.

    Parameters
    ----------
    template : BodyTemplate
        The body; never changes, so it is its own key.
    width : float
        Of the sheet, drawing units.
    turn : bool
        Front to the left.

    Returns
    -------
    BodyDrawing
        The unchanging layers.
    """
    return _drawn(template, width, turn, current())


@lru_cache(maxsize=12)
def _drawn(template: BodyTemplate, width: float, turn: bool, _language: Language) -> BodyDrawing:  # noqa: FBT001
    sheet = lay_out(template, width=width, turn=turn)
    return BodyDrawing(
        sheet=sheet,
        grounds={panel.id: _ground(panel, sheet) for panel in template.panels},
        zone_paths={zone.id: path_data(zone.outline.polygon, sheet.panels[zone.panel]) for zone in template.zones},
        reported={
            panel.id: shapely.union_all([zone.outline.polygon for zone in panel.zones]) for panel in template.panels
        },
        numbers=_numbers(template, sheet),
        mountings=_mountings(template, sheet),
        datum_points=_datum_points(template, sheet),
        frame=map_frame(sheet),
    )


def title_element(text: str) -> str:
    """Write a ``<title>``: shown under the pointer, read out by screen readers.

    Parameters
    ----------
    text : str
        Not escaped; cut where it is very long.

    Returns
    -------
    str
        SVG.
    """
    return element("title", plain(shortened(text, 160)))


def _ground(panel: Panel, sheet: MapSheet) -> str:
    outline = element(
        "path",
        title_element(tr(panel.name)),
        d=path_data(panel.outline.polygon, sheet.panels[panel.id]),
        fill_rule="evenodd",
        fill=PANEL,
        stroke=STEEL,
        stroke_width=0.7,
    )
    return outline + "".join(_feature(feature, panel, sheet) for feature in panel.features)


def _feature(feature: Feature, panel: Panel, sheet: MapSheet) -> str:
    is_closed = bool(np.array_equal(feature.line_mm[0], feature.line_mm[-1]))
    line = (LinearRing if is_closed and len(feature.line_mm) > 3 else LineString)(feature.line_mm)
    return element("path", d=path_data(line, sheet.panels[panel.id]), **FEATURE_LINES[feature.kind])


def _numbers(template: BodyTemplate, sheet: MapSheet) -> str:
    written = []
    for number, zone in enumerate(template.zones, start=1):
        signs = MultiPoint([mounting.at_mm for mounting in template.panel(zone.panel).mountings])
        spot = _roomy_spot(zone.outline.polygon, signs, 1 / sheet.px_per_mm)
        if spot is not None:
            x, y = sheet.at(zone.panel, shapely.get_coordinates(spot)[0])
            written.append(_number(number, tr(zone.name), x, y))
    return element("g", *written, class_="numbers")


def _number(number: int, name: str, x: float, y: float) -> str:
    return element(
        "text", title_element(name), str(number), x=x, y=y + 4, text_anchor="middle", font_size=11.5,
        font_weight="bold", fill=INK, stroke=PANEL, stroke_width=3.2, paint_order="stroke", stroke_linejoin="round",
    )  # fmt: skip


def _roomy_spot(area: Polygon, signs: MultiPoint, px_mm: float) -> Point | None:
    """Where a number fits: near the centroid, clear of the zone's edge and of mounting signs."""
    left, low, right, high = area.bounds
    steps = np.linspace(0.1, 0.9, 9)
    grid_u, grid_v = np.meshgrid(left + steps * (right - left), low + steps * (high - low))
    spots = np.array([area.centroid, *map(Point, grid_u.ravel(), grid_v.ravel())])
    room = np.where(shapely.contains(area, spots), shapely.distance(area.exterior, spots), 0.0) / px_mm
    clear = np.full(len(spots), np.inf) if signs.is_empty else shapely.distance(signs, spots) / px_mm
    off_centre = shapely.distance(area.centroid, spots) / px_mm
    cost = off_centre + 40 * np.maximum(0, 15 - clear) + 40 * np.maximum(0, 9 - room)
    best = int(np.argmin(np.where(room >= NUMBER_ROOM_PX, cost, np.inf)))
    return spots[best] if room[best] >= NUMBER_ROOM_PX else None


def _mountings(template: BodyTemplate, sheet: MapSheet) -> str:
    signs = []
    for panel, mounting in template.mountings:
        x, y = sheet.at(panel.id, mounting.at_mm)
        title = title_element(f"{tr(MOUNTING_NAMES[mounting.kind])}: {tr(mounting.name)}")
        signs.append(mounting_sign(mounting.kind, x, y, title))
    return element("g", *signs, class_="mountings")


def _datum_points(template: BodyTemplate, sheet: MapSheet) -> str:
    crosses = []
    for panel, datum in template.datum_points.values():
        x, y = sheet.at(panel.id, datum.at_mm)
        crosses.append(element("g", datum_cross(x, y, title_element(tr(datum.name))), data_datum=datum.id))
    return element("g", *crosses, class_="datum-points")
