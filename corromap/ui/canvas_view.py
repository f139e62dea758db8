"""What the photo canvas shows, in the program's own values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from corromap.control import ScaleSighting
from corromap.errors import InvalidValueError
from corromap.frames import DatumId, MarkId, PanelId
from corromap.projection import ProjectedMark, SeenArea
from corromap.registration import Registration, RegistrationFailure
from corromap.survey import Mark, Photo, Sighting
from corromap.template import BodyTemplate

__all__ = ["CanvasMode", "CanvasView", "DrapedPhoto", "Footprint", "PhotoView", "ScaleView"]


class CanvasMode(StrEnum):
    """What a click on the photo does."""

    PLACE = "place"
    MARK = "mark"
    LOOK = "look"


@dataclass(frozen=True, slots=True)
class ScaleView:
    """A bar or board of known size on a photo, with what it says.

    Parameters
    ----------
    scale : ScaleSighting
        Where it lies.
    label : str
        Beside it on the photo: its own size, and the one by the template.
    sentence : str
        What it says of the template; empty as long as it says nothing.
    agrees : bool
        False when both differ by more than their uncertainty.
    """

    scale: ScaleSighting
    label: str
    sentence: str = ""
    agrees: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class DrapedPhoto:
    """A photo laid on the map, as it is placed.

    Parameters
    ----------
    png : bytes
        Clear where the photo shows nothing.
    corner_mm : tuple of float
        Map position of its top left corner.
    width_mm, height_mm : float
        Its size on the map.
    """

    png: bytes
    corner_mm: tuple[float, float]
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """What the main photo shows of the body.

    Parameters
    ----------
    seen : tuple of SeenArea
        Of each panel.
    label : str
        Said on the map: how well it fits.
    is_proposed : bool
        Whether the person has yet to accept it; the map then shows it whole.
    draped : DrapedPhoto or None
        The photo itself, beneath the zones.
    """

    seen: tuple[SeenArea, ...]
    label: str
    is_proposed: bool = False
    draped: DrapedPhoto | None = None


@dataclass(frozen=True, slots=True)
class PhotoView:
    """One photo with what belongs to it.

    Parameters
    ----------
    photo : Photo
        The photo; its upright size is used.
    tile_url : str
        Template with ``{z}``, ``{x}`` and ``{y}``; see `photo_routes` for the
        pyramid.
    registrations : mapping of PanelId to Registration or RegistrationFailure
        Where it sits on the body, or why not.
    marks : tuple of Mark
        Marks of this photo (others are refused).
    sightings : tuple of Sighting
        Sightings of this photo (others are refused).
    scales : tuple of ScaleView
        Bars and boards on this photo.

    Raises
    ------
    InvalidValueError
        If a mark, sighting or scale is of another photo, or the URL has no places
        for the tile's numbers.
    """

    photo: Photo
    tile_url: str
    registrations: Mapping[PanelId, Registration | RegistrationFailure] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    scales: tuple[ScaleView, ...] = ()

    def __post_init__(self) -> None:
        if not all(place in self.tile_url for place in ("{z}", "{x}", "{y}")):
            raise InvalidValueError(
                f"photo '{self.photo.name}': tile URL needs {{z}}, {{x}} and {{y}}, found {self.tile_url!r:.80}"
            )
        things: tuple[Mark | Sighting | ScaleSighting, ...] = (
            *self.marks,
            *self.sightings,
            *(one.scale for one in self.scales),
        )
        for thing in things:
            if thing.photo != self.photo.id:
                raise InvalidValueError(f"canvas of photo '{self.photo.id}': {thing!r:.60} is of photo '{thing.photo}'")


@dataclass(frozen=True, slots=True)
class CanvasView:
    """Everything the canvas shows at one moment.

    Parameters
    ----------
    mode : CanvasMode
        ``place`` to click datum points, ``mark`` to draw, ``look`` to look.
    template : BodyTemplate
        Drawn as the map.
    main : PhotoView
        The photo being worked on.
    compare : tuple of PhotoView
        Up to two further photos beside it; they follow the place looked at.
    projected : tuple of ProjectedMark
        Marks of **all** photos on the map (``Projection.marks``).
    active_panel : PanelId or None
        The panel worked on; its datum points come first.
    suggestion : DatumId or None
        The datum point to click next (``registration.next_datum``).
    message : str
        A sentence for the help line, for example why a photo has no place.
    can_undo, can_redo : bool
        Whether the buttons are live.
    position : str
        Where in the list, for example ``3 of 12``; empty hides the buttons.
    footprint : Footprint or None
        What the main photo shows of the body, drawn on the map.
    chosen : MarkId or None
        A mark of the main photo to choose and to bring into view, once for
        each new value; what the person chooses afterwards stays.

    Raises
    ------
    InvalidValueError
        If more than two photos are to be compared with.
    """

    mode: CanvasMode
    template: BodyTemplate
    main: PhotoView
    compare: tuple[PhotoView, ...] = ()
    projected: tuple[ProjectedMark, ...] = ()
    active_panel: PanelId | None = None
    suggestion: DatumId | None = None
    message: str = ""
    can_undo: bool = True
    can_redo: bool = True
    position: str = ""
    footprint: Footprint | None = None
    chosen: MarkId | None = None

    def __post_init__(self) -> None:
        if len(self.compare) > 2:
            raise InvalidValueError(f"canvas: at most two photos to compare with, found {len(self.compare)}")
