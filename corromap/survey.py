"""What is recorded of one car on one occasion: photos, marks, sightings, notes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property

from corromap.by_hand import HandFinding, Settlement, ShellCheck
from corromap.control import MeasuredLength, PhotoTie, ScaleSighting
from corromap.errors import InvalidValueError
from corromap.frames import (
    CameraId,
    DatumId,
    FloatArray,
    MarkId,
    NoteId,
    PanelId,
    PhotoId,
    PhotoOutline,
    ZoneId,
    frozen_array,
)
from corromap.settings import Settings

__all__ = [
    "MEASURED_KINDS",
    "Car",
    "Mark",
    "MarkKind",
    "Note",
    "PatchFixing",
    "Photo",
    "RustStage",
    "Settings",
    "Sighting",
    "Survey",
]


class MarkKind(StrEnum):
    """What a mark says about the ground inside it."""

    RUST = "rust"
    FILLER = "filler"
    PATCH = "patch"
    HIDDEN = "hidden"
    SOUND = "sound"
    BLUR = "blur"
    """A face or a number plate, made unrecognisable in everything handed out. Says nothing of the car."""

    @property
    def is_affected(self) -> bool:
        """Whether this kind is damage or repair, rather than evidence."""
        return self in {MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH}


MEASURED_KINDS = tuple(kind for kind in MarkKind if kind is not MarkKind.BLUR)
"""Kinds that are carried to the template and measured."""


class RustStage(StrEnum):
    """How far rust has gone."""

    SURFACE = "surface"
    SCALED = "scaled"
    HOLED = "holed"


class PatchFixing(StrEnum):
    """How a patch is held."""

    SEAM = "seam"
    SPOT = "spot"
    PLUG = "plug"
    BRAZED = "brazed"
    BONDED = "bonded"
    RIVETED = "riveted"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as recorded; its bytes live in the survey file, untouched.

    Parameters
    ----------
    id : PhotoId
        Unique in the survey.
    name : str
        File name as given.
    sha256 : str
        Of the original bytes, 64 hex digits.
    width_px, height_px : int
        Of the upright image (EXIF orientation applied).
    camera : CameraId or None
        Same for photos of one camera and lens setting; their lens is solved
        together.
    focal_px : float or None
        Focal length in pixels of the upright image from EXIF, if known.
    taken_at : str or None
        ISO 8601, as the metadata say; no zone is guessed.
    source : str
        Whose photo it is: ``seller``, ``inspector`` or free text.
    order : int
        Position in the list.
    """

    id: PhotoId
    name: str
    sha256: str
    width_px: int
    height_px: int
    camera: CameraId | None = None
    focal_px: float | None = None
    taken_at: str | None = None
    source: str = ""
    order: int = 0

    def __post_init__(self) -> None:
        if self.width_px < 1 or self.height_px < 1:
            raise InvalidValueError(f"photo '{self.name}': size {self.width_px} x {self.height_px} px")
        if self.focal_px is not None and not (0 < self.focal_px < 1e6):
            raise InvalidValueError(f"photo '{self.name}': focal length {self.focal_px} px")


