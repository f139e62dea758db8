"""What the photo on the canvas shows of the body: areas on the map, and the photo itself laid there."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
from PIL import Image

from corromap.evidence.sheet import sheet_of
from corromap.evidence.whole_picture import SEEN, WholePicture
from corromap.frames import PhotoId
from corromap.io.photos import RgbArray, decode
from corromap.projection import PhotoProjection, Registrations, SeenArea, join_projections, project_photo
from corromap.registration import Registration
from corromap.registration.links import ChainProposal
from corromap.survey import Photo
from corromap.ui import state
from corromap.ui.canvas import DrapedPhoto, Footprint

__all__ = ["placed_footprint", "proposed_footprint"]

MM_PER_PX = 4.0
"""Fine enough to see whether ribs and edges meet the zones' lines."""


def proposed_footprint(held: state.OpenSurvey, photo: Photo, proposal: ChainProposal) -> Footprint:
    """Lay a photo on the map as it is proposed.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    proposal : ChainProposal
        What is proposed for it.

    Returns
    -------
    Footprint
        With the photo beneath the zones.

    Raises
    ------
    PhotoError
        If the photo cannot be decoded.
    """

    def make() -> Footprint:
        registrations = {(photo.id, panel): found for panel, found in proposal.places.items()}
        part = project_photo(photo, (), registrations, held.template, held.survey.settings)
        label = f"Proposed; residual {proposal.rms_px:.1f} px, {proposal.rms_mm:.1f} mm"
        return Footprint(part.seen, label, is_proposed=True, draped=_draped(held, photo, part.seen, registrations))

    return _kept(held, (proposal, held.template), make)


def placed_footprint(held: state.OpenSurvey, photo: Photo, *, with_photo: bool) -> Footprint | None:
    """Say what a placed photo shows of the body.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    photo : Photo
        The photo on the canvas.
    with_photo : bool
        Whether the photo is laid there too.

    Returns
    -------
    Footprint or None
        None while the photo has no place.

    Raises
    ------
    PhotoError
        If the photo is to be laid there and cannot be decoded.
    """
    mine = {key: r for key, r in held.registrations.items() if key[0] == photo.id and isinstance(r, Registration)}
    if not mine:
        return None
    seen = tuple(one for one in held.projection.seen if one.photo == photo.id)
    px, mm = max(r.rms_px for r in mine.values()), max(r.rms_mm for r in mine.values())

    def make() -> Footprint:
        draped = _draped(held, photo, seen, mine) if with_photo else None
        return Footprint(seen, f"Shown well by this photo; residual {px:.1f} px, {mm:.1f} mm", draped=draped)

    return _kept(held, (with_photo, *seen), make)


def _kept(held: state.OpenSurvey, made_from: tuple[object, ...], make: Callable[[], Footprint]) -> Footprint:
    """Make it again only from something else: laying a photo there costs a moment."""
    known = held.footprint
    if (
        known is None
        or len(known[0]) != len(made_from)
        or any(a is not b for a, b in zip(known[0], made_from, strict=True))
    ):
        held.footprint = known = (made_from, make())
    return known[1]


def _draped(
    held: state.OpenSurvey, photo: Photo, seen: tuple[SeenArea, ...], registrations: Registrations
) -> DrapedPhoto | None:
    """Rectify one photo onto the map; what it does not show stays clear."""

    def load(_: PhotoId, reduce: int) -> RgbArray:
        return decode(held.file.photo_bytes(photo.id), photo.name, reduce=reduce)

    sheet = sheet_of(held.template, MM_PER_PX)
    picture = WholePicture(
        sheet, held.template, join_projections([PhotoProjection(photo.id, (), (), seen)]), registrations, load
    )
    rgba = np.zeros((sheet.height_px, sheet.width_px, 4), dtype=np.uint8)
    for tile in picture.tiles():
        on = tile.window
        rgba[on.y : on.y + on.height, on.x : on.x + on.width, :3] = tile.rgb
        rgba[on.y : on.y + on.height, on.x : on.x + on.width, 3] = np.where(tile.state == SEEN, 255, 0)
    rows, columns = (np.flatnonzero(rgba[..., 3].any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return None
    rgba = rgba[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    held_png = io.BytesIO()
    Image.fromarray(rgba).save(held_png, "PNG")
    x, y = sheet.corner_mm + np.array([columns[0], rows[0]]) * MM_PER_PX
    height, width = rgba.shape[:2]
    return DrapedPhoto(held_png.getvalue(), (float(x), float(y)), width * MM_PER_PX, height * MM_PER_PX)
