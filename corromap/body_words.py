"""Words a body template speaks in: what zones carry, what parts, mountings, datum points and drawn features are."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from corromap.frames import FloatArray

__all__ = ["DatumShape", "FeatureKind", "MountingKind", "Part", "Role", "SeenFrom", "Side"]


class Role(StrEnum):
    """What a zone carries."""

    PRIMARY = "primary"
    SECONDARY = "secondary"
    CLOSING = "closing"


class Side(StrEnum):
    """The car's own side, seen from the driver's seat facing forward."""

    LEFT = "left"
    RIGHT = "right"
    CENTRE = "centre"


class SeenFrom(StrEnum):
    """From where a panel's drawn face is looked at (car frame)."""

    BELOW = "below"
    ABOVE = "above"
    LEFT = "left"
    RIGHT = "right"
    FRONT = "front"
    REAR = "rear"

    @property
    def direction(self) -> FloatArray:
        """Unit vector from the panel towards the viewer, shape (3,)."""
        towards = {
            "below": (0, 0, -1), "above": (0, 0, 1), "left": (0, 1, 0),
            "right": (0, -1, 0), "front": (1, 0, 0), "rear": (-1, 0, 0),
        }  # fmt: skip
        return np.array(towards[self.value], dtype=np.float64)


class Part(StrEnum):
    """The kind of structural part a panel belongs to."""

    SILL = "sill"
    FLOOR = "floor"
    TUNNEL = "tunnel"
    CROSSMEMBER = "crossmember"
    RAIL = "rail"
    BOOT_FLOOR = "boot floor"
    TOE_BOARD = "toe-board"
    WHEEL_ARCH = "wheel arch"
    SCREEN_FRAME = "screen frame base"


class MountingKind(StrEnum):
    """What enters the body at a mounting."""

    SUSPENSION = "suspension"
    SPRING = "spring"
    TORSION_BAR = "torsion bar"
    DAMPER = "damper"
    BELT = "belt"
    SEAT = "seat"
    STEERING = "steering"
    JACKING = "jacking"
    SUBFRAME = "subframe"


class DatumShape(StrEnum):
    """What a datum point looks like; chooses its sketch."""

    ROUND_HOLE = "round hole"
    SLOT = "slot"
    PLATE_CORNER = "plate corner"
    SEAM_END = "seam end"
    SEAM_CROSSING = "seam crossing"
    RIB_END = "rib end"
    BRACKET_CORNER = "bracket corner"
    BOLT = "bolt"
    FLANGE_NOTCH = "flange notch"


class FeatureKind(StrEnum):
    """What line work on a panel stands for."""

    RIB = "rib"
    SEAM = "seam"
    HOLE = "hole"
    EDGE = "edge"
    BRACKET = "bracket"
