"""What planning a repair yields: pieces to cut, zones, sheet, hours, order of work."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from shapely.geometry import MultiPolygon, Polygon

from corromap.frames import FloatArray, MarkId, PanelId, ZoneId

__all__ = [
    "EdgeKind",
    "Joint",
    "Method",
    "Piece",
    "PieceEdge",
    "Range",
    "RepairPlan",
    "SheetNeed",
    "WorkStep",
    "ZonePlan",
    "add_ranges",
]


@dataclass(frozen=True, slots=True)
class Range:
    """A figure that is only known between two ends.

    Parameters
    ----------
    low, high : float
        Ends, low <= high.
    """

    low: float
    high: float

    @property
    def middle(self) -> float:
        """Halfway; used only to compare two ways of doing the same thing."""
        return (self.low + self.high) / 2

    def times(self, low: float, high: float | None = None) -> Range:
        """Multiply end by end; factors are not negative.

        Parameters
        ----------
        low : float
            Factor of the low end.
        high : float, optional
            Factor of the high end; the same when left out.

        Returns
        -------
        Range
            The product.
        """
        return Range(self.low * low, self.high * (low if high is None else high))


def add_ranges(*ranges: Range) -> Range:
    """Add ranges end by end.

    Parameters
    ----------
    *ranges : Range
        Any number.

    Returns
    -------
    Range
        Their sum; nothing to add is 0 to 0. Ends are added as they are: what
        makes one job dear (access, rates) makes the others dear too.
    """
    return Range(sum(r.low for r in ranges), sum(r.high for r in ranges))


class EdgeKind(StrEnum):
    """What the edge of a piece meets."""

    CUT = "cut in sheet"
    ZONE_SEAM = "seam to the next zone"
    SHARED = "the next piece"
    FOLD = "fold to the next panel"
    PANEL_EDGE = "edge of the panel"


class Joint(StrEnum):
    """How an edge is joined; common practice."""

    BUTT = "butt, seam-welded all along"
    LAP = "flange lapped, plug-welded"


class Method(StrEnum):
    """How a zone is put right."""

    PIECES = "pieces"
    WHOLE_ZONE = "whole zone"
    CLEAN = "clean and protect"


@dataclass(frozen=True, slots=True, eq=False)
class PieceEdge:
    """A straight part of a piece's edge.

    Parameters
    ----------
    kind : EdgeKind
        What it meets.
    from_mm, to_mm : ndarray of float64, shape (2,)
        Its ends on the panel.
    neighbour : str
        Name of the panel or zone, or label of the piece it meets; empty for a
        cut in sheet.
    shared : float
        1, or 0.5 where another piece's edge lies on the same line: the joint
        is welded once.
    """

    kind: EdgeKind
    from_mm: FloatArray
    to_mm: FloatArray
    neighbour: str = ""
    shared: float = 1.0

    @property
    def length_mm(self) -> float:
        """Its length."""
        du, dv = self.to_mm - self.from_mm
        return float((du * du + dv * dv) ** 0.5)

    @property
    def joint(self) -> Joint:
        """A flange where the panel ends or folds, a butt joint in open sheet."""
        return Joint.LAP if self.kind in {EdgeKind.FOLD, EdgeKind.PANEL_EDGE} else Joint.BUTT


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One piece of sheet to cut out and to weld in.

    Parameters
    ----------
    label : str
        Number of the zone and a letter, for example ``4A``.
    zone : ZoneId
        The zone it lies in.
    panel : PanelId
        Its panel.
    outline : shapely.Polygon
        The cut line, panel mm; the lapped flange lies outside it.
    edges : tuple of PieceEdge
        All round.
    blank_mm : tuple of float
        Length and width of the sheet to cut, flanges included; length >= width.
    blank_mm2 : float
        Sheet in it: the outline and its flanges, not the rectangle around.
    marks : tuple of MarkId
        Marks that ask for it.
    near_mountings : tuple of (str, float)
        Mountings within the published 300 mm along the body, with the
        distance from the cut line, mm.
    crosses : tuple of str
        Panels that are joined to this one within the piece.
    """

    label: str
    zone: ZoneId
    panel: PanelId
    outline: Polygon
    edges: tuple[PieceEdge, ...]
    blank_mm: tuple[float, float]
    blank_mm2: float
    marks: tuple[MarkId, ...] = ()
    near_mountings: tuple[tuple[str, float], ...] = ()
    crosses: tuple[str, ...] = ()

    @property
    def area_mm2(self) -> float:
        """Area inside the cut line."""
        return float(self.outline.area)

    @property
    def perimeter_mm(self) -> float:
        """Length of the cut line."""
        return float(self.outline.length)

    def run_mm(self, joint: Joint) -> float:
        """Length of its edges of one kind of joint, a joint with another piece half to each.

        Parameters
        ----------
        joint : Joint
            Which.

        Returns
        -------
        float
            In mm.
        """
        return sum(edge.length_mm * edge.shared for edge in self.edges if edge.joint is joint)


