"""Plane-to-plane maps: applying, starting and differentiating them."""

from __future__ import annotations

import numpy as np

from corromap.frames import FloatArray

__all__ = ["apply", "direct_linear", "homogeneous", "normaliser", "projection_jacobian"]


def homogeneous(xy: FloatArray) -> FloatArray:
    """Append a one to each point.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    ndarray of float64, shape (N, 3)
        The same with a third coordinate of 1.
    """
    return np.column_stack([xy, np.ones(len(xy))])


def apply(matrix: FloatArray, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Map points through a 3 x 3 matrix and tell on which side they lie.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    mapped : ndarray of float64, shape (N, 2)
        NaN where ``w`` is zero. Where it is negative the numbers are those of
        the mirrored place beyond the horizon: the caller must look at ``w``.
    w : ndarray of float64, shape (N,)
        Third homogeneous coordinate.
    """
    q = homogeneous(xy) @ matrix.T
    w = q[:, 2]
    mapped = np.divide(q[:, :2], w[:, None], out=np.full_like(xy, np.nan), where=w[:, None] != 0)
    return mapped, np.asarray(w)


def normaliser(xy: FloatArray) -> FloatArray:
    """Similarity that brings points to centroid 0 and mean distance sqrt 2.

    Parameters
    ----------
    xy : ndarray of float64, shape (N, 2)
        Points, not all the same.

    Returns
    -------
    ndarray of float64, shape (3, 3)
        The similarity.
    """
    centre = xy.mean(axis=0)
    mean_distance = float(np.hypot(*(xy - centre).T).mean())
    scale = np.sqrt(2.0) / mean_distance if mean_distance > 0 else 1.0
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def direct_linear(source: FloatArray, target: FloatArray) -> FloatArray:
    """Direct linear transform of normalised points, for many sets at once.

    Parameters
    ----------
    source, target : ndarray of float64, shape (..., N, 2)
        Corresponding points, N >= 4, both normalised.

    Returns
    -------
    ndarray of float64, shape (..., 3, 3)
        Unit norm; the sign makes the sum of ``w`` at the points positive.
    """
    ones = np.ones((*source.shape[:-1], 1))
    a = np.concatenate([source, ones], axis=-1)
    zero = np.zeros_like(a)
    rows_x = np.concatenate([a, zero, -target[..., :1] * a], axis=-1)
    rows_y = np.concatenate([zero, a, -target[..., 1:] * a], axis=-1)
    design = np.concatenate([rows_x, rows_y], axis=-2)
    # N = 4 gives eight rows: only full matrices hold the ninth right singular vector.
    matrix = np.linalg.svd(design, full_matrices=design.shape[-2] < 9)[2][..., -1, :].reshape(
        (*source.shape[:-2], 3, 3)
    )
    side = np.sign((a @ np.swapaxes(matrix, -1, -2))[..., 2].sum(axis=-1))
    return np.asarray(matrix * np.where(side == 0, 1.0, side)[..., None, None])


def projection_jacobian(matrix: FloatArray, xy: FloatArray) -> FloatArray:
    """Differentiate the mapped point by the nine entries of the matrix.

    Parameters
    ----------
    matrix : ndarray of float64, shape (3, 3)
        The map.
    xy : ndarray of float64, shape (N, 2)
        Points.

    Returns
    -------
    ndarray of float64, shape (N, 2, 9)
        By the entries in row order.
    """
    a = homogeneous(xy)
    mapped, w = apply(matrix, xy)
    a_by_w = a / w[:, None]
    jacobian = np.zeros((len(xy), 2, 9))
    jacobian[:, 0, 0:3] = a_by_w
    jacobian[:, 1, 3:6] = a_by_w
    jacobian[:, :, 6:9] = -mapped[:, :, None] * a_by_w[:, None, :]
    return jacobian
