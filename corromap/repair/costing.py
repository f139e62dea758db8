"""Hours and money of a repair, as ranges."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from corromap.repair.nesting import Nesting, nest
from corromap.repair.rates import Rates
from corromap.repair.result import Method, Piece, Range, SheetNeed, add_ranges
from corromap.template import Part

__all__ = ["Task", "plug_count", "sheet_needs", "zone_cost", "zone_hours"]

MM_PER_M, MM2_PER_M2 = 1e3, 1e6


@dataclass(frozen=True, slots=True)
class Task:
    """What hours and money of one zone depend on.

    Parameters
    ----------
    part : Part
        What the zone belongs to, for access.
    method : Method
        Pieces, whole zone or cleaning.
    pieces : int
        How many.
    seam_mm, lap_mm : Range
        Run of seam weld and of lapped flange.
    clean_mm2 : float
        Surface rust to clean.
    access_share : float
        This zone's share of the access to its part and side.
    """

    part: Part
    method: Method
    pieces: int
    seam_mm: Range
    lap_mm: Range
    clean_mm2: float = 0.0
    access_share: float = 1.0


def plug_count(lap_mm: float, pitch_mm: float) -> int:
    """Plug welds on a run of flange.

    Parameters
    ----------
    lap_mm : float
        Run.
    pitch_mm : float
        From one to the next.

    Returns
    -------
    int
        None for no run.
    """
    return math.ceil(lap_mm / pitch_mm - 1e-9) if lap_mm > 0 else 0


def zone_hours(rates: Rates, task: Task) -> Range:
    """Work out the hours of one zone.

    Parameters
    ----------
    rates : Rates
        In force.
    task : Task
        What is to be done.

    Returns
    -------
    Range
        Access, fitting, welding, cleaning, protection.
    """
    work, pitch = rates.work, rates.policy["plug_pitch"].value
    is_whole = task.method is Method.WHOLE_ZONE
    seam, lap = task.seam_mm, task.lap_mm
    return add_ranges(
        rates.access[task.part].range.times(task.access_share),
        work["whole_zone"].range if is_whole else work["piece"].range.times(task.pieces),
        work["seam"].range.times(seam.low / MM_PER_M, seam.high / MM_PER_M),
        work["plug"].range.times(plug_count(lap.low, pitch), plug_count(lap.high, pitch)),
        work["clean"].range.times(task.clean_mm2 / MM2_PER_M2),
        work["protect"].range,
    )


def zone_cost(rates: Rates, task: Task, sheet: Range) -> Range:
    """Work out the money of one zone.

    Parameters
    ----------
    rates : Rates
        In force.
    task : Task
        What is to be done.
    sheet : Range
        Money for its sheet.

    Returns
    -------
    Range
        Labour and material.
    """
    labour = rates.work["labour"].range
    run = add_ranges(task.seam_mm, task.lap_mm)
    return add_ranges(
        zone_hours(rates, task).times(labour.low, labour.high),
        sheet,
        rates.work["consumables"].range.times(run.low / MM_PER_M, run.high / MM_PER_M),
        rates.work["protection"].range,
    )


def sheet_needs(rates: Rates, pieces: Iterable[tuple[float, Piece]]) -> tuple[SheetNeed, ...]:
    """Sheet to buy, thickness by thickness.

    Parameters
    ----------
    rates : Rates
        In force; the policy has the sheets' size.
    pieces : iterable of (float, Piece)
        Each with its thickness, mm.

    Returns
    -------
    tuple of SheetNeed
        Thinnest first.
    """
    by_thickness: dict[float, list[Piece]] = {}
    for thickness, piece in pieces:
        by_thickness.setdefault(thickness, []).append(piece)
    return tuple(_need(rates, thickness, found) for thickness, found in sorted(by_thickness.items()))


def _need(rates: Rates, thickness: float, pieces: Sequence[Piece]) -> SheetNeed:
    nesting = _nested(rates, pieces)
    return SheetNeed(
        thickness_mm=thickness,
        pieces=len(pieces),
        net_mm2=sum(piece.blank_mm2 for piece in pieces),
        bought_mm2=nesting.bought_mm2,
        sheets=nesting.sheets,
        oversize=nesting.oversize,
        cost=rates.sheet_rate(thickness).times(nesting.bought_mm2 / MM2_PER_M2),
    )


def _nested(rates: Rates, pieces: Sequence[Piece]) -> Nesting:
    size = [rates.policy[name].value for name in ("sheet_width", "sheet_length", "cut_gap")]
    return nest([piece.blank_mm for piece in pieces], *size)
