"""A photo linked to a placed one through the body: matches give pixels for points of panels.

The placed photo says which panel each of its features lies on and where; the
features that look alike in the other photo then fix its camera, over all panels
at once (OpenCV's PnP under USAC). All limits here are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PhotoId, TieId
from corromap.registration.camera import NEAREST_MM, CameraPose
from corromap.registration.links.features import LONGEST_PX, Features
from corromap.registration.links.pair import LEAST_HULL_SHARE, LEAST_MATCHES, matched_rows
from corromap.registration.network.start import Held, TiedPoints, refined_pose
from corromap.template import BodyTemplate

__all__ = ["Ground", "tie_by_body"]

CONSENSUS_SHARE = 0.002
"""Of the photo's diagonal: how far a match may miss to count as in agreement."""

STRONGEST, PLENTY = 2500, 60
"""First the strongest features are compared; so many tied points are enough."""

LEAST_ON_PANEL = 8
MOST_ON_PANEL = 40
"""Points kept of a tie on one panel, spread over it."""

LEAST_SHARE = 0.05
LEAST_SIGMA_PX, MOST_SIGMA_PX = 0.5, 5.0
"""At the size features are looked for at; a larger photo has larger errors."""

FOCAL_TRIED = (1.0, 0.8, 1.25)
DIAGONAL_OF_LONGEST = 1.25
"""A photo of 4 : 3 has this diagonal over its longer side."""

