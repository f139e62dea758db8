"""Photos as they are handed out: without what the file says of its owner, faces and plates made unrecognisable.

The original in the survey file is never changed. A JPEG or PNG loses its
metadata without its pixels being touched; everything else, and every photo
with a blur mark, is decoded and encoded anew.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from PIL import Image, ImageDraw

from corromap.errors import PhotoError
from corromap.frames import PhotoId, PhotoOutline
from corromap.io.photo_header import ORIENTATION
from corromap.io.photos import RgbArray, decode, encode_jpeg, read_header
from corromap.survey import MarkKind, Survey

__all__ = ["SharedPhotos", "blurred", "without_metadata"]

BLUR_CELLS = 4
"""A blurred place keeps so many colours across and down: no letter or face comes back from sixteen numbers."""

ENCODED_QUALITY = 92

_SOI, _EOI, _SOS, _COM = 0xD8, 0xD9, 0xDA, 0xFE
_APP0, _APP1, _APP2, _APP14, _APP15 = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF
_STANDALONE = frozenset({0x01, *range(0xD0, 0xD8)})  # TEM and restarts: no length follows (ITU-T T.81, B.1.1.3)
_JFIF_PLAIN = 14  # length of a JFIF segment without a thumbnail: ITU-T T.871, 10.1

_PNG_HEAD = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset(
    {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs"}
)
"""Chunks that say how pixels look; every other kind is text, time, EXIF or unknown (W3C PNG, 11)."""


def without_metadata(data: bytes, name: str) -> bytes:
    """Photo without place, serial numbers, names, comments, thumbnails or anything behind its end.

    Parameters
    ----------
    data : bytes
        A photo's file.
    name : str
        For messages.

    Returns
    -------
    bytes
        A JPEG or PNG with the same pixels, the same way up; other formats as a
        JPEG encoded anew.

    Raises
    ------
    PhotoError
        If it is not a photo, or is damaged.
    """
    header = read_header(data, name)
    if header.format == "JPEG":
        return b"".join(_jpeg_parts(data, name, header.orientation))
    if header.format == "PNG":
        return b"".join(_png_parts(data, name, header.orientation))
    return encode_jpeg(decode(data, name), quality=ENCODED_QUALITY)


def blurred(pixels: RgbArray, outlines: Sequence[PhotoOutline]) -> RgbArray:
    """Make what lies inside outlines unrecognisable.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (H, W, 3)
        Upright.
    outlines : sequence of PhotoOutline
        In pixels of the same.

    Returns
    -------
    ndarray of uint8, shape (H, W, 3)
        A copy; inside each outline are only so many colours as `BLUR_CELLS`
        allows.
    """
    picture = Image.fromarray(pixels)
    for outline in outlines:
        for part in shapely.get_parts(outline.repaired()):
            low, high = np.floor(part.bounds[:2]).astype(int), np.ceil(part.bounds[2:]).astype(int) + 1
            x0, y0 = np.maximum(low, 0).tolist()
            x1, y1 = np.minimum(high, picture.size).tolist()
            if x1 <= x0 or y1 <= y0:
                continue
            place = picture.crop((x0, y0, x1, y1))
            few = place.resize((BLUR_CELLS, BLUR_CELLS), Image.Resampling.BOX)
            mask = Image.new("1", place.size)
            ring = [(x - x0, y - y0) for x, y in part.exterior.coords]
            ImageDraw.Draw(mask).polygon(ring, fill=1, outline=1)
            picture.paste(few.resize(place.size, Image.Resampling.BICUBIC), (x0, y0), mask)
    return np.asarray(picture)


@dataclass(frozen=True, eq=False)
class SharedPhotos:
    """The photos of a survey as they are handed out.

    Parameters
    ----------
    survey : Survey
        For its blur marks.
    load : callable
        Photo to the bytes in the survey file.
    """

    survey: Survey
    load: Callable[[PhotoId], bytes] = field(repr=False)

    @cached_property
    def _blurs(self) -> dict[PhotoId, list[PhotoOutline]]:
        found: dict[PhotoId, list[PhotoOutline]] = {}
        for mark in self.survey.marks:
            if mark.kind is MarkKind.BLUR:
                found.setdefault(mark.photo, []).append(mark.outline)
        return found

    def to_show(self, photo: PhotoId) -> bytes:
        """Bytes to make pictures from: blur marks carried out, else as they are.

        Parameters
        ----------
        photo : PhotoId
            Which photo.

        Returns
        -------
        bytes
            What is made from them must be encoded anew, as every report does:
            the metadata may still be there.
        """
        data = self.load(photo)
        return self._encoded(photo, data) if photo in self._blurs else data

    def to_give(self, photo: PhotoId) -> bytes:
        """Bytes to give away: blur marks carried out, no metadata.

        Parameters
        ----------
        photo : PhotoId
            Which photo.

        Returns
        -------
        bytes
            A JPEG or a PNG.
        """
        data = self.load(photo)
        if photo in self._blurs:
            return self._encoded(photo, data)
        return without_metadata(data, self.survey.photo_by_id[photo].name)

    def _encoded(self, photo: PhotoId, data: bytes) -> bytes:
        pixels = decode(data, self.survey.photo_by_id[photo].name)
        return encode_jpeg(blurred(pixels, self._blurs[photo]), quality=ENCODED_QUALITY)


def _way_up(orientation: int) -> bytes:
    """EXIF block that says which way is up, and nothing else."""
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    return exif.tobytes()


def _jpeg_parts(data: bytes, name: str, orientation: int) -> Iterator[bytes]:
    """Copy a JPEG segment by segment up to its end, leaving out what is not needed to show it."""
    yield data[:2]
    if orientation != 1:
        exif = _way_up(orientation)
        yield struct.pack(">BBH", 0xFF, _APP1, len(exif) + 2) + exif
    at = 2
    while at + 2 <= len(data):
        if data[at] != 0xFF:
            raise PhotoError(f"photo '{name}': damaged at byte {at}; copy it again")
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
        elif marker == _EOI:
            yield data[at : at + 2]
            return  # behind the end lie previews, second pictures and films
        elif marker in _STANDALONE:
            yield data[at : at + 2]
            at += 2
        else:
            end = at + 2 + struct.unpack_from(">H", data, at + 2)[0]
            if _is_needed(marker, data[at + 4 : end]):
                yield data[at:end]
            at = end
            if marker == _SOS:
                end = _scan_end(data, at)
                yield data[at:end]
                at = end
    yield b"\xff\xd9"  # cut short, and yet it could be loaded


def _is_needed(marker: int, body: bytes) -> bool:
    if marker == _APP0:
        return body.startswith(b"JFIF\0") and len(body) == _JFIF_PLAIN
    if marker == _APP2:
        return body.startswith(b"ICC_PROFILE\0")
    if marker == _APP14:
        return body.startswith(b"Adobe")  # says how colours are coded
    return not (_APP0 <= marker <= _APP15 or marker == _COM)


def _scan_end(data: bytes, at: int) -> int:
    """Where coded pixels end: at a marker that is neither a stuffed byte nor a restart (ITU-T T.81, B.1.1.5)."""
    while (at := data.find(b"\xff", at)) >= 0:
        if at + 1 >= len(data):
            break
        if data[at + 1] != 0 and not 0xD0 <= data[at + 1] <= 0xD7:
            return at
        at += 2
    return len(data)


def _png_parts(data: bytes, name: str, orientation: int) -> Iterator[bytes]:
    """Copy a PNG chunk by chunk, leaving out what is not needed to show it."""
    yield _PNG_HEAD
    at = len(_PNG_HEAD)
    while at + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        end = at + 12 + length
        if end > len(data):
            raise PhotoError(f"photo '{name}': damaged at byte {at}; copy it again")
        if kind in _PNG_KEPT:
            yield data[at:end]
        if kind == b"IHDR" and orientation != 1:
            body = b"eXIf" + _way_up(orientation).removeprefix(b"Exif\0\0")
            yield struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
        if kind == b"IEND":
            return
        at = end
