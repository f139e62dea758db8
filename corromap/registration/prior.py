"""The lens of a photo before its points say anything of it."""

from __future__ import annotations

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.lens import Lens
from corromap.survey import Photo

__all__ = ["prior_lens", "shared_sigma"]

SIGMA_K1 = 0.05
"""Ours: spread of k1 about zero among cameras whose focal length EXIF gives. At
the corner of a 26 mm equivalent picture it moves a pixel by 3.5 % of its radius."""

SIGMA_K1_UNKNOWN = 0.1
"""Ours: the same when the focal length is assumed too."""

SIGMA_CENTRE = 0.02
"""Ours: spread of the lens centre about the middle of the photo, in units of the
focal length; some 1.5 % of the width of a 26 mm equivalent picture."""

SIGMA_FOCAL = 0.03
"""Ours: relative error of the focal length that EXIF gives. A 35 mm equivalent is
rounded to whole millimetres (1 % at 26 mm) and counted by diagonal or by width."""

SIGMA_FOCAL_UNKNOWN = 0.25
"""Ours: the same when it is assumed; holds 16 to 42 mm equivalents within two sigma."""

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


def shared_sigma(photo: Photo) -> FloatArray:
    """Tell how well the shared parameters of a photo's camera are known beforehand.

    Parameters
    ----------
    photo : Photo
        The photo.

    Returns
    -------
    ndarray of float64, shape (4,)
        Standard uncertainty of ``k1``, of the centre across and down in units of
        the focal length, and relative of the focal length.
    """
    k1, focal = (SIGMA_K1_UNKNOWN, SIGMA_FOCAL_UNKNOWN) if photo.focal_px is None else (SIGMA_K1, SIGMA_FOCAL)
    return np.array([k1, SIGMA_CENTRE, SIGMA_CENTRE, focal])
