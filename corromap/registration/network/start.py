"""First poses: photos with points of their own, then, neighbour by neighbour, those tied to them.

A photo's ties vote: where they put it at different places the larger number
wins, and without a larger number the photo is not placed. All limits here are
ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, CameraFit, CameraPose, CameraProblem
from corromap.registration.lens import Lens
from corromap.registration.network.solve import link_weight
from corromap.registration.panel_fit import least_squares
from corromap.registration.poses import poses_of
from corromap.template import Panel

__all__ = ["Held", "TiedPoints", "Vote", "agreed_pose", "disagreement_px", "pose_of_plane", "refined_pose"]

DISAGREE_SIGMAS = 8.0
DISAGREE_SHARE = 0.02
"""Ties of a photo agree when they miss by less than this share of its diagonal: a chain may
have drifted. A link mistaken by one rib or one hole misses by far more."""

CLOSE_SHARE = 0.005
"""As above once everything has been adjusted together."""

SOFT_SIGMAS = 3.0
STEPS, HALVINGS = 20, 6
SMALLEST_GAIN = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A photo's lens and size, as they are while first poses are looked for.

    Parameters
    ----------
    lens : Lens
        Its lens.
    focal_px : float
        Its focal length.
    diagonal_px : float
        Of the photo.
    focal_is_known : bool
        False when it is only assumed.
    """

    lens: Lens
    focal_px: float
    diagonal_px: float
    focal_is_known: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class TiedPoints:
    """What one tie, or the photo's own sightings, say of its place.

    Parameters
    ----------
    px : ndarray of float64, shape (N, 2)
        In the photo.
    car_mm : ndarray of float64, shape (N, 3)
        On the body.
    sigma_px : float
        Standard error of a point.
    panels : tuple of Panel
        The photo has to look at the face of these.
    neighbour : str
        The photo it is tied to; all ties with one neighbour have one vote.
        Empty for the photo's own sightings.
    """

    px: FloatArray
    car_mm: FloatArray
    sigma_px: float
    panels: tuple[Panel, ...] = ()
    neighbour: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Vote:
    """Where a photo's ties put it.

    Parameters
    ----------
    pose : CameraPose or None
        None when no larger number agrees.
    against : tuple of int
        Ties that are outvoted; all that disagree when there is no pose.
    miss_px : float
        How far the worst of them misses.
    """

    pose: CameraPose | None
    against: tuple[int, ...] = ()
    miss_px: float = 0.0


def disagreement_px(sigma_px: float, diagonal_px: float, share: float = CLOSE_SHARE) -> float:
    """Find the miss from which on a tie is not believed.

    Parameters
    ----------
    sigma_px : float
        Standard error of its points.
    diagonal_px : float
        Of the photo.
    share : float
        Of the diagonal.

    Returns
    -------
    float
        In pixels.
    """
    return max(DISAGREE_SIGMAS * sigma_px, share * diagonal_px)


def agreed_pose(held: Held, ties: Sequence[TiedPoints], own: TiedPoints | None) -> Vote:
    """Place a photo by its ties.

    Parameters
    ----------
    held : Held
        Its lens.
    ties : sequence of TiedPoints
        At least one.
    own : TiedPoints or None
        Its own sightings, fewer than would place it; they vote as one tie does.

    Returns
    -------
    Vote
        The pose most of them agree on.
    """
    voters = [*ties, own] if own is not None else list(ties)
    best: tuple[tuple[float, float], CameraPose, list[float]] | None = None
    for pose in _candidates(held, ties, voters):
        misses = [_miss(held, pose, voter) for voter in voters]
        score = _votes(held, voters, misses)
        if best is None or score > best[0]:
            best = score, pose, misses
        if score[0] > 1.0 - 1e-9:
            break
    if best is None:
        return Vote(None, tuple(range(len(ties))), float("inf"))
    (share, _), pose, misses = best
    agree = [miss <= _limit(held, voter) for miss, voter in zip(misses, voters, strict=True)]
    against = tuple(i for i in range(len(ties)) if not agree[i])
    worst = max((miss for miss, ok in zip(misses, agree, strict=True) if not ok), default=0.0)
    if share <= 0.5:
        return Vote(None, against, worst)
    return Vote(_finished(held, pose, [v for v, ok in zip(voters, agree, strict=True) if ok]), against, worst)


