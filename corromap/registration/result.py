"""What registration yields: a photo's place on a panel, or why it has none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from corromap.frames import CameraId, DatumId, FloatArray, PanelId, PhotoId
from corromap.uncertainty import ErrorSource

__all__ = ["FailureReason", "Lens", "Registration", "RegistrationFailure"]


class FailureReason(StrEnum):
    """Why a photo could not be placed on a panel."""

    TOO_FEW = "too few"
    COLLINEAR = "collinear"
    TOO_NEAR = "too near together"
    MIRRORED = "mirrored"
    CROSSED = "crossed"
    POOR_FIT = "poor fit"


@dataclass(frozen=True, slots=True)
class RegistrationFailure:
    """A photo that has no place on a panel yet.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.
    reason : FailureReason
        Why.
    message : str
        One sentence for the person, ending in what to do next.
    suspects : tuple of DatumId
        Sightings most likely at fault, worst first.
    """

    photo: PhotoId
    panel: PanelId
    reason: FailureReason
    message: str
    suspects: tuple[DatumId, ...] = ()
