"""What a person records of a photo: clicked datum points and drawn outlines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import DatumId, MarkId, PanelId, PhotoOutline
from corromap.survey import Mark, MarkKind, Sighting
from corromap.template import Panel
from tools.truth_bench.cameras import Shot
from tools.truth_bench.conditions import Condition
from tools.truth_bench.relief import Relief
from tools.truth_bench.scene import Scene, TrueMark
from tools.truth_bench.sight import Sight, towards_viewer

__all__ = ["Drawn", "Eye", "detail_mm_per_px", "pixels_of"]

Array = NDArray[np.float64]

COARSEST_MM_PER_PX = 2.5
"""Neither a datum point nor the edge of a mark is made out beyond it; as the program's setting."""

LEAST_PX2 = 150.0
"""A mark smaller than about 12 x 12 px is overlooked ..."""

DRAWN_CHANCE = 0.9
"""... and of the others one in ten is left for another photo."""

LEAST_SHARE = 0.03
"""A panel that fills less of the photo is not placed unless a mark lies on it."""

CLICK_TOLERANCE_PX = 1.5
"""A person sets corners of an outline so that its chords stay this near to the edge."""


def pixels_of(shot: Shot, panel: Panel, uv_mm: Array, relief: Relief | None) -> Array:
    """Where points of a panel really fall in a photo.

    Parameters
    ----------
    shot : Shot
        The photo.
    panel : Panel
        The panel.
    uv_mm : ndarray of float64, shape (N, 2)
        Panel millimetres.
    relief : Relief or None
        None for flat panels.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        Pixels, by ``cv2.projectPoints``.
    """
    points = panel.place.to_car(uv_mm)
    if relief is not None:
        points = points + relief.height_mm(panel, np.atleast_2d(uv_mm))[:, None] * towards_viewer(panel)
    return shot.camera.project(points)


def detail_mm_per_px(shot: Shot, panel: Panel, uv_mm: Array) -> Array:
    """Coarsest millimetres a pixel, by differences of the true projection.

    Parameters
    ----------
    shot : Shot
        The photo.
    panel : Panel
        The panel.
    uv_mm : ndarray of float64, shape (N, 2)
        Panel millimetres, in front of the camera.

    Returns
    -------
    ndarray of float64, shape (N,)
        Largest singular value of d mm / d px.
    """
    uv = np.atleast_2d(uv_mm)
    if len(uv) == 0:
        return np.empty(0)
    step = 0.25
    aside = step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    px = pixels_of(shot, panel, (uv + aside[:, None]).reshape(-1, 2), None).reshape(4, -1, 2)
    du, dv = (px[0] - px[1]) / (2 * step), (px[2] - px[3]) / (2 * step)
    # smallest singular value of d px / d mm, turned over
    a, b, c, d = du[:, 0], dv[:, 0], du[:, 1], dv[:, 1]
    smallest = (np.hypot(a + d, b - c) - np.hypot(a - d, b + c)) / 2
    return np.asarray(1.0 / np.maximum(np.abs(smallest), 1e-9))


@dataclass(frozen=True, eq=False)
class Drawn:
    """A mark somebody drew, and what it was meant to be.

    Parameters
    ----------
    mark : Mark
        As recorded.
    source : TrueMark
        What it shows.
    panel : PanelId
        The panel that lies on.
    piece : shapely.Polygon
        The part of it that the photo shows, panel millimetres: the truth.
    true_px, true_mm : ndarray of float64, shape (N, 2)
        Points of that part's edge in the photo without any error, and on the panel.
    """

    mark: Mark
    source: TrueMark
    panel: PanelId
    piece: Polygon
    true_px: Array
    true_mm: Array


