"""What a welder's drawing is made of: lines, circles, texts and dimensions in millimetres.

The drawing's frame is the panel as it is looked at: x right along u, y up; a
panel whose u x v points away from the viewer is drawn with v downwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from corromap.frames import FloatArray

__all__ = ["Circle", "Dimension", "Item", "Label", "Layer", "Line"]


class Layer(StrEnum):
    """What a line stands for; names of layers in the DXF file."""

    ZONE = "ZONE"
    CUT = "CUT"
    FLANGE = "FLANGE"
    FOLD = "FOLD"
    MARK = "MARK"
    DATUM = "DATUM"
    MOUNTING = "MOUNTING"
    DIMENSION = "DIMENSION"
    TEXT = "TEXT"


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """Straight pieces from point to point.

    Parameters
    ----------
    layer : Layer
        What it stands for.
    points : ndarray of float64, shape (N, 2)
        In mm.
    is_closed : bool
        Back to the first point.
    """

    layer: Layer
    points: FloatArray
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Circle:
    """A small circle: a datum point or a mounting.

    Parameters
    ----------
    layer : Layer
        What it stands for.
    at : tuple of float
        Centre, mm.
    radius : float
        In mm.
    """

    layer: Layer
    at: tuple[float, float]
    radius: float


@dataclass(frozen=True, slots=True)
class Label:
    """A line of text, centred on a point.

    Parameters
    ----------
    layer : Layer
        What it belongs to.
    at : tuple of float
        Centre, mm.
    text : str
        As printed.
    height : float
        Of capital letters, mm.
    angle_deg : float
        Anticlockwise.
    """

    layer: Layer
    at: tuple[float, float]
    text: str
    height: float
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Dimension:
    """A length along x or y.

    Parameters
    ----------
    first, second : tuple of float
        What is measured, mm.
    through : tuple of float
        The dimension line runs through this point.
    is_vertical : bool
        Along y instead of x.
    height : float
        Of its figures, mm.
    """

    first: tuple[float, float]
    second: tuple[float, float]
    through: tuple[float, float]
    is_vertical: bool
    height: float

    @property
    def length(self) -> float:
        """What is printed, mm."""
        axis = 1 if self.is_vertical else 0
        return abs(self.second[axis] - self.first[axis])

    @property
    def ends(self) -> FloatArray:
        """Ends of the dimension line, shape (2, 2)."""
        if self.is_vertical:
            return np.array([[self.through[0], self.first[1]], [self.through[0], self.second[1]]])
        return np.array([[self.first[0], self.through[1]], [self.second[0], self.through[1]]])


Item = Line | Circle | Label | Dimension
