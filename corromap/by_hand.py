"""What a hand, a gauge or an eye established at the car, beside what photos show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from corromap.errors import InvalidValueError
from corromap.frames import (
    FloatArray,
    HandFindingId,
    MarkId,
    PanelId,
    PhotoId,
    SettlementId,
    ShellCheckId,
    frozen_array,
)

__all__ = [
    "SHELL_PLACES",
    "HandFinding",
    "HandKind",
    "SettledView",
    "Settlement",
    "ShellCheck",
    "ShellKind",
]

MOST_THICKNESS_MM = 50.0
"""Thicker is a slip of the hand: body sheet is 0.6 to 3 mm (common practice)."""

MOST_LENGTH_MM = 5000.0
"""Larger than any gap, height or deflection of a car."""


class HandKind(StrEnum):
    """What was found at a point by hand."""

    MAGNET = "magnet"
    """A magnet does not hold: filler, or another metal."""
    TAP = "tap"
    """It sounds dull when tapped."""
    PROBE = "probe"
    """A probe goes through."""
    GAUGE = "gauge"
    """Sheet thickness by a gauge."""
    COVERED = "covered"
    """Fresh underseal over unknown metal."""


@dataclass(frozen=True, slots=True, eq=False)
class HandFinding:
    """Something established by hand at a point of the template.

    Parameters
    ----------
    id : HandFindingId
        Unique in the survey.
    kind : HandKind
        What was found.
    panel : PanelId
        The panel.
    at_mm : array_like, shape (2,)
        Where on it.
    thickness_mm : float or None
        Of the sheet; for a gauge, and only there.
    photo : PhotoId or None
        A photo that shows it.
    note, author, at : str
        Free text, who, and when (ISO 8601).

    Raises
    ------
    InvalidValueError
        If a gauge has no thickness, something else has one, or it cannot be
        that of a sheet.
    """

    id: HandFindingId
    kind: HandKind
    panel: PanelId
    at_mm: FloatArray
    thickness_mm: float | None = None
    photo: PhotoId | None = None
    note: str = ""
    author: str = ""
    at: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_mm", frozen_array(self.at_mm, (2,), f"finding '{self.id}'"))
        if (self.thickness_mm is not None) != (self.kind is HandKind.GAUGE):
            raise InvalidValueError(
                f"finding '{self.id}': a gauge has a thickness in mm, and only a gauge; "
                f"found {self.kind.value} with {self.thickness_mm}"
            )
        if self.thickness_mm is not None and not (0 <= self.thickness_mm <= MOST_THICKNESS_MM):
            raise InvalidValueError(
                f"finding '{self.id}': thickness {self.thickness_mm} mm; expected 0 to {MOST_THICKNESS_MM:g} mm"
            )


class ShellKind(StrEnum):
    """What of the whole shell is looked at."""

    RIDE_HEIGHT = "ride height"
    DOOR_GAP = "door gap"
    DOOR_DROPS = "door drops"
    DOOR_BINDS = "door binds"
    SILL_DEFLECTION = "sill deflection"

    @property
    def is_length(self) -> bool:
        """Whether it is measured in mm, rather than answered with yes or no."""
        return self not in {ShellKind.DOOR_DROPS, ShellKind.DOOR_BINDS}


_SIDES = ("left", "right")

SHELL_PLACES: Mapping[ShellKind, tuple[str, ...]] = {
    ShellKind.RIDE_HEIGHT: ("front left", "front right", "rear left", "rear right"),
    ShellKind.DOOR_GAP: ("left top", "left bottom", "right top", "right bottom"),
    ShellKind.DOOR_DROPS: _SIDES,
    ShellKind.DOOR_BINDS: _SIDES,
    ShellKind.SILL_DEFLECTION: _SIDES,
}
"""Where each is looked at; left and right are the car's."""


@dataclass(frozen=True, slots=True)
class ShellCheck:
    """One look at the shell as a whole: a height, a gap, a door, a sill.

    Parameters
    ----------
    id : ShellCheckId
        Unique in the survey.
    kind : ShellKind
        What was looked at.
    place : str
        One of `SHELL_PLACES` of the kind.
    ground_mm, raised_mm : float or None
        Measured with the car on its wheels, and raised; for lengths. A sill's
        deflection is the change itself, given as `raised_mm`.
    found : bool or None
        For doors: whether it drops or binds.
    photo : PhotoId or None
        A photo that shows it.
    note, author, at : str
        Free text, who, and when (ISO 8601).

    Raises
    ------
    InvalidValueError
        If the place or the values do not belong to the kind, or none is given.
    """

    id: ShellCheckId
    kind: ShellKind
    place: str
    ground_mm: float | None = None
    raised_mm: float | None = None
    found: bool | None = None
    photo: PhotoId | None = None
    note: str = ""
    author: str = ""
    at: str = ""

    def __post_init__(self) -> None:
        if self.place not in SHELL_PLACES[self.kind]:
            raise InvalidValueError(
                f"shell check '{self.id}': {self.kind.value} at '{self.place:.40}'; expected one of "
                f"{', '.join(SHELL_PLACES[self.kind])}"
            )
        lengths = [value for value in (self.ground_mm, self.raised_mm) if value is not None]
        if bool(lengths) != self.kind.is_length or (self.found is not None) == self.kind.is_length:
            wanted = "a length in mm, on the ground or raised" if self.kind.is_length else "yes or no"
            raise InvalidValueError(f"shell check '{self.id}': {self.kind.value} is answered with {wanted}")
        if any(not (-MOST_LENGTH_MM <= value <= MOST_LENGTH_MM) for value in lengths):
            raise InvalidValueError(f"shell check '{self.id}': {lengths} mm; expected at most {MOST_LENGTH_MM:g} mm")


class SettledView(StrEnum):
    """A person's word on a mark that another photo of the same place does not bear out."""

    THERE = "there"
    NOT_THERE = "not there"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Settlement:
    """A disagreement between two photos, settled by a person.

    Parameters
    ----------
    id : SettlementId
        Unique in the survey.
    mark : MarkId
        The mark in question.
    photo : PhotoId
        The photo that shows the place without it.
    view : SettledView
        What the person says.
    note, author, at : str
        Free text, who, and when (ISO 8601).
    """

    id: SettlementId
    mark: MarkId
    photo: PhotoId
    view: SettledView
    note: str = ""
    author: str = ""
    at: str = ""
