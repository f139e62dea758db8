"""How much sheet the pieces need: shelves across a sheet, longest side first.

First fit by decreasing height, the textbook shelf packing (Coffman, Garey,
Johnson and Tarjan 1980, from memory): a person with a guillotine cuts the same
way. It is a bound from above: somebody may nest better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Nesting", "nest"]


@dataclass(frozen=True, slots=True)
class Nesting:
    """Sheet used by some blanks.

    Parameters
    ----------
    bought_mm2 : float
        Of each sheet the rectangle around its blanks, the rest stays with the
        seller; oversize blanks by their own rectangle.
    sheets : int
        Sheets begun, oversize blanks not counted.
    oversize : int
        Blanks that fit on no sheet.
    """

    bought_mm2: float
    sheets: int
    oversize: int


def nest(blanks: Sequence[tuple[float, float]], width: float, length: float, gap: float) -> Nesting:
    """Lay rectangular blanks on sheets.

    Parameters
    ----------
    blanks : sequence of tuple of float
        Two sides each, mm, in any order.
    width, length : float
        Of a sheet.
    gap : float
        Between two blanks.

    Returns
    -------
    Nesting
        Nothing for no blanks.
    """
    fitting: list[tuple[float, float]] = []
    oversize: list[tuple[float, float]] = []
    for blank in blanks:
        short, long = sorted(blank)
        across, along = (long, short) if long <= width else (short, long)
        (fitting if across <= width and along <= length else oversize).append((across, along))
    sheets: list[_Row] = []
    for shelf in _rows(fitting, width, gap):
        at = next((s for s in sheets if s.along + gap + shelf.along <= length), None)
        if at is None:
            sheets.append(_Row(shelf.across, shelf.along))
        else:
            at.along += gap + shelf.along
            at.across = max(at.across, shelf.across)
    bought = sum(s.across * s.along for s in sheets) + sum(across * along for across, along in oversize)
    return Nesting(bought, len(sheets), len(oversize))


@dataclass
class _Row:
    """A shelf, or a sheet: how far it reaches across and along."""

    across: float
    along: float


def _rows(blanks: Sequence[tuple[float, float]], width: float, gap: float) -> list[_Row]:
    """Lay blanks side by side on shelves, longest along the sheet first."""
    rows: list[_Row] = []
    for across, along in sorted(blanks, key=lambda blank: (-blank[1], -blank[0])):
        at = next((row for row in rows if row.across + gap + across <= width), None)
        if at is None:
            rows.append(_Row(across, along))
        else:
            at.across += gap + across
    return rows
