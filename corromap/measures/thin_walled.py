"""Torsion of thin-walled sections: closed cells by Bredt and Batho, open walls by strips.

For one cell, J = 4 A^2 / (closed integral of ds / t). For several cells the
shear flows q follow from one rate of twist for all (Batho's equations of
compatibility): F q = 2 A for G theta' = 1, with F[i, i] the sum of s/t round
cell i and F[i, j] minus that of the walls i and j share, and
J = 2 A . q = 4 A F^-1 A. A wall that is part of no closed cell adds b t^3 / 3.

Sources: D. Johnson, Advanced Structural Mechanics (2000), eq. 2.40; Megson,
Aircraft Structures, on multi-cell sections (from memory). The ratio of closed
to open holds for a slit along the whole length with free ends. A short hole
loses far less, because the metal beyond its ends still carries the shear
round. So these numbers explain why a sill must close; they are never printed
as the strength of a car.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.sections import BoxSection

__all__ = ["SectionState", "closed_constant", "open_constant", "section_state"]


def closed_constant(areas_mm2: FloatArray, flexibility: FloatArray) -> float:
    """Torsion constant of closed cells that twist together.

    Parameters
    ----------
    areas_mm2 : ndarray of float64, shape (C,)
        Enclosed areas.
    flexibility : ndarray of float64, shape (C, C)
        Sums of s/t: round each cell on the diagonal, minus the shared walls
        beside it.

    Returns
    -------
    float
        J in mm4; 0 without cells.
    """
    if len(areas_mm2) == 0:
        return 0.0
    return float(4.0 * areas_mm2 @ np.linalg.solve(flexibility, areas_mm2))


def open_constant(lengths_mm: FloatArray, sheets_mm: FloatArray) -> float:
    """Torsion constant of walls that close nothing.

    Parameters
    ----------
    lengths_mm, sheets_mm : ndarray of float64, shape (W,)
        Length and thickness of each wall.

    Returns
    -------
    float
        The sum of b t^3 / 3, mm4.
    """
    return float(np.sum(lengths_mm * sheets_mm**3) / 3.0)


@dataclass(frozen=True, slots=True)
class SectionState:
    """What still closes when some walls are slit.

    Parameters
    ----------
    closed : tuple of str
        Cells that still close, by id; cells that became one by a slit
        membrane are joined by ``+``.
    j_mm4 : float
        Torsion constant of the section with those walls slit all along.
    intact_j_mm4 : float
        The same with no wall slit.
    """

    closed: tuple[str, ...]
    j_mm4: float
    intact_j_mm4: float

    @property
    def share(self) -> float:
        """What a slit along the whole length would leave, as a share; a short hole leaves far more."""
        return self.j_mm4 / self.intact_j_mm4


def section_state(section: BoxSection, slit: Collection[str]) -> SectionState:
    """Find which cells still close, and what the theory makes of it.

    Parameters
    ----------
    section : BoxSection
        The section.
    slit : collection of str
        Ids of walls that are open.

    Returns
    -------
    SectionState
        A slit wall between two cells makes them one; a slit outer wall opens
        its cell.
    """
    closed, constant = _constant(section, frozenset(slit))
    return SectionState(closed, constant, _constant(section, frozenset())[1])


def _constant(section: BoxSection, slit: frozenset[str]) -> tuple[tuple[str, ...], float]:
    outside = len(section.cells)
    face = list(range(outside + 1))
    beside = {wall.id: [i for i, cell in enumerate(section.cells) if wall.id in cell.walls] for wall in section.walls}
    for gap in slit:
        one, other = (*beside[gap], outside)[:2]
        gone, kept = min(face[one], face[other]), max(face[one], face[other])
        face = [kept if f == gone else f for f in face]
    groups = sorted({f for f in face[:outside] if f != face[outside]})
    row = {group: i for i, group in enumerate(groups)}
    areas = np.zeros(len(groups))
    for i, cell in enumerate(section.cells):
        if face[i] in row:
            areas[row[face[i]]] += section.area_mm2(cell)
    flexibility, idle = np.zeros((len(groups), len(groups))), []
    for wall in section.walls:
        around = [face[i] for i in (*beside[wall.id], outside)[:2]]
        around = [] if around[0] == around[1] else [row[f] for f in around if f in row]
        if not around:
            idle.append((wall.length_mm, wall.sheet_mm))
        for i in around:
            flexibility[i, i] += wall.length_mm / wall.sheet_mm
        if len(around) == 2:
            flexibility[around, around[::-1]] -= wall.length_mm / wall.sheet_mm
    names = tuple("+".join(c.id for i, c in enumerate(section.cells) if face[i] == g) for g in groups)
    strips = np.array(idle, dtype=np.float64).reshape(-1, 2)
    return names, closed_constant(areas, flexibility) + open_constant(*strips.T)
