"""Marks of one photo carried to the panels it is placed on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.projection.covers import agreed_covers
from corromap.projection.edges import moving_edges
from corromap.projection.fates import DrawnMark, draw, fate_of, not_placed
from corromap.projection.result import PhotoProjection, ProjectedMark, Projection
from corromap.projection.seen import seen_area
from corromap.projection.view import Geometries, PanelView, panel_views, polygons_of, straighten, view_of
from corromap.registration.result import Registration, RegistrationFailure
from corromap.survey import MEASURED_KINDS, Mark, Photo, Settings, Survey
from corromap.template import BodyTemplate, Panel

__all__ = ["Registrations", "join_projections", "project", "project_one", "project_photo"]

Registrations = Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]


def project(survey: Survey, template: BodyTemplate, registrations: Registrations) -> Projection:
    """Carry every mark of a survey to the template.

    Parameters
    ----------
    survey : Survey
        Photos and marks.
    template : BodyTemplate
        The body.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        From `corromap.registration.place_photos`.

    Returns
    -------
    Projection
        Marks, fates and seen areas.
    """
    marks: dict[PhotoId, list[Mark]] = {photo.id: [] for photo in survey.photos}
    for mark in survey.marks:
        marks[mark.photo].append(mark)
    return join_projections(
        project_photo(photo, marks[photo.id], registrations, template, survey.settings) for photo in survey.photos
    )


def join_projections(parts: Iterable[PhotoProjection]) -> Projection:
    """Put the photos' parts together.

    Parameters
    ----------
    parts : iterable of PhotoProjection
        One for each photo, in the survey's order.

    Returns
    -------
    Projection
        The whole; where several photos drew one cover, what they agree on is
        hidden in each of them.
    """
    parts = tuple(parts)
    return Projection(
        tuple(m for part in parts for m in part.marks),
        tuple(f for part in parts for f in part.fates),
        agreed_covers([s for part in parts for s in part.seen]),
    )


def project_photo(
    photo: Photo, marks: Sequence[Mark], registrations: Registrations, template: BodyTemplate, settings: Settings
) -> PhotoProjection:
    """Carry one photo's marks to the panels it is placed on.

    A pure function of its arguments: a caller may keep the result for as long
    as the photo, its marks and its registrations stay the same.

    Parameters
    ----------
    photo : Photo
        The photo.
    marks : sequence of Mark
        The marks on it, and on no other.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        Those of other photos are not looked at.
    template : BodyTemplate
        The body.
    settings : Settings
        For the coarsest detail.

    Returns
    -------
    PhotoProjection
        Marks, fates and seen areas of this photo.
    """
    views = panel_views(photo, _placed(photo, registrations), template)
    marks = [mark for mark in marks if mark.kind in MEASURED_KINDS]
    if not views:
        return PhotoProjection(photo.id, (), tuple(not_placed(mark, photo) for mark in marks), ())
    lens = next(iter(views.values())).registration.lens
    drawn = draw(marks, photo, lens)
    projected = tuple(p for view in views.values() for p in _on_panel(drawn, view))
    fates = tuple(fate_of(d, photo, views, template) for d in drawn)
    seen = tuple(seen_area(photo.id, view, drawn, settings.coarsest_mm_per_px) for view in views.values())
    return PhotoProjection(photo.id, projected, fates, seen)


def project_one(
    mark: Mark, photo: Photo, registration: Registration, panel: Panel, cover_px: MultiPolygon | None = None
) -> ProjectedMark | None:
    """Carry one mark to one panel, while it is being drawn.

    Parameters
    ----------
    mark : Mark
        The mark.
    photo : Photo
        Its photo.
    registration : Registration
        The photo's place on the panel.
    panel : Panel
        The panel.
    cover_px : shapely.MultiPolygon, optional
        What stands in front of the panel, in pixels of the upright photo.

    Returns
    -------
    ProjectedMark or None
        None when no part of the mark lies on the panel.
    """
    view = view_of(photo, registration, panel)
    free = view.shown_px
    if cover_px is not None and not cover_px.is_empty:
        free = polygons_of(shapely.difference(free, straighten(cover_px, registration.lens)))
    found = _on_panel(draw([mark], photo, registration.lens), replace(view, visible_px=free))
    return found[0] if found else None


def _placed(photo: Photo, registrations: Registrations) -> dict[PanelId, Registration]:
    return {
        panel: found
        for (of, panel), found in registrations.items()
        if of == photo.id and not isinstance(found, RegistrationFailure)
    }


def _on_panel(drawn: Sequence[DrawnMark], view: PanelView) -> list[ProjectedMark]:
    """Cut, map and measure the marks of a photo on one panel, all at once."""
    drawn = [d for d in drawn if d.may_lie_on(view.panel.id)]
    shapes = np.array([d.straight_px for d in drawn], dtype=object)
    cut = np.array([polygons_of(g) for g in shapely.intersection(shapes, view.visible_px)], dtype=object)
    areas = np.array([polygons_of(g) for g in np.atleast_1d(view.to_mm(cut))], dtype=object)
    held = np.flatnonzero(shapely.area(areas) > 0) if len(areas) else np.empty(0, dtype=int)
    if len(held) == 0:
        return []
    drawn, cut, areas = [drawn[i] for i in held], cut[held], areas[held]
    outside = _extrapolated(cut, areas, view)
    edges = moving_edges(areas, [d.mark for d in drawn], view)
    return [
        ProjectedMark(d.mark, view.panel.id, area, float(share), d.was_repaired, edge)
        for d, area, share, edge in zip(drawn, areas, outside, edges, strict=True)
    ]


def _extrapolated(cut: Geometries, areas: Geometries, view: PanelView) -> FloatArray:
    """Share of each area, in mm2, outside the hull of the sightings."""
    inside = shapely.intersection(cut, view.hull_px)
    held = shapely.area(view.to_mm(np.array([polygons_of(g) for g in inside], dtype=object)))
    return np.asarray(np.clip(1.0 - held / shapely.area(areas), 0.0, 1.0), dtype=np.float64)