MOST_ITERATIONS = 3000
CONFIDENCE = 0.999
ROUNDS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What a placed photo's features lie on.

    Parameters
    ----------
    features : Features
        Those that lie on a panel.
    panel : ndarray of int64, shape (N,)
        Index in the template.
    car_mm : ndarray of float64, shape (N, 3)
        Where, car frame.
    """

    features: Features
    panel: NDArray[np.int64]
    car_mm: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Matches:
    """Points that look alike in both photos."""

    known_px: FloatArray
    new_px: FloatArray
    panel: NDArray[np.int64]
    car_mm: FloatArray


def tie_by_body(
    ground: Ground, new: Features, held: Held, template: BodyTemplate, seed: int = 0
) -> tuple[PhotoTie, ...] | str:
    """Tie a photo to a placed one.

    Parameters
    ----------
    ground : Ground
        Of the placed photo.
    new : Features
        Of the other.
    held : Held
        Its lens.
    template : BodyTemplate
        The body.
    seed : int
        Of the consensus.

    Returns
    -------
    tuple of PhotoTie or str
        One tie a panel, or why there is none, to follow a colon.
    """
    # neighbours of like scale are found by their strongest features alone, in a quarter of the time
    few = _tie(ground, new, held, template, seed, STRONGEST)
    if not isinstance(few, str) and sum(len(tie.new_px) for tie in few) >= PLENTY:
        return few
    whole = max(len(ground.panel), len(new.at_px))
    return few if whole <= STRONGEST else _tie(ground, new, held, template, seed, whole)


def _tie(  # noqa: PLR0913, PLR0917 - as above, and how many features
    ground: Ground, new: Features, held: Held, template: BodyTemplate, seed: int, most: int
) -> tuple[PhotoTie, ...] | str:
    i, j = matched_rows(ground.features.descriptors[:most], new.descriptors[:most])
    if len(i) < LEAST_MATCHES:
        return f"only {len(i)} points look alike"
    matches = _Matches(ground.features.at_px[i], new.at_px[j], ground.panel[i], ground.car_mm[i])
    start = _consensus(matches, held, seed)
    if start is None or start[1].sum() < max(LEAST_MATCHES, LEAST_SHARE * len(i)):
        count = 0 if start is None else int(start[1].sum())
        return f"of {len(i)} points that look alike only {count} agree on one place"
    end = _agreed(matches, *start)
    if end is None:
        return "the points that look alike fix no place"
    doubt = _doubt(matches, end, (ground.features, new), template)
    return doubt or _ties((ground.features.photo, new.photo), matches, end, held.diagonal_px, template)


@dataclass(frozen=True, slots=True, eq=False)
class _End:
    """A camera, what agrees with it, and by how much every match misses."""

    pose: CameraPose
    keep: NDArray[np.bool_]
    away: FloatArray


def _consensus(matches: _Matches, held: Held, seed: int) -> tuple[Held, NDArray[np.bool_]] | None:
    best: tuple[Held, NDArray[np.bool_]] | None = None
    points = np.ascontiguousarray(matches.car_mm - matches.car_mm.mean(axis=0))
    pixels = np.ascontiguousarray(held.lens.undistort(matches.new_px) - held.lens.centre_px)
    for factor in (1.0,) if held.focal_is_known else FOCAL_TRIED:
        given = cv2.UsacParams()
        given.score, given.loMethod = cv2.SCORE_METHOD_MSAC, cv2.LOCAL_OPTIM_INNER_LO
        given.sampler, given.randomGeneratorState = cv2.SAMPLING_UNIFORM, seed
        given.threshold, given.confidence, given.maxIterations = (
            CONSENSUS_SHARE * held.diagonal_px, CONFIDENCE, MOST_ITERATIONS,
        )  # fmt: skip
        focal = held.focal_px * factor
        try:
            found: Any = cv2.solvePnPRansac(points, pixels, np.diag([focal, focal, 1.0]), None, params=given)
        except cv2.error:
            continue  # no sample gave a camera
        if not found[0] or found[-1] is None:
            continue
        keep = np.zeros(len(points), dtype=np.bool_)
        keep[np.asarray(found[-1]).ravel()] = True
        if best is None or keep.sum() > best[1].sum():
            best = replace(held, focal_px=focal), keep
    return best


def _agreed(matches: _Matches, held: Held, keep: NDArray[np.bool_]) -> _End | None:
    """Camera by the matches in agreement, chosen anew a few times."""
    limit, end = CONSENSUS_SHARE * held.diagonal_px, None
    for _ in range(ROUNDS):
        pose = refined_pose(held, TiedPoints(matches.new_px[keep], matches.car_mm[keep], limit / 3.0))
        if pose is None:
            return None
        away = _away(held, pose, matches)
        keep = np.asarray(away < limit)
        if keep.sum() < LEAST_MATCHES:
            return None
        end = _End(pose, keep, away)
    return end


def _doubt(matches: _Matches, end: _End, both: tuple[Features, Features], template: BodyTemplate) -> str:
    """Say why a consensus is not believed; empty when it is."""
    count, eye = len(end.keep), end.pose.eye_mm
    if end.keep.sum() < LEAST_SHARE * count:
        return f"of {count} points that look alike only {int(end.keep.sum())} agree on one place"
    for number in np.unique(matches.panel[end.keep]):
        panel = template.panels[number]
        if float((eye - panel.place.origin_mm) @ panel.place.normal) * panel.facing <= 0:
            return "it would have to look through the sheet from behind"
    for xy, everything in zip((matches.known_px, matches.new_px), both, strict=True):
        whole = max(float(np.prod(np.ptp(everything.at_px, axis=0))), 1.0)
        if shapely.MultiPoint(xy[end.keep]).convex_hull.area / whole < LEAST_HULL_SHARE:
            return "the points they share lie in one spot"
    return ""


def _away(held: Held, pose: CameraPose, matches: _Matches) -> FloatArray:
    inside = pose.inside(matches.car_mm)
    ahead = inside[:, 2] > NEAREST_MM
    straight = held.lens.centre_px + held.focal_px * inside[:, :2] / np.where(ahead, inside[:, 2], 1.0)[:, None]
    return np.asarray(np.where(ahead, np.hypot(*(held.lens.distort(straight) - matches.new_px).T), np.inf))


def _ties(
    photos: tuple[PhotoId, PhotoId], matches: _Matches, end: _End, diagonal_px: float, template: BodyTemplate
) -> tuple[PhotoTie, ...] | str:
    known, new = photos
    size = max(1.0, diagonal_px / (DIAGONAL_OF_LONGEST * LONGEST_PX))
    ties = []
    for number in np.unique(matches.panel[end.keep]):
        rows = np.flatnonzero(end.keep & (matches.panel == number))
        rows = rows[_spread_out(matches.new_px[rows], MOST_ON_PANEL)]
        if len(rows) < LEAST_ON_PANEL:
            continue
        # the median of a Rayleigh distribution is 1.1774 sigma
        sigma = float(np.clip(np.median(end.away[rows]) / 1.1774, LEAST_SIGMA_PX * size, MOST_SIGMA_PX * size))
        panel = template.panels[number].id
        there, here = matches.known_px[rows], matches.new_px[rows]
        ties.append(PhotoTie(TieId(f"{known}>{new}/{panel}"), known, new, panel, there, here, sigma))
    return tuple(ties) if ties else "no panel shows enough of the points they share"


def _spread_out(xy: FloatArray, most: int) -> NDArray[np.int64]:
    """Rows of points far from one another: always the one farthest from those taken."""
    if len(xy) <= most:
        return np.arange(len(xy))
    taken = [int(np.argmin(xy.sum(axis=1)))]
    nearest = np.hypot(*(xy - xy[taken[0]]).T)
    while len(taken) < most:
        taken.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, np.hypot(*(xy - xy[taken[-1]]).T))
    return np.array(taken)
