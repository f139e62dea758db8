"""The adjustment: Levenberg-Marquardt under a robust loss, our own sparse assembly.

A tie touches the columns of two photos and of what their cameras share, a
sighting those of one. The normal equations are put together from these small
blocks; tied points take no part in them, for they have no unknowns
(`transfer`). All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.network.transfer import Rows, TiedRows, link_rows, sighting_rows
from corromap.registration.network.values import NetworkProblem, NetworkState

__all__ = ["Adjusted", "adjust", "link_weight"]

EFFECTIVE_POINTS = 15
"""What is wrong with tied points (a bent panel, a smear of underseal) is wrong with
neighbours alike: a tie is worth no more than so many independent points."""

SIGHTING_BEND, LINK_BEND = 2.0, 3.0
"""From so many standard errors on a residual counts less: soft l1 for sightings,
Cauchy for ties, which may be altogether wrong."""

NEVER_FITS = 1e3
"""Residual, in standard errors, of a point behind the camera."""

MOST_STEPS = 40
SMALLEST_GAIN = 1e-7
RIDGE = 1e-9
LEAST_DAMPING, MOST_DAMPING = 1e-9, 1e9
FREEDOM_FOR_SPREAD = 6


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Rows with their standard error, what each point is worth, and where the loss bends."""

    rows: Rows
    sigma_px: float
    worth: FloatArray
    bend: float
    is_link: bool

    @property
    def away(self) -> FloatArray:
        """Distance missed, standard errors."""
        away = np.hypot(*self.rows.missed_px.T) / self.sigma_px
        if not self.is_link:
            away = away * np.sqrt(self.worth)  # a sighting off the plane of the others has a larger error
        return np.where(self.rows.fits, np.minimum(away, NEVER_FITS), NEVER_FITS)

    @property
    def cost(self) -> float:
        """Loss of all points."""
        square = (self.away / self.bend) ** 2
        if self.is_link:
            return float((self.worth * self.bend**2 * np.log1p(square)).sum())
        return float((self.bend**2 * 2.0 * (np.sqrt(1.0 + square) - 1.0)).sum())

    @property
    def weight(self) -> FloatArray:
        """Inverse variance of each point, loss included, 1 / px2."""
        square = (self.away / self.bend) ** 2
        kept = 1.0 / (1.0 + square) if self.is_link else 1.0 / np.sqrt(1.0 + square)
        return np.where(self.rows.fits, self.worth * kept / self.sigma_px**2, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """The adjusted network.

    Parameters
    ----------
    problem : NetworkProblem
        What was adjusted.
    state : NetworkState
        Where everything is.
    covariance : ndarray of float64, shape (size, size)
        Of all unknowns.
    sigma_px : float
        Standard error of a click that it stands on: the larger of the setting
        and what the residuals show.
    steps : int
        Taken.
    tied : TiedRows
        The tied points there.
    """

    problem: NetworkProblem
    state: NetworkState
    covariance: FloatArray
    sigma_px: float
    steps: int
    tied: TiedRows

    def missed_px(self, view: int) -> FloatArray:
        """Residuals of a view's sightings.

        Parameters
        ----------
        view : int
            Which.

        Returns
        -------
        ndarray of float64, shape (K, 2)
            Clicked minus adjusted.
        """
        return sighting_rows(self.problem, self.state, view).missed_px

    def link_miss_px(self, link: int) -> float:
        """Median distance by which the points of a tie miss, px of the new photo; infinite where they cannot fit."""
        rows = self.tied.links[link]
        away = np.hypot(*rows.missed_px.T)
        return float(np.median(np.where(rows.fits, away, np.inf)))


def link_weight(count: int) -> float:
    """Tell what one of so many tied points is worth.

    Parameters
    ----------
    count : int
        Points of the tie.

    Returns
    -------
    float
        At most 1.
    """
    return min(1.0, EFFECTIVE_POINTS / count)


def adjust(problem: NetworkProblem, start: NetworkState, *, bend: float = LINK_BEND) -> Adjusted:
    """Adjust all photos together.

    Parameters
    ----------
    problem : NetworkProblem
        Sightings and ties.
    start : NetworkState
        Every view near where it belongs.
    bend : float
        Residual of a tied point, in standard errors, from which on it counts
        less; wider while circles are closed that have drifted.

    Returns
    -------
    Adjusted
        With the covariance of all unknowns.
    """
    state, damping, steps = start, 1e-4, 0
    blocks, tied = _blocks(problem, state, bend)
    cost = _cost(problem, state, blocks)
    normal, pull = _normal(problem, state, blocks)
    for _ in range(MOST_STEPS):
        steps += 1
        step: FloatArray = np.asarray(np.linalg.solve(normal + np.diag(damping * np.diag(normal)), pull))
        tried = state.moved(step, problem)
        new_blocks, new_tied = _blocks(problem, tried, bend)
        new_cost = _cost(problem, tried, new_blocks)
        if new_cost > cost:
            damping = max(damping, LEAST_DAMPING) * 10.0
            if damping > MOST_DAMPING:
                break
            continue
        gain, state, blocks, tied = cost - new_cost, tried, new_blocks, new_tied
        cost, damping = new_cost, damping * 0.1
        normal, pull = _normal(problem, state, blocks)
        if gain < SMALLEST_GAIN * (1.0 + cost):
            break
    covariance: FloatArray = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    factor = _spread(blocks, covariance)
    sigma_px = problem.click_sigma_px * float(np.sqrt(factor))
    return Adjusted(problem, state, np.asarray(covariance * factor), sigma_px, steps, tied)


def _blocks(problem: NetworkProblem, state: NetworkState, bend: float) -> tuple[list[_Block], TiedRows]:
    sigma = problem.click_sigma_px
    found = [
        _Block(sighting_rows(problem, state, i), sigma, view.weight, SIGHTING_BEND, is_link=False)
        for i, view in enumerate(problem.views)
        if len(view.ids)
    ]
    tied = link_rows(problem, state)
    for link, rows in zip(problem.links, tied.links, strict=True):
        worth = np.full(len(link.known_px), link_weight(len(link.known_px)))
        found.append(_Block(rows, link.sigma_px, worth, bend, is_link=True))
    return found, tied


def _cost(problem: NetworkProblem, state: NetworkState, blocks: Sequence[_Block]) -> float:
    return float(((state.strayed / problem.prior_sigma) ** 2).sum()) + sum(block.cost for block in blocks)


def _normal(problem: NetworkProblem, state: NetworkState, blocks: Sequence[_Block]) -> tuple[FloatArray, FloatArray]:
    """Put together normal equations from small blocks, with what is known beforehand."""
    normal, pull = np.zeros((problem.size, problem.size)), np.zeros(problem.size)
    for block in blocks:
        rows = block.rows
        design = rows.design.reshape(-1, rows.design.shape[2])
        held = (design * np.repeat(block.weight, 2)[:, None]).T
        np.add.at(normal, np.ix_(rows.columns, rows.columns), held @ design)
        np.add.at(pull, rows.columns, held @ rows.missed_px.ravel())
    sigma = problem.prior_sigma
    last = np.arange(problem.size - len(sigma), problem.size)
    normal[last, last] += sigma**-2.0
    pull[last] -= state.strayed / sigma**2
    normal[np.diag_indices(problem.size)] += RIDGE
    return normal, pull


def _spread(blocks: Sequence[_Block], covariance: FloatArray) -> float:
    """Factor of the variance that the residuals show, at least 1: of the sightings, and of everything."""
    square, freedom = np.zeros(2), np.zeros(2)
    for block in blocks:
        rows, weight = block.rows, block.weight
        own = covariance[np.ix_(rows.columns, rows.columns)]
        used = float((((rows.design @ own) * rows.design).sum(axis=(1, 2)) * weight).sum())
        square[int(block.is_link)] += float((weight[:, None] * rows.missed_px**2).sum())
        # a point counts as many rows as its weight is of that of one good independent point
        freedom[int(block.is_link)] += 2.0 * float((weight * block.sigma_px**2).sum()) - used
    factors = [s / f for s, f in ((square[0], freedom[0]), (square.sum(), freedom.sum())) if f >= FREEDOM_FOR_SPREAD]
    return max(1.0, *factors) if factors else 1.0
