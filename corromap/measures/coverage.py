"""What share of each zone was seen, hidden, or shown by nobody."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from corromap.frames import FloatArray
from corromap.projection import SeenArea
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
    clear = [s.area if s.hidden.is_empty else shapely.difference(s.area, s.hidden) for s in seen]
    open_ground = shapely.union_all(clear)
    covered = [s.hidden for s in seen if not s.hidden.is_empty]
    hidden = shapely.difference(shapely.union_all(covered), open_ground) if covered else MultiPolygon()
    zones = np.array([zone.outline.polygon for zone in panel.zones], dtype=object)
    limit = shapely.area(zones)
    seen_mm2 = np.minimum(shapely.area(shapely.intersection(zones, open_ground)), limit)
    hidden_mm2 = np.minimum(shapely.area(shapely.intersection(zones, hidden)), limit - seen_mm2)
    return np.stack([seen_mm2, hidden_mm2], axis=1)
