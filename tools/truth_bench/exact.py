"""The outcome a survey without any error would have: exact pictures of exactly what was shown."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from corromap.assessment import Assessment, RuleSet, assess
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.measures import measure
from corromap.projection import join_projections, project_photo
from corromap.registration import Registration, RegistrationFailure, place_photos
from corromap.survey import Mark, MarkKind, Photo, RustStage, Sighting, Survey
from corromap.template import BodyTemplate, Panel
from tools.truth_bench.make import BenchSurvey
from tools.truth_bench.sight import polygons
from tools.truth_bench.truth import carried_pieces

__all__ = ["exact_assessment", "exact_outcome"]

Array = NDArray[np.float64]

MM_PER_PX = 0.5
MARGIN_MM = 20.0
LEAST_HOLE_MM2, LEAST_PIECE_MM2 = 25.0, 0.01


def exact_outcome(bench: BenchSurvey, placed: Collection[tuple[PhotoId, PanelId]], rules: RuleSet) -> str:
    """Outcome of the exact survey.

    Parameters
    ----------
    bench : BenchSurvey
        The survey.
    placed : collection of (PhotoId, PanelId)
        Where the program placed photos: what it speaks of.
    rules : RuleSet
        The limits.

    Returns
    -------
    str
        The outcome's kind.
    """
    return str(exact_assessment(bench, placed, rules).outcome.kind)


def exact_assessment(bench: BenchSurvey, placed: Collection[tuple[PhotoId, PanelId]], rules: RuleSet) -> Assessment:
    """Evaluate one square-on picture a panel, its points and marks without error.

    Every true mark is drawn once, as far as the placed photos together show it;
    ground they do not show, and ground that is covered, is drawn as hidden.

    Parameters
    ----------
    bench : BenchSurvey
        The survey.
    placed : collection of (PhotoId, PanelId)
        Where the program placed photos.
    rules : RuleSet
        The limits.

    Returns
    -------
    Assessment
        Exact but for the template's scale, which moves no share and no count.
    """
    photos, marks = [], []
    placings = _exact_placings(bench.scene.template)
    pieces = carried_pieces(bench, placed)
    for panel in bench.scene.template.panels:
        shown = [
            shot.sights[panel.id].visible
            for shot in bench.shots
            if panel.id in shot.sights and (shot.photo.id, panel.id) in placed
        ]
        if not shown:
            continue
        photo = _photo(panel)
        photos.append(photo)
        by_source: dict[str, list[shapely.Geometry]] = {}
        for d in pieces:
            if d.panel == panel.id:
                by_source.setdefault(d.source.id, []).append(d.piece)
        of = {m.id: m for m in bench.scene.marks}
        for source, parts in by_source.items():
            marks += _marks(panel, photo, source, shapely.union_all(parts), of[source].kind, of[source].stage)
        unseen = shapely.difference(panel.outline.polygon, shapely.union_all(shown))
        marks += _marks(panel, photo, "unseen", unseen, MarkKind.HIDDEN, None)
    template = bench.scene.template
    survey = Survey("exact", photos=tuple(photos), marks=tuple(marks))
    there = {photo.id for photo in photos}
    registrations = {key: found for key, found in placings.items() if key[0] in there}
    alone = _alone(template)
    projection = join_projections(
        project_photo(p, [m for m in marks if m.photo == p.id], registrations, alone[p.id], survey.settings)
        for p in photos
    )
    return assess(measure(projection, registrations, survey, template), template, rules)


@lru_cache
def _alone(template: BodyTemplate) -> Mapping[PhotoId, BodyTemplate]:
    """The body of each exact picture: its panel and nothing that could stand before it."""
    return {_photo(panel).id: replace(template, panels=(replace(panel, covers=()),)) for panel in template.panels}


@lru_cache
def _exact_placings(template: BodyTemplate) -> Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]:
    """Every panel's exact picture, placed by the program; the same for all surveys of a body."""
    photos, sightings = [], []
    for panel in template.panels:
        photos.append(_photo(panel))
        positions = template.datum_positions(panel.id)
        sightings += [Sighting(photos[-1].id, d, _to_px(panel, at[None])[0]) for d, at in positions.items()]
    return place_photos(Survey("exact", photos=tuple(photos), sightings=tuple(sightings)), template)


def _low(panel: Panel) -> Array:
    return np.asarray(panel.outline.exterior_mm.min(axis=0) - MARGIN_MM)


def _high(panel: Panel) -> Array:
    return np.asarray(panel.outline.exterior_mm.max(axis=0) + MARGIN_MM)


def _to_px(panel: Panel, uv_mm: Array) -> Array:
    """Square-on from the stated side: v runs up the picture where u x v points at the viewer."""
    low, high = _low(panel), _high(panel)
    v = high[1] - uv_mm[:, 1] if panel.facing > 0 else uv_mm[:, 1] - low[1]
    return np.stack([(uv_mm[:, 0] - low[0]) / MM_PER_PX, v / MM_PER_PX], axis=1)


def _photo(panel: Panel) -> Photo:
    width, height = np.ceil((_high(panel) - _low(panel)) / MM_PER_PX).astype(int)
    return Photo(PhotoId(f"exact-{panel.id}"), f"{panel.id}.png", "0" * 64, int(width), int(height), focal_px=3000.0)


def _marks(
    panel: Panel, photo: Photo, name: str, area: shapely.Geometry, kind: MarkKind, stage: RustStage | None
) -> list[Mark]:
    found = []
    for i, piece in enumerate(g for g in polygons(area).geoms if g.area > LEAST_PIECE_MM2):
        holes = [h for h in piece.interiors if Polygon(h).area > LEAST_HOLE_MM2]
        rings = [_to_px(panel, np.array(r.coords)[:-1]) for r in (piece.exterior, *holes)]
        outline = PhotoOutline(rings[0], tuple(rings[1:]))
        identity = MarkId(f"{panel.id}/{name}/{i}")
        found.append(Mark(identity, photo.id, kind, outline, stage, panels=(panel.id,)))
    return found
