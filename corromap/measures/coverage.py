"""What share of each zone was seen, hidden, or shown by nobody."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon

from corromap.frames import FloatArray
from corromap.projection import SeenArea
from corromap.projection.view import Geometries, polygons_of
from corromap.template import BodyTemplate, Panel

__all__ = ["coverage_mm2"]


def coverage_mm2(seen: Sequence[SeenArea], template: BodyTemplate) -> FloatArray:
    """Area of each zone that was seen, and that was shown but hidden.

    Seen means shown by some photo that has no hidden mark there; hidden means
    shown, but hidden in every photo that shows it.

    Parameters
    ----------
    seen : sequence of SeenArea
        From every photo.
    template : BodyTemplate
        The body.

    Returns
    -------
    ndarray of float64, shape (Z, 2)
        Seen and hidden mm2, in the order of ``template.zones``; what is left
        of a zone was never shown.
    """
    row = {zone.id: i for i, zone in enumerate(template.zones)}
    found = np.zeros((len(row), 2))
    for panel in template.panels:
        on_it = [s for s in seen if s.panel == panel.id and not s.area.is_empty]
        if on_it:
            found[[row[zone.id] for zone in panel.zones]] = _of_panel(panel, on_it)
    return found


def _of_panel(panel: Panel, seen: Sequence[SeenArea]) -> FloatArray:
    clear = np.array(
        [s.area if s.hidden.is_empty else shapely.difference(s.area, s.hidden) for s in seen], dtype=object
    )
    hidden = np.array([s.hidden for s in seen if not s.hidden.is_empty], dtype=object)
    zones = np.array([zone.outline.polygon for zone in panel.zones], dtype=object)
    full = np.any(np.asarray(shapely.covers(clear[:, None], zones[None, :])), axis=0)
    return np.array(
        [(z.area, 0.0) if whole else _of_zone(z, clear, hidden) for z, whole in zip(zones, full.tolist(), strict=True)]
    )


def _of_zone(zone: Polygon, clear: Geometries, hidden: Geometries) -> tuple[float, float]:
    """Seen and hidden area of a zone that no photo shows whole; cut first, joined after."""
    # overlays may return lines and points where edges only touched: an overlay of those fails
    shown = polygons_of(shapely.union_all(shapely.intersection(clear, zone)))
    seen_mm2 = min(float(shown.area), zone.area)
    if len(hidden) == 0:
        return seen_mm2, 0.0
    covered = shapely.difference(polygons_of(shapely.union_all(shapely.intersection(hidden, zone))), shown)
    return seen_mm2, min(float(covered.area), zone.area - seen_mm2)
