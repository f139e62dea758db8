"""Two photos of one plane: which points are the same, and the map between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.frames import FloatArray, PhotoId
from corromap.registration.lens import Lens
from corromap.registration.links.features import Features
from corromap.registration.panel_fit import PanelFit, fit_panel

__all__ = ["LinkFailure", "PhotoLink", "link_photos", "matched_rows"]

RATIO = 0.85
"""A match counts when the second best is this much worse; the consensus sorts the rest."""

AT_ONCE = 512
"""Rows of products held in memory."""

LEAST_MATCHES = 20
"""Ours: fewer points in agreement are not told from chance on repeated ribs and holes."""

LEAST_SHARE = 0.05
"""Of the matches, in agreement: below it a consensus is not believed."""

LEAST_HULL_SHARE = 0.01
"""The points in agreement span at least this share of each photo."""

CONSENSUS_PX = 1.5
SIGMAS = 3.0
LEAST_SIGMA_PX = 0.5
MOST_SIGMA_PX = 4.0
ROUNDS = 4

MOST_ITERATIONS = 20_000
CONFIDENCE = 0.9999


@dataclass(frozen=True, slots=True)
class LinkFailure:
    """Two photos that could not be linked.

    Parameters
    ----------
    known, new : PhotoId
        The photos.
    message : str
        One sentence, ending in what to do.
    """

    known: PhotoId
    new: PhotoId
    message: str


@dataclass(frozen=True, slots=True, eq=False)
class PhotoLink:
    """Points that two photos share on one plane.

    Parameters
    ----------
    known, new : PhotoId
        The photos.
    known_px, new_px : ndarray of float64, shape (N, 2)
        The points in agreement, pixels of the photos as they are.
    matrix : ndarray of float64, shape (3, 3)
        Undistorted pixels of `known` to undistorted pixels of `new`.
    residual_px : ndarray of float64, shape (N, 2)
        Found in `new` minus carried there.
    sigma_px : float
        Standard error of a match, per axis.
    matches : int
        How many were compared.
    """

    known: PhotoId
    new: PhotoId
    known_px: FloatArray
    new_px: FloatArray
    matrix: FloatArray
    residual_px: FloatArray
    sigma_px: float
    matches: int


def link_photos(
    known: Features,
    new: Features,
    lenses: tuple[Lens, Lens],
    *,
    inside_px: shapely.Geometry | None = None,
    seed: int = 0,
) -> PhotoLink | LinkFailure:
    """Find what two photos share on one plane.

    Parameters
    ----------
    known, new : Features
        Of the photo that is placed and of the one that is not.
    lenses : (Lens, Lens)
        Theirs.
    inside_px : shapely geometry, optional
        Part of `known` to look at, pixels of the photo: what it shows of one panel.
    seed : int
        Of the consensus.

    Returns
    -------
    PhotoLink or LinkFailure
        A failure is a value. Consensus by MAGSAC++ (Barath et al., 2020) in
        OpenCV's USAC, then least squares on the points in agreement, chosen anew
        four times; errors in pixels of `new`.
    """
    a, b = _matched(known, new, inside_px)
    if len(a) < LEAST_MATCHES:
        return _failed(known, new, f"only {len(a)} points look alike")
    start = _consensus(lenses[0].undistort(a), lenses[1].undistort(b), seed)
    if start is None or start.sum() < LEAST_MATCHES:
        count = 0 if start is None else int(start.sum())
        return _failed(known, new, f"of {len(a)} points that look alike only {count} agree on one place")
    fit, keep, sigma = _agreed(a, b, lenses, start)
    problem = _doubt(a, b, fit, keep, sigma)
    if problem:
        return _failed(known, new, problem)
    residual = b[keep] - fit.at(lenses[0].undistort(a[keep]))[0]
    matrix = np.linalg.inv(fit.px_to_mm())
    return PhotoLink(known.photo, new.photo, a[keep], b[keep], matrix / matrix[2, 2], residual, sigma, len(a))


def _failed(known: Features, new: Features, why: str) -> LinkFailure:
    text = (
        f"Photo '{new.photo}' is not placed by '{known.photo}': {why}; click datum points on it, or take a photo that "
        "shows both places."
    )
    return LinkFailure(known.photo, new.photo, text)


def _matched(known: Features, new: Features, inside_px: shapely.Geometry | None) -> tuple[FloatArray, FloatArray]:
    """Best matches, from what the known photo shows inside an area."""
    keep: NDArray[np.bool_] = np.ones(len(known.at_px), dtype=np.bool_)
    if inside_px is not None and len(keep):
        keep = np.asarray(shapely.intersects_xy(inside_px, *known.at_px.T), dtype=np.bool_)
    rows = np.flatnonzero(keep)
    i, j = matched_rows(known.descriptors[rows], new.descriptors)
    return known.at_px[rows[i]], new.at_px[j]


def matched_rows(known: NDArray[np.float32], new: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Match descriptors, each new one to one known one at most, the second best clearly worse.

    Parameters
    ----------
    known, new : ndarray of float32, shape (N, 128) and (M, 128)
        As in `Features`.

    Returns
    -------
    i, j : ndarray of int64, shape (K,)
        Rows of `known` and of `new` that look alike.
    """
    nothing = np.empty(0, dtype=np.int64)
    if min(len(known), len(new)) < 2:
        return nothing, nothing
    best, nearest, second = _two_nearest(known, new)
    clear = np.flatnonzero(nearest < RATIO * second)
    # of known ones that look most like the same new one the nearest is kept
    order = clear[np.argsort(nearest[clear], kind="stable")]
    _, first = np.unique(best[order], return_index=True)
    i = order[first]
    return i, best[i]


