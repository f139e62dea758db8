"""The map: the whole body drawn flat with its zones, marks and gaps in evidence."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from corromap.errors import InvalidValueError
from corromap.evaluation import Evaluation
from corromap.frames import MarkId, PanelId, ZoneId
from corromap.measures.ground import ground_of
from corromap.measures.patches import patches_on_patches
from corromap.projection import ProjectedMark
from corromap.report import figures
from corromap.report.body_drawing import BodyDrawing, body_drawing, title_element
from corromap.report.describe import map_description
from corromap.report.language import tr
from corromap.report.legend import (
    ROLE_LINES,
    LegendEntry,
    datum_entry,
    draw_legend,
    look_entry,
    mounting_entry,
    role_entry,
)
from corromap.report.palette import (
    ACCENT,
    FILLER,
    HIDDEN,
    INK,
    LOOKS,
    NEVER_SEEN,
    PAPER,
    PATCH,
    PATCH_ON_PATCH,
    RUST_HOLED,
    RUST_SCALED,
    RUST_SURFACE,
    Look,
    look_of,
    pattern_defs,
)
from corromap.report.sketches import datum_sketch_svg
from corromap.report.svg import element, number, path_data, plain, shortened
from corromap.survey import MarkKind
from corromap.template import BodyTemplate, MountingKind, Panel, Role

__all__ = ["datum_sketch_svg", "map_svg"]

SMALL_MARK_PX = 9.0
"""A mark drawn smaller than this gets a ring, so that no eye misses it."""
DRAWING_ORDER = (MarkKind.SOUND, MarkKind.PATCH, MarkKind.FILLER, MarkKind.RUST)
"""Later ones lie on top: the precedence of the measures. Hidden is drawn as evidence."""
ALWAYS_EXPLAINED = (RUST_SURFACE, RUST_SCALED, RUST_HOLED, FILLER, PATCH, HIDDEN, NEVER_SEEN)
_PREFIX = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


def map_svg(  # noqa: PLR0913  what can be chosen of a drawing; all but two by keyword
    template: BodyTemplate,
    evaluation: Evaluation | None = None,
    *,
    turn: bool = False,
    highlight: ZoneId | MarkId | Collection[ZoneId | MarkId] | None = None,
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
    highlight : ZoneId, MarkId, several of them, or None
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
    body = body_drawing(template, float(width), turn=turn)
    drawing = _Map(template, evaluation, body, prefix, highlight)
    layers = [drawing.panels(), drawing.zone_lines(), body.mountings]
    if show_datum_points:
        layers.append(body.datum_points)
    layers += [body.numbers, body.frame]
    height = body.sheet.height
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
        body: BodyDrawing,
        prefix: str,
        highlight: ZoneId | MarkId | Collection[ZoneId | MarkId] | None,
    ) -> None:
        self.template = template
        self.evaluation = evaluation
        self.body = body
        self.sheet = body.sheet
        self.prefix = prefix
        self.lit = frozenset({highlight} if isinstance(highlight, str) else highlight or ())
        self.on_panel: dict[PanelId, list[ProjectedMark]] = {}
        for projected in evaluation.projection.marks if evaluation else ():
            self.on_panel.setdefault(projected.panel, []).append(projected)

    def path(self, geometry: BaseGeometry, panel: PanelId, *children: str, **style: str | float | None) -> str:
        data = path_data(geometry, self.sheet.panels[panel])
        return element("path", *children, d=data, fill_rule="evenodd", **style) if data else ""

    def fill(self, look: Look) -> str:
        return f"url(#{self.prefix}-{look.key})"

    def panels(self) -> str:
        return element("g", *(self.panel(panel) for panel in self.template.panels), class_="panels")

    def panel(self, panel: Panel) -> str:
        a, c, e, b, d, f = self.sheet.panels[panel.id].ravel()
        layers = [self.body.grounds[panel.id]]
        if self.evaluation is not None:
            shown, hidden = _evidence(self.evaluation, panel.id)
            layers.append(self._gap(shapely.difference(self.body.reported[panel.id], shown), panel, NEVER_SEEN))
            layers.append(self._gap(hidden, panel, HIDDEN))
        layers += self.marks(panel)  # here, so that a panel in front covers what lies behind it
        return element(
            "g",
            *layers,
            data_panel=panel.id,
            data_uv_to_svg=",".join(f"{value:.6g}" for value in (a, b, c, d, e, f)),
        )

    def _gap(self, area: BaseGeometry, panel: Panel, look: Look) -> str:
        return self.path(
            area, panel.id, title_element(f"{tr(look.label)}: {tr(panel.name)}"), fill=self.fill(look), stroke="none"
        )

    def marks(self, panel: Panel) -> list[str]:
        here = [p for p in self.on_panel.get(panel.id, ()) if p.mark.kind in DRAWING_ORDER and not p.area.is_empty]
        by_look: dict[Look, list[ProjectedMark]] = {}
        for projected in here:
            by_look.setdefault(look_of(projected.mark), []).append(projected)
        layers = []
        for kind in DRAWING_ORDER:
            drawn = [look for look in LOOKS if any(p.mark.kind is kind for p in by_look.get(look, ()))]
            layers += [self.ground(look, [p.area for p in by_look[look]], panel) for look in drawn]
            layers += [self.mark(p) for look in drawn for p in by_look[look]]
            if kind is MarkKind.PATCH and (doubled := _patches_on_patches(here, panel)):
                layers.append(self.ground(PATCH_ON_PATCH, doubled, panel))
        return layers

    def ground(self, look: Look, areas: Sequence[MultiPolygon], panel: Panel) -> str:
        """Everything of one look on one panel, each place once however many photos show it."""
        whole = shapely.union_all(areas)
        title = title_element(f"{tr(look.label)}: {tr(panel.name)}")
        filled = self.path(whole, panel.id, title, fill=self.fill(look), stroke=look.colour, stroke_width=1.5)
        return filled + "".join(self._ring(part, panel.id, look.colour) for part in shapely.get_parts(whole))

    def mark(self, projected: ProjectedMark) -> str:
        """One mark's own outline: to be pointed at or lit; faint for patches, which are counted."""
        mark, panel = projected.mark, self.template.panel(projected.panel)
        look, is_lit = look_of(mark), mark.id in self.lit
        return self.path(
            projected.area,
            panel.id,
            title_element(
                tr(
                    "{kind}, {area} drawn; {panel}",
                    kind=tr(look.label),
                    area=figures.plain_area(projected.area.area),
                    panel=tr(panel.name),
                )
            ),
            fill="none",
            stroke=ACCENT if is_lit else (look.colour if mark.kind is MarkKind.PATCH else "none"),
            stroke_width=3.0 if is_lit else 0.7,
            stroke_opacity=None if is_lit else 0.6,
            pointer_events="all",
            data_mark=mark.id,
        )

    def _ring(self, part: Polygon, panel: PanelId, line: str) -> str:
        left, low, right, high = part.bounds
        if max(right - left, high - low) * self.sheet.px_per_mm >= SMALL_MARK_PX:
            return ""
        x, y = self.sheet.at(panel, shapely.get_coordinates(part.centroid)[0])
        return element("circle", cx=x, cy=y, r=8, fill="none", stroke=line, stroke_width=1.6)

    def zone_lines(self) -> str:
        lines = []
        for zone in reversed(self.template.zones):  # heavy lines last, on top of light neighbours
            width, dashes = ROLE_LINES[zone.role]
            is_chosen = zone.id in self.lit
            lines.append(
                element(
                    "path",
                    d=self.body.zone_paths[zone.id],
                    fill="none",
                    stroke=ACCENT if is_chosen else INK,
                    stroke_width=4.5 if is_chosen else width,
                    stroke_dasharray=dashes,
                    stroke_linejoin="round",
                    data_zone=zone.id,
                )
            )
        return element("g", *lines, class_="zones", pointer_events="none")

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
