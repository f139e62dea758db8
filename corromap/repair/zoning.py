"""One zone's pieces made into its plan: runs, hours, cost, notes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, NamedTuple, TypeVar

from shapely.geometry import MultiPolygon

from corromap.frames import MarkId
from corromap.messages import joined, message
from corromap.repair.costing import Task, plug_count, zone_cost, zone_hours
from corromap.repair.edges import borders_of, edges_of
from corromap.repair.rates import Rates
from corromap.repair.result import EdgeKind, Joint, Method, Piece, PieceEdge, Range, ZonePlan
from corromap.template import BodyTemplate, MountingKind, Panel, Part, Zone

__all__ = ["Ends", "ZoneWork", "zone_plan"]

MM2_PER_M2 = 1e6
MOST_PIECES = 3
"""Common practice: over three patches on one panel, think of the whole panel."""

_T = TypeVar("_T")


class Ends(NamedTuple, Generic[_T]):
    """Something worked out for the marks as they are and for both ends of the interval."""

    central: _T
    low: _T
    high: _T


@dataclass(frozen=True, slots=True, eq=False)
class ZoneWork:
    """What is known of one zone before hours and money.

    Parameters
    ----------
    zone : Zone
        The zone.
    panel : Panel
        Its panel.
    number : int
        Of the zone.
    metal : shapely.MultiPolygon
        Marked metal that has to go.
    pieces : Ends of tuple of Piece
        For the marks as they are, and at both ends of the interval.
    is_whole : bool
        Whether the whole zone is replaced.
    clean_mm2 : float
        Surface rust left to clean.
    kept : tuple of MarkId
        Patches that may stay.
    seen_share : float
        What was shown of it.
    sheet_factor : float
        Sheet bought for a unit of sheet used, at least 1.
    access_share : float
        Share of the access to its part and side that falls to this zone.
    """

    zone: Zone
    panel: Panel
    number: int
    metal: MultiPolygon
    pieces: Ends[tuple[Piece, ...]]
    is_whole: bool
    clean_mm2: float
    kept: tuple[MarkId, ...]
    seen_share: float
    sheet_factor: float
    access_share: float

    @property
    def has_work(self) -> bool:
        """Whether there is something to cut or to clean."""
        return bool(self.pieces.central) or self.clean_mm2 > 0

    @property
    def method(self) -> Method:
        """How it is put right."""
        if not self.pieces.central:
            return Method.CLEAN
        return Method.WHOLE_ZONE if self.is_whole else Method.PIECES


def zone_plan(work: ZoneWork, rates: Rates, template: BodyTemplate) -> ZonePlan:
    """Work out hours and cost of a zone.

    Parameters
    ----------
    work : ZoneWork
        Its pieces and what is known of it.
    rates : Rates
        In force.
    template : BodyTemplate
        The body.

    Returns
    -------
    ZonePlan
        The plan.
    """
    central = work.pieces.central
    seam, lap = _runs(work, Joint.BUTT), _runs(work, Joint.LAP)
    task = Task(work.panel.part, work.method, len(central), seam, lap, work.clean_mm2, work.access_share)
    cost = zone_cost(rates, task, _sheet_money(work, rates, [sum(p.blank_mm2 for p in run) for run in work.pieces]))
    lap_mm = sum(piece.run_mm(Joint.LAP) for piece in central)
    whole = _whole_cost(work, rates, template) if work.method is Method.PIECES else None
    areas = [sum(piece.area_mm2 for piece in run) for run in work.pieces]
    return ZonePlan(
        zone=work.zone.id,
        number=work.number,
        method=work.method,
        pieces=central,
        sheet_mm=work.zone.sheet_mm,
        metal=work.metal,
        area_mm2=areas[0],
        area_range_mm2=Range(min(areas), max(areas)),
        seam_mm=sum(piece.run_mm(Joint.BUTT) for piece in central),
        seam_range_mm=seam,
        plug_mm=lap_mm,
        plug_range_mm=lap,
        plugs=plug_count(lap_mm, rates.policy["plug_pitch"].value),
        clean_mm2=work.clean_mm2,
        kept_patches=work.kept,
        sheet_mm2=sum(piece.blank_mm2 for piece in central),
        hours=zone_hours(rates, task),
        cost=cost,
        whole_cost=whole,
        seen_share=work.seen_share,
        notes=_notes(work, whole, cost, template),
    )


def _runs(work: ZoneWork, joint: Joint) -> Range:
    """Least and most run of a joint over the interval; a larger cut may need less of it."""
    runs = [sum(piece.run_mm(joint) for piece in pieces) for pieces in work.pieces]
    return Range(min(runs), max(runs))


def _sheet_money(work: ZoneWork, rates: Rates, blanks_mm2: Sequence[float]) -> Range:
    factor = work.sheet_factor / MM2_PER_M2
    return rates.sheet_rate(work.zone.sheet_mm).times(min(blanks_mm2) * factor, max(blanks_mm2) * factor)


def _whole_cost(work: ZoneWork, rates: Rates, template: BodyTemplate) -> Range:
    """Cost of replacing the zone in one piece."""
    outline = work.zone.outline.polygon
    edges = edges_of(outline, borders_of(work.panel, work.zone, template, {}))
    seam, lap = _length(edges, Joint.BUTT), _length(edges, Joint.LAP)
    task = Task(work.panel.part, Method.WHOLE_ZONE, 1, Range(seam, seam), Range(lap, lap), 0.0, work.access_share)
    blank = outline.area + rates.policy["flange"].value * lap
    return zone_cost(rates, task, _sheet_money(work, rates, [blank]))


def _length(edges: Sequence[PieceEdge], joint: Joint) -> float:
    return sum(edge.length_mm for edge in edges if edge.joint is joint)


def _notes(work: ZoneWork, whole: Range | None, cost: Range, template: BodyTemplate) -> tuple[str, ...]:
    notes: list[str] = []
    central = work.pieces.central
    if work.method is Method.WHOLE_ZONE:
        notes.append(
            message("So much of it is to be cut that one section is the better repair: replace the whole zone.")
        )
    if whole is not None and whole.middle < cost.middle:
        notes.append(message("Replacing the whole zone costs less than its pieces, by the middle of both ranges."))
    if len(central) > MOST_PIECES:
        notes.append(
            message(
                "More than {most} pieces in one zone: common practice is to replace the whole panel.", most=MOST_PIECES
            )
        )
    if central and work.panel.part in {Part.SILL, Part.RAIL, Part.CROSSMEMBER}:
        notes.append(
            message(
                "Closed section: look inside with a borescope before cutting; what is behind this wall is not shown."
            )
        )
    notes += _mounting_notes(work, template)
    crossed = _names(name for piece in central for name in piece.crosses)
    if crossed:
        notes.append(
            message("Joined here: {names}. Free that joint first, and make it again afterwards.", names=crossed)
        )
    next_to = sorted({e.neighbour for p in central for e in p.edges if e.kind is EdgeKind.SHARED})
    if next_to:
        met = ", ".join(next_to)
        notes.append(message("Meets piece {names}: make them of one sheet where fit and sheet allow.", names=met))
    if work.kept:
        notes.append(message("Welded patches that touch no rust and no cut stay; look at their edges and their back."))
    return tuple(notes)


def _names(names: Iterable[str]) -> str:
    return joined(", ", [message(name) for name in sorted(set(names))])


def _mounting_notes(work: ZoneWork, template: BodyTemplate) -> list[str]:
    near = {name for piece in work.pieces.central for name, _ in piece.near_mountings}
    if not near:
        return []
    notes: list[str] = [
        message(
            "Within 300 mm of {names}: load enters here; follow the car maker's method, no joint through or beside it.",
            names=_names(near),
        )
    ]
    if any(m.kind is MountingKind.BELT and m.name in near for _, m in template.mountings):
        notes.append(
            message(
                "Seat-belt anchorage near: safety-critical, maybe of high-strength steel; the maker's method or nobody."
            )
        )
    return notes
