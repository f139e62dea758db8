"""Photos drawn into the patches that want them: each decoded once, no more at a time than there is room for."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager

import cv2
import numpy as np

from corromap.evidence.contest import Patch
from corromap.evidence.quality import RgbArray
from corromap.evidence.rectified import LoadPhoto, rectify_window
from corromap.evidence.sheet import PictureSheet
from corromap.frames import PhotoId

__all__ = ["WORKERS", "Drawing"]

WORKERS = 2
"""Decoding and looking up leave Python free; two at once keep two cores busy. House rule."""
DECODING_BYTES = 170_000_000
"""Decoded pixels held at a time: those of one photo of 24 megapixels at full size, or of several reduced."""
BYTES_PER_PX = 7
"""Of a photo while it is decoded: 4 in Pillow and 3 in the array."""


class _Room:
    """Bytes that those who decode share; who comes first gets them first."""

    def __init__(self, limit: int) -> None:
        self._limit, self._used = limit, 0
        self._turn, self._freed = threading.Lock(), threading.Condition()

    @contextmanager
    def taken(self, size: int) -> Iterator[None]:
        """Hold some of it; what is larger than all of it is held alone."""
        with self._turn, self._freed:
            self._freed.wait_for(lambda: not self._used or self._used + size <= self._limit)
            self._used += size
        try:
            yield
        finally:
            with self._freed:
                self._used -= size
                self._freed.notify_all()


class Drawing:
    """Draws photos into patches, in threads, in the order in which they were given.

    What is drawn depends on the photo and the patch alone, not on the threads.

    Parameters
    ----------
    sheet : PictureSheet
        The raster.
    load : callable
        Gives a photo's upright pixels.
    sizes : mapping of PhotoId to (int, int)
        Width and height of the full photos, px.
    patches : sequence of Patch
        What is to be drawn, first needed first.
    pool : Executor
        Where it is done.
    """

    def __init__(
        self,
        sheet: PictureSheet,
        load: LoadPhoto,
        sizes: Mapping[PhotoId, tuple[int, int]],
        patches: Sequence[Patch],
        pool: Executor,
    ) -> None:
        self._sheet, self._load, self._sizes = sheet, load, sizes
        self._room = _Room(DECODING_BYTES)
        of_photo: dict[PhotoId, list[Patch]] = {}
        for patch in patches:
            of_photo.setdefault(patch.view.photo, []).append(patch)
        self._done: dict[PhotoId, Future[None]] = {
            photo: pool.submit(self._draw, photo, own) for photo, own in of_photo.items()
        }

    def wait_for(self, patches: Sequence[Patch]) -> None:
        """Wait until patches are drawn.

        Parameters
        ----------
        patches : sequence of Patch
            Some of those that were given.

        Raises
        ------
        PhotoError
            If a photo cannot be decoded; whatever else loading raises.
        """
        for photo in dict.fromkeys(patch.view.photo for patch in patches):
            self._done[photo].result()

    def _draw(self, photo: PhotoId, patches: list[Patch]) -> None:
        width, height = self._sizes[photo]
        reduce = min(patch.view.reduce for patch in patches)
        with self._room.taken(BYTES_PER_PX * width * height // reduce**2):
            rgb = self._load(photo, reduce)
            for patch in sorted(patches, key=lambda patch: patch.view.reduce):
                rgb, reduce = _shrunk(rgb, patch.view.reduce // reduce), patch.view.reduce
                place = patch.view.registration, self._sheet, patch.panel, patch.window
                patch.rgb = rectify_window(rgb, *place, reduce=reduce)


def _shrunk(rgb: RgbArray, by: int) -> RgbArray:
    """Means of blocks, aligned as ``io.photos.decode`` aligns; without a last block that is not whole."""
    if by == 1:
        return rgb
    rows, columns = max(1, rgb.shape[0] // by), max(1, rgb.shape[1] // by)
    whole = rgb[: rows * by, : columns * by]
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), dtype=np.uint8)