def _votes(held: Held, voters: Sequence[TiedPoints], misses: Sequence[float]) -> tuple[float, float]:
    """Share of the neighbours that agree, each with the share of its ties that do; and minus what those miss."""
    by_neighbour: dict[str, list[bool]] = {}
    total = 0.0
    for voter, miss in zip(voters, misses, strict=True):
        ok = miss <= _limit(held, voter)
        by_neighbour.setdefault(voter.neighbour, []).append(ok)
        total += miss if ok else 0.0
    return sum(sum(those) / len(those) for those in by_neighbour.values()) / len(by_neighbour), -total


def _limit(held: Held, voter: TiedPoints) -> float:
    return disagreement_px(voter.sigma_px, held.diagonal_px, DISAGREE_SHARE)


def _candidates(held: Held, ties: Sequence[TiedPoints], voters: Sequence[TiedPoints]) -> Iterator[CameraPose]:
    for tie in ties:
        for pose in poses_of(held.lens, held.focal_px, tie.px, tie.car_mm):
            alone = _finished(held, pose, [tie])
            if alone is None or not _faces(alone, tie.panels):
                continue
            yield alone
            together = _finished(held, alone, voters)
            if len(voters) > 1 and together is not None:
                yield together


def pose_of_plane(held: Held, points: TiedPoints) -> CameraPose | None:
    """Place a photo by points of one plane, the focal length held.

    Parameters
    ----------
    held : Held
        The photo's lens.
    points : TiedPoints
        Four at least.

    Returns
    -------
    CameraPose or None
        The one of two that misses less and looks at the panels' faces.
    """
    found = poses_of(held.lens, held.focal_px, points.px, points.car_mm)
    ends = [end for pose in found if (end := _finished(held, pose, [points])) is not None]
    ends = [end for end in ends if _faces(end, points.panels)]
    return min(ends, key=lambda pose: _miss(held, pose, points), default=None)


def _faces(pose: CameraPose, panels: Iterable[Panel]) -> bool:
    return all(float((pose.eye_mm - p.place.origin_mm) @ p.place.normal) * p.facing > 0 for p in panels)


def _finished(held: Held, pose: CameraPose, voters: Sequence[TiedPoints]) -> CameraPose | None:
    """Refine a pose, each voter with its own weight and under a robust loss."""
    least = min(voter.sigma_px for voter in voters)
    weights = [np.full(len(v.px), link_weight(len(v.px)) * (least / v.sigma_px) ** 2) for v in voters]
    problem = CameraProblem(
        held.lens,
        np.vstack([v.px for v in voters]),
        np.vstack([v.car_mm for v in voters]),
        np.concatenate(weights),
    )
    fit = problem.at(pose)
    if not fit.is_in_front:
        return None
    weight, cost = _softened(fit, least)
    for _ in range(STEPS):
        held_rows = fit.jacobian * np.repeat(weight, 2)[:, None]
        step = least_squares(held_rows.T @ fit.jacobian, held_rows.T @ fit.weighted_px)
        better = None
        for halving in range(HALVINGS):
            tried = fit.moved(step * 0.5**halving)
            new_weight, new_cost = _softened(tried, least)
            if tried.is_in_front and new_cost <= cost:
                better = tried
                break
        if better is None:
            break
        gain, fit, weight, cost = cost - new_cost, better, new_weight, new_cost
        if gain < SMALLEST_GAIN * (1.0 + cost):
            break
    return fit.pose


def _softened(fit: CameraFit, sigma_px: float) -> tuple[FloatArray, float]:
    """Weight of each point under a soft loss, and the loss of all."""
    square = (fit.residual_px**2).sum(axis=1) * fit.problem.weight / (SOFT_SIGMAS * sigma_px) ** 2
    root = np.sqrt(1.0 + square)
    return np.asarray(1.0 / root), float((root - 1.0).sum())


def refined_pose(held: Held, points: TiedPoints) -> CameraPose | None:
    """Find the best of the poses that points allow, the focal length held.

    Parameters
    ----------
    held : Held
        The photo's lens.
    points : TiedPoints
        Four at least, right but for a few.

    Returns
    -------
    CameraPose or None
        None when they fix none.
    """
    found = poses_of(held.lens, held.focal_px, points.px, points.car_mm)
    ends = [end for pose in found if (end := _finished(held, pose, [points])) is not None]
    return min(ends, key=lambda pose: _miss(held, pose, points), default=None)


def _miss(held: Held, pose: CameraPose, voter: TiedPoints) -> float:
    fit = CameraProblem(held.lens, voter.px, voter.car_mm, np.ones(len(voter.px))).at(pose)
    away = np.hypot(*fit.residual_px.T)
    return float(np.median(np.where(fit.inside_mm[:, 2] > NEAREST_MM, away, np.inf)))
