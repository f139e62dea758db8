"""Photos as the report needs them: each decoded once, in threads, and never with what must not be shown."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Self, TypeVar

import numpy as np
from PIL import Image

from corromap.frames import PhotoId
from corromap.io.photo_sharing import SharedPhotos
from corromap.io.photos import RgbArray, decode, encode_jpeg
from corromap.survey import Photo, Survey

__all__ = ["Pictures", "reduce_for", "shrunk"]

Made = TypeVar("Made")

WORKING_PX = 2000
"""A photo's longest side is not reduced below this: crops are cut from it."""
SMALL_PX, SMALLEST_PX, FULL_SIZE_COUNT = 1400, 800, 20
SMALL_QUALITY = 72
"""Longest side and quality of a whole photo in the report. With more than 20 photos each gets smaller, so that the page
can still be mailed: all together they keep the pixels of 20."""
AT_A_TIME = 2
"""Photos decoded side by side; a photo of 24 megapixels takes 170 MB meanwhile at its full size, 45 MB at half."""


@dataclass(slots=True, eq=False)
class _Visit:
    """What is to be made of one photo while its pixels are there."""

    orders: list[tuple[int, Callable[[RgbArray], None]]] = field(default_factory=list)
    run: Future[None] | None = None


class Pictures:
    """Decodes photos, blur marks carried out, and makes what was ordered of each in one go.

    Decoding and shrinking leave Python free meanwhile, so they run in threads
    beside whatever else the report works out. What is made depends on the
    photo alone, not on the order of the threads.

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
        self._reading = threading.Lock()  # a caller's source of bytes need not bear two readers
        self._visits: dict[PhotoId, _Visit] = {}
        self._pool = ThreadPoolExecutor(max_workers=AT_A_TIME)

    def __enter__(self) -> Self:
        """Take orders from now on."""
        return self

    def __exit__(self, *_error: object) -> None:
        """Drop what was ordered and is not needed any more."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def order(self, photo: PhotoId, reduce: int, make: Callable[[RgbArray], Made]) -> Callable[[], Made]:
        """Order something small made of a photo's pixels.

        Parameters
        ----------
        photo : PhotoId
            The photo.
        reduce : int
            By how much each side is divided: a power of two; aligned by centres.
        make : callable
            From the upright pixels to what is wanted; runs in another thread.

        Returns
        -------
        callable
            Waits for it and returns it; raises `PhotoError` if the photo's
            bytes cannot be decoded.
        """
        visit = self._visits.get(photo)
        if visit is None or visit.run is not None:
            visit = self._visits[photo] = _Visit()
        made: list[Made] = []
        visit.orders.append((reduce, lambda rgb: made.append(make(rgb))))

        def delivered() -> Made:
            self._begun(photo, visit).result()
            return made[0]

        return delivered

    def begin(self) -> None:
        """Begin with everything ordered so far, photo by photo."""
        for photo, visit in self._visits.items():
            self._begun(photo, visit)

    def at(self, photo: PhotoId, reduce: int) -> RgbArray:
        """Return a photo's pixels, decoded now.

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
        with self._reading:
            data = self._bytes(photo)
        return decode(data, self._photos[photo].name, reduce=reduce)

    def working(self, photo: PhotoId) -> int:
        """Say by how much crops and page allow a photo to be reduced.

        Parameters
        ----------
        photo : PhotoId
            The photo.

        Returns
        -------
        int
            1, 2, 4 or 8.
        """
        return reduce_for(self._photos[photo], WORKING_PX)

    def small(self, photo: PhotoId) -> Callable[[], bytes]:
        """Order the whole of a photo as the report prints it.

        Parameters
        ----------
        photo : PhotoId
            The photo.

        Returns
        -------
        callable
            As from `order`: a JPEG without metadata, upright; the smaller, the
            more photos there are.
        """
        share = min(1.0, math.sqrt(FULL_SIZE_COUNT / max(1, len(self._photos))))
        longest = max(SMALLEST_PX, round(SMALL_PX * share))
        reduce = reduce_for(self._photos[photo], longest)
        return self.order(photo, reduce, lambda rgb: shrunk(rgb, longest, SMALL_QUALITY))

    def _begun(self, photo: PhotoId, visit: _Visit) -> Future[None]:
        if visit.run is None:
            visit.run = self._pool.submit(self._work, photo, visit.orders)
        return visit.run

    def _work(self, photo: PhotoId, orders: list[tuple[int, Callable[[RgbArray], None]]]) -> None:
        finest = min(reduce for reduce, _ in orders)
        levels = {finest: self.at(photo, finest)}
        for reduce, fill in sorted(orders, key=lambda order: order[0]):
            if reduce not in levels:
                finer = max(level for level in levels if level < reduce)
                levels[reduce] = np.asarray(Image.fromarray(levels[finer]).reduce(reduce // finer), dtype=np.uint8)
            fill(levels[reduce])


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
