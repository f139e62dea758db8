"""Whether the sills' boxes still close, station by station of 10 mm.

A wall is open at a station where a holed mark, or a point a probe went
through, lies on it. It is unsound where there is scaled rust, filler, a dull
tap, a magnet that does not hold, or sheet thinner than can be welded. A patch
counts as closing the wall, which it does only if it is welded all round. Walls
that no photo of the underside can show (a membrane, the tread) are never
called sound: what is said to close there closes if they do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from corromap.by_hand import HandFinding, HandKind
from corromap.frames import FloatArray, HandFindingId, MarkId, PanelId
from corromap.measures.layout import SCALE_LABEL
from corromap.measures.structure import STATION_MM, Continuity, Span, Stretch, WallState
from corromap.measures.thin_walled import section_state
from corromap.projection import ProjectedMark, Projection, SeenArea
from corromap.projection.view import polygons_of
from corromap.sections import BoxSection, SectionWall
from corromap.survey import Mark, MarkKind, RustStage, Survey
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import COVERAGE_FACTOR, ErrorSource, add_gradients, sigma_of

__all__ = ["SOUND_SHEET_MM", "continuity_of"]

SOUND_SHEET_MM = 0.6
"""Thinner sheet burns through when welded: common practice."""

TIP_MM = 1.0
"""An edge this near the end of a mark moves that end."""

ACROSS = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Where, across a wall, a station is asked whether it was shown."""


