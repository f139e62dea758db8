"""Every figure of a survey, by zone and by group."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray, PanelId
from corromap.measures.coverage import coverage_mm2
from corromap.measures.distance import mounting_distances
from corromap.measures.ground import ground_of
from corromap.measures.layers import AFFECTED, LAYERS, PRECEDENCE, STAGES, kind_layer, resolved_layer, stage_layer
from corromap.measures.layout import layout_of
from corromap.measures.panels import panel_by_panel
from corromap.measures.patches import PatchOnPatch, patches_on_patches, same_place
from corromap.measures.result import Figure, GroupMeasure, Measures, ZoneMeasure
from corromap.measures.structuring import Counting, structure_of
from corromap.measures.totals import totals_of
from corromap.measures.touching import most_separate
from corromap.projection import ProjectedMark, Projection
from corromap.projection.marks import Registrations
from corromap.survey import MEASURED_KINDS, MarkKind, RustStage, Survey
from corromap.template import BodyTemplate, Part, Role, Side

__all__ = ["measure"]

ROUNDED_TO = 9
"""Decimals of a share: a billionth of a zone is rounding, not ground nobody saw."""

_LAYER = {layer.name: i for i, layer in enumerate(LAYERS)}


def measure(projection: Projection, registrations: Registrations, survey: Survey, template: BodyTemplate) -> Measures:
    """Measure a survey.

    Parameters
    ----------
    projection : Projection
        From `corromap.projection.project`, of the same registrations.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        Where the error sources come from.
    survey : Survey
        For its settings.
    template : BodyTemplate
        The body.

    Returns
    -------
    Measures
        Every zone and group, marked or not.

    Raises
    ------
    InvalidValueError
        If the projection was made with other registrations.
    """
    layout = layout_of(projection, registrations, template, survey.settings)
    on: dict[PanelId, list[ProjectedMark]] = {}
    for m in projection.marks:
        on.setdefault(m.panel, []).append(m)
    marked = [panel for panel in template.panels if panel.id in on]
    grounds = panel_by_panel(lambda panel: ground_of(panel, on[panel.id]), marked, len(projection.marks))
    totals = totals_of(grounds, template, layout, survey.settings.patch_gap_mm, projection.seen)
    groups = _groups(template)
    sets = [np.array([i], dtype=np.intp) for i in range(len(template.zones))] + [g.zones for g in groups]
    figures = totals.figures(sets)
    shares = _shares(coverage_mm2(projection.seen, template), totals.zone_area_mm2, sets)
    stacked = _stacked(patches_on_patches(grounds), template, sets)
    split = len(template.zones)
    near = mounting_distances(projection.marks, template)
    ids = [*(zone.id for zone in template.zones), *(group.id for group in groups)]
    patched = _LAYER[kind_layer(MarkKind.PATCH)]
    patches = {place: (zones, row[patched]) for place, zones, row in zip(ids, sets, figures, strict=True)}
    return Measures(
        tuple(
            ZoneMeasure(zone.id, zone.area_mm2, *_by_name(row), *share, count)
            for zone, row, share, count in zip(template.zones, figures[:split], shares, stacked, strict=False)
        ),
        tuple(
            GroupMeasure(
                group.id, group.name, tuple(template.zones[i].id for i in group.zones),
                float(totals.zone_area_mm2[group.zones].sum()), *_by_name(row), *share, count,
            )
            for group, row, share, count in zip(groups, figures[split:], shares[split:], stacked[split:], strict=True)
        ),
        near,
        layout.sources,
        structure_of(projection, survey, template, Counting(grounds, totals, patches, near)),
    )  # fmt: skip


def _by_name(
    row: Sequence[Figure],
) -> tuple[Mapping[MarkKind, Figure], Mapping[RustStage, Figure], Mapping[MarkKind, Figure], Figure]:
    return (
        {kind: row[_LAYER[kind_layer(kind)]] for kind in MEASURED_KINDS},
        {stage: row[_LAYER[stage_layer(stage)]] for stage in STAGES[::-1]},
        {kind: row[_LAYER[resolved_layer(kind)]] for kind in PRECEDENCE},
        row[_LAYER[AFFECTED]],
    )


@dataclass(frozen=True, eq=False)
class _Group:
    """A set of zones reported together."""

    id: str
    name: str
    zones: NDArray[np.intp]


def _groups(template: BodyTemplate) -> list[_Group]:
    """List the whole, then each side, role and part that has a zone."""
    panels = [template.panel(zone.panel) for zone in template.zones]
    every = [("all", "Whole underside", [True] * len(panels))]
    every += [(f"side:{s}", f"{s.capitalize()} side", [p.side is s for p in panels]) for s in Side]
    every += [(f"role:{r}", f"{r.capitalize()} zones", [z.role is r for z in template.zones]) for r in Role]
    every += [(f"part:{t}", t.capitalize(), [p.part is t for p in panels]) for t in Part]
    return [_Group(i, name, np.flatnonzero(member)) for i, name, member in every if any(member)]


def _shares(
    covered_mm2: FloatArray, zone_mm2: FloatArray, sets: Sequence[NDArray[np.intp]]
) -> list[tuple[float, float, float]]:
    """Seen, hidden and never-seen share of each set of zones; they sum to 1."""
    found = []
    for zones in sets:
        parts = covered_mm2[zones].sum(axis=0) / zone_mm2[zones].sum()
        seen, hidden = np.clip(np.round(parts, ROUNDED_TO), 0.0, 1.0)
        hidden = min(hidden, 1.0 - seen)
        found.append((float(seen), float(hidden), float(max(0.0, 1.0 - seen - hidden))))
    return found


def _stacked(places: Sequence[PatchOnPatch], template: BodyTemplate, sets: Sequence[NDArray[np.intp]]) -> list[int]:
    """Places of patch on patch in each set of zones, each place once."""
    in_zone = [
        {
            i
            for i, place in enumerate(places)
            if zone.panel in place.overlap and shapely.intersects(place.overlap[zone.panel], zone.outline.polygon)
        }
        for zone in template.zones
    ]
    near = same_place(places)
    return [most_separate(set().union(*(in_zone[z] for z in zones)), near, {}) for zones in sets]
