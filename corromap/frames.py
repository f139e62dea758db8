"""Outlines typed by frame, and the ids of things.

Two frames meet in this program: pixels of a photo and millimetres of a panel.
They never share a type, so that mixing them is found by the type checker and
not by a buyer. Conventions are drawn in ``docs/conventions``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NewType

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import MultiPolygon, Polygon

from corromap.errors import InvalidValueError

__all__ = [
    "CameraId",
    "DatumId",
    "FloatArray",
    "HandFindingId",
    "LengthId",
    "MarkId",
    "MountingId",
    "NoteId",
    "PanelId",
    "PanelOutline",
    "PhotoId",
    "PhotoOutline",
    "ScaleId",
    "SettlementId",
    "ShellCheckId",
    "TieId",
    "ZoneId",
    "frozen_array",
    "repaired_area",
]

FloatArray = NDArray[np.float64]

PhotoId = NewType("PhotoId", str)
MarkId = NewType("MarkId", str)
NoteId = NewType("NoteId", str)
HandFindingId = NewType("HandFindingId", str)
ShellCheckId = NewType("ShellCheckId", str)
SettlementId = NewType("SettlementId", str)
TieId = NewType("TieId", str)
LengthId = NewType("LengthId", str)
ScaleId = NewType("ScaleId", str)
CameraId = NewType("CameraId", str)
PanelId = NewType("PanelId", str)
ZoneId = NewType("ZoneId", str)
DatumId = NewType("DatumId", str)
MountingId = NewType("MountingId", str)

MAX_VERTICES = 20_000
"""Most vertices one ring may have; freehand strokes are thinned well below it."""


def frozen_array(values: ArrayLike, shape: tuple[int, ...], what: str) -> FloatArray:
    """Copy numbers into a read-only float64 array of a known shape.

    Parameters
    ----------
    values : array_like
        Numbers.
    shape : tuple of int
        Expected shape; -1 stands for any length.
    what : str
        Name used in the error.

    Returns
    -------
    ndarray of float64
        A copy that cannot be written to.

    Raises
    ------
    InvalidValueError
        If the values are not numbers, not finite or not of that shape.
    """
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InvalidValueError(f"{what}: expected numbers, found {values!r:.80}") from error
    fits = array.ndim == len(shape) and all(want in (-1, have) for want, have in zip(shape, array.shape, strict=True))
    if not fits:
        raise InvalidValueError(f"{what}: expected shape {shape}, found {array.shape}")
    if not np.isfinite(array).all():
        raise InvalidValueError(f"{what}: every number must be finite")
    array.setflags(write=False)
    return array


def _ring(values: ArrayLike, what: str) -> FloatArray:
    ring = frozen_array(values, (-1, 2), what)
    if len(ring) > 1 and np.array_equal(ring[0], ring[-1]):
        ring = ring[:-1]  # closed implicitly
    if len(ring) < 3:
        raise InvalidValueError(f"{what}: expected at least 3 points, found {len(ring)}")
    if len(ring) > MAX_VERTICES:
        raise InvalidValueError(f"{what}: {len(ring)} points; at most {MAX_VERTICES} are taken: simplify the outline")
    return ring


def repaired_area(exterior: FloatArray, holes: tuple[FloatArray, ...]) -> MultiPolygon:
    """Turn rings as drawn into valid polygons, losing no ground.

    Bow-ties become two pieces and double-traced loops one; the default method
    of GEOS (even-odd) would drop the twice-traced part, and ``buffer(0)`` half
    of a bow-tie.

    Parameters
    ----------
    exterior : ndarray of float64, shape (N, 2)
        Outer ring, closed implicitly.
    holes : tuple of ndarray of float64, shape (M, 2)
        Inner rings.

    Returns
    -------
    shapely.MultiPolygon
        Valid; empty when the ring encloses nothing (collinear points).
    """
    solid = shapely.make_valid(Polygon(exterior), method="structure", keep_collapsed=False)
    for hole in holes:
        cut = shapely.make_valid(Polygon(hole), method="structure", keep_collapsed=False)
        solid = shapely.difference(solid, cut)
    pieces = [part for part in shapely.get_parts(solid) if part.geom_type == "Polygon" and part.area > 0]
    return MultiPolygon(pieces)


@dataclass(frozen=True, slots=True, eq=False)
class PhotoOutline:
    """An outline in the pixels of one photo, exactly as it was drawn.

    It has no area on purpose: an area in pixels means nothing here.

    Parameters
    ----------
    exterior_px : array_like, shape (N, 2)
        x right, y down; the centre of the top-left pixel is (0, 0); the
        upright image (EXIF orientation applied). N >= 3, closed implicitly.
    holes_px : tuple of array_like, shape (M, 2)
        Inner rings: ground that does not belong to the outline.

    Raises
    ------
    InvalidValueError
        For fewer than three points, more than `MAX_VERTICES`, or numbers that
        are not finite.
    """

    exterior_px: FloatArray
    holes_px: tuple[FloatArray, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "exterior_px", _ring(self.exterior_px, "outline"))
        holes = tuple(_ring(hole, f"hole {i + 1} of outline") for i, hole in enumerate(self.holes_px))
        object.__setattr__(self, "holes_px", holes)

    def repaired(self) -> MultiPolygon:
        """Repair the rings into valid polygons; see `repaired_area`.

        Returns
        -------
        shapely.MultiPolygon
            In pixels; empty when the outline encloses nothing.
        """
        return repaired_area(self.exterior_px, self.holes_px)

    def same_as(self, other: PhotoOutline) -> bool:
        """Whether both outlines hold exactly the same numbers.

        Parameters
        ----------
        other : PhotoOutline
            The other outline.

        Returns
        -------
        bool
            True when every ring is equal, vertex by vertex.
        """
        mine, theirs = (self.exterior_px, *self.holes_px), (other.exterior_px, *other.holes_px)
        return len(mine) == len(theirs) and all(np.array_equal(a, b) for a, b in zip(mine, theirs, strict=True))


@dataclass(frozen=True, slots=True, eq=False)
class PanelOutline:
    """A simple outline in the millimetres of one panel.

    Parameters
    ----------
    panel : PanelId
        The panel whose (u, v) frame the numbers are in.
    exterior_mm : array_like, shape (N, 2)
        u along the car towards the front where that is possible. N >= 3,
        closed implicitly, not crossing itself.
    holes_mm : tuple of array_like, shape (M, 2)
        Inner rings.

    Raises
    ------
    InvalidValueError
        As for `PhotoOutline`, and when the outline crosses itself or encloses
        nothing.
    """

    panel: PanelId
    exterior_mm: FloatArray
    holes_mm: tuple[FloatArray, ...] = ()
    polygon: Polygon = field(init=False, repr=False)

    def __post_init__(self) -> None:
        exterior = _ring(self.exterior_mm, f"outline on panel '{self.panel}'")
        holes = tuple(_ring(hole, f"hole on panel '{self.panel}'") for hole in self.holes_mm)
        polygon = Polygon(exterior, holes)
        if not polygon.is_valid or polygon.area <= 0:
            why = shapely.is_valid_reason(polygon)
            raise InvalidValueError(f"outline on panel '{self.panel}' is not simple: {why}")
        object.__setattr__(self, "exterior_mm", exterior)
        object.__setattr__(self, "holes_mm", holes)
        object.__setattr__(self, "polygon", polygon)

    @property
    def area_mm2(self) -> float:
        """Area in mm2."""
        return float(self.polygon.area)