def _two_nearest(
    known: NDArray[np.float32], new: NDArray[np.float32]
) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.float32]]:
    """Nearest new descriptor of each known one, its distance and that of the second nearest.

    Descriptors have length 1, so distances follow from products: five times as
    fast as OpenCV's matcher by distances (measured, 6000 x 6000).
    """
    best = np.empty(len(known), dtype=np.int64)
    likeness = np.empty((2, len(known)), dtype=np.float32)
    across = np.ascontiguousarray(new.T)
    for start in range(0, len(known), AT_ONCE):
        alike = known[start : start + AT_ONCE] @ across
        rows = np.arange(len(alike))
        nearest = alike.argmax(axis=1)
        end = start + len(alike)
        best[start:end], likeness[0, start:end] = nearest, alike[rows, nearest]
        alike[rows, nearest] = -1.0
        likeness[1, start:end] = alike.max(axis=1)
    apart = np.sqrt(np.maximum(2.0 - 2.0 * likeness, 0.0))
    return best, apart[0], apart[1]


def _consensus(a: FloatArray, b: FloatArray, seed: int) -> NDArray[np.bool_] | None:
    given = cv2.UsacParams()
    given.score, given.loMethod = cv2.SCORE_METHOD_MAGSAC, cv2.LOCAL_OPTIM_SIGMA
    given.sampler, given.randomGeneratorState = cv2.SAMPLING_UNIFORM, seed
    given.threshold, given.confidence, given.maxIterations = CONSENSUS_PX, CONFIDENCE, MOST_ITERATIONS
    given.loIterations, given.loSampleSize = 10, 50
    mask: Any = cv2.findHomography(a, b, given)[1]  # None when nothing agrees, whatever its type says
    return None if mask is None else np.asarray(mask.ravel() > 0)


def _agreed(
    a: FloatArray, b: FloatArray, lenses: tuple[Lens, Lens], keep: NDArray[np.bool_]
) -> tuple[PanelFit, NDArray[np.bool_], float]:
    flat = lenses[0].undistort(a)
    fit, sigma = fit_panel(b[keep], flat[keep], lenses[1]), LEAST_SIGMA_PX
    for _ in range(ROUNDS):
        predicted, w, _ = fit.at(flat)
        away = np.where(w > 0, np.hypot(*(predicted - b).T), np.inf)
        # the median of a Rayleigh distribution is 1.1774 sigma
        sigma = min(max(LEAST_SIGMA_PX, float(np.median(away[keep])) / 1.1774), MOST_SIGMA_PX)
        chosen = away < SIGMAS * sigma
        if chosen.sum() < LEAST_MATCHES or (chosen == keep).all():
            break
        keep = chosen
        fit = fit_panel(b[keep], flat[keep], lenses[1])
    return fit, keep, sigma


def _doubt(a: FloatArray, b: FloatArray, fit: PanelFit, keep: NDArray[np.bool_], sigma: float) -> str:
    """Say why a consensus is not believed; empty when it is."""
    if keep.sum() < max(LEAST_MATCHES, LEAST_SHARE * len(a)):
        return f"of {len(a)} points that look alike only {int(keep.sum())} agree on one place"
    if not fit.is_fixed:
        return "the points they share lie so that they fix no plane"
    if np.linalg.det(fit.px_to_mm()) <= 0:
        return "one of the two is flipped left for right"
    if sigma >= MOST_SIGMA_PX:
        return f"the points they share disagree by more than {MOST_SIGMA_PX:g} px"
    for xy, everything in ((a[keep], a), (b[keep], b)):
        share = shapely.MultiPoint(xy).convex_hull.area / max(np.prod(np.ptp(everything, axis=0)), 1.0)
        if share < LEAST_HULL_SHARE:
            return "the points they share lie in one spot"
    return ""
