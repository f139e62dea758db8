"""The whole picture of a survey, made and written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from corromap.evaluation import Evaluation
from corromap.evidence.rectified import reduce_for
from corromap.evidence.seen_well import Showing
from corromap.evidence.sheet import TILE_PX, sheet_of
from corromap.evidence.whole_picture import SAMPLE_REDUCE, WholePicture
from corromap.frames import PhotoId
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import RgbArray, decode
from corromap.io.picture_files import PictureScale, write_picture
from corromap.registration import Registration
from corromap.report.picture_overlay import PictureOverlay
from corromap.report.pictures import Pictures

__all__ = ["reduced_whole_picture", "write_whole_picture"]

HELD_BYTES = 100_000_000
"""Pixels ordered beforehand for the small picture, coarse ones first; what does not fit is decoded when asked for."""


def write_whole_picture(  # noqa: PLR0913  what a picture is made from
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    target: Path,
    mm_per_px: float = 1.0,
    *,
    bare: bool = False,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> None:
    """Blend all photos of a survey into one scaled picture and write it.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    photo_bytes : callable
        The original bytes of a photo.
    target : Path
        TIFF or JPEG, by its suffix.
    mm_per_px : float
        Scale.
    bare : bool
        Without zones and marks.
    progress : callable
        Called with tiles done and tiles in all.

    Raises
    ------
    InvalidValueError
        If the scale cannot be drawn.
    PhotoError
        If a photo's bytes cannot be decoded.
    OutputError
        If the picture cannot be written; an older one stays as it was.
    """
    shown = SharedPhotos(evaluation.survey, photo_bytes).to_show
    names = {photo.id: photo.name for photo in evaluation.survey.photos}

    def load(photo: PhotoId, reduce: int) -> RgbArray:
        return decode(shown(photo), names[photo], reduce=reduce)

    sheet = sheet_of(evaluation.template, mm_per_px)
    picture = WholePicture(
        sheet, evaluation.template, evaluation.projection, evaluation.registrations, load, quality=evaluation.quality
    )
    overlay = PictureOverlay(evaluation, sheet, marks=not bare, zones=not bare)
    total = sum(1 for _ in sheet.tiles())

    def painted() -> Iterator[RgbArray]:
        for done, tile in enumerate(picture.tiles(), start=1):
            progress(done, total)
            yield overlay.paint(tile)

    scale = PictureScale(sheet.width_px, sheet.height_px, TILE_PX, mm_per_px)
    title = f"Whole picture, {mm_per_px:g} mm per pixel, seen from below. {evaluation.survey.car.label}".strip()
    write_picture(painted(), scale, target, title=title)


def reduced_whole_picture(
    evaluation: Evaluation, pictures: Pictures, showing: Showing, longest_px: int
) -> Callable[[], tuple[RgbArray, float]]:
    """Order one small picture into which all photos of a survey are blended.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    pictures : Pictures
        Its photos; the pixels are ordered there.
    showing : Showing
        How well each photo can be judged.
    longest_px : int
        Longest side.

    Returns
    -------
    callable
        Gives the picture with zones and marks, an ndarray of uint8 of shape
        (H, W, 3), and its millimetres per pixel; raises `PhotoError` if a
        photo's bytes cannot be decoded.
    """
    full = sheet_of(evaluation.template, 1.0)
    mm_per_px = max(full.width_px, full.height_px) / longest_px
    ordered = _ordered_pixels(evaluation, pictures, mm_per_px)

    def load(photo: PhotoId, reduce: int) -> RgbArray:
        return ordered[photo, reduce]() if (photo, reduce) in ordered else pictures.at(photo, reduce)

    return lambda: (_blended(evaluation, showing, load, mm_per_px), mm_per_px)


def _ordered_pixels(
    evaluation: Evaluation, pictures: Pictures, mm_per_px: float
) -> dict[tuple[PhotoId, int], Callable[[], RgbArray]]:
    wanted: set[tuple[int, PhotoId]] = set()
    for seen in evaluation.projection.seen:
        placed = evaluation.registrations[seen.photo, seen.panel]
        if isinstance(placed, Registration) and not seen.area.is_empty:
            wanted |= {(SAMPLE_REDUCE, seen.photo), (reduce_for(placed, seen.area, mm_per_px), seen.photo)}
    ordered: dict[tuple[PhotoId, int], Callable[[], RgbArray]] = {}
    room = HELD_BYTES
    for reduce, photo_id in sorted(wanted, reverse=True):
        photo = evaluation.survey.photo_by_id[photo_id]
        room -= 3 * photo.width_px * photo.height_px // reduce**2
        if room >= 0:
            ordered[photo_id, reduce] = pictures.order(photo_id, reduce, np.array)
    return ordered


def _blended(
    evaluation: Evaluation, showing: Showing, load: Callable[[PhotoId, int], RgbArray], mm_per_px: float
) -> RgbArray:
    sheet = sheet_of(evaluation.template, mm_per_px)
    blend = WholePicture(
        sheet, evaluation.template, evaluation.projection, evaluation.registrations, load, quality=showing.quality
    )
    overlay = PictureOverlay(evaluation, sheet)
    picture = np.zeros((sheet.height_px, sheet.width_px, 3), dtype=np.uint8)
    for tile in blend.tiles():
        window = tile.window
        picture[window.y : window.y + window.height, window.x : window.x + window.width] = overlay.paint(tile)
    return picture