@dataclass(frozen=True, slots=True)
class Mark:
    """An outline drawn on a photo, with a kind.

    Parameters
    ----------
    id : MarkId
        Unique in the survey.
    photo : PhotoId
        The photo it is drawn on.
    kind : MarkKind
        What it says.
    outline : PhotoOutline
        In that photo's pixels.
    stage : RustStage or None
        For rust only.
    fixing : PatchFixing or None
        For patches only.
    panels : tuple of PanelId
        Panels it lies on; empty means every panel the photo is placed on.
    note : str
        Free text.

    Raises
    ------
    InvalidValueError
        If a stage is given for something that is not rust, or a fixing for
        something that is not a patch.
    """

    id: MarkId
    photo: PhotoId
    kind: MarkKind
    outline: PhotoOutline
    stage: RustStage | None = None
    fixing: PatchFixing | None = None
    panels: tuple[PanelId, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if self.stage is not None and self.kind is not MarkKind.RUST:
            raise InvalidValueError(f"mark '{self.id}': a rust stage belongs to rust, not to {self.kind}")
        if self.fixing is not None and self.kind is not MarkKind.PATCH:
            raise InvalidValueError(f"mark '{self.id}': a patch fixing belongs to a patch, not to {self.kind}")


@dataclass(frozen=True, slots=True, eq=False)
class Sighting:
    """A datum point clicked in a photo.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    datum : DatumId
        The datum point.
    at_px : array_like, shape (2,)
        Pixel of the upright photo.
    """

    photo: PhotoId
    datum: DatumId
    at_px: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at_px", frozen_array(self.at_px, (2,), f"sighting of '{self.datum}'"))


@dataclass(frozen=True, slots=True)
class Note:
    """Something established by hand, in words.

    Parameters
    ----------
    id : NoteId
        Unique in the survey.
    text : str
        As written.
    zone : ZoneId or None
        The zone it is about; None for the whole car.
    author : str
        Who wrote it.
    at : str
        When, ISO 8601.
    """

    id: NoteId
    text: str
    zone: ZoneId | None = None
    author: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Car:
    """The car and the occasion, as printed on the report. All free text."""

    label: str = ""
    registration: str = ""
    odometer: str = ""
    owner: str = ""
    seller: str = ""
    inspector: str = ""
    place: str = ""
    date: str = ""


@dataclass(frozen=True, eq=False)
class Survey:
    """One car looked at on one occasion.

    Parameters
    ----------
    id : str
        Unique.
    car : Car
        The car and the occasion.
    photos, marks, sightings, notes : tuple
        What was recorded.
    settings : Settings
        Error sizes, limits, how things are printed.
    hand_findings, shell_checks, settlements : tuple
        What a person established at the car or in front of two photos.
    ties, lengths, scales : tuple
        What holds the geometry beside sightings.
    earlier_record : str
        SHA-256 of the sealed record of an earlier state that this survey
        follows; empty for none.

    Raises
    ------
    InvalidValueError
        If an id appears twice, or something names a photo or a mark that is
        not there.
    """

    id: str
    car: Car = Car()
    photos: tuple[Photo, ...] = ()
    marks: tuple[Mark, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    notes: tuple[Note, ...] = ()
    settings: Settings = field(default_factory=Settings)
    hand_findings: tuple[HandFinding, ...] = ()
    shell_checks: tuple[ShellCheck, ...] = ()
    settlements: tuple[Settlement, ...] = ()
    ties: tuple[PhotoTie, ...] = ()
    lengths: tuple[MeasuredLength, ...] = ()
    scales: tuple[ScaleSighting, ...] = ()
    earlier_record: str = ""

    def __post_init__(self) -> None:
        known = _unique("photo", [p.id for p in self.photos])
        marks = _unique("mark", [m.id for m in self.marks])
        _unique("note", [n.id for n in self.notes])
        _unique("sighting", [f"{s.photo}/{s.datum}" for s in self.sightings])
        _unique("hand finding", [f.id for f in self.hand_findings])
        _unique("shell check", [c.id for c in self.shell_checks])
        _unique("settlement", [s.id for s in self.settlements])
        _unique("tie", [t.id for t in self.ties])
        _unique("length", [length.id for length in self.lengths])
        _unique("scale", [s.id for s in self.scales])
        for thing, photo in self._named_photos():
            if photo not in known:
                raise InvalidValueError(f"survey '{self.id}': {thing!r:.60} names photo '{photo}', which is not there")
        for settlement in self.settlements:
            if settlement.mark not in marks:
                raise InvalidValueError(
                    f"survey '{self.id}': {settlement!r:.60} names mark '{settlement.mark}', which is not there"
                )

    def _named_photos(self) -> Iterator[tuple[object, PhotoId]]:
        here: tuple[Mark | Sighting | Settlement | ScaleSighting, ...]
        here = (*self.marks, *self.sightings, *self.settlements, *self.scales)
        yield from ((thing, thing.photo) for thing in here)
        perhaps: tuple[HandFinding | ShellCheck, ...] = (*self.hand_findings, *self.shell_checks)
        yield from ((found, found.photo) for found in perhaps if found.photo is not None)
        for tie in self.ties:
            yield tie, tie.known
            yield tie, tie.new

    @cached_property
    def photo_by_id(self) -> Mapping[PhotoId, Photo]:
        """Photos by id."""
        return {photo.id: photo for photo in self.photos}

    @cached_property
    def measured_marks(self) -> tuple[Mark, ...]:
        """Marks that say something of the car: all but those that blur."""
        return tuple(mark for mark in self.marks if mark.kind in MEASURED_KINDS)

    @cached_property
    def mark_by_id(self) -> Mapping[MarkId, Mark]:
        """Marks by id."""
        return {mark.id: mark for mark in self.marks}


def _unique(what: str, ids: list[str]) -> set[str]:
    seen = set(ids)
    if len(seen) != len(ids):
        twice = sorted({i for i in ids if ids.count(i) > 1})
        raise InvalidValueError(f"{what} id given twice: {', '.join(twice[:5])}")
    return seen
