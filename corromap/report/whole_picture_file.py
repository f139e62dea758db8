"""The whole picture of a survey, made and written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from corromap.evaluation import Evaluation
from corromap.evidence.seen_well import Showing
from corromap.evidence.sheet import TILE_PX, sheet_of
from corromap.evidence.whole_picture import WholePicture
from corromap.frames import PhotoId
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import RgbArray, decode
from corromap.io.picture_files import PictureScale, write_picture
from corromap.report.picture_overlay import PictureOverlay

__all__ = ["reduced_whole_picture", "write_whole_picture"]


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
    evaluation: Evaluation, load: Callable[[PhotoId, int], RgbArray], showing: Showing, longest_px: int
) -> tuple[RgbArray, float] | None:
    """Blend all photos of a survey into one small picture.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    load : callable
        A photo's pixels, each side divided by a power of two.
    showing : Showing
        How well each photo can be judged.
    longest_px : int
        Longest side.

    Returns
    -------
    tuple of ndarray of uint8, shape (H, W, 3), and float
        The picture with zones and marks, and its millimetres per pixel; None
        if no photo is placed.

    Raises
    ------
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    if not evaluation.projection.seen:
        return None
    full = sheet_of(evaluation.template, 1.0)
    mm_per_px = max(full.width_px, full.height_px) / longest_px
    sheet = sheet_of(evaluation.template, mm_per_px)
    blend = WholePicture(
        sheet, evaluation.template, evaluation.projection, evaluation.registrations, load, quality=showing.quality
    )
    overlay = PictureOverlay(evaluation, sheet)
    picture = np.zeros((sheet.height_px, sheet.width_px, 3), dtype=np.uint8)
    for tile in blend.tiles():
        window = tile.window
        picture[window.y : window.y + window.height, window.x : window.x + window.width] = overlay.paint(tile)
    return picture, mm_per_px