@dataclass(frozen=True, eq=False)
class _Wall:
    """A wall of a section on its panel.

    Parameters
    ----------
    index : int
        In the section.
    panel : Panel
        The panel.
    area : shapely.Polygon
        The wall on it.
    along : ndarray of float64, shape (2,)
        Derivative of the car's x by (u, v).
    x0_mm : float
        The car's x at (0, 0).
    samples_mm : ndarray of float64, shape (S, A, 2)
        Points that tell whether a station was shown.
    """

    index: int
    panel: Panel
    area: Polygon
    along: FloatArray
    x0_mm: float
    samples_mm: FloatArray

    def x(self, uv_mm: FloatArray) -> FloatArray:
        return np.asarray(uv_mm @ self.along + self.x0_mm, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Reach:
    """A stretch of one wall that something covers, car's x, with what moves its two ends outwards."""

    wall: int
    state: WallState
    from_x: float
    to_x: float
    moves_from: Mapping[str, FloatArray]
    moves_to: Mapping[str, FloatArray]
    mark: MarkId | None = None
    finding: HandFindingId | None = None


def continuity_of(
    projection: Projection, survey: Survey, template: BodyTemplate, sources: Mapping[str, ErrorSource]
) -> tuple[Continuity, ...]:
    """Judge every closed section of a template.

    Parameters
    ----------
    projection : Projection
        Projected marks, and what each photo shows.
    survey : Survey
        Findings by hand; the smallest hole is the length of a pierced point.
    template : BodyTemplate
        With its sections.
    sources : mapping of str to ErrorSource
        Every source the marks depend on, and the template's scale.

    Returns
    -------
    tuple of Continuity
        One for each section; none where the template states none.
    """
    size_mm = survey.settings.smallest_hole_mm
    found = []
    for section, walls in zip(template.sections, _walls(template), strict=True):
        faces = {panel: [wall for wall in walls if wall.panel.id == panel] for panel in {w.panel.id for w in walls}}
        reaches = [r for m in projection.marks for wall in faces.get(m.panel, ()) for r in _mark_reaches(m, wall)]
        for finding in survey.hand_findings:
            reaches += [r for wall in faces.get(finding.panel, ()) for r in _finding_reaches(finding, wall, size_mm)]
        states = _shown_states(section, walls, projection.seen)
        for reach in reaches:
            first, last = _stations(section, reach.from_x, reach.to_x)
            np.maximum(states[reach.wall, first:last], reach.state, out=states[reach.wall, first:last])
        found.append(_of_section(section, states, reaches, sources))
    return tuple(found)


@lru_cache(maxsize=8)
def _walls(template: BodyTemplate) -> tuple[tuple[_Wall, ...], ...]:
    return tuple(
        tuple(
            _wall_on(section, i, wall, template.panel(wall.panel))
            for i, wall in enumerate(section.walls)
            if wall.panel is not None
        )
        for section in template.sections
    )


def _wall_on(section: BoxSection, index: int, wall: SectionWall, panel: Panel) -> _Wall:
    place = panel.place
    axes = np.stack([place.u_axis, place.v_axis])

    def on_panel(x: FloatArray, end: FloatArray) -> FloatArray:
        points = np.column_stack([x, np.broadcast_to(end, (len(x), 2))])
        return np.asarray((points - place.origin_mm) @ axes.T)

    ends = np.array([section.from_x_mm, section.to_x_mm])
    corners = np.concatenate([on_panel(ends, wall.from_mm), on_panel(ends[::-1], wall.to_mm)])
    middles = section.from_x_mm + (np.arange(_count(section)) + 0.5) * STATION_MM
    middles = np.minimum(middles, section.to_x_mm)
    across = [wall.from_mm + share * (wall.to_mm - wall.from_mm) for share in ACROSS]
    samples = np.stack([on_panel(middles, at) for at in across], axis=1)
    return _Wall(index, panel, Polygon(corners), axes[:, 0].copy(), float(place.origin_mm[0]), samples)


def _count(section: BoxSection) -> int:
    return int(np.ceil(section.length_mm / STATION_MM - 1e-9))


def _stations(section: BoxSection, from_x: float, to_x: float) -> tuple[int, int]:
    """Stations that a stretch has more than a point in common with."""
    first = int(np.floor((from_x - section.from_x_mm) / STATION_MM + 1e-9))
    last = int(np.ceil((to_x - section.from_x_mm) / STATION_MM - 1e-9))
    return max(first, 0), min(max(last, first + 1), _count(section))


def _state_of(mark: Mark) -> WallState | None:
    if mark.kind is MarkKind.PATCH:
        return WallState.PATCHED
    if mark.kind is MarkKind.FILLER or mark.stage is RustStage.SCALED:
        return WallState.UNSOUND
    return WallState.HOLED if mark.stage is RustStage.HOLED else None


def _mark_reaches(m: ProjectedMark, wall: _Wall) -> list[_Reach]:
    state = _state_of(m.mark)
    if state is None or not shapely.intersects(m.area, wall.area):
        return []
    found = []
    for part in polygons_of(shapely.intersection(m.area, wall.area)).geoms:
        x = wall.x(np.asarray(shapely.get_coordinates(part)))
        low, high = float(x.min()), float(x.max())
        moves = [_end_moves(m, wall, end, sign) for end, sign in ((low, -1.0), (high, 1.0))]
        found.append(_Reach(wall.index, state, low, high, moves[0], moves[1], mark=m.mark.id))
    return found


def _end_moves(m: ProjectedMark, wall: _Wall, end: float, sign: float) -> Mapping[str, FloatArray]:
    """How far an end of a mark moves outwards along the car per unit of each source; nothing at a cut."""
    edges = m.edges
    starts, ends = wall.x(edges.from_mm), wall.x(edges.to_mm)
    near = np.minimum(np.abs(starts - end), np.abs(ends - end)) <= TIP_MM
    step = edges.to_mm - edges.from_mm
    facing = np.stack([step[:, 1], -step[:, 0]], axis=1) @ wall.along * sign  # outward part along the car, times length
    weight = np.where(near, np.maximum(facing, 0.0), 0.0)
    if weight.sum() <= 0:
        return {}
    share = weight / weight.sum() / np.maximum(edges.length_mm, 1e-9)
    return {label: share @ flux for label, flux in edges.flux_mm2.items()}


def _finding_reaches(finding: HandFinding, wall: _Wall, size_mm: float) -> list[_Reach]:
    states = {HandKind.PROBE: WallState.HOLED, HandKind.TAP: WallState.UNSOUND, HandKind.MAGNET: WallState.UNSOUND}
    if finding.thickness_mm is not None and finding.thickness_mm < SOUND_SHEET_MM:
        states[HandKind.GAUGE] = WallState.UNSOUND
    if finding.kind not in states or not shapely.intersects(wall.area, shapely.Point(finding.at_mm)):
        return []
    x = float(wall.x(finding.at_mm[None])[0])
    half = size_mm / 2
    return [_Reach(wall.index, states[finding.kind], x - half, x + half, {}, {}, finding=finding.id)]


def _shown_states(section: BoxSection, walls: Sequence[_Wall], seen: Sequence[SeenArea]) -> NDArray[np.int8]:
    """Start from what was shown: a station counts when every sample across it was."""
    states = np.full((len(section.walls), _count(section)), WallState.INSIDE, dtype=np.int8)
    by_panel: dict[PanelId, list[SeenArea]] = {}
    for area in seen:
        by_panel.setdefault(area.panel, []).append(area)
    for wall in walls:
        u, v = wall.samples_mm.reshape(-1, 2).T
        shown = np.zeros(len(u), dtype=bool)
        for area in by_panel.get(wall.panel.id, ()):
            left = np.flatnonzero(~shown)
            clear = shapely.contains_xy(area.area, u[left], v[left])
            if not area.hidden.is_empty:
                clear &= ~shapely.contains_xy(area.hidden, u[left], v[left])
            shown[left] = clear
        whole = shown.reshape(wall.samples_mm.shape[:2]).all(axis=1)
        states[wall.index] = np.where(whole, WallState.SHOWN, WallState.NOT_SHOWN)
    return states


def _of_section(
    section: BoxSection, states: NDArray[np.int8], reaches: Sequence[_Reach], sources: Mapping[str, ErrorSource]
) -> Continuity:
    holed = [r for r in reaches if r.state is WallState.HOLED]
    bad = [r for r in reaches if r.state in {WallState.HOLED, WallState.UNSOUND}]
    visible = states[states[:, 0] != WallState.INSIDE]
    return Continuity(
        section=section.id,
        name=section.name,
        length_mm=section.length_mm,
        walls=tuple(wall.id for wall in section.walls),
        states=states,
        open=_length(section, holed, sources),
        unsound=_length(section, bad, sources),
        stretches=_stretches(section, states),
        shown_share=float((visible >= WallState.SHOWN).mean()) if visible.size else 0.0,
        open_marks=tuple(dict.fromkeys(r.mark for r in holed if r.mark is not None)),
        unsound_marks=tuple(dict.fromkeys(r.mark for r in bad if r.mark is not None)),
        open_findings=tuple(dict.fromkeys(r.finding for r in holed if r.finding is not None)),
        unsound_findings=tuple(dict.fromkeys(r.finding for r in bad if r.finding is not None)),
    )


def _length(section: BoxSection, reaches: Sequence[_Reach], sources: Mapping[str, ErrorSource]) -> Span:
    """Length of the union of some stretches, and its interval from what moves its ends."""
    total, gradients = 0.0, []
    run: tuple[_Reach, _Reach] | None = None  # the reach that begins the run, the one that ends it
    for reach in sorted(reaches, key=lambda r: r.from_x):
        if run is not None and reach.from_x <= run[1].to_x:
            run = (run[0], max(run[1], reach, key=lambda r: r.to_x))
            continue
        if run is not None:
            total += run[1].to_x - run[0].from_x
            gradients += [run[0].moves_from, run[1].moves_to]
        run = (reach, reach)
    if run is None:
        return Span()
    total += run[1].to_x - run[0].from_x
    gradient = add_gradients([*gradients, run[0].moves_from, run[1].moves_to])
    gradient[SCALE_LABEL] = gradient.get(SCALE_LABEL, 0.0) + np.array([total])
    reach_mm = COVERAGE_FACTOR * sigma_of(gradient, sources)
    return Span(total, max(0.0, total - reach_mm), min(section.length_mm, total + reach_mm))


def _stretches(section: BoxSection, states: NDArray[np.int8]) -> tuple[Stretch, ...]:
    is_open = states == WallState.HOLED
    found: list[Stretch] = []
    for station in np.flatnonzero(is_open.any(axis=0)).tolist():
        walls = tuple(wall.id for wall, gone in zip(section.walls, is_open[:, station], strict=True) if gone)
        start = section.from_x_mm + station * STATION_MM
        end = min(start + STATION_MM, section.to_x_mm)
        if found and found[-1].open_walls == walls and found[-1].to_x_mm == start:
            last = found.pop()
            found.append(Stretch(last.from_x_mm, end, walls, last.closed, last.slit_share))
        else:
            state = section_state(section, walls)
            found.append(Stretch(start, end, walls, state.closed, state.share))
    return tuple(found)
