"""The map: the whole body drawn flat with its zones, marks and gaps in evidence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, MultiPoint, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corromap.errors import InvalidValueError
from corromap.evaluation import Evaluation
from corromap.frames import MarkId, PanelId, ZoneId
from corromap.measures.ground import ground_of
from corromap.measures.patches import patches_on_patches
from corromap.projection import ProjectedMark
from corromap.report.describe import map_description
from corromap.report.legend import (
    MOUNTING_NAMES,
    ROLE_LINES,
    LegendEntry,
    datum_entry,
    draw_legend,
    look_entry,
    mounting_entry,
    role_entry,
)
from corromap.report.map_frame import map_frame
from corromap.report.palette import (
    ACCENT,
    FAINT,
    FILLER,
    HIDDEN,
    INK,
    LOOKS,
    NEVER_SEEN,
    PANEL,
    PAPER,
    PATCH,
    PATCH_ON_PATCH,
    RUST_HOLED,
    RUST_SCALED,
    RUST_SURFACE,
    STEEL,
    Look,
    look_of,
    pattern_defs,
)
from corromap.report.sheet import MapSheet, lay_out
from corromap.report.sketches import datum_sketch_svg
from corromap.report.svg import element, number, path_data, plain, shortened
from corromap.report.symbols import datum_cross, mounting_sign
from corromap.survey import MarkKind
from corromap.template import BodyTemplate, Feature, FeatureKind, MountingKind, Panel, Role

__all__ = ["datum_sketch_svg", "map_svg"]

SMALL_MARK_PX = 9.0
"""A mark drawn smaller than this gets a ring, so that no eye misses it."""
DRAWING_ORDER = (MarkKind.SOUND, MarkKind.PATCH, MarkKind.FILLER, MarkKind.RUST)
"""Later ones lie on top: the precedence of the measures. Hidden is drawn as evidence."""
FEATURE_LINES: Mapping[FeatureKind, dict[str, str | float | None]] = {
    FeatureKind.RIB: {"fill": "none", "stroke": FAINT, "stroke_width": 1.0},
    FeatureKind.SEAM: {"fill": "none", "stroke": FAINT, "stroke_width": 1.4, "stroke_dasharray": "1 3.5",
                       "stroke_linecap": "round"},
    FeatureKind.HOLE: {"fill": "#D5D0C4", "stroke": FAINT, "stroke_width": 0.9},
    FeatureKind.EDGE: {"fill": "none", "stroke": FAINT, "stroke_width": 0.9},
    FeatureKind.BRACKET: {"fill": "#E6E1D5", "stroke": FAINT, "stroke_width": 1.1},
}  # fmt: skip
"""Line work of the body: quiet, for finding one's way; nothing is measured on it."""
ALWAYS_EXPLAINED = (RUST_SURFACE, RUST_SCALED, RUST_HOLED, FILLER, PATCH, HIDDEN, NEVER_SEEN)
NUMBER_ROOM_PX = 6.5
"""A zone narrower than twice this carries no number; its name shows under the pointer."""
_PREFIX = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


def map_svg(  # noqa: PLR0913  what can be chosen of a drawing; all but two by keyword
    template: BodyTemplate,
    evaluation: Evaluation | None = None,
    *,
    turn: bool = False,
    highlight: ZoneId | MarkId | None = None,
    width: float = 760.0,
    prefix: str = "m",
    show_datum_points: bool = False,
    show_legend: bool = True,
) -> str:
    """Draw the body template flat, seen from below, with what was found.

    Zones are numbered in the order of ``template.zones``, as the zone table
    is. Each panel's group carries ``data-panel`` and ``data-uv-to-svg``
    (``a,b,c,d,e,f``: x = a u + c v + e, y = b u + d v + f), so that a page can
    place a pointer or a half-drawn outline without asking again.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    evaluation : Evaluation or None
        Of a survey on that template; None draws the bare template.
    turn : bool
        Front to the left, left side at the top, for wide screens.
    highlight : ZoneId, MarkId or None
        Drawn with a heavy accent line.
    width : float
        Of the drawing, CSS px; it scales with its container.
    prefix : str
        Of every id inside, so that several maps fit one page.
    show_datum_points : bool
        Draw them.
    show_legend : bool
        Draw the key below.

    Returns
    -------
    str
        One ``<svg>`` element that refers to nothing outside itself.

    Raises
    ------
    InvalidValueError
        If the prefix is not a plain name or the width is too small to draw.
    """
    if not _PREFIX.fullmatch(prefix):
        raise InvalidValueError(f"map: prefix must be a letter then letters, digits, - or _, found {prefix!r:.40}")
    if not (200 <= width <= 10_000):
        raise InvalidValueError(f"map: width must be 200 to 10 000 px, found {width}")
    sheet = lay_out(template, width=width, turn=turn)
    drawing = _Map(template, evaluation, sheet, prefix, highlight)
    layers = [drawing.panels(), drawing.zone_lines(), drawing.mountings()]
    if show_datum_points:
        layers.append(drawing.datum_points())
    layers += [drawing.zone_numbers(), map_frame(sheet)]
    height = sheet.height
    if show_legend:
        entries = drawing.legend_entries(show_datum_points=show_datum_points)
        legend, used = draw_legend(entries, x=34, y=height, width=width - 68)
        layers.append(legend)
        height += used
    return drawing.wrap("".join(layers), height)


