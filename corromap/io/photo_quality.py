"""A photo examined on arrival: how well it can be judged, what it looks like, where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.evidence.duplicates import look_hash
from corromap.evidence.quality import PhotoQuality, judge_photo
from corromap.io.photo_origin import PhotoOrigin, read_origin
from corromap.io.photos import decode, read_header

__all__ = ["ExaminedPhoto", "examine_photo"]

WORKING_PX = 1600
SMALLEST_PX = 32


@dataclass(frozen=True, slots=True, eq=False)
class ExaminedPhoto:
    """What can be told of a photo before anything is clicked.

    Parameters
    ----------
    quality : PhotoQuality or None
        None for a picture too small to judge.
    look : int or None
        Hash of what it looks like; None for a picture too small.
    sha256 : str
        Of its bytes.
    origin : PhotoOrigin
        What the file tells of its history.
    """

    quality: PhotoQuality | None
    look: int | None
    sha256: str
    origin: PhotoOrigin

    @property
    def sentences(self) -> tuple[str, ...]:
        """Everything worth telling, a sentence each; empty when nothing stands out."""
        if self.quality is None:
            return ("Too small to judge anything on it.", *self.origin.hints)
        return (*(f"{words[0].upper()}{words[1:]}." for words in self.quality.words), *self.origin.hints)


def examine_photo(data: bytes, name: str) -> ExaminedPhoto:
    """Examine a photo.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    ExaminedPhoto
        Figures, words, hash, origin.

    Raises
    ------
    PhotoError
        If the file cannot be decoded.
    """
    header = read_header(data, name)
    reduce = 1
    while max(header.width_px, header.height_px) >= 2 * reduce * WORKING_PX and reduce < 8:
        reduce *= 2
    rgb = decode(data, name, reduce=reduce)
    origin = read_origin(data, name)
    if min(rgb.shape[:2]) < SMALLEST_PX:
        return ExaminedPhoto(None, None, header.sha256, origin)
    return ExaminedPhoto(judge_photo(rgb, (header.width_px, header.height_px)), look_hash(rgb), header.sha256, origin)
