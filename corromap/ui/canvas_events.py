"""What a person did on the photo canvas, as typed events.

The browser is not trusted: an event is parsed strictly, and anything malformed
is refused with a sentence that the canvas shows. Splitting and joining are
computed here, from the stored outlines, never taken from the browser.
"""

from __future__ import annotations

from dataclasses import dataclass

from corromap.control import ScaleSighting
from corromap.frames import DatumId, MarkId, PanelId, PhotoId, ScaleId
from corromap.survey import Mark, Sighting

__all__ = [
    "CanvasEvent",
    "DatumSelected",
    "MarkAdded",
    "MarkChanged",
    "MarkRemoved",
    "MarkSelected",
    "MarksReplaced",
    "PanelSelected",
    "PhotoStep",
    "RedoAsked",
    "ScaleRemoved",
    "ScaleSet",
    "SightingRemoved",
    "SightingSet",
    "UndoAsked",
]


@dataclass(frozen=True, slots=True)
class MarkAdded:
    """A new mark was drawn.

    Parameters
    ----------
    seq : int
        The client's running number.
    mark : Mark
        Complete, with an id made in the browser: putting it twice is harmless.
    """

    seq: int
    mark: Mark


@dataclass(frozen=True, slots=True)
class MarkChanged:
    """Points, holes, kind, stage or fixing of a mark changed.

    Parameters
    ----------
    seq : int
        The client's running number.
    mark : Mark
        As it is now; same id as before.
    """

    seq: int
    mark: Mark


@dataclass(frozen=True, slots=True)
class MarkRemoved:
    """A mark was deleted.

    Parameters
    ----------
    seq : int
        The client's running number.
    mark : MarkId
        Which.
    """

    seq: int
    mark: MarkId


@dataclass(frozen=True, slots=True)
class MarksReplaced:
    """A mark was split or marks were joined: one step for undo.

    Parameters
    ----------
    seq : int
        The client's running number.
    removed : tuple of MarkId
        Marks that are gone.
    added : tuple of Mark
        Marks that take their place.
    """

    seq: int
    removed: tuple[MarkId, ...]
    added: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class SightingSet:
    """A datum point was clicked, dragged or nudged.

    Parameters
    ----------
    seq : int
        The client's running number.
    sighting : Sighting
        As it is now; replaces an earlier one of the same photo and datum point.
    """

    seq: int
    sighting: Sighting


@dataclass(frozen=True, slots=True)
class SightingRemoved:
    """A sighting was deleted.

    Parameters
    ----------
    seq : int
        The client's running number.
    photo : PhotoId
        Of which photo.
    datum : DatumId
        Of which datum point.
    """

    seq: int
    photo: PhotoId
    datum: DatumId


@dataclass(frozen=True, slots=True)
class ScaleSet:
    """Both ends of a bar of known length were clicked, or one was dragged, or its length changed.

    Parameters
    ----------
    seq : int
        The client's running number.
    scale : ScaleSighting
        As it is now; replaces an earlier one of the same id.
    """

    seq: int
    scale: ScaleSighting


@dataclass(frozen=True, slots=True)
class ScaleRemoved:
    """A bar or board of known size was taken off the photo.

    Parameters
    ----------
    seq : int
        The client's running number.
    scale : ScaleId
        Which.
    """

    seq: int
    scale: ScaleId


@dataclass(frozen=True, slots=True)
class UndoAsked:
    """Take back the last change of the survey."""

    seq: int


@dataclass(frozen=True, slots=True)
class RedoAsked:
    """Do again what was taken back."""

    seq: int


@dataclass(frozen=True, slots=True)
class PhotoStep:
    """Go to another photo.

    Parameters
    ----------
    seq : int
        The client's running number.
    step : int
        +1 for the next photo, -1 for the one before.
    """

    seq: int
    step: int


@dataclass(frozen=True, slots=True)
class MarkSelected:
    """A mark was selected; None when the selection was cleared."""

    seq: int
    mark: MarkId | None


@dataclass(frozen=True, slots=True)
class DatumSelected:
    """A datum point was chosen to be clicked next."""

    seq: int
    datum: DatumId


@dataclass(frozen=True, slots=True)
class PanelSelected:
    """A panel was chosen on the map."""

    seq: int
    panel: PanelId


CanvasEvent = (
    MarkAdded
    | MarkChanged
    | MarkRemoved
    | MarksReplaced
    | SightingSet
    | SightingRemoved
    | ScaleSet
    | ScaleRemoved
    | UndoAsked
    | RedoAsked
    | PhotoStep
    | MarkSelected
    | DatumSelected
    | PanelSelected
)
"""Everything the canvas can report; match on the class."""
