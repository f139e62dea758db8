"""What holds the survey's geometry beside sightings: ties, lengths on the car, scales in photos."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import DatumId, FloatArray, LengthId, PanelId, PhotoId, ScaleId, TieId, frozen_array

__all__ = ["BodyFit", "MeasuredLength", "PhotoTie", "ScaleSighting"]

MOST_TIED_POINTS = 2000
"""Most points one tie keeps; a few hundred say as much."""

LONGEST_MM = 10_000.0
"""Longer than any car."""

MOST_SIGMA_PX = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class PhotoTie:
    """Points that two photos share, accepted by a person.

    Parameters
    ----------
    id : TieId
        Unique in the survey.
    known, new : PhotoId
        The photo that was placed and the one placed by it.
    panel : PanelId or None
        The panel the points lie on; None when they lie anywhere on the body.
    known_px, new_px : array_like, shape (N, 2), N >= 4
        The same points in both photos.
    sigma_px : float
        Standard error of one such point.
    author, at : str
        Who accepted it, and when (ISO 8601).

    Raises
    ------
    InvalidValueError
        If the points do not pair up, or a photo is tied to itself.
    """

    id: TieId
    known: PhotoId
    new: PhotoId
    panel: PanelId | None
    known_px: FloatArray
    new_px: FloatArray
    sigma_px: float
    author: str = ""
    at: str = ""

    def __post_init__(self) -> None:
        for name in ("known_px", "new_px"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (-1, 2), f"tie '{self.id}'"))
        if self.known == self.new:
            raise InvalidValueError(f"tie '{self.id}': photo '{self.known}' is tied to itself")
        if not (4 <= len(self.known_px) == len(self.new_px) <= MOST_TIED_POINTS):
            raise InvalidValueError(
                f"tie '{self.id}': {len(self.known_px)} and {len(self.new_px)} points; expected as many in both "
                f"photos, 4 to {MOST_TIED_POINTS}"
            )
        if not (0 < self.sigma_px <= MOST_SIGMA_PX):
            raise InvalidValueError(f"tie '{self.id}': standard error {self.sigma_px} px; expected more than 0")


@dataclass(frozen=True, slots=True)
class MeasuredLength:
    """A length taken on the car, straight from one datum point to another.

    Parameters
    ----------
    id : LengthId
        Unique in the survey.
    first, second : DatumId
        Its ends.
    length_mm : float
        As measured.
    sigma_mm : float
        Standard error; 2 mm for a tape, common practice.
    note : str
        Free text.

    Raises
    ------
    InvalidValueError
        If the ends are the same or the length cannot be one of a car.
    """

    id: LengthId
    first: DatumId
    second: DatumId
    length_mm: float
    sigma_mm: float = 2.0
    note: str = ""

    def __post_init__(self) -> None:
        if self.first == self.second:
            raise InvalidValueError(f"length '{self.id}': both ends are '{self.first}'")
        if not (0 < self.length_mm <= LONGEST_MM) or not (0 < self.sigma_mm <= self.length_mm):
            raise InvalidValueError(
                f"length '{self.id}': {self.length_mm} mm with a standard error of {self.sigma_mm} mm; expected a "
                f"length up to {LONGEST_MM:g} mm and an error smaller than it"
            )


@dataclass(frozen=True, slots=True, eq=False)
class ScaleSighting:
    """Points of known distance, lying flat on a panel, seen in a photo.

    Parameters
    ----------
    id : ScaleId
        Unique in the survey.
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel it lies on.
    at_px : array_like, shape (K, 2), K >= 2
        The points in the photo: both ends of a bar, the corners of a board.
    at_mm : array_like, shape (K, 2)
        The same in the bar's or board's own frame.
    sigma_mm : float
        Standard error of each of those.
    note : str
        Free text.

    Raises
    ------
    InvalidValueError
        If the points do not pair up or two of them are one.
    """

    id: ScaleId
    photo: PhotoId
    panel: PanelId
    at_px: FloatArray
    at_mm: FloatArray
    sigma_mm: float = 0.3
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("at_px", "at_mm"):
            object.__setattr__(self, name, frozen_array(getattr(self, name), (-1, 2), f"scale '{self.id}'"))
        if not (2 <= len(self.at_px) == len(self.at_mm) <= MOST_TIED_POINTS):
            raise InvalidValueError(
                f"scale '{self.id}': {len(self.at_px)} points in the photo and {len(self.at_mm)} in mm; expected as "
                f"many, 2 to {MOST_TIED_POINTS}"
            )
        distinct = {tuple(point) for point in self.at_mm.tolist()}
        if len(distinct) != len(self.at_mm) or not (0 < self.sigma_mm <= LONGEST_MM):
            raise InvalidValueError(
                f"scale '{self.id}': expected points of different places and an error above 0, "
                f"found {self.at_mm.tolist()!r:.80} and {self.sigma_mm} mm"
            )

    @property
    def is_bar(self) -> bool:
        """Whether it is two ends of something straight, not the corners of a board."""
        return len(self.at_mm) == 2

    @property
    def length_mm(self) -> float:
        """True distance of the first point from the second; a bar's length."""
        return float(np.hypot(*(self.at_mm[1] - self.at_mm[0])))


@dataclass(frozen=True, slots=True, eq=False)
class BodyFit:
    """How a template was stretched to lengths taken on the car.

    Parameters
    ----------
    factors : array_like, shape (3,)
        The car over the template as published, along x, y and z of the car frame.
    covariance : array_like, shape (3, 3)
        Of the factors.
    used : tuple of LengthId
        Lengths it stands on.
    left_out : tuple of LengthId
        Lengths that cannot be true of this body, or contradict the others.
    messages : tuple of str
        Sentences for the person.
    """

    factors: FloatArray
    covariance: FloatArray
    used: tuple[LengthId, ...]
    left_out: tuple[LengthId, ...] = ()
    messages: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "factors", frozen_array(self.factors, (3,), "body fit"))
        object.__setattr__(self, "covariance", frozen_array(self.covariance, (3, 3), "body fit"))
