"""A photo's camera in an adjusted network, and the errors all its photos share.

The covariance of all cameras together is taken apart into what goes with the
lenses, a few directions that photos share, and the rest of each photo. So one
photo's own error stays exact, and photos that hang on the same points move
together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import eigh

from corromap.frames import CameraId, DatumId, FloatArray, PhotoId
from corromap.registration.camera import POSE, CameraPose
from corromap.registration.lens import Lens
from corromap.registration.network.solve import Adjusted
from corromap.registration.network.view import View

__all__ = ["LINKED", "MODES", "LinkedCamera", "SharedErrors", "adjusted_lens", "lenses_by_group", "shared_errors"]

LINKED = "linked"
"""Name of the lenses of a network: they are not those of photos outside it."""

MODES = 24
"""Directions in which photos of a network err together, at most."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedErrors:
    """The errors of a network, taken apart.

    Parameters
    ----------
    label : str
        Of the directions that photos share.
    by_shared : ndarray of float64, shape (6 V + 3 + P, 4 G)
        How poses, scales and panels go with lenses and focal lengths.
    modes : ndarray of float64, shape (6 V + 3 + P, R)
        Shared directions, each of standard error 1.
    rest : ndarray of float64, shape (6 V + 3 + P, 6 V + 3 + P)
        Covariance of what is left.
    """

    label: str
    by_shared: FloatArray
    modes: FloatArray
    rest: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LinkedCamera:
    """One photo's camera in an adjusted network.

    Parameters
    ----------
    network : Adjusted
        All of it.
    errors : SharedErrors
        Its errors.
    index : int
        Which view.
    lenses : tuple of Lens
        Of the cameras, as adjusted, by group; the photo's own is `lens`.
    lens : Lens
        The photo's.
    tied_px : ndarray of float64, shape (N, 2)
        Tied points in this photo.
    hull_px : ndarray of float64, shape (H, 2)
        Corners of what is sighted and tied in it.
    missed_px : ndarray of float64, shape (K, 2)
        Misses of its sightings.
    tied_miss_px : ndarray of float64, shape (M, 2)
        Misses of tied points in this photo, or in its neighbours where it has none.
    depths_mm : ndarray of float64, shape (K,)
        How far ahead the sighted and the tied points lie.
    neighbours : tuple of PhotoId
        Photos it is tied to.
    warnings : tuple of str
        Sentences for the person.
    """

    network: Adjusted
    errors: SharedErrors
    index: int
    lenses: tuple[Lens, ...]
    lens: Lens
    tied_px: FloatArray
    hull_px: FloatArray
    missed_px: FloatArray
    tied_miss_px: FloatArray
    depths_mm: FloatArray
    neighbours: tuple[PhotoId, ...]
    warnings: tuple[str, ...] = ()

    @property
    def view(self) -> View:
        """The photo with its sightings."""
        return self.network.problem.views[self.index]

    @property
    def pose(self) -> CameraPose:
        """Where it was taken from, in the template's car frame.

        The body is a little longer or shorter than the template; the eye is
        carried back to the template, so that lines of sight stay what they are.
        """
        state, problem = self.network.state, self.network.problem
        rotation = state.rotations[self.index]
        eye = -rotation.T @ state.shifts_mm[self.index]
        eye = problem.middle_mm + (eye - problem.middle_mm) / state.scale
        return CameraPose(rotation, -rotation @ eye, state.focal_px(self.view))

    def weights(self, datums: Iterable[DatumId]) -> FloatArray:
        """Look up what sightings count for.

        Parameters
        ----------
        datums : iterable of DatumId
            Sightings of this photo.

        Returns
        -------
        ndarray of float64, shape (N,)
            Weights in the adjustment.
        """
        rows = [self.view.ids.index(datum) for datum in datums]
        return np.asarray(self.view.weight[rows])


def shared_errors(network: Adjusted, label: str, most: int = MODES) -> SharedErrors:
    """Take the errors of a network apart.

    Parameters
    ----------
    network : Adjusted
        The network.
    label : str
        For the shared directions.
    most : int
        Of them; with none a photo's whole error is its own, which is right for one photo alone.

    Returns
    -------
    SharedErrors
        The covariance of every photo alone is kept to the last digit; that
        between photos in its largest directions.
    """
    problem = network.problem
    first = problem.scale_columns.start
    geometry = np.r_[0 : POSE * len(problem.views), first : problem.size]
    shared = np.arange(POSE * len(problem.views), first)
    whole = network.covariance
    within = whole[np.ix_(shared, shared)]
    by_shared = np.linalg.solve(within, whole[np.ix_(shared, geometry)]).T
    left = whole[np.ix_(geometry, geometry)] - by_shared @ whole[np.ix_(shared, geometry)]
    last, modes = len(left) - 1, np.zeros((len(left), 0))
    if most:
        values, vectors = eigh((left + left.T) / 2.0, subset_by_index=(max(0, last + 1 - most), last))
        modes = np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
    return SharedErrors(label, by_shared, modes, left - modes @ modes.T)


def lenses_by_group(network: Adjusted) -> tuple[Lens, ...]:
    """Take a lens of every camera as adjusted.

    Parameters
    ----------
    network : Adjusted
        The network.

    Returns
    -------
    tuple of Lens
        By group, each of one of its views.
    """
    views = {view.group: view for view in network.problem.views}
    return tuple(adjusted_lens(network, views[group]) for group in range(network.problem.groups))


def adjusted_lens(network: Adjusted, view: View) -> Lens:
    """Take a view's lens as adjusted, with the covariance of its camera's.

    Parameters
    ----------
    network : Adjusted
        The network.
    view : View
        The photo.

    Returns
    -------
    Lens
        Shared by the photos of the camera in this network.
    """
    columns = network.problem.shared_columns[view.group]
    covariance = network.covariance[columns, columns][:3, :3]
    lens, given = network.state.lens(view), view.photo.camera or view.photo.id
    focal = lens.source.split(",", maxsplit=1)[0]
    return replace(
        lens,
        camera=CameraId(f"{given}, {LINKED}"),
        sigma_k1=float(np.sqrt(covariance[0, 0])),
        covariance=covariance,
        source=f"{focal}, distortion estimated from {len(network.problem.views)} linked photos together",
    )
