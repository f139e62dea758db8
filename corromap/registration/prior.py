"""The lens of a photo before its points say anything of it."""

from __future__ import annotations

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.lens import Lens
from corromap.survey import Photo

__all__ = ["prior_lens"]

SIGMA_K1 = 0.05
"""Ours: spread of k1 about zero among cameras whose focal length EXIF gives. At
the corner of a 26 mm equivalent picture it moves a pixel by 3.5 % of its radius."""

SIGMA_K1_UNKNOWN = 0.1
"""Ours: the same when the focal length is assumed too."""

SIGMA_CENTRE = 0.02
"""Ours: spread of the lens centre about the middle of the photo, in units of the
focal length; some 1.5 % of the width of a 26 mm equivalent picture."""

ASSUMED_FOCAL_35MM = 26.0
"""Main camera of a phone, 35 mm equivalent; common practice."""

DIAGONAL_35MM = 43.266615
"""Diagonal of the 36 x 24 mm frame that equivalent focal lengths refer to, mm."""


def prior_lens(photo: Photo) -> Lens:
    """Take the lens of a photo from EXIF, or assume one.

    Parameters
    ----------
    photo : Photo
        The photo.

    Returns
    -------
    Lens
        ``k1`` = 0 about the middle of the photo, with a stated uncertainty.
    """
    centre = np.array([photo.width_px - 1, photo.height_px - 1]) / 2.0
    if photo.focal_px is not None:
        source = f"focal length from EXIF, k1 = 0 within {SIGMA_K1:g} assumed"
        return Lens(photo.camera, centre, photo.focal_px, 0.0, SIGMA_K1, source, _covariance(SIGMA_K1))
    focal = ASSUMED_FOCAL_35MM / DIAGONAL_35MM * float(np.hypot(photo.width_px, photo.height_px))
    source = f"focal length assumed ({ASSUMED_FOCAL_35MM:g} mm equivalent), k1 = 0 within {SIGMA_K1_UNKNOWN:g} assumed"
    return Lens(photo.camera, centre, focal, 0.0, SIGMA_K1_UNKNOWN, source, _covariance(SIGMA_K1_UNKNOWN))


def _covariance(sigma_k1: float) -> FloatArray:
    return np.diag([sigma_k1**2, SIGMA_CENTRE**2, SIGMA_CENTRE**2])
