"""Points of a photo that can be found again in another: SIFT (Lowe, 2004), by OpenCV."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray, PhotoId

__all__ = ["Features", "find_features"]

CONTRAST = 0.01
"""Rust and underseal are dull: a quarter of OpenCV's default contrast threshold."""

MOST_FEATURES = 6000
"""The strongest are kept; enough for overlaps of a tenth of a photo."""

LONGEST_PX = 2000
"""A photo is reduced to this before features are looked for; SIFT's own octaves
span the scales from there down."""


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """What was found in one photo.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    at_px : ndarray of float64, shape (N, 2)
        Where, pixels of the full photo.
    descriptors : ndarray of float32, shape (N, 128)
        What they look like: square roots of SIFT's, which compares better
        (Arandjelovic and Zisserman, 2012; cited from memory).
    """

    photo: PhotoId
    at_px: FloatArray
    descriptors: NDArray[np.float32]


def find_features(photo: PhotoId, grey: NDArray[np.uint8]) -> Features:
    """Find points that can be found again.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    grey : ndarray of uint8, shape (H, W)
        Its pixels, upright, full size.

    Returns
    -------
    Features
        Perhaps none; the strongest first.

    Raises
    ------
    InvalidValueError
        If the pixels are not grey.
    """
    if grey.ndim != 2 or grey.dtype != np.uint8:
        raise InvalidValueError(f"photo '{photo}': expected grey pixels (H, W) of uint8, found {grey.shape}")
    scale = min(1.0, LONGEST_PX / max(grey.shape))
    small = grey
    if scale < 1:
        size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
        small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    sift = cv2.SIFT.create(nfeatures=MOST_FEATURES, contrastThreshold=CONTRAST)
    points, descriptors = sift.detectAndCompute(small, None)
    if descriptors is None:
        return Features(photo, np.empty((0, 2)), np.empty((0, 128), dtype=np.float32))
    strongest = np.argsort([-point.response for point in points], kind="stable")
    points, descriptors = [points[i] for i in strongest], descriptors[strongest]
    at = np.array([point.pt for point in points], dtype=np.float64)
    factor = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    shares = descriptors / np.maximum(descriptors.sum(axis=1, keepdims=True), 1e-9)
    return Features(photo, (at + 0.5) * factor - 0.5, np.asarray(np.sqrt(shares), dtype=np.float32))