@dataclass(frozen=True, eq=False)
class Eye:
    """A person with a photo on the screen.

    Parameters
    ----------
    scene : Scene
        The car.
    condition : Condition
        How sure the hand is.
    relief : Relief or None
        None for flat panels.
    rng : Generator
        Source of the numbers.
    """

    scene: Scene
    condition: Condition
    relief: Relief | None
    rng: np.random.Generator

    def draw(self, shot: Shot) -> list[Drawn]:
        """Draw every mark that shows well enough.

        Parameters
        ----------
        shot : Shot
            The photo.

        Returns
        -------
        list of Drawn
            Perhaps none.
        """
        found: list[Drawn] = []
        for source in self.scene.marks:
            sight = shot.sights.get(source.panel)
            if sight is None or not source.area.intersects(sight.visible):
                continue
            shown = shapely.intersection(source.area, sight.visible)
            for piece in shapely.get_parts(shown):
                if isinstance(piece, Polygon) and piece.area > 1.0:
                    drawn = self._drawn(shot, sight, source, piece, len(found))
                    found += [drawn] if drawn is not None else []
        return found

    def _drawn(self, shot: Shot, sight: Sight, source: TrueMark, piece: Polygon, number: int) -> Drawn | None:
        if detail_mm_per_px(shot, sight.panel, _looked_at(source.kind, piece)).min() > COARSEST_MM_PER_PX:
            return None
        true_mm = shapely.get_coordinates(shapely.segmentize(piece.exterior, 4.0))[:-1]
        true_px = pixels_of(shot, sight.panel, true_mm, self.relief)
        # a neck narrower than rounding makes a piece touch itself: the person draws its larger part
        edge = _largest(shapely.make_valid(Polygon(true_px)))
        seldom = source.kind is not MarkKind.HIDDEN and self.rng.random() > DRAWN_CHANCE
        if edge is None or edge.area < LEAST_PX2 or seldom:
            return None
        outline = self._outline(edge, shot)
        if outline is None:
            return None
        panels = (sight.panel.id,) if self.condition.names_panels else ()
        identity = MarkId(f"{shot.photo.id}/{source.id}/{number}")
        mark = Mark(identity, shot.photo.id, source.kind, PhotoOutline(outline), source.stage, panels=panels)
        return Drawn(mark, source, sight.panel.id, piece, true_px, true_mm)

    def _outline(self, edge: Polygon, shot: Shot) -> Array | None:
        """Move the edge in or out, thin its corners, shake them, and stay on the photo."""
        out = float(self.rng.normal(0, self.condition.outline_sigma_px))
        moved = _largest(edge.buffer(out, quad_segs=4)) or edge
        thinned = shapely.get_coordinates(moved.simplify(CLICK_TOLERANCE_PX))[:-1]
        if self.condition.outline_sigma_px == self.condition.vertex_sigma_px == 0:
            thinned = np.array(edge.exterior.coords)[:-1]
        shaken = thinned + self.rng.normal(0, self.condition.vertex_sigma_px, thinned.shape)
        frame = np.array([shot.photo.width_px - 0.5, shot.photo.height_px - 0.5])
        kept = np.clip(shaken, -0.5, frame)
        return kept if len(kept) >= 3 and abs(Polygon(kept).area) > 1.0 else None

    def click(self, shot: Shot, drawn: Sequence[Drawn], strayed: Mapping[DatumId, Array]) -> list[Sighting]:
        """Click datum points of every panel worth placing.

        Parameters
        ----------
        shot : Shot
            The photo.
        drawn : sequence of Drawn
            Its marks: their panels are placed first of all.
        strayed : mapping of DatumId to ndarray, shape (3,)
            How far the car's own points lie from the template's, car frame, mm.

        Returns
        -------
        list of Sighting
            Each datum point at most once.
        """
        marked = {d.panel for d in drawn}
        clicked: dict[DatumId, Array] = {}
        for sight in shot.sights.values():
            size = Polygon(pixels_of(shot, sight.panel, _ring(sight.visible), None)).area
            if sight.panel.id not in marked and size < LEAST_SHARE * shot.photo.width_px * shot.photo.height_px:
                continue
            seen = self._seen_points(shot, sight, strayed)
            if len(seen) < 4:
                continue
            for datum in self._chosen(seen, [d for d in clicked if d in seen]):
                clicked.setdefault(datum, seen[datum] + self.rng.normal(0, self.condition.click_sigma_px, 2))
        if clicked and self.rng.random() < self.condition.stray_chance:
            datum = list(clicked)[int(self.rng.integers(len(clicked)))]
            angle, away = self.rng.uniform(0, 2 * np.pi), self.rng.uniform(30, 150)
            clicked[datum] = clicked[datum] + away * np.array([np.cos(angle), np.sin(angle)])
        frame = np.array([shot.photo.width_px - 0.5, shot.photo.height_px - 0.5])
        return [Sighting(shot.photo.id, datum, np.clip(at, -0.5, frame)) for datum, at in clicked.items()]

    def _seen_points(self, shot: Shot, sight: Sight, strayed: Mapping[DatumId, Array]) -> dict[DatumId, Array]:
        positions = self.scene.template.datum_positions(sight.panel.id)
        ids = list(positions)
        at = np.array([positions[i] for i in ids]).reshape(-1, 2)
        near = shapely.distance(sight.visible, shapely.points(at)) < 1.0
        found = {}
        for i in np.flatnonzero(near).tolist():
            if detail_mm_per_px(shot, sight.panel, at[i : i + 1])[0] > COARSEST_MM_PER_PX:
                continue
            px = pixels_of(shot, sight.panel, at[i : i + 1], self.relief)[0]
            if ids[i] in strayed:
                car = sight.panel.place.to_car(at[i])[0]
                px = px + (shot.camera.project([car + strayed[ids[i]]]) - shot.camera.project([car]))[0]
            found[ids[i]] = px
        return found

    def _chosen(self, seen: Mapping[DatumId, Array], have: Sequence[DatumId]) -> list[DatumId]:
        """Points far apart, as the program's suggestions ask for."""
        ids, px = list(seen), np.array(list(seen.values()))
        wanted = min(int(self.rng.integers(self.condition.clicks[0], self.condition.clicks[1] + 1)), len(ids))
        chosen = [ids.index(d) for d in have[:wanted]]
        if not chosen:
            chosen = [int(np.argmax(np.hypot(*(px - px.mean(axis=0)).T)))]
        while len(chosen) < wanted:
            away = np.hypot(*np.moveaxis(px[:, None] - px[chosen], -1, 0)).min(axis=1)
            if len(chosen) >= 2:  # off the line of those there are
                a, b = px[chosen[0]], px[chosen[1]]
                n = np.array([a[1] - b[1], b[0] - a[0]])
                off = np.abs((px - a) @ n) / max(float(np.hypot(*n)), 1e-9)
                away = away * (off if len(chosen) == 2 else np.sqrt(off + 1.0))
                away[chosen] = -1.0
            chosen.append(int(np.argmax(away)))
        return [ids[i] for i in chosen]


def _largest(shape: shapely.Geometry) -> Polygon | None:
    parts = [g for g in shapely.get_parts(shapely.get_parts(shape)) if isinstance(g, Polygon) and g.area > 1.0]
    return max(parts, key=lambda g: float(g.area)) if parts else None


def _looked_at(kind: MarkKind, piece: Polygon) -> Array:
    """Places one of which has to be made out, or the mark is passed over: its middle, of a cover its edge as well.

    Ground that a photo shows finely enough counts as seen unless a cover is
    drawn on it, so a cover is drawn as soon as any of it shows so finely.
    """
    middle = shapely.get_coordinates(piece.representative_point())
    return np.vstack([middle, shapely.get_coordinates(piece.exterior)]) if kind is MarkKind.HIDDEN else middle


def _ring(area: MultiPolygon) -> Array:
    return np.array(max(area.geoms, key=lambda g: float(g.area)).exterior.coords)[:-1]
