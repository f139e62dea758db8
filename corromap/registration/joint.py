"""Lens and focal length of a camera, estimated together with everything that is placed by it.

Photos with a camera of their own and photos placed panel by panel say what
they know of the lens; poses and panel matrices are eliminated one by one
(Schur complement), so that four numbers are left to solve for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.camera import CameraFit, CameraPose
from corromap.registration.homography import apply
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import PanelFit, least_squares

__all__ = ["Joint", "Known", "follow", "moved_lens", "solve_jointly"]

LARGEST = np.array([0.6, 0.15, 0.15, 1.0])
"""No estimate of ``k1``, of the centre or of the focal length's logarithm leaves +- these."""

STEPS = 25
LEAST_STEPS = 1
SMALLEST_CHANGE = 1e-6

Mask = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What is known of a camera before its photos are looked at.

    Parameters
    ----------
    prior : ndarray of float64, shape (4,)
        Standard uncertainty of what is shared.
    sigma_px : float
        Standard error of a click.
    held : bool
        Leave the centre where it is.
    """

    prior: FloatArray
    sigma_px: float
    held: bool


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """What a camera's photos say together.

    Parameters
    ----------
    shared : ndarray of float64, shape (4,)
        ``k1``, shift of the centre, logarithm of the focal length over the stated.
    covariance : ndarray of float64, shape (4, 4)
        Theirs.
    cameras : tuple of CameraFit
        The cameras, moved to the shared lens, in the order given.
    freedom : int
        Coordinates to spare.
    """

    shared: FloatArray
    covariance: FloatArray
    cameras: tuple[CameraFit, ...]
    freedom: int


def solve_jointly(
    cameras: Sequence[CameraFit],
    panels: Sequence[PanelFit],
    lenses: Sequence[Lens],
    known: Known,
) -> Joint:
    """Estimate what the photos of a camera share.

    Parameters
    ----------
    cameras : sequence of CameraFit
        Photos with a camera of their own, at least one.
    panels : sequence of PanelFit
        Fits of the other photos, with the lens as known beforehand.
    lenses : sequence of Lens
        Of the photos in `cameras`, as known beforehand.
    known : Known
        What is known before.

    Returns
    -------
    Joint
        The estimate; where the photos say nothing it is the prior.
    """
    free, prior, sigma_px = np.array([True, not known.held, not known.held, True]), known.prior, known.sigma_px
    own = np.array([_shared_of(fit, lens) for fit, lens in zip(cameras, lenses, strict=True)])
    shared = np.where(free, np.median(own, axis=0), 0.0)
    moved: list[CameraFit | PanelFit] = [_placed_at(f, lens, shared) for f, lens in zip(cameras, lenses, strict=True)]
    moved += [follow(fit, shared) for fit in panels]
    freedom = sum(fit.freedom for fit in moved)
    variance, information = sigma_px**2, np.diag(prior**-2.0)
    for _ in range(2):
        shared, moved, information = _solve(moved, shared, prior, variance, free)
        spread = sum(fit.square_sum_px2 for fit in moved) / max(freedom - int(free.sum()), 1)
        if max(sigma_px**2, spread) == variance:
            break
        variance = max(sigma_px**2, spread)
    covariance = np.diag(prior**2)
    covariance[np.ix_(free, free)] = np.linalg.inv(information)
    ends = tuple(fit for fit in moved if isinstance(fit, CameraFit))
    return Joint(shared, covariance, ends, freedom)


def _shared_of(fit: CameraFit, lens: Lens) -> FloatArray:
    shift = (fit.lens.centre_px - lens.centre_px) / lens.focal_px
    return np.array([fit.lens.k1 - lens.k1, *shift, fit.log_focal])


def _placed_at(fit: CameraFit, lens: Lens, shared: FloatArray) -> CameraFit:
    pose = CameraPose(fit.pose.rotation, fit.pose.shift_mm, lens.focal_px * float(np.exp(shared[3])))
    start = replace(fit.problem, lens=moved_lens(lens, shared)).at(pose)
    if not start.is_in_front:
        return fit
    step = least_squares(start.jacobian, start.weighted_px)
    moved = start.moved(step)
    return moved if moved.is_in_front else start


def moved_lens(lens: Lens, shared: FloatArray) -> Lens:
    """Change a lens by shared parameters.

    Parameters
    ----------
    lens : Lens
        The lens.
    shared : ndarray of float64, shape (4,)
        The change; the focal length's is not the lens's own, which is a unit.

    Returns
    -------
    Lens
        With other ``k1`` and centre, and the old uncertainty.
    """
    return replace(lens, k1=lens.k1 + float(shared[0]), centre_px=lens.centre_px + lens.focal_px * shared[1:3])


def follow(fit: CameraFit | PanelFit, change: FloatArray) -> CameraFit | PanelFit:
    """Move a fit to another lens by the linear move; hold it if that meets the horizon.

    Parameters
    ----------
    fit : CameraFit or PanelFit
        The fit.
    change : ndarray of float64, shape (4,)
        Of the shared parameters.

    Returns
    -------
    CameraFit or PanelFit
        The same kind.
    """
    by_shared, missed = _design(fit)
    return _stepped(fit, least_squares(fit.jacobian, missed - by_shared @ change), change)


def _stepped(fit: CameraFit | PanelFit, step: FloatArray, change: FloatArray) -> CameraFit | PanelFit:
    if isinstance(fit, CameraFit):
        moved = fit.moved(step, change)
        return moved if moved.is_in_front else fit.moved(np.zeros(6), change)
    problem = replace(fit.problem, lens=moved_lens(fit.lens, change))
    matrix = fit.matrix + (fit.basis @ step).reshape(3, 3)
    matrix /= np.linalg.norm(matrix)
    return problem.linearised(matrix if (apply(matrix, problem.a)[1] > 0).all() else fit.matrix)


def _design(fit: CameraFit | PanelFit) -> tuple[FloatArray, FloatArray]:
    """How the photo moves with what is shared, and what is missed; a panel's matrix takes up any focal length."""
    if isinstance(fit, CameraFit):
        return fit.by_shared, fit.weighted_px
    by_lens = fit.by_lens
    return np.hstack([by_lens, np.zeros((len(by_lens), 1))]), fit.residual_px.ravel()


def _solve(
    fits: Sequence[CameraFit | PanelFit], shared: FloatArray, prior: FloatArray, variance: float, free: Mask
) -> tuple[FloatArray, list[CameraFit | PanelFit], FloatArray]:
    weight = np.diag(prior[free] ** -2.0)
    moved, information = list(fits), weight
    for count in range(STEPS):
        information, pull = weight, -weight @ shared[free]
        taken_up = []
        for fit in moved:
            by_shared, missed = _design(fit)
            solved = least_squares(fit.jacobian, np.column_stack([by_shared, missed]))
            across = (by_shared - fit.jacobian @ solved[:, :-1])[:, free]
            information = information + across.T @ across / variance
            pull = pull + across.T @ missed / variance
            taken_up.append(solved)
        new = shared.copy()
        new[free] += np.linalg.solve(information, pull)
        new = np.clip(new, -LARGEST, LARGEST)
        change = new - shared
        moved = [
            _stepped(fit, taken[:, -1] - taken[:, :-1] @ change, change)
            for fit, taken in zip(moved, taken_up, strict=True)
        ]
        shared = new
        if count >= LEAST_STEPS and float(np.abs(change).max()) < SMALLEST_CHANGE:
            break
    return shared, moved, np.asarray(information, dtype=np.float64)
