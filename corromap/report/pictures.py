"""Photos as the report needs them: decoded as seldom as possible, and never with what must not be shown."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable

import numpy as np
from PIL import Image

from corromap.frames import PhotoId
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import RgbArray, decode, encode_jpeg
from corromap.survey import Photo, Survey

__all__ = ["Pictures", "reduce_for", "shrunk"]

WORKING_PX = 2000
"""A photo's longest side is not reduced below this: crops are cut from it."""
HELD_BYTES = 160_000_000
"""Decoded pixels held at a time: two photos of 24 megapixels, or many smaller ones."""


class Pictures:
    """Decodes photos, blur marks carried out, and holds the latest.

    Parameters
    ----------
    survey : Survey
        The photos.
    photo_bytes : callable
        The original bytes of a photo.
    """

    def __init__(self, survey: Survey, photo_bytes: Callable[[PhotoId], bytes]) -> None:
        self._photos = survey.photo_by_id
        self._bytes = SharedPhotos(survey, photo_bytes).to_show
        self._held: OrderedDict[tuple[PhotoId, int], RgbArray] = OrderedDict()

    def at(self, photo: PhotoId, reduce: int) -> RgbArray:
        """Return a photo's pixels.

        Parameters
        ----------
        photo : PhotoId
            The photo.
        reduce : int
            By how much each side is divided; aligned by centres.

        Returns
        -------
        ndarray of uint8, shape (H, W, 3)
            Upright.

        Raises
        ------
        PhotoError
            If its bytes cannot be decoded.
        """
        key = (photo, reduce)
        if key not in self._held:
            rgb = decode(self._bytes(photo), self._photos[photo].name, reduce=reduce)
            while self._held and rgb.nbytes + sum(held.nbytes for held in self._held.values()) > HELD_BYTES:
                self._held.popitem(last=False)
            self._held[key] = rgb
        self._held.move_to_end(key)
        return self._held[key]

    def reduced(self, photo: PhotoId) -> tuple[RgbArray, int]:
        """Return a photo's pixels, reduced as far as crops and page allow.

        Parameters
        ----------
        photo : PhotoId
            The photo.

        Returns
        -------
        rgb : ndarray of uint8, shape (H, W, 3)
            Upright.
        reduce : int
            By how much each side was divided.

        Raises
        ------
        PhotoError
            If its bytes cannot be decoded.
        """
        reduce = reduce_for(self._photos[photo], WORKING_PX)
        return self.at(photo, reduce), reduce


def reduce_for(photo: Photo, longest_px: int) -> int:
    """Say by how much a photo may be reduced.

    Parameters
    ----------
    photo : Photo
        The photo.
    longest_px : int
        Its longest side must not fall below this.

    Returns
    -------
    int
        1, 2, 4 or 8.
    """
    reduce = 1
    while max(photo.width_px, photo.height_px) >= 2 * reduce * longest_px and reduce < 8:
        reduce *= 2
    return reduce


def shrunk(rgb: RgbArray, longest_px: int, quality: int) -> bytes:
    """Make a small JPEG without metadata.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        Pixels.
    longest_px : int
        Longest side; smaller pictures keep their size.
    quality : int
        JPEG quality.

    Returns
    -------
    bytes
        JPEG.
    """
    picture = Image.fromarray(rgb)
    picture.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return encode_jpeg(np.asarray(picture, dtype=np.uint8), quality)
