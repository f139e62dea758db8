"""Photos that are the same, byte by byte or to the eye."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from corromap.errors import InvalidValueError
from corromap.evidence.quality import RgbArray, luma
from corromap.frames import PhotoId

__all__ = ["Duplicate", "find_duplicates", "hash_distance", "look_hash"]

HASH_SIDE, SMALL_SIDE = 8, 32
NEAR_BITS = 10
"""Most differing bits, of 64, of a near duplicate. Two unrelated photos differ
in 32 on average, standard deviation 4; the tests measure both ends."""


@dataclass(frozen=True, slots=True)
class Duplicate:
    """Two photos that show the same picture.

    Parameters
    ----------
    photo, earlier : PhotoId
        The photo, and the one before it in the survey.
    is_exact : bool
        The same bytes.
    bits : int
        Differing bits of the hashes; 0 for exact ones.
    """

    photo: PhotoId
    earlier: PhotoId
    is_exact: bool
    bits: int


def look_hash(rgb: RgbArray) -> int:
    """Compute a 64-bit hash of what a picture looks like.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        The upright picture, of any size.

    Returns
    -------
    int
        One bit for each of the 8 x 8 lowest cosine coefficients: above their
        median or not. Scaling, recompression and brightness hardly change it;
        rotation and heavy cropping do.

    Raises
    ------
    InvalidValueError
        If the picture is smaller than 32 x 32 px.
    """
    if min(rgb.shape[:2]) < SMALL_SIDE:
        raise InvalidValueError(f"picture hash: expected at least 32 x 32 px, found {rgb.shape[1]} x {rgb.shape[0]}")
    low = fft.dctn(_small(luma(rgb)), norm="ortho")[:HASH_SIDE, :HASH_SIDE].ravel()
    bits = low > np.median(low[1:])  # the first is the mean brightness
    return int("".join("1" if bit else "0" for bit in bits), 2)


def _small(grey: NDArray[np.float32]) -> NDArray[np.float64]:
    """Means over 32 x 32 parts: no part of the picture is skipped."""
    small = cv2.resize(grey, (SMALL_SIDE, SMALL_SIDE), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.float64)


def hash_distance(one: int, other: int) -> int:
    """Count the bits in which two hashes differ.

    Parameters
    ----------
    one, other : int
        From `look_hash`.

    Returns
    -------
    int
        0 to 64.
    """
    return (one ^ other).bit_count()


def find_duplicates(digests: Mapping[PhotoId, str], hashes: Mapping[PhotoId, int]) -> tuple[Duplicate, ...]:
    """Find photos that repeat an earlier one.

    Parameters
    ----------
    digests : mapping of PhotoId to str
        SHA-256 of the bytes, in the survey's order.
    hashes : mapping of PhotoId to int
        From `look_hash`; photos without one are compared by bytes only.

    Returns
    -------
    tuple of Duplicate
        At most one for each photo: its nearest earlier one.
    """
    found, before = [], list[PhotoId]()
    for photo, digest in digests.items():
        near = [Duplicate(photo, p, digests[p] == digest, _bits(hashes, photo, p)) for p in before]
        near = [d for d in near if d.is_exact or d.bits <= NEAR_BITS]
        if near:
            found.append(min(near, key=lambda d: (not d.is_exact, d.bits)))
        before.append(photo)
    return tuple(found)


def _bits(hashes: Mapping[PhotoId, int], one: PhotoId, other: PhotoId) -> int:
    if one in hashes and other in hashes:
        return hash_distance(hashes[one], hashes[other])
    return 64
