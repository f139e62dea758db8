"""What registration yields: a photo's place on a panel, or why it has none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from corromap.errors import InvalidValueError
from corromap.frames import DatumId, FloatArray, PanelId, PhotoId, frozen_array
from corromap.registration.camera import CameraPose
from corromap.registration.homography import apply, homogeneous
from corromap.registration.lens import Lens
from corromap.uncertainty import ErrorSource

__all__ = [
    "CameraPose",
    "FailureReason",
    "Lens",
    "Registration",
    "RegistrationFailure",
    "camera_label",
    "clicks_label",
    "focal_label",
    "lens_label",
    "panel_place_label",
]


class FailureReason(StrEnum):
    """Why a photo could not be placed on a panel."""

    TOO_FEW = "too few"
    DUPLICATE = "duplicate"
    COLLINEAR = "collinear"
    TOO_NEAR = "too near together"
    MIRRORED = "mirrored"
    CROSSED = "crossed"
    POOR_FIT = "poor fit"
    LINKS = "links"


@dataclass(frozen=True, slots=True)
class RegistrationFailure:
    """A photo that has no place on a panel yet.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.
    reason : FailureReason
        Why.
    message : str
        One sentence for the person, ending in what to do next.
    suspects : tuple of DatumId
        Sightings most likely at fault, worst first.
    """

    photo: PhotoId
    panel: PanelId
    reason: FailureReason
    message: str
    suspects: tuple[DatumId, ...] = ()


def clicks_label(photo: PhotoId, panel: PanelId) -> str:
    """Label of the error source made by the clicks of one photo on one panel.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.

    Returns
    -------
    str
        For example ``clicks:photo-3/floor-left``.
    """
    return f"clicks:{photo}/{panel}"


def camera_label(photo: PhotoId) -> str:
    """Label of the error source made by the clicks of one photo on its camera.

    Parameters
    ----------
    photo : PhotoId
        The photo.

    Returns
    -------
    str
        For example ``clicks:photo-3``; shared by every panel of the photo.
    """
    return f"clicks:{photo}"


def panel_place_label(photo: PhotoId, panel: PanelId) -> str:
    """Label of the error source made by how far a panel lies from what was sighted.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.

    Returns
    -------
    str
        For example ``body:photo-3/floor-left``.
    """
    return f"body:{photo}/{panel}"


def focal_label(lens: Lens, photo: PhotoId) -> str:
    """Label of the error source made by a focal length, shared by a camera's photos.

    Parameters
    ----------
    lens : Lens
        The lens.
    photo : PhotoId
        Used when the lens belongs to no camera.

    Returns
    -------
    str
        For example ``focal:camera-1``.
    """
    return f"focal:{photo if lens.camera is None else lens.camera}"


def lens_label(lens: Lens, photo: PhotoId) -> str:
    """Label of the error source made by a lens, shared by a camera's photos.

    Parameters
    ----------
    lens : Lens
        The lens.
    photo : PhotoId
        Used when the lens belongs to no camera.

    Returns
    -------
    str
        For example ``lens:camera-1``.
    """
    return f"lens:{photo if lens.camera is None else lens.camera}"


@dataclass(frozen=True, slots=True, eq=False)
class Registration:
    """Where a photo sits on a panel, and how well that is known.

    It says nothing of how it was found: a fit to one panel's sightings and a
    camera solved over the whole car yield the same type.

    Parameters
    ----------
    photo : PhotoId
        The photo.
    panel : PanelId
        The panel.
    lens : Lens
        The photo's lens.
    matrix : array_like, shape (3, 3)
        Undistorted pixels to panel millimetres, scaled so that the mean of
        ``w`` over the sightings is 1.
    w_min : float
        Smallest ``w`` that counts as on the panel: a set share of the smallest
        ``w`` at a sighting. Less is too near the horizon.
    datum_ids : tuple of DatumId
        What was sighted, N of them.
    datum_mm : array_like, shape (N, 2)
        Where the template has them on this panel.
    sighted_px : array_like, shape (N, 2)
        Where they were clicked.
    residual_px : array_like, shape (N, 2)
        Clicked minus fitted, pixels of the photo.
    residual_mm : array_like, shape (N, 2)
        The click carried to the panel minus the datum point.
    rms_px, rms_mm : float
        Root of the mean squared length of the residuals.
    sigma_px : float
        Standard error of one click per axis that the covariances stand on: the
        larger of the setting and what the residuals show.
    hull_px : array_like, shape (K, 2)
        Convex hull of the clicks; outside it the fit is extrapolated.
    method : str
        How it was found: ``panel`` for a fit to one panel, ``camera`` for a camera
        solved from points anywhere on the body; then `datum_ids` may be empty and
        `hull_px` is that of all the photo's points.
    sources : tuple of ErrorSource
        Independent sources of its error.
    matrix_by_source : mapping of str to array_like, shape (3, 3, P)
        Derivative of `matrix` by each of them. For the lens this is the refit:
        how the matrix follows a change of ``k1`` or of the centre.
    warnings : tuple of str
        Sentences for the person.
    camera : CameraPose or None
        Where the photo was taken from in the car frame, when that was solved.
    reason : str
        Why this method was chosen, one sentence; empty where there was no choice.

    Raises
    ------
    InvalidValueError
        If a sighting is beyond the horizon, or the parts do not fit together.
    """

    photo: PhotoId
    panel: PanelId
    lens: Lens
    matrix: FloatArray
    w_min: float
    datum_ids: tuple[DatumId, ...]
    datum_mm: FloatArray
    sighted_px: FloatArray
    residual_px: FloatArray
    residual_mm: FloatArray
    rms_px: float
    rms_mm: float
    sigma_px: float
    hull_px: FloatArray
    method: str
    sources: tuple[ErrorSource, ...]
    matrix_by_source: Mapping[str, FloatArray]
    warnings: tuple[str, ...] = ()
    camera: CameraPose | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        what = f"registration of photo '{self.photo}' on panel '{self.panel}'"
        object.__setattr__(self, "matrix", frozen_array(self.matrix, (3, 3), what))
        for name in ("datum_mm", "sighted_px", "residual_px", "residual_mm"):
            value = frozen_array(getattr(self, name), (len(self.datum_ids), 2), f"{what}, {name}")
            object.__setattr__(self, name, value)
        object.__setattr__(self, "hull_px", frozen_array(self.hull_px, (-1, 2), f"{what}, hull_px"))
        moved = {
            source.label: frozen_array(
                self.matrix_by_source[source.label], (3, 3, len(source.covariance)), f"{what}, {source.label}"
            )
            for source in self.sources
        }
        object.__setattr__(self, "matrix_by_source", moved)
        w = apply(self.matrix, self.lens.undistort(self.sighted_px))[1]
        if self.w_min <= 0 or (w < self.w_min).any():
            raise InvalidValueError(f"{what}: a sighting lies beyond the horizon")

    def to_mm(self, xy_px: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Carry pixels of the photo to the panel.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo as it is, distorted.

        Returns
        -------
        xy_mm : ndarray of float64, shape (N, 2)
            Panel millimetres; NaN where ``w < w_min``, at or beyond the horizon.
        w : ndarray of float64, shape (N,)
            About 1 at the sightings, falling to 0 at the horizon.
        """
        xy_mm, w = apply(self.matrix, self.lens.undistort(xy_px))
        xy_mm[w < self.w_min] = np.nan
        return xy_mm, w

    def to_px(self, xy_mm: ArrayLike) -> FloatArray:
        """Carry panel millimetres to pixels of the photo.

        Parameters
        ----------
        xy_mm : array_like, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Pixels of the photo, also outside its frame; NaN behind the camera.
        """
        return self.lens.distort(self.to_straight(xy_mm))

    def to_straight(self, xy_mm: ArrayLike) -> FloatArray:
        """Carry panel millimetres to pixels with the lens taken out.

        Parameters
        ----------
        xy_mm : array_like, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            Pixels, also outside the frame; NaN behind the camera.
        """
        uv = np.asarray(xy_mm, dtype=np.float64).reshape(-1, 2)
        straight, w = apply(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), uv)
        straight[w <= 0] = np.nan
        return straight

    def jacobian(self, xy_px: ArrayLike) -> FloatArray:
        """Differentiate panel millimetres by photo pixels, lens included.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo.

        Returns
        -------
        ndarray of float64, shape (N, 2, 2)
            d mm / d px; NaN where `to_mm` is.
        """
        straight = self.lens.undistort(xy_px)
        return np.asarray(self.straight_jacobian(straight) @ self.lens.undistort_jacobian_at(straight))

    def sensitivities(self, xy_px: ArrayLike) -> dict[str, FloatArray]:
        """Differentiate panel millimetres by each source of error.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo, held fixed.

        Returns
        -------
        dict of str to ndarray of float64, shape (N, 2, P)
            By the labels of `sources`; NaN where `to_mm` is.
        """
        undistorted = self.lens.undistort(xy_px)
        xy_mm, w = apply(self.matrix, undistorted)
        w = np.where(w < self.w_min, np.nan, w)
        a = homogeneous(undistorted)
        moved = {}
        for label, by_source in self.matrix_by_source.items():
            q = np.einsum("nj,ijp->nip", a, by_source)
            moved[label] = (q[:, :2] - xy_mm[:, :, None] * q[:, 2:]) / w[:, None, None]
        label = lens_label(self.lens, self.photo)
        if label in moved:
            shift = self.lens.undistort_by_lens_at(undistorted)
            moved[label] = moved[label] + self.straight_jacobian(undistorted) @ shift
        return moved

    def detail(self, xy_px: ArrayLike) -> FloatArray:
        """Coarsest millimetres of panel per photo pixel.

        Parameters
        ----------
        xy_px : array_like, shape (N, 2)
            Pixels of the photo.

        Returns
        -------
        ndarray of float64, shape (N,)
            Largest singular value of the Jacobian, mm/px; NaN where `to_mm` is.
        """
        return self.straight_detail(self.lens.undistort(xy_px))

    def straight_detail(self, straight_px: FloatArray) -> FloatArray:
        """Coarsest millimetres of panel per photo pixel, where the lens is already taken out.

        Parameters
        ----------
        straight_px : ndarray of float64, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N,)
            As `detail` at the photo pixels that show them.
        """
        jacobian = self.straight_jacobian(straight_px) @ self.lens.undistort_jacobian_at(straight_px)
        a, b, c, d = np.moveaxis(jacobian.reshape(-1, 4), 1, 0)
        # singular values of a 2 x 2 matrix in closed form
        return np.asarray((np.hypot(a + d, b - c) + np.hypot(a - d, b + c)) / 2.0)

    def straight_jacobian(self, straight_px: FloatArray) -> FloatArray:
        """Differentiate panel millimetres by undistorted pixels.

        Parameters
        ----------
        straight_px : ndarray of float64, shape (N, 2)
            Undistorted pixels.

        Returns
        -------
        ndarray of float64, shape (N, 2, 2)
            d mm / d px; NaN beyond the horizon.
        """
        xy_mm, w = apply(self.matrix, straight_px)
        w = np.where(w < self.w_min, np.nan, w)
        top = self.matrix[:2, :2] - xy_mm[:, :, None] * self.matrix[2, :2]
        return np.asarray(top / w[:, None, None])
