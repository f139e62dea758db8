"""Surveys made by hand for tests: exact photos of one panel, seen square-on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from corromap.frames import DatumId, MarkId, PanelId, PhotoId, PhotoOutline
from corromap.io.templates import load_template
from corromap.survey import Mark, MarkKind, Photo, RustStage, Settings, Sighting, Survey
from corromap.template import BodyTemplate

__all__ = ["MM_PER_PX", "TEMPLATE", "mark_at", "survey_of", "to_px"]

TEMPLATE: BodyTemplate = load_template("two-seat-open")
MM_PER_PX = 0.5


def _extent(panel_id: PanelId) -> tuple[np.ndarray, np.ndarray]:
    ring = TEMPLATE.panel(panel_id).outline.exterior_mm
    return ring.min(axis=0) - 20.0, ring.max(axis=0) + 20.0


def to_px(panel_id: PanelId, uv_mm: Sequence[Sequence[float]] | np.ndarray) -> np.ndarray:
    """Pixels of a camera that looks square-on at a panel from the stated side."""
    low, high = _extent(panel_id)
    uv = np.atleast_2d(np.asarray(uv_mm, dtype=float))
    x = (uv[:, 0] - low[0]) / MM_PER_PX
    y = (high[1] - uv[:, 1]) / MM_PER_PX
    if TEMPLATE.panel(panel_id).facing < 0:
        y = (uv[:, 1] - low[1]) / MM_PER_PX  # u x v points away: v runs down the photo
    return np.stack([x, y], axis=1)


def photo_of(panel_id: PanelId) -> Photo:
    """The photo that shows just this panel."""
    low, high = _extent(panel_id)
    width, height = np.ceil((high - low) / MM_PER_PX).astype(int)
    name = f"photo-{panel_id}"
    # 1.5 m away; at a wall of the tunnel only 0.3 m: farther off a sill would stand before it
    focal = 600.0 if panel_id in {"tunnel-left", "tunnel-right"} else 3000.0
    return Photo(PhotoId(name), f"{name}.jpg", "0" * 64, int(width), int(height), focal_px=focal)


def mark_at(
    name: str,
    panel_id: PanelId,
    uv_mm: Sequence[Sequence[float]] | np.ndarray,
    kind: MarkKind,
    stage: RustStage | None = None,
) -> Mark:
    """A mark drawn exactly at panel millimetres."""
    outline = PhotoOutline(to_px(panel_id, uv_mm))
    return Mark(MarkId(name), PhotoId(f"photo-{panel_id}"), kind, outline, stage=stage)


def survey_of(panels: Sequence[PanelId], marks: Sequence[Mark] = ()) -> Survey:
    """A survey whose photos show the given panels whole, placed exactly."""
    sightings = []
    for panel_id in panels:
        for datum, at in TEMPLATE.datum_positions(panel_id).items():
            sightings.append(Sighting(PhotoId(f"photo-{panel_id}"), DatumId(datum), to_px(panel_id, [at])[0]))
    return Survey(
        "s",
        photos=tuple(photo_of(p) for p in panels),
        marks=tuple(marks),
        sightings=tuple(sightings),
        settings=Settings(),
    )
