"""Photos as the report needs them: decoded as seldom as possible, and never with what must not be shown."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Self

import numpy as np
from PIL import Image

from corromap.frames import PhotoId
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import RgbArray, decode, encode_jpeg
from corromap.survey import Photo, Survey

__all__ = ["Pictures", "reduce_for", "shrunk"]

WORKING_PX = 2000
"""A photo's longest side is not reduced below this: crops are cut from it."""
SMALL_PX, SMALLEST_PX, FULL_SIZE_COUNT = 1400, 800, 20
SMALL_QUALITY = 72
"""Longest side and quality of a whole photo in the report. With more than 20 photos each gets smaller, so that the page
can still be mailed: all together they keep the pixels of 20."""
HELD_BYTES = 90_000_000
"""Decoded pixels held at a time: one photo of 24 megapixels, or many smaller ones."""


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
        self._coming: dict[tuple[PhotoId, int], Future[RgbArray]] = {}
        self._small: dict[PhotoId, bytes] = {}
        self._pool = ThreadPoolExecutor(max_workers=1)  # decoding leaves Python free meanwhile

    def __enter__(self) -> Self:
        """Decode ahead from now on."""
        return self

    def __exit__(self, *_error: object) -> None:
        """Drop what was asked for and is not needed any more."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def soon(self, photo: PhotoId) -> None:
        """Begin to decode a photo that `reduced` will be asked for next.

        Parameters
        ----------
        photo : PhotoId
            The photo; whatever is wrong with it is told by `reduced`.
        """
        key = (photo, reduce_for(self._photos[photo], WORKING_PX))
        if key not in self._held and key not in self._coming:
            self._coming[key] = self._pool.submit(self._decoded, *key)

    def _decoded(self, photo: PhotoId, reduce: int) -> RgbArray:
        return decode(self._bytes(photo), self._photos[photo].name, reduce=reduce)

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
            coming = self._coming.pop(key, None)
            rgb = self._decoded(photo, reduce) if coming is None else coming.result()
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
        rgb = self.at(photo, reduce)
        if photo not in self._small:
            self._small[photo] = shrunk(rgb, self._small_px(), SMALL_QUALITY)
        return rgb, reduce

    def small(self, photo: PhotoId) -> bytes:
        """Return the whole of a photo as the report prints it.

        Parameters
        ----------
        photo : PhotoId
            The photo.

        Returns
        -------
        bytes
            JPEG without metadata, upright; the smaller, the more photos there are.

        Raises
        ------
        PhotoError
            If its bytes cannot be decoded.
        """
        if photo not in self._small:
            self.reduced(photo)
        return self._small[photo]

    def _small_px(self) -> int:
        share = min(1.0, math.sqrt(FULL_SIZE_COUNT / max(1, len(self._photos))))
        return max(SMALLEST_PX, round(SMALL_PX * share))


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
    picture.thumbnail((longest_px, longest_px), Image.Resampling.BICUBIC, reducing_gap=1.5)
    return encode_jpeg(np.asarray(picture, dtype=np.uint8), quality)
