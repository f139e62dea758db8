"""What measuring yields: figures by zone and by group of zones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from corromap.frames import MarkId, MountingId, ZoneId
from corromap.measures.structure import Structure
from corromap.survey import MarkKind, RustStage
from corromap.uncertainty import ErrorSource, Gradient

__all__ = ["PRESCRIBED_DISTANCE_MM", "Figure", "GroupMeasure", "Measures", "MountingDistance", "ZoneMeasure"]

PRESCRIBED_DISTANCE_MM = 300.0
"""Structure this near a mounting counts with it: "within 30 cm of the mounting
location", MOT inspection manual for cars, Appendix A, section 2."""


NOT_GIVEN = math.nan
"""As the union says."""


@dataclass(frozen=True, slots=True)
class Figure:
    """An area with its interval.

    Parameters
    ----------
    area_mm2 : float
        Of the union of the marks, so that no place counts twice. Limits are
        held against it: it cannot fall when a mark is added.
    sigma_mm2 : float
        Standard uncertainty of `likely_mm2` from clicks, lens, outlines and
        template scale.
    low_mm2, high_mm2 : float
        95 % interval about `likely_mm2`, clipped to 0 and the area it is part
        of; widened to hold `area_mm2`, for no mark is argued away.
    share, low_share, high_share : float
        The same as a share of the zone or group. The template's scale moves
        mark and zone alike and is left out of this interval.
    pieces : int
        Separate pieces; those within 2 mm of each other are one. Can fall when
        a new mark bridges two.
    perimeter_mm : float
        Length of the marked edge; a cut along a zone's, panel's or fold's
        edge is not an edge of the mark and does not count.
    marks : tuple of MarkId
        Marks with area here.
    separate : int
        Largest number of these marks no two of which touch (2 mm): one patch
        on two photos counts once. Cannot fall when a mark is added, so rules
        that count read this.
    likely_mm2, likely_share : float
        The union with its edge in the mean of the edges that different photos
        drew of the same thing (`corromap.measures.consensus`): the union of
        many photos keeps every outline's error outwards. Equal to `area_mm2`
        where each thing is marked on one photo; more only where a kind gives
        way to another whose union is too large.
    gradient : Gradient
        Derivative of `likely_mm2` by each error source, so that figures can be
        added without losing what they share.
    """

    area_mm2: float
    sigma_mm2: float
    low_mm2: float
    high_mm2: float
    share: float
    low_share: float
    high_share: float
    pieces: int
    perimeter_mm: float
    marks: tuple[MarkId, ...]
    separate: int = 0
    likely_mm2: float = NOT_GIVEN
    likely_share: float = NOT_GIVEN
    gradient: Gradient = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        for name, union in (("likely_mm2", self.area_mm2), ("likely_share", self.share)):
            if math.isnan(getattr(self, name)):
                object.__setattr__(self, name, union)


@dataclass(frozen=True, slots=True)
class ZoneMeasure:
    """Everything measured of one zone.

    Parameters
    ----------
    zone : ZoneId
        The zone.
    area_mm2 : float
        Its area on the template.
    kinds : mapping of MarkKind to Figure
        All five kinds, each with all the ground it was marked on.
    stages : mapping of RustStage to Figure
        Each place once: holed before scaled before surface.
    resolved : mapping of MarkKind to Figure
        Rust, filler, patch; each place once, in that order of precedence.
    affected : Figure
        Rust, filler and patch together.
    seen_share, hidden_share, never_seen_share : float
        Shown and not hidden by some photo; shown but hidden in every photo
        that shows it; shown by none. They sum to 1.
    patch_on_patch : int
        Places where one patch lies on another; see `corromap.measures.patches`.
    well_of_seen : float
        Of what was seen, the share seen well enough for the smallest hole to
        be found; 1 as long as nobody has asked (`corromap.measures.seen_well`).
    """

    zone: ZoneId
    area_mm2: float
    kinds: Mapping[MarkKind, Figure]
    stages: Mapping[RustStage, Figure]
    resolved: Mapping[MarkKind, Figure]
    affected: Figure
    seen_share: float
    hidden_share: float
    never_seen_share: float
    patch_on_patch: int
    well_of_seen: float = 1.0

    @property
    def well_share(self) -> float:
        """Share seen well enough; never more than `seen_share`."""
        return self.seen_share * self.well_of_seen


@dataclass(frozen=True, slots=True)
class GroupMeasure:
    """The same figures for several zones together.

    Parameters
    ----------
    id : str
        ``all``, ``side:left``, ``role:primary``, ``part:sill`` and so on.
    name : str
        As printed.
    zones : tuple of ZoneId
        Its zones, in the template's order.
    area_mm2, kinds, stages, resolved, affected : object
        As in `ZoneMeasure`; a piece that crosses zones or a fold counts once.
    seen_share, hidden_share, never_seen_share : float
        As in `ZoneMeasure`, by area.
    patch_on_patch : int
        As in `ZoneMeasure`, each once.
    well_of_seen : float
        As in `ZoneMeasure`, by the area seen.
    """

    id: str
    name: str
    zones: tuple[ZoneId, ...]
    area_mm2: float
    kinds: Mapping[MarkKind, Figure]
    stages: Mapping[RustStage, Figure]
    resolved: Mapping[MarkKind, Figure]
    affected: Figure
    seen_share: float
    hidden_share: float
    never_seen_share: float
    patch_on_patch: int
    well_of_seen: float = 1.0

    @property
    def well_share(self) -> float:
        """Share seen well enough; never more than `seen_share`."""
        return self.seen_share * self.well_of_seen


@dataclass(frozen=True, slots=True)
class MountingDistance:
    """How near a mark comes to a mounting, along the body.

    Parameters
    ----------
    mounting : MountingId
        The mounting.
    mark : MarkId
        An affected mark.
    kind : MarkKind
        Its kind.
    stage : RustStage or None
        Its stage, for rust.
    distance_mm : float
        Shortest way over the panels and their folds; 0 on the mounting.
    """

    mounting: MountingId
    mark: MarkId
    kind: MarkKind
    stage: RustStage | None
    distance_mm: float

    @property
    def is_within_prescribed(self) -> bool:
        """Whether it is at most `PRESCRIBED_DISTANCE_MM`."""
        return self.distance_mm <= PRESCRIBED_DISTANCE_MM


@dataclass(frozen=True, slots=True, eq=False)
class Measures:
    """Everything measured of one survey.

    Parameters
    ----------
    zones : tuple of ZoneMeasure
        In the template's order of zones, every zone.
    groups : tuple of GroupMeasure
        The whole, then sides, roles and parts.
    near_mountings : tuple of MountingDistance
        Nearest first; up to 1.5 times the prescribed distance, so that a near
        miss can be told.
    sources : mapping of str to ErrorSource
        Every error source a gradient names.
    structure : Structure
        Patchwork, closed sections, findings by hand.
    """

    zones: tuple[ZoneMeasure, ...]
    groups: tuple[GroupMeasure, ...]
    near_mountings: tuple[MountingDistance, ...]
    sources: Mapping[str, ErrorSource] = field(default_factory=dict)
    structure: Structure = field(default_factory=Structure)
