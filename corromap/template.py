"""The body template: panels, zones, datum points, mountings, folds.

A template is a schematic of a kind of body, not of one car. Each panel is a
flat face with its own millimetre frame (u, v), its place in the ISO 8855 car
frame (x forward, y left, z up) and its place on the flat map.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import shapely

from corromap.body_words import DatumShape, FeatureKind, MountingKind, Part, Role, SeenFrom, Side
from corromap.control import BodyFit
from corromap.errors import InvalidValueError
from corromap.frames import DatumId, FloatArray, MountingId, PanelId, PanelOutline, ZoneId, frozen_array
from corromap.places import Frame2D, Place
from corromap.sections import BoxSection

__all__ = [
    "FOLD_TOLERANCE_MM",
    "BodyTemplate",
    "DatumPoint",
    "DatumShape",
    "Feature",
    "FeatureKind",
    "Fold",
    "Frame2D",
    "Mounting",
    "MountingKind",
    "Panel",
    "Part",
    "Place",
    "Role",
    "SeenFrom",
    "Side",
    "Zone",
]

FOLD_TOLERANCE_MM = 1.0
"""Folds meet to this distance in the car frame; ours, and tested."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A named structural part of a panel: the unit of reporting.

    Parameters
    ----------
    id : ZoneId
        Unique in the template.
    name : str
        As printed, for example ``Left outer sill, front``.
    role : Role
        What it carries.
    sheet_mm : float
        Nominal thickness of the sheet, mm, > 0.
    prominence : int
        1 is shown first; sills, floors and suspension pick-ups come first.
    outline : PanelOutline
        On its panel.
    """

    id: ZoneId
    name: str
    role: Role
    sheet_mm: float
    prominence: int
    outline: PanelOutline

    def __post_init__(self) -> None:
        if not (0.1 <= self.sheet_mm <= 10):
            raise InvalidValueError(f"zone '{self.id}': sheet_mm must be 0.1 to 10, found {self.sheet_mm}")

    @property
    def panel(self) -> PanelId:
        """The panel this zone is part of."""
        return self.outline.panel

    @property
    def area_mm2(self) -> float:
        """Area in mm2."""
        return self.outline.area_mm2


@dataclass(frozen=True, slots=True, eq=False)
class DatumPoint:
    """A point that can be recognised on the car and on the template.

    Parameters
    ----------
    id : DatumId
        Unique in the template.
    name : str
        Short, as on a button.
    description : str
        How to recognise it, one plain sentence.
    shape : DatumShape
        What it looks like.
    at_mm : array_like, shape (2,)
        On its panel, mm.
    """

    id: DatumId
    name: str
    description: str
    shape: DatumShape
    at_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_array(self.at_mm, (2,), f"datum point '{self.id}'"))


@dataclass(frozen=True, slots=True, eq=False)
class Mounting:
    """A place where a load enters the body.

    Parameters
    ----------
    id : MountingId
        Unique in the template.
    name : str
        As printed.
    kind : MountingKind
        What is mounted.
    at_mm : array_like, shape (2,)
        On its panel, mm.
    """

    id: MountingId
    name: str
    kind: MountingKind
    at_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_array(self.at_mm, (2,), f"mounting '{self.id}'"))


@dataclass(frozen=True, slots=True, eq=False)
class Fold:
    """A straight edge shared with another panel.

    Parameters
    ----------
    other : PanelId
        The panel beyond the fold.
    edge_mm : array_like, shape (2, 2)
        The edge's ends on this panel.
    other_edge_mm : array_like, shape (2, 2)
        The same two ends on the other panel, in the same order.
    """

    other: PanelId
    edge_mm: FloatArray
    other_edge_mm: FloatArray

    def __post_init__(self) -> None:
        for name in ("edge_mm", "other_edge_mm"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (2, 2), f"fold.{name}"))


@dataclass(frozen=True, slots=True, eq=False)
class Feature:
    """Line work that makes the drawing look like the part; nothing is measured on it.

    Parameters
    ----------
    kind : FeatureKind
        What it stands for.
    line_mm : array_like, shape (N, 2)
        N >= 2; a closed line repeats its first point.
    """

    kind: FeatureKind
    line_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "line_mm", frozen_array(self.line_mm, (-1, 2), "feature"))


@dataclass(frozen=True, eq=False)
class Panel:
    """One flat face of the body.

    Parameters
    ----------
    id : PanelId
        Unique in the template.
    name : str
        As printed.
    part : Part
        Kind of structural part.
    side : Side
        The car's side.
    seen_from : SeenFrom
        From where its drawn face is looked at; a photo from the other side
        is mirrored and refused.
    outline : PanelOutline
        Its edge, in its own frame.
    place : Place
        Its place in the car frame.
    map_frame : Frame2D
        Its place on the flat map.
    zones, datum_points, mountings, folds : tuple
        Its contents.
    covers : tuple of PanelId
        Panels it stands in front of when seen from `seen_from` (a crossmember
        under a floor): where both lie under a mark, this one gets it.
    features : tuple of Feature
        Line work for the drawing only.

    Raises
    ------
    InvalidValueError
        If the panel cannot be seen from `seen_from`.
    """

    id: PanelId
    name: str
    part: Part
    side: Side
    seen_from: SeenFrom
    outline: PanelOutline
    place: Place
    map_frame: Frame2D
    zones: tuple[Zone, ...]
    datum_points: tuple[DatumPoint, ...] = ()
    mountings: tuple[Mounting, ...] = ()
    folds: tuple[Fold, ...] = ()
    covers: tuple[PanelId, ...] = ()
    features: tuple[Feature, ...] = ()

    def __post_init__(self) -> None:
        if abs(float(self.place.normal @ self.seen_from.direction)) < 0.1:
            raise InvalidValueError(f"panel '{self.id}': cannot be seen from '{self.seen_from}', it is edge-on")

    @property
    def facing(self) -> int:
        """+1 if u x v points towards the viewer, else -1.

        The Jacobian of photo pixels (y down) to (u, v) has the opposite sign
        in a photo taken from the stated side.
        """
        return 1 if float(self.place.normal @ self.seen_from.direction) > 0 else -1


@dataclass(frozen=True, eq=False)
class BodyTemplate:
    """The schematic of a kind of body.

    Parameters
    ----------
    id : str
        Short name, as the file's.
    name, description : str
        As printed. An invented, generic body.
    revision : int
        Raised at every change of a dimension.
    scale_sigma : float
        Standard uncertainty of the template's dimensions against a real car,
        as a fraction (0.01 is one per cent). Moves every area together.
    panels : tuple of Panel
        The faces.
    sections : tuple of BoxSection
        Closed sections, cut across the car; none if the template states none.
    fit : BodyFit or None
        How it was stretched to lengths taken on the car; None for a template as
        published (`corromap.registration.body_size`).
    published : BodyTemplate or None
        The template before it was stretched; None for one as published.
    """

    id: str
    name: str
    description: str
    revision: int
    scale_sigma: float
    panels: tuple[Panel, ...]
    sections: tuple[BoxSection, ...] = ()
    fit: BodyFit | None = None
    published: BodyTemplate | None = field(default=None, repr=False)
    _by_id: dict[PanelId, Panel] = field(init=False, repr=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._by_id.update({panel.id: panel for panel in self.panels})
        if not (0 <= self.scale_sigma <= 0.2):
            raise InvalidValueError(f"template '{self.id}': scale_sigma must be 0 to 0.2, found {self.scale_sigma}")

    def panel(self, panel_id: PanelId) -> Panel:
        """Return a panel by its id.

        Parameters
        ----------
        panel_id : PanelId
            Its id.

        Returns
        -------
        Panel
            The panel.

        Raises
        ------
        InvalidValueError
            If the template has no such panel.
        """
        try:
            return self._by_id[panel_id]
        except KeyError:
            raise InvalidValueError(f"template '{self.id}' has no panel '{panel_id}'") from None

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """Every zone, most prominent first, then in template order."""
        return tuple(sorted((z for p in self.panels for z in p.zones), key=lambda zone: zone.prominence))

    @cached_property
    def zone_by_id(self) -> Mapping[ZoneId, Zone]:
        """Zones by id."""
        return {zone.id: zone for zone in self.zones}

    @cached_property
    def datum_points(self) -> Mapping[DatumId, tuple[Panel, DatumPoint]]:
        """Datum points by id, each with the panel it is defined on."""
        return {d.id: (panel, d) for panel in self.panels for d in panel.datum_points}

    @cached_property
    def mountings(self) -> tuple[tuple[Panel, Mounting], ...]:
        """Every mounting with the panel it is on."""
        return tuple((panel, m) for panel in self.panels for m in panel.mountings)

    def datum_positions(self, panel_id: PanelId) -> Mapping[DatumId, FloatArray]:
        """Datum points that lie on a panel, those on its folds included.

        A point on a fold belongs to both faces: one click serves both.

        Parameters
        ----------
        panel_id : PanelId
            The panel.

        Returns
        -------
        mapping of DatumId to ndarray, shape (2,)
            Positions in that panel's millimetres.

        Raises
        ------
        InvalidValueError
            If the template has no such panel.
        """
        panel = self.panel(panel_id)
        found = {d.id: d.at_mm for d in panel.datum_points}
        for fold in panel.folds:
            edge = shapely.LineString(fold.other_edge_mm)
            for datum in self.panel(fold.other).datum_points:
                if datum.id in found or edge.distance(shapely.Point(datum.at_mm)) > FOLD_TOLERANCE_MM:
                    continue
                along = edge.project(shapely.Point(datum.at_mm), normalized=True)
                at = fold.edge_mm[0] + along * (fold.edge_mm[1] - fold.edge_mm[0])
                found[datum.id] = frozen_array(at, (2,), f"datum point '{datum.id}'")
        return found
