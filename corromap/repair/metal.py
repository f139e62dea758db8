"""Which metal has to go, which is only cleaned, and which repair may stay."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import GeometryCollection, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from corromap.by_hand import HandFinding, HandKind
from corromap.frames import MarkId, PanelId
from corromap.measures.ground import ground_of
from corromap.measures.patches import patches_on_patches
from corromap.projection import ProjectedMark
from corromap.survey import MarkKind, PatchFixing, RustStage
from corromap.template import BodyTemplate, Role, Zone

__all__ = ["TOUCHING_MM", "PanelMetal", "metal_on", "polygons_in"]

TOUCHING_MM = 2.0
"""Marks this near each other touch, as everywhere in the measures."""

PROBE_MM = 5.0
"""Radius of the hole a probe makes; common practice, a tip of about 10 mm."""

EMPTY = MultiPolygon()
KEPT_ANYWHERE = frozenset({PatchFixing.SEAM})
KEPT_WHERE_NO_LOAD = frozenset({PatchFixing.SEAM, PatchFixing.SPOT, PatchFixing.PLUG})


@dataclass(frozen=True, slots=True, eq=False)
class PanelMetal:
    """What the marks say about one panel.

    Parameters
    ----------
    always : tuple of ProjectedMark
        Has to go wherever it lies.
    loaded : tuple of ProjectedMark
        Patches that have to go only where the zone is load-bearing.
    kept : tuple of ProjectedMark
        Patches that may stay.
    surface : tuple of ProjectedMark
        Surface rust: cleaned.
    probed : shapely.MultiPolygon
        Where a probe went through, panel mm.
    """

    always: tuple[ProjectedMark, ...]
    loaded: tuple[ProjectedMark, ...]
    kept: tuple[ProjectedMark, ...]
    surface: tuple[ProjectedMark, ...]
    probed: MultiPolygon = EMPTY

    def to_cut(self, zone: Zone) -> tuple[ProjectedMark, ...]:
        """List the marks whose ground has to go in a zone.

        Parameters
        ----------
        zone : Zone
            Of this panel.

        Returns
        -------
        tuple of ProjectedMark
            Those with area in it.
        """
        marks = self.always + (self.loaded if zone.role is Role.PRIMARY else ())
        return _within(marks, zone)

    def stays(self, zone: Zone) -> tuple[ProjectedMark, ...]:
        """List the patches of a zone that may stay if no cut comes to them.

        Parameters
        ----------
        zone : Zone
            Of this panel.

        Returns
        -------
        tuple of ProjectedMark
            In the order of the survey.
        """
        return _within(self.kept + (() if zone.role is Role.PRIMARY else self.loaded), zone)

    def surface_in(self, zone: Zone) -> MultiPolygon:
        """Surface rust of a zone.

        Parameters
        ----------
        zone : Zone
            Of this panel.

        Returns
        -------
        shapely.MultiPolygon
            Panel mm.
        """
        return polygons_in(shapely.intersection(_union(self.surface), zone.outline.polygon))


def metal_on(
    marks: Iterable[ProjectedMark], template: BodyTemplate, findings: Iterable[HandFinding] = ()
) -> Mapping[PanelId, PanelMetal]:
    """Sort the affected marks of every panel by what has to be done.

    Scaled and holed rust, rust without a stage and filler have to go, and
    where a probe went through. A patch may stay if it is seam-welded (spot or
    plug welds too where the zone carries no load), no rust that has to go
    touches it and it does not lie on another patch. Adding a mark never takes
    ground from what has to go.

    Parameters
    ----------
    marks : iterable of ProjectedMark
        Of every panel.
    template : BodyTemplate
        The body.
    findings : iterable of HandFinding
        Of these, where a probe went through counts as a hole.

    Returns
    -------
    mapping of PanelId to PanelMetal
        Panels with affected marks or such findings.
    """
    on: dict[PanelId, list[ProjectedMark]] = {}
    for one in marks:
        if one.mark.kind.is_affected and not one.area.is_empty:
            on.setdefault(one.panel, []).append(one)
    probed: dict[PanelId, list[Polygon]] = {}
    for finding in findings:
        if finding.kind is HandKind.PROBE:
            probed.setdefault(finding.panel, []).append(Point(finding.at_mm).buffer(PROBE_MM))
    stacked = _stacked(on, template)
    return {
        panel: _sorted(on.get(panel, []), stacked, polygons_in(shapely.union_all(probed.get(panel, []))))
        for panel in dict.fromkeys((*on, *probed))
    }


def _stacked(on: Mapping[PanelId, list[ProjectedMark]], template: BodyTemplate) -> frozenset[MarkId]:
    """Patches that lie on a patch, or under one."""
    grounds = []
    for panel, marks in on.items():
        patches = [m for m in marks if m.mark.kind is MarkKind.PATCH]
        if len(patches) > 1:
            grounds.append(ground_of(template.panel(panel), patches))
    return frozenset(mark for place in patches_on_patches(grounds) for mark in place.marks)


def _sorted(marks: list[ProjectedMark], stacked: frozenset[MarkId], probed: MultiPolygon) -> PanelMetal:
    surface = [m for m in marks if m.mark.stage is RustStage.SURFACE]
    patches = [m for m in marks if m.mark.kind is MarkKind.PATCH]
    gone = [m for m in marks if m.mark.kind is not MarkKind.PATCH and m.mark.stage is not RustStage.SURFACE]
    rusted = [m for m in gone if m.mark.kind is MarkKind.RUST]
    rust = np.array([*(m.area for m in rusted), *probed.geoms], dtype=object)
    kept, loaded = [], []
    for patch in patches:
        touched = bool(len(rust)) and bool((shapely.distance(rust, patch.area) <= TOUCHING_MM).any())
        if touched or patch.mark.id in stacked or patch.mark.fixing not in KEPT_WHERE_NO_LOAD:
            gone.append(patch)
        elif patch.mark.fixing in KEPT_ANYWHERE:
            kept.append(patch)
        else:
            loaded.append(patch)
    return PanelMetal(tuple(gone), tuple(loaded), tuple(kept), tuple(surface), probed)


def _within(marks: Iterable[ProjectedMark], zone: Zone) -> tuple[ProjectedMark, ...]:
    return tuple(m for m in marks if shapely.intersection(m.area, zone.outline.polygon).area > 0)


def _union(marks: Iterable[ProjectedMark]) -> BaseGeometry:
    return shapely.union_all([m.area for m in marks])


def polygons_in(geometry: BaseGeometry) -> MultiPolygon:
    """Keep the polygons of a geometry.

    Parameters
    ----------
    geometry : shapely geometry
        Anything.

    Returns
    -------
    shapely.MultiPolygon
        Lines and points left out.
    """
    return MultiPolygon([part for part in _flat(geometry) if part.area > 0])


def _flat(geometry: BaseGeometry) -> list[Polygon]:
    if isinstance(geometry, Polygon):
        return [geometry]
    if isinstance(geometry, MultiPolygon | GeometryCollection):
        return [leaf for part in geometry.geoms for leaf in _flat(part)]
    return []
