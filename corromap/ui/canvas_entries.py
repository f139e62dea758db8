"""The view of the canvas as entries ready for JSON (read by ``frontend/src``)."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray
from corromap.projection import ProjectedMark
from corromap.registration import Registration, RegistrationFailure
from corromap.report.palette import KIND_STYLES
from corromap.survey import Mark, Photo, Sighting
from corromap.template import BodyTemplate, Panel
from corromap.ui.canvas_sync import EntrySync
from corromap.ui.canvas_view import CanvasView, DrapedPhoto, PhotoView, ScaleView

__all__ = ["lay_out"]

_MAP_DIGITS = 1
"""Tenths of a millimetre are finer than a screen shows."""
_PANEL_DIGITS = 4
"""Datum points and edges: residuals are drawn from them, so finer."""


def lay_out(view: CanvasView, sync: EntrySync, *, report_selection: bool, height_px: int) -> None:
    """Put every entry of a view.

    Parameters
    ----------
    view : CanvasView
        What to show.
    sync : EntrySync
        Takes the entries.
    report_selection : bool
        Whether the browser reports selections.
    height_px : int
        Height of the panes.
    """
    settings = _settings(view, report_selection=report_selection, height_px=height_px)
    sync.put("canvas", object(), lambda: settings)
    sync.put("styles", KIND_STYLES, _styles)
    sync.put("template", view.template, lambda: _template(view.template))
    for shown in (view.main, *view.compare):
        _photo_entries(shown, view.template, sync)
    panels = {panel.id: panel for panel in view.template.panels}
    for projected in view.projected:
        panel = panels[projected.panel]
        key = f"projected/{projected.mark.id}/{projected.panel}"
        sync.put(key, projected, lambda one=projected, on=panel: _projected(one, on))  # type: ignore[misc]
    _footprint_entries(view, sync)


def _footprint_entries(view: CanvasView, sync: EntrySync) -> None:
    if view.footprint is None:
        return
    for seen in view.footprint.seen:
        panel = view.template.panel(seen.panel)
        sync.put(f"footprint/{panel.id}", seen, lambda one=seen, on=panel: _map_polygons(one.area, on))  # type: ignore[misc]
    draped = view.footprint.draped
    if draped is not None:
        sync.put("draped", draped, lambda: _draped(draped))


def _draped(draped: DrapedPhoto) -> dict[str, Any]:
    x, y = draped.corner_mm
    return {
        "url": "data:image/png;base64," + base64.b64encode(draped.png).decode("ascii"),
        "cornerMm": [x, y],
        "sizeMm": [draped.width_mm, draped.height_mm],
    }


def _photo_entries(shown: PhotoView, template: BodyTemplate, sync: EntrySync) -> None:
    photo = shown.photo
    # the address holds the session's token: it is not part of the photo
    sync.put(f"photo/{photo.id}", object(), lambda: _photo(photo, shown.tile_url))
    known = {panel.id for panel in template.panels}
    for panel_id, registration in shown.registrations.items():
        if panel_id in known:
            key = f"placing/{photo.id}/{panel_id}"
            sync.put(key, registration, lambda one=registration: _placing(one))  # type: ignore[misc]
    for mark in shown.marks:
        sync.put(f"mark/{mark.id}", mark, lambda one=mark: _mark(one))  # type: ignore[misc]
    for sighting in shown.sightings:
        key = f"sighting/{photo.id}/{sighting.datum}"
        sync.put(key, sighting, lambda one=sighting: _sighting(one))  # type: ignore[misc]
    for scale in shown.scales:
        sync.put(f"scale/{photo.id}/{scale.scale.id}", object(), lambda one=scale: _scale(one))  # type: ignore[misc]


def _settings(view: CanvasView, *, report_selection: bool, height_px: int) -> dict[str, Any]:
    return {
        "mode": view.mode.value,
        "photo": view.main.photo.id,
        "compare": [other.photo.id for other in view.compare],
        "activePanel": view.active_panel,
        "suggestion": view.suggestion,
        "message": view.message,
        "canUndo": view.can_undo,
        "canRedo": view.can_redo,
        "position": view.position,
        "chosen": view.chosen,
        "footprint": view.footprint and {"label": view.footprint.label, "proposed": view.footprint.is_proposed},
        "reportSelection": report_selection,
        "height": height_px,
    }


def _styles() -> dict[str, dict[str, str]]:
    return {
        key: {"colour": style.colour, "pattern": style.pattern, "label": style.label}
        for key, style in KIND_STYLES.items()
    }


def _photo(photo: Photo, tile_url: str) -> dict[str, Any]:
    return {
        "id": photo.id,
        "name": photo.name,
        "width": photo.width_px,
        "height": photo.height_px,
        "tileUrl": tile_url,
    }


def _pairs(points: FloatArray, digits: int | None = None) -> Any:  # noqa: ANN401  (as deep as the array)
    values = np.asarray(points, dtype=np.float64)
    return (values if digits is None else values.round(digits)).tolist()


def _template(template: BodyTemplate) -> dict[str, Any]:
    return {
        "id": template.id,
        "name": template.name,
        "panels": [_panel(panel, template) for panel in template.panels],
    }


def _panel(panel: Panel, template: BodyTemplate) -> dict[str, Any]:
    """Lay out one panel, in its own millimetres; the browser carries them to the map by `map_frame`."""
    by_id = template.datum_points
    return {
        "id": panel.id,
        "name": panel.name,
        "outlineMm": _pairs(panel.outline.exterior_mm, _PANEL_DIGITS),
        "origin": panel.map_frame.origin_mm.tolist(),
        "u": panel.map_frame.u_axis.tolist(),
        "v": panel.map_frame.v_axis.tolist(),
        "covers": list(panel.covers),
        "zones": [
            {
                "id": zone.id,
                "name": zone.name,
                "role": zone.role.value,
                "outlineMm": _pairs(zone.outline.exterior_mm, _PANEL_DIGITS),
            }
            for zone in panel.zones
        ],
        "datums": [
            {
                "id": datum_id,
                "name": by_id[datum_id][1].name,
                "description": by_id[datum_id][1].description,
                "atMm": _pairs(at_mm, _PANEL_DIGITS),
            }
            for datum_id, at_mm in template.datum_positions(panel.id).items()
        ],
        "mountings": [{"name": one.name, "atMm": _pairs(one.at_mm, _PANEL_DIGITS)} for one in panel.mountings],
        "lines": [{"kind": one.kind.value, "lineMm": _pairs(one.line_mm, 1)} for one in panel.features],
    }


def _placing(registration: Registration | RegistrationFailure) -> dict[str, Any]:
    if isinstance(registration, RegistrationFailure):
        return {"ok": False, "message": registration.message, "suspects": list(registration.suspects)}
    lens = registration.lens
    return {
        "ok": True,
        "matrix": registration.matrix.ravel().tolist(),
        "centre": np.asarray(lens.centre_px).tolist(),
        "focal": float(lens.focal_px),
        "k1": float(lens.k1),
        "wMin": float(registration.w_min),
        "rmsPx": float(registration.rms_px),
        "rmsMm": float(registration.rms_mm),
        "datums": list(registration.datum_ids),
        "residualPx": np.hypot(*registration.residual_px.T).round(3).tolist(),
        "residualMm": np.hypot(*registration.residual_mm.T).round(3).tolist(),
        "warnings": list(registration.warnings),
    }


def _mark(mark: Mark) -> dict[str, Any]:
    return {
        "id": mark.id,
        "photo": mark.photo,
        "kind": mark.kind.value,
        "stage": mark.stage,
        "fixing": mark.fixing,
        "exterior": _pairs(mark.outline.exterior_px),
        "holes": [_pairs(hole) for hole in mark.outline.holes_px],
    }


def _sighting(sighting: Sighting) -> dict[str, Any]:
    return {"photo": sighting.photo, "datum": sighting.datum, "at": sighting.at_px.tolist()}


def _scale(view: ScaleView) -> dict[str, Any]:
    scale = view.scale
    return {
        "id": scale.id,
        "photo": scale.photo,
        "panel": scale.panel,
        "at": scale.at_px.tolist(),
        "lengthMm": scale.length_mm if scale.is_bar else None,
        "label": view.label,
        "sentence": view.sentence,
        "agrees": view.agrees,
    }


def _projected(projected: ProjectedMark, panel: Panel) -> dict[str, Any]:
    return {
        "mark": projected.mark.id,
        "photo": projected.mark.photo,
        "panel": projected.panel,
        "kind": projected.mark.kind.value,
        "stage": projected.mark.stage,
        "area": _map_polygons(projected.area, panel),
    }


def _map_polygons(area: MultiPolygon, panel: Panel) -> list[list[Any]]:
    return [[_map_ring(ring.coords, panel) for ring in (part.exterior, *part.interiors)] for part in area.geoms]


def _map_ring(coordinates: Any, panel: Panel) -> Any:  # noqa: ANN401  (shapely's sequence has no type)
    return _pairs(panel.map_frame.to_map(np.asarray(coordinates)[:-1]), _MAP_DIGITS)
