"""Photos as JPEG with the marks drawn on them, in the colours and patterns of the map."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont

from corromap.evaluation import Evaluation
from corromap.exports.output import made_folder, write_file
from corromap.frames import MarkId, PhotoId
from corromap.io.interchange_files import file_name
from corromap.io.photos import RgbArray, decode
from corromap.report.findings import mark_numbers
from corromap.report.palette import PAPER, Look, look_of
from corromap.survey import Mark

__all__ = ["marked_photo", "photo_file_names", "write_marked_photos"]

LONGEST_PX = 3000
QUALITY = 88

_SPACING = {"dots": 9, "ticks": 22, "waves": 16, "solid": 1}
_ANGLES = {
    "horizontal": (0,),
    "diagonal": (45,),
    "back-diagonal": (-45,),
    "hatch": (-45,),
    "grid": (0, 90),
    "dashes": (90,),
}


def photo_file_names(evaluation: Evaluation) -> Mapping[PhotoId, str]:
    """File name of each marked photo.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    mapping of PhotoId to str
        Numbered in the survey's order, ending in ``.jpg``.
    """
    return {
        photo.id: Path(file_name(number, photo.name)).with_suffix(".jpg").name
        for number, photo in enumerate(evaluation.survey.photos, start=1)
    }


def marked_photo(pixels: RgbArray, marks: Sequence[Mark], numbers: Mapping[MarkId, int]) -> RgbArray:
    """Draw marks on a photo: outline, pattern and number of each.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        Upright, full size.
    marks : sequence of Mark
        On this photo.
    numbers : mapping of MarkId to int
        As the report counts them.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        At most 3000 px on its longest side.
    """
    picture = Image.fromarray(pixels)
    scale = min(1.0, LONGEST_PX / max(picture.size))
    if scale < 1:
        picture = picture.resize(
            (round(picture.width * scale), round(picture.height * scale)), Image.Resampling.LANCZOS
        )
    unit = max(picture.size) / 1600  # lines and letters grow with the picture
    for mark in marks:
        _draw(picture, mark, scale, unit)
    pen = ImageDraw.Draw(picture)
    for mark in marks:
        _number(pen, mark, numbers[mark.id], scale, unit)
    return np.asarray(picture)


def write_marked_photos(
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    folder: Path,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Path, ...]:
    """Write every photo with its marks as a JPEG without metadata.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    photo_bytes : callable
        Photo to bytes; give `SharedPhotos.to_show`, so that blur marks count.
    folder : Path
        Made when it is not there.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    OutputError
        If the folder or a file cannot be written.
    """
    made_folder(folder)
    names, numbers, survey = photo_file_names(evaluation), mark_numbers(evaluation), evaluation.survey
    written = []
    for done, photo in enumerate(survey.photos, start=1):
        marks = [mark for mark in survey.measured_marks if mark.photo == photo.id]
        drawn = marked_photo(decode(photo_bytes(photo.id), photo.name), marks, numbers)
        stream = io.BytesIO()
        Image.fromarray(drawn).save(stream, "JPEG", quality=QUALITY, optimize=True)
        target = folder / names[photo.id]
        write_file(target, stream.getvalue())
        written.append(target)
        if progress:
            progress(done, len(survey.photos))
    return tuple(written)


def _draw(picture: Image.Image, mark: Mark, scale: float, unit: float) -> None:
    look = look_of(mark)
    shape = shapely.transform(mark.outline.repaired(), lambda xy: (xy + 0.5) * scale - 0.5)
    for part in shapely.get_parts(shape):
        low = np.maximum(np.floor(part.bounds[:2]).astype(int) - 2, 0)
        high = np.minimum(np.ceil(part.bounds[2:]).astype(int) + 3, picture.size)
        size = (high - low).tolist()
        if min(size) < 1:
            continue
        mask = Image.new("L", tuple(size))
        pen = ImageDraw.Draw(mask)
        pen.polygon([tuple(p) for p in shapely.get_coordinates(part.exterior) - low], fill=255)
        for hole in part.interiors:
            pen.polygon([tuple(p) for p in shapely.get_coordinates(hole) - low], fill=0)
        strokes = Image.new("L", tuple(size))
        _pattern(ImageDraw.Draw(strokes), look, size, unit)
        covered = Image.fromarray(np.minimum(np.asarray(mask), np.asarray(strokes)))
        picture.paste(Image.new("RGB", tuple(size), look.colour), tuple(low.tolist()), covered)
        _edges(picture, part, look, unit)


def _edges(picture: Image.Image, part: shapely.Polygon, look: Look, unit: float) -> None:
    pen = ImageDraw.Draw(picture)
    for ring in (part.exterior, *part.interiors):
        line = [tuple(p) for p in shapely.get_coordinates(ring)]
        pen.line(line, fill=PAPER, width=max(3, round(5 * unit)), joint="curve")  # seen on dark and on bright
        pen.line(line, fill=look.colour, width=max(1, round(2.6 * unit)), joint="curve")


def _pattern(pen: ImageDraw.ImageDraw, look: Look, size: Sequence[int], unit: float) -> None:
    """Fill a mask with a look's pattern, large enough to be told apart on a photo."""
    width, height = size
    step = _SPACING.get(look.pattern, 12) * unit
    if look.pattern == "solid":
        pen.rectangle((0, 0, width, height), fill=150)
    elif look.pattern in {"dots", "ticks", "waves"}:
        radius = (1.6 if look.pattern == "dots" else 2.6) * unit
        for y in np.arange(step / 2, height, step):
            for x in np.arange(step / 2, width, step):
                pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=210)
    for angle in _ANGLES.get(look.pattern, ()):
        _lines(pen, angle, size, step, unit)


def _lines(pen: ImageDraw.ImageDraw, angle: float, size: Sequence[int], step: float, unit: float) -> None:
    width, height = size
    reach = math.hypot(width, height)
    along = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    across = np.array([-along[1], along[0]])
    middle = np.array([width / 2, height / 2])
    for offset in np.arange(-reach / 2, reach / 2, step):
        ends = [tuple(middle + offset * across + side * reach * along) for side in (-1, 1)]
        pen.line(ends, fill=200, width=max(1, round(1.8 * unit)))


def _number(pen: ImageDraw.ImageDraw, mark: Mark, number: int, scale: float, unit: float) -> None:
    shape = mark.outline.repaired()
    if shape.is_empty:
        return
    x, y = shapely.get_coordinates(shape.representative_point())[0] * scale
    font = ImageFont.load_default(size=max(12, round(22 * unit)))
    pen.text(
        (x, y), str(number), font=font, fill=look_of(mark).colour, anchor="mm",
        stroke_width=max(2, round(3.5 * unit)), stroke_fill=PAPER,
    )  # fmt: skip
