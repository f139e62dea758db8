"""Plain words for where in a photo something is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from corromap.messages import message

__all__ = ["REGIONS", "place_words"]

NEARLY_ALL, WORTH_TELLING, ALIKE = 0.85, 0.08, 0.6
"""Shares of the photo, and the overlap (intersection over union) at which a
region's name fits. Ours."""


@lru_cache(maxsize=8)
def _regions(rows: int, columns: int) -> Mapping[str, NDArray[np.bool_]]:
    y = ((np.arange(rows) + 0.5) / rows)[:, None]
    x = ((np.arange(columns) + 0.5) / columns)[None, :]
    left, right, top, bottom = x < 1 / 3, x > 2 / 3, y < 1 / 3, y > 2 / 3
    whole = np.ones((rows, columns), dtype=bool)
    middle = (abs(x - 0.5) < 0.25) & (abs(y - 0.5) < 0.25)
    return {
        "the left third": left & whole,
        "the right third": right & whole,
        "the upper third": top & whole,
        "the lower third": bottom & whole,
        "the left half": (x < 0.5) & whole,
        "the right half": (x > 0.5) & whole,
        "the upper half": (y < 0.5) & whole,
        "the lower half": (y > 0.5) & whole,
        "the left two thirds": ~right & whole,
        "the right two thirds": ~left & whole,
        "the upper two thirds": ~bottom & whole,
        "the lower two thirds": ~top & whole,
        "the middle": middle,
        "anything but the middle": ~middle,
        "the upper left corner": (x < 0.4) & (y < 0.4),
        "the upper right corner": (x > 0.6) & (y < 0.4),
        "the lower left corner": (x < 0.4) & (y > 0.6),
        "the lower right corner": (x > 0.6) & (y > 0.6),
        "both sides": (left | right) & whole,
    }


def place_words(wrong: NDArray[np.bool_], what: str) -> str:
    """Say where in a photo something is wrong.

    Parameters
    ----------
    wrong : ndarray of bool, shape (R, C)
        Cells where it is.
    what : str
        For example ``too dark to judge``.

    Returns
    -------
    str
        For example ``too dark to judge the left third``; empty if it is too
        little to mention.
    """
    share = float(wrong.mean())
    if share < WORTH_TELLING:
        return ""
    if share > NEARLY_ALL:
        everywhere, nearly = (
            message("{what} anywhere", what=message(what)),
            message("{what} nearly anywhere", what=message(what)),
        )
        return everywhere if share > 0.97 else nearly
    overlap = {
        name: float((region & wrong).sum() / max(1, (region | wrong).sum()))
        for name, region in _regions(*wrong.shape).items()
    }
    best = max(overlap, key=lambda name: overlap[name])
    if overlap[best] >= ALIKE:
        return message("{what} {region}", what=message(what), region=message(best))
    return message("{what} about {percent} % of it", what=message(what), percent=max(10, 10 * round(10 * share)))


REGIONS = tuple(_regions(3, 3))
"""Names of the regions."""
