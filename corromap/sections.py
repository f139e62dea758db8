"""Closed sections of a body: the walls of a sill's box, cut across the car.

A section is drawn in the car frame's (y, z) and holds all along its length.
Its walls are straight; a cell is a ring of walls that closes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray, PanelId, frozen_array

__all__ = ["MEET_MM", "BoxSection", "SectionCell", "SectionWall"]

MEET_MM = 1.0
"""Walls of a ring meet to this distance; ours, as for folds."""


@dataclass(frozen=True, slots=True, eq=False)
class SectionWall:
    """One straight wall of a box, cut across.

    Parameters
    ----------
    id : str
        Unique in the section.
    name : str
        As printed, for example ``outer face``.
    from_mm, to_mm : array_like, shape (2,)
        Its ends, (y, z) of the car frame.
    sheet_mm : float
        Nominal thickness, mm.
    panel : PanelId or None
        The panel it is part of; None for a wall no photo of the underside
        can show, such as a membrane inside the box.

    Raises
    ------
    InvalidValueError
        If the wall has no length or no sensible thickness.
    """

    id: str
    name: str
    from_mm: FloatArray
    to_mm: FloatArray
    sheet_mm: float
    panel: PanelId | None = None

    def __post_init__(self) -> None:
        for end in ("from_mm", "to_mm"):
            object.__setattr__(self, end, frozen_array(getattr(self, end), (2,), f"wall '{self.id}'.{end}"))
        if not (0.1 <= self.sheet_mm <= 10):
            raise InvalidValueError(f"wall '{self.id}': sheet_mm must be 0.1 to 10, found {self.sheet_mm}")
        if self.length_mm < MEET_MM:
            raise InvalidValueError(f"wall '{self.id}': its two ends are at one place")

    @property
    def length_mm(self) -> float:
        """Length across the car."""
        return float(np.hypot(*(self.to_mm - self.from_mm)))


@dataclass(frozen=True, slots=True)
class SectionCell:
    """A ring of walls.

    Parameters
    ----------
    id, name : str
        Unique in the section; as printed.
    walls : tuple of str
        Ids of its walls in order, each meeting the next.
    """

    id: str
    name: str
    walls: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class BoxSection:
    """The cross-section of a box of one or more cells.

    Parameters
    ----------
    id, name : str
        Unique in the template; as printed.
    from_x_mm, to_x_mm : float
        Its two ends along the car, car frame.
    walls : tuple of SectionWall
        Every wall.
    cells : tuple of SectionCell
        Every cell.

    Raises
    ------
    InvalidValueError
        If an id is used twice, a cell names a wall that is not there, its
        walls do not close to a ring, or a wall belongs to no cell or to more
        than two.
    """

    id: str
    name: str
    from_x_mm: float
    to_x_mm: float
    walls: tuple[SectionWall, ...]
    cells: tuple[SectionCell, ...]

    def __post_init__(self) -> None:
        if not self.to_x_mm - self.from_x_mm >= MEET_MM:
            raise InvalidValueError(f"section '{self.id}': from_x_mm must be less than to_x_mm")
        for what, ids in (("wall", [w.id for w in self.walls]), ("cell", [c.id for c in self.cells])):
            if len(set(ids)) != len(ids) or not ids:
                raise InvalidValueError(f"section '{self.id}': needs one {what} or more, each with its own id")
        for cell in self.cells:
            unknown = [wall for wall in cell.walls if wall not in self.wall_by_id]
            if unknown:
                raise InvalidValueError(f"section '{self.id}', cell '{cell.id}': no wall '{unknown[0]}'")
            self.ring_mm(cell)
        for wall in self.walls:
            count = sum(wall.id in cell.walls for cell in self.cells)
            if not 1 <= count <= 2:
                raise InvalidValueError(
                    f"section '{self.id}', wall '{wall.id}': belongs to {count} cells; one or two are possible"
                )

    @property
    def length_mm(self) -> float:
        """Length along the car."""
        return self.to_x_mm - self.from_x_mm

    @cached_property
    def wall_by_id(self) -> Mapping[str, SectionWall]:
        """Walls by id."""
        return {wall.id: wall for wall in self.walls}

    def ring_mm(self, cell: SectionCell) -> FloatArray:
        """Corners of a cell in order.

        Parameters
        ----------
        cell : SectionCell
            One of the section's.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            (y, z), one corner a wall.

        Raises
        ------
        InvalidValueError
            If the walls do not meet in a ring.
        """
        walls = [self.wall_by_id[wall] for wall in cell.walls]
        if len(walls) < 3:
            raise InvalidValueError(f"section '{self.id}', cell '{cell.id}': a ring needs three walls or more")
        for start in (walls[0].from_mm, walls[0].to_mm):
            corners, at = [], start
            for wall in walls:
                corners.append(at)
                ends = (wall.from_mm, wall.to_mm)
                away = [float(np.hypot(*(end - at))) for end in ends]
                if min(away) > MEET_MM:
                    break
                at = ends[1 - int(np.argmin(away))]
            else:
                if float(np.hypot(*(at - start))) <= MEET_MM:
                    return np.array(corners, dtype=np.float64)
        raise InvalidValueError(f"section '{self.id}', cell '{cell.id}': its walls do not close to a ring")

    def area_mm2(self, cell: SectionCell) -> float:
        """Area a cell encloses, to the middle of its walls.

        Parameters
        ----------
        cell : SectionCell
            One of the section's.

        Returns
        -------
        float
            In mm2.
        """
        y, z = self.ring_mm(cell).T
        return float(abs(y @ np.roll(z, -1) - z @ np.roll(y, -1)) / 2)