class _Map:
    """One drawing in the making: everything its layers share."""

    def __init__(
        self,
        template: BodyTemplate,
        evaluation: Evaluation | None,
        sheet: MapSheet,
        prefix: str,
        highlight: ZoneId | MarkId | None,
    ) -> None:
        self.template = template
        self.evaluation = evaluation
        self.sheet = sheet
        self.prefix = prefix
        self.highlight = highlight

    def path(self, geometry: BaseGeometry, panel: PanelId, *children: str, **style: str | float | None) -> str:
        data = path_data(geometry, self.sheet.panels[panel])
        return element("path", *children, d=data, fill_rule="evenodd", **style) if data else ""

    def fill(self, look: Look) -> str:
        return f"url(#{self.prefix}-{look.key})"

    def panels(self) -> str:
        return element("g", *(self.panel(panel) for panel in self.template.panels), class_="panels")

    def panel(self, panel: Panel) -> str:
        a, c, e, b, d, f = self.sheet.panels[panel.id].ravel()
        layers = [
            self.path(panel.outline.polygon, panel.id, _title(panel.name), fill=PANEL, stroke=STEEL, stroke_width=0.7)
        ]
        layers += [self.feature(feature, panel) for feature in panel.features]
        if self.evaluation is not None:
            shown, hidden = _evidence(self.evaluation, panel.id)
            reported = shapely.union_all([zone.outline.polygon for zone in panel.zones])
            layers.append(self._gap(shapely.difference(reported, shown), panel, NEVER_SEEN))
            layers.append(self._gap(hidden, panel, HIDDEN))
        layers += self.marks(panel)  # here, so that a panel in front covers what lies behind it
        return element(
            "g",
            *layers,
            data_panel=panel.id,
            data_uv_to_svg=",".join(f"{value:.6g}" for value in (a, b, c, d, e, f)),
        )

    def feature(self, feature: Feature, panel: Panel) -> str:
        is_closed = bool(np.array_equal(feature.line_mm[0], feature.line_mm[-1]))
        line = (LinearRing if is_closed and len(feature.line_mm) > 3 else LineString)(feature.line_mm)
        return self.path(line, panel.id, **FEATURE_LINES[feature.kind])

    def _gap(self, area: BaseGeometry, panel: Panel, look: Look) -> str:
        return self.path(area, panel.id, _title(f"{look.label}: {panel.name}"), fill=self.fill(look), stroke="none")

    def marks(self, panel: Panel) -> list[str]:
        if self.evaluation is None:
            return []
        here = [p for p in self.evaluation.projection.marks if p.panel == panel.id and p.mark.kind in DRAWING_ORDER]
        drawn = {kind: [self.mark(p) for p in here if p.mark.kind is kind] for kind in DRAWING_ORDER}
        drawn[MarkKind.PATCH] += [self.patch_on_patch(area, panel) for area in _patches_on_patches(here, panel)]
        return [markup for kind in DRAWING_ORDER for markup in drawn[kind]]

    def patch_on_patch(self, area: MultiPolygon, panel: Panel) -> str:
        look = PATCH_ON_PATCH
        return self.path(area, panel.id, _title(f"{look.label}: {panel.name}"), fill=self.fill(look),
                         stroke=look.colour, stroke_width=1.4)  # fmt: skip

    def mark(self, projected: ProjectedMark) -> str:
        mark, panel, area = projected.mark, projected.panel, projected.area
        if area.is_empty:
            return ""
        look = look_of(mark)
        is_chosen = mark.id == self.highlight
        title = _title(f"{look.label}, {area.area / 100:.1f} cm² drawn; {self.template.panel(panel).name}")
        line = ACCENT if is_chosen else look.colour
        shape = self.path(area, panel, title, fill=self.fill(look), stroke=line, stroke_width=3 if is_chosen else 1.4)
        return element("g", shape, self._ring(area, panel, line), data_mark=mark.id)

    def _ring(self, area: MultiPolygon, panel: PanelId, line: str) -> str:
        left, low, right, high = area.bounds
        if max(right - left, high - low) * self.sheet.px_per_mm >= SMALL_MARK_PX:
            return ""
        centre = area.centroid
        x, y = self.sheet.at(panel, shapely.get_coordinates(centre)[0])
        return element("circle", cx=x, cy=y, r=8, fill="none", stroke=line, stroke_width=1.6)

    def zone_lines(self) -> str:
        lines = []
        for zone in reversed(self.template.zones):  # heavy lines last, on top of light neighbours
            width, dashes = ROLE_LINES[zone.role]
            is_chosen = zone.id == self.highlight
            lines.append(
                self.path(
                    zone.outline.polygon,
                    zone.panel,
                    fill="none",
                    stroke=ACCENT if is_chosen else INK,
                    stroke_width=4.5 if is_chosen else width,
                    stroke_dasharray=dashes,
                    stroke_linejoin="round",
                    data_zone=zone.id,
                )
            )
        return element("g", *lines, class_="zones", pointer_events="none")

    def zone_numbers(self) -> str:
        return element("g", *map(self._zone_number, range(len(self.template.zones))), class_="numbers")

    def _zone_number(self, index: int) -> str:
        zone = self.template.zones[index]
        panel = self.template.panel(zone.panel)
        signs = MultiPoint([mounting.at_mm for mounting in panel.mountings])
        spot = _roomy_spot(zone.outline.polygon, signs, 1 / self.sheet.px_per_mm)
        if spot is None:
            return ""
        x, y = self.sheet.at(zone.panel, shapely.get_coordinates(spot)[0])
        return element(
            "text", _title(zone.name), str(index + 1), x=x, y=y + 4, text_anchor="middle", font_size=11.5,
            font_weight="bold", fill=INK, stroke=PANEL, stroke_width=3.2, paint_order="stroke",
            stroke_linejoin="round",
        )  # fmt: skip

    def mountings(self) -> str:
        signs = []
        for panel, mounting in self.template.mountings:
            x, y = self.sheet.at(panel.id, mounting.at_mm)
            signs.append(
                mounting_sign(mounting.kind, x, y, _title(f"{MOUNTING_NAMES[mounting.kind]}: {mounting.name}"))
            )
        return element("g", *signs, class_="mountings")

    def datum_points(self) -> str:
        crosses = []
        for panel, datum in self.template.datum_points.values():
            x, y = self.sheet.at(panel.id, datum.at_mm)
            crosses.append(element("g", datum_cross(x, y, _title(datum.name)), data_datum=datum.id))
        return element("g", *crosses, class_="datum-points")

    def legend_entries(self, *, show_datum_points: bool) -> Sequence[LegendEntry]:
        roles = {zone.role for zone in self.template.zones}
        kinds = {mounting.kind for _, mounting in self.template.mountings}
        looks = [look for look in LOOKS if self.is_drawn(look)]
        entries = [look_entry(look, self.prefix) for look in looks]
        entries += [role_entry(role) for role in Role if role in roles]
        entries += [mounting_entry(kind) for kind in MountingKind if kind in kinds]
        return entries + [datum_entry()] * show_datum_points

    def is_drawn(self, look: Look) -> bool:
        if self.evaluation is None:
            return False
        if look in ALWAYS_EXPLAINED:
            return True
        if look is PATCH_ON_PATCH:
            return any(zone.patch_on_patch for zone in self.evaluation.measures.zones)
        return any(look_of(p.mark) is look for p in self.evaluation.projection.marks)

    def wrap(self, inside: str, height: float) -> str:
        title, description = map_description(self.template, self.evaluation, is_turned=self.sheet.is_turned)
        paper = element("rect", width=self.sheet.width, height=height, fill=PAPER)
        return element(
            "svg",
            element("title", plain(shortened(title, 200)), id=f"{self.prefix}-title"),
            element("desc", plain(description), id=f"{self.prefix}-desc"),
            element("defs", pattern_defs(self.prefix)),
            paper,
            inside,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {number(self.sheet.width)} {number(height)}",
            width=self.sheet.width,
            height=height,
            role="img",
            aria_labelledby=f"{self.prefix}-title {self.prefix}-desc",
            font_family="system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif",
            class_="corromap-map",
        )


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


def _title(text: str) -> str:
    return element("title", plain(shortened(text, 160)))


def _patches_on_patches(marks: Sequence[ProjectedMark], panel: Panel) -> list[MultiPolygon]:
    patches = [p for p in marks if p.mark.kind is MarkKind.PATCH]
    if len(patches) < 2:
        return []
    return [place.overlap[panel.id] for place in patches_on_patches([ground_of(panel, patches)])]


def _evidence(evaluation: Evaluation, panel: PanelId) -> tuple[BaseGeometry, BaseGeometry]:
    """Areas shown at all, and shown but hidden in every photo that shows them."""
    seen = [s for s in evaluation.projection.seen if s.panel == panel]
    shown = shapely.union_all([s.area for s in seen])
    clear = shapely.union_all([shapely.difference(s.area, s.hidden) for s in seen])
    return shown, shapely.difference(shown, clear)
