"""What a picture file tells of its own history: hints that it was re-encoded or edited.

Hints, not proofs: metadata can be missing for honest reasons and be forged.
"""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass, replace

from PIL import Image, UnidentifiedImageError

from corromap.errors import PhotoError
from corromap.io.photos import read_header
from corromap.messages import Message, message, to_say

__all__ = ["PhotoOrigin", "jpeg_quality", "read_origin", "remembered_hint"]

_SOFTWARE, _CHANGED, _TAKEN, _EXIF_IFD = 0x0131, 0x0132, 0x9003, 0x8769
_LUMINANCE_SUM = 3688
"""Sum of the luminance table K.1 of ITU-T T.81, Annex K."""
STRONG_COMPRESSION = 70
"""Quality (0 to 100) below which fine rust drowns in blocks. Ours."""
NO_CAMERA_DATA = to_say("No camera data in the file: a program on its way dropped them, or is a screenshot.")
SHRUNK = to_say("Its longest side is {longest} px, as when a message service shrinks a photo: ask for the original.")
NOT_DATED = to_say("The file does not say when it was taken.")
PROGRAM = to_say("The metadata name a program ('{program}'); phones do this too, so it proves nothing by itself.")
CHANGED = to_say("Changed after it was taken: taken {taken}, changed {changed}.")
COMPRESSED = to_say("Strongly compressed (quality about {quality} of 100): small holes can drown in the blocks.")
EDITOR_BLOCK = to_say("The file carries a block that picture editors write (JPEG segment APP13).")
RESIZED_LONGEST_PX = frozenset({720, 800, 960, 1024, 1280, 1600, 2048})
"""Longest sides to which message services and web forms shrink photos; from memory."""


@dataclass(frozen=True, slots=True)
class PhotoOrigin:
    """What a file tells of its history.

    Parameters
    ----------
    software : str
        Program named in the metadata; empty if none.
    changed_at : str
        Time of the last change as the metadata say; empty if none.
    jpeg_quality : int or None
        Estimated from the quantisation table; None for other formats.
    hints : tuple of str
        Sentences for the person; empty when nothing stands out.
    orientation : int
        EXIF orientation as stored, 1 to 8; 1 is upright.
    """

    software: str
    changed_at: str
    jpeg_quality: int | None
    hints: tuple[str, ...]
    orientation: int = 1


def jpeg_quality(tables: dict[int, list[int]]) -> int | None:
    """Estimate the quality setting a JPEG was written with.

    Parameters
    ----------
    tables : dict of int to list of int
        Quantisation tables; number 0 is the luminance table.

    Returns
    -------
    int or None
        1 to 100 on the scale of the Independent JPEG Group's encoder, exact
        for its own files and near for others; None without a table.
    """
    if 0 not in tables:
        return None
    scale = 100.0 * sum(tables[0]) / _LUMINANCE_SUM
    quality = 5000.0 / scale if scale > 100 else (200.0 - scale) / 2.0
    return max(1, min(100, round(quality)))


def read_origin(data: bytes, name: str) -> PhotoOrigin:
    """Read what a picture file tells of its history.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    PhotoOrigin
        Tags and hints.

    Raises
    ------
    PhotoError
        If the file is not a picture that can be read.
    """
    header = read_header(data, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(data))
    except (UnidentifiedImageError, OSError) as error:
        raise PhotoError(f"photo '{name}' cannot be read again: {error}") from error
    with image:
        exif = image.getexif()
        software, changed = (_text(exif.get(tag)) for tag in (_SOFTWARE, _CHANGED))
        taken = _text(exif.get_ifd(_EXIF_IFD).get(_TAKEN))
        tables = getattr(image, "quantization", None)
        quality = jpeg_quality(tables) if tables else None
        has_editor_block = bool(image.info.get("photoshop"))
    known = PhotoOrigin(software, changed, quality, (), header.orientation)
    hints = _hints(known, taken, max(header.width_px, header.height_px), has_tags=bool(exif))
    if has_editor_block:
        hints = (*hints, message(EDITOR_BLOCK))
    return replace(known, hints=hints)


def _text(value: object) -> str:
    return "" if value is None else str(value).strip("\x00 ")[:80]


def _hints(origin: PhotoOrigin, taken: str, longest: int, *, has_tags: bool) -> tuple[str, ...]:
    hints: list[str] = []
    if not has_tags:
        hints.append(message(NO_CAMERA_DATA))
        if longest in RESIZED_LONGEST_PX:
            hints.append(Message(SHRUNK, {"longest": longest}))
    elif not taken:
        hints.append(message(NOT_DATED))
    if origin.software:
        hints.append(Message(PROGRAM, {"program": origin.software}))
    if taken and origin.changed_at and origin.changed_at != taken:
        hints.append(Message(CHANGED, {"taken": taken, "changed": origin.changed_at}))
    quality = origin.jpeg_quality
    if quality is not None and quality < STRONG_COMPRESSION:
        hints.append(Message(COMPRESSED, {"quality": quality}))
    return tuple(hints)


def remembered_hint(text: str) -> str:
    """Find the template of a hint that was kept as text, so that it can be said in another language.

    Parameters
    ----------
    text : str
        As it was kept.

    Returns
    -------
    str
        The same words.
    """
    for template in (NO_CAMERA_DATA, SHRUNK, NOT_DATED, PROGRAM, CHANGED, COMPRESSED, EDITOR_BLOCK):
        pattern = re.sub(r"\\{(\w+)\\}", r"(?P<\1>.*)", re.escape(template))
        if found := re.fullmatch(pattern, text, re.DOTALL):
            return Message(template, found.groupdict())
    return text