@dataclass(frozen=True, slots=True, eq=False)
class ZonePlan:
    """What is to be done in one zone.

    Parameters
    ----------
    zone : ZoneId
        The zone.
    number : int
        Its number in lists and on the map, from 1.
    method : Method
        Pieces, the whole zone, or only cleaning.
    pieces : tuple of Piece
        Empty for cleaning.
    sheet_mm : float
        Thickness: the zone's nominal one.
    metal : shapely.MultiPolygon
        Marked metal that has to go, panel mm, before any margin.
    area_mm2 : float
        Inside the cut lines.
    area_range_mm2 : Range
        The same with the margin smaller and larger by the 95 % interval of
        where the marks' edges lie.
    seam_mm, plug_mm : float
        Run of seam weld, and of lapped flange.
    seam_range_mm, plug_range_mm : Range
        The same over the interval; a larger cut may need less weld.
    plugs : int
        Plug welds at the stated pitch, at the central value.
    clean_mm2 : float
        Surface rust outside the pieces: cleaned, not cut.
    kept_patches : tuple of MarkId
        Patches that may stay.
    sheet_mm2 : float
        Sheet for the pieces, flanges included, before nesting waste.
    hours, cost : Range
        Of this zone alone, labour and material.
    whole_cost : Range or None
        What replacing the whole zone would cost; None when that is the
        method, or nothing is cut.
    seen_share : float
        What photos showed of the zone.
    notes : tuple of str
        Sentences for the welder.
    """

    zone: ZoneId
    number: int
    method: Method
    pieces: tuple[Piece, ...]
    sheet_mm: float
    metal: MultiPolygon
    area_mm2: float
    area_range_mm2: Range
    seam_mm: float
    seam_range_mm: Range
    plug_mm: float
    plug_range_mm: Range
    plugs: int
    clean_mm2: float
    kept_patches: tuple[MarkId, ...]
    sheet_mm2: float
    hours: Range
    cost: Range
    whole_cost: Range | None
    seen_share: float
    notes: tuple[str, ...] = ()

    @property
    def sound_mm2(self) -> float:
        """Unmarked metal inside the cut lines: the price of margin and straight edges."""
        return max(0.0, self.area_mm2 - float(self.metal.area))

    @property
    def is_whole_cheaper(self) -> bool:
        """Whether the whole zone costs less than its pieces, by the middle of both ranges."""
        return self.whole_cost is not None and self.whole_cost.middle < self.cost.middle


@dataclass(frozen=True, slots=True)
class SheetNeed:
    """Sheet of one thickness.

    Parameters
    ----------
    thickness_mm : float
        Nominal.
    pieces : int
        How many.
    net_mm2 : float
        Sheet that goes into the car, flanges included.
    bought_mm2 : float
        Used of the sheets' width by the nesting, waste included.
    sheets : int
        Whole sheets to have at hand.
    oversize : int
        Pieces longer or wider than a sheet.
    cost : Range
        Of what is bought.
    """

    thickness_mm: float
    pieces: int
    net_mm2: float
    bought_mm2: float
    sheets: int
    oversize: int
    cost: Range

    @property
    def waste_share(self) -> float:
        """Part of what is bought that does not go into the car."""
        return 1.0 - self.net_mm2 / self.bought_mm2 if self.bought_mm2 else 0.0


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step of the work, in order.

    Parameters
    ----------
    title : str
        A few words.
    text : str
        What to do.
    zones : tuple of ZoneId
        Zones it is about; empty for the whole shell.
    """

    title: str
    text: str
    zones: tuple[ZoneId, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class RepairPlan:
    """Everything to put the marked metal right: a lower bound.

    Parameters
    ----------
    zones : tuple of ZonePlan
        Zones with work, in the template's order.
    sheet : tuple of SheetNeed
        By thickness, thinnest first.
    hours, cost : Range
        Of the whole, shell preparation included.
    shell_hours : Range
        Preparation and protection of the whole shell, part of `hours`.
    currency : str
        Three capital letters; of every cost.
    order : tuple of WorkStep
        The order of work.
    notes : tuple of str
        What the reader has to know.
    outside_mm2 : float
        Metal to cut on ground that is in no zone (under another member).
    not_shown : tuple of ZoneId
        Load-bearing zones not shown well enough: this plan says nothing of them.
    """

    zones: tuple[ZonePlan, ...]
    sheet: tuple[SheetNeed, ...]
    hours: Range
    cost: Range
    shell_hours: Range
    currency: str
    order: tuple[WorkStep, ...] = ()
    notes: tuple[str, ...] = ()
    outside_mm2: float = 0.0
    not_shown: tuple[ZoneId, ...] = field(default=())

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Every piece, zone by zone."""
        return tuple(piece for zone in self.zones for piece in zone.pieces)

    @property
    def seam_mm(self) -> float:
        """Run of seam weld."""
        return sum(zone.seam_mm for zone in self.zones)

    @property
    def plugs(self) -> int:
        """Plug welds."""
        return sum(zone.plugs for zone in self.zones)
