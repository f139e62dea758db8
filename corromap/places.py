"""Where a panel's own millimetre frame lies: in the car, and on the flat map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray, frozen_array

__all__ = ["Frame2D", "Place"]


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Where a panel's frame lies in the car frame.

    Parameters
    ----------
    origin_mm : array_like, shape (3,)
        Car-frame position of (u, v) = (0, 0), mm.
    u_axis, v_axis : array_like, shape (3,)
        Unit vectors, at right angles to within 1e-6.

    Raises
    ------
    InvalidValueError
        If the axes are not orthonormal.
    """

    origin_mm: FloatArray
    u_axis: FloatArray
    v_axis: FloatArray

    def __post_init__(self) -> None:
        for name in ("origin_mm", "u_axis", "v_axis"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (3,), f"place.{name}"))
        axes = np.stack([self.u_axis, self.v_axis])
        if not np.allclose(axes @ axes.T, np.eye(2), atol=1e-6):
            raise InvalidValueError("place: u_axis and v_axis must be unit vectors at right angles")

    @property
    def normal(self) -> FloatArray:
        """Unit vector u x v, shape (3,)."""
        (a, b, c), (d, e, f) = self.u_axis.tolist(), self.v_axis.tolist()
        return np.array([b * f - c * e, c * d - a * f, a * e - b * d])  # np.cross takes twenty times as long

    def to_car(self, uv_mm: ArrayLike) -> FloatArray:
        """Carry panel points into the car frame.

        Parameters
        ----------
        uv_mm : array_like, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 3)
            Car-frame millimetres.
        """
        uv = np.atleast_2d(np.asarray(uv_mm, dtype=np.float64))
        return np.asarray(self.origin_mm + uv[:, :1] * self.u_axis + uv[:, 1:] * self.v_axis)


@dataclass(frozen=True, slots=True, eq=False)
class Frame2D:
    """Where a panel is drawn on the flat map.

    The map plane is millimetres, X to the right and Y down, front of the car
    at the top, **seen from below**: the car's left is on the right-hand side.

    Parameters
    ----------
    origin_mm : array_like, shape (2,)
        Map position of (u, v) = (0, 0).
    u_axis, v_axis : array_like, shape (2,)
        Orthonormal directions of u and v on the map.

    Raises
    ------
    InvalidValueError
        If the axes are not orthonormal.
    """

    origin_mm: FloatArray
    u_axis: FloatArray
    v_axis: FloatArray

    def __post_init__(self) -> None:
        for name in ("origin_mm", "u_axis", "v_axis"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (2,), f"map.{name}"))
        axes = np.stack([self.u_axis, self.v_axis])
        if not np.allclose(axes @ axes.T, np.eye(2), atol=1e-6):
            raise InvalidValueError("map: u_axis and v_axis must be unit vectors at right angles")

    def to_map(self, uv_mm: ArrayLike) -> FloatArray:
        """Carry panel points onto the map plane.

        Parameters
        ----------
        uv_mm : array_like, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Map millimetres, X right, Y down.
        """
        uv = np.atleast_2d(np.asarray(uv_mm, dtype=np.float64))
        return np.asarray(self.origin_mm + uv[:, :1] * self.u_axis + uv[:, 1:] * self.v_axis)
