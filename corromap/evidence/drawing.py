"""Photos drawn into the patches that want them: each decoded once, ahead of the tiles that are put together."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor, Future

import cv2
import numpy as np

from corromap.evidence.contest import Patch
from corromap.evidence.quality import RgbArray
from corromap.evidence.rectified import LoadPhoto, rectify_window
from corromap.evidence.sheet import PictureSheet
from corromap.frames import PhotoId

__all__ = ["WORKERS", "Drawing"]

WORKERS = 1
"""Decoding leaves Python free, so one works ahead while tiles are blended. A second one kept some 50 MB more with 40
photos of 24 megapixels."""


class Drawing:
    """Draws photos into patches, in threads, in the order in which they were given.

    What is drawn depends on the photo and the patch alone, not on the threads.

    Parameters
    ----------
    sheet : PictureSheet
        The raster.
    load : callable
        Gives a photo's upright pixels; called from the pool's threads.
    patches : sequence of Patch
        What is to be drawn, first needed first.
    pool : Executor
        Where it is done.
    """

    def __init__(self, sheet: PictureSheet, load: LoadPhoto, patches: Sequence[Patch], pool: Executor) -> None:
        self._sheet, self._load = sheet, load
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
        reduce = min(patch.view.reduce for patch in patches)
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
