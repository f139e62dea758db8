"""The adjustment: Levenberg-Marquardt under a robust loss, our own sparse assembly.

A tie touches the columns of two photos and of what their cameras share, a
sighting those of one. The normal equations are put together from these small
blocks; tied points take no part in them, for they have no unknowns
(`transfer`). All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.registration.network.transfer import Rows, TiedRows, link_rows, sighting_rows
from corromap.registration.network.values import NetworkProblem, NetworkState
from corromap.registration.network.view import View

__all__ = ["Adjusted", "adjust", "adjust_one", "link_weight"]

EFFECTIVE_POINTS = 15
"""What is wrong with tied points (a bent panel, a smear of underseal) is wrong with
neighbours alike: a tie is worth no more than so many independent points."""

SIGHTING_BEND, LINK_BEND = 2.0, 3.0
"""From so many standard errors on a residual counts less: soft l1 for sightings,
Cauchy for ties, which may be altogether wrong."""

NEVER_FITS = 1e3
"""Residual, in standard errors, of a point behind the camera."""

MOST_STEPS = 40
NEAR = 3.0
"""A step of so many standard errors, all unknowns together, leads to where Newton's steps are safe."""

SMALLEST_STEP = 1e-4
"""Likewise, of the last step: what is left after it is a hundredth of it or less, so that it does not matter where
the steps began."""

ROUNDING = 1e-13
LEAST_CURVED = 0.1
RIDGE = 1e-9
FIRST_DAMPING, LESS_DAMPING = 1e-4, 1e-2
LEAST_DAMPING, MOST_DAMPING = 1e-9, 1e9
FREEDOM_FOR_SPREAD = 6

AT_ONCE_STEPS = 4
AT_ONCE_LEFT = 0.01
"""Steps taken for one view alone end with one of so many standard errors."""


@dataclass(frozen=True, eq=False)
class _Block:
    """Sightings of one view, or all ties: standard error and worth of each point, and where the loss bends.

    `parts` says which rows touch which columns.
    """

    rows: Rows
    parts: tuple[tuple[slice, NDArray[np.int64]], ...]
    sigma_px: FloatArray
    worth: FloatArray
    bend: float
    is_link: bool

    @cached_property
    def square(self) -> FloatArray:
        """Square of the distance missed, in units of where the loss bends."""
        away = np.hypot(*self.rows.missed_px.T) / self.sigma_px
        if not self.is_link:
            away = away * np.sqrt(self.worth)  # a sighting off the plane of the others has a larger error
        away = np.where(self.rows.fits, np.minimum(away, NEVER_FITS), NEVER_FITS)
        return np.asarray((away / self.bend) ** 2)

    @property
    def cost(self) -> float:
        """Loss of all points."""
        if self.is_link:
            return float((self.worth * self.bend**2 * np.log1p(self.square)).sum())
        return float((self.bend**2 * 2.0 * (np.sqrt(1.0 + self.square) - 1.0)).sum())

    @cached_property
    def weight(self) -> FloatArray:
        """Inverse variance of each point, loss included, 1 / px2."""
        kept = 1.0 / (1.0 + self.square) if self.is_link else 1.0 / np.sqrt(1.0 + self.square)
        return np.where(self.rows.fits, self.worth * kept / self.sigma_px**2, 0.0)

    @property
    def bent(self) -> FloatArray:
        """Share of its weight by which the loss is less curved in the direction a point misses in."""
        curved = (1.0 - self.square if self.is_link else 1.0) / (1.0 + self.square)
        return np.asarray(1.0 - np.maximum(curved, LEAST_CURVED))


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
    curved : ndarray of float64, shape (size, size)
        How the loss is curved there.
    """

    problem: NetworkProblem
    state: NetworkState
    covariance: FloatArray
    sigma_px: float
    steps: int
    tied: TiedRows
    curved: FloatArray

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
    state, damping, steps, near = start, FIRST_DAMPING, 0, False
    blocks, tied = _blocks(problem, state, bend)
    cost = _cost(problem, state, blocks)
    equations, pull = _equations(problem, state, blocks, bent=near)
    for _ in range(MOST_STEPS):
        steps += 1
        step: FloatArray = np.asarray(np.linalg.solve(equations + np.diag(damping * np.diag(equations)), pull))
        tried = state.moved(step, problem)
        new_blocks, new_tied = _blocks(problem, tried, bend)
        new_cost, left = _cost(problem, tried, new_blocks), float(step @ pull)
        better = new_cost <= cost * (1.0 + ROUNDING)
        if better:
            state, blocks, tied, cost, damping = tried, new_blocks, new_tied, new_cost, damping * LESS_DAMPING
            if near and left < SMALLEST_STEP**2:
                break
        elif damping > MOST_DAMPING:
            break
        else:
            damping = max(damping, LEAST_DAMPING) * 10.0
        was, near = near, better and left < NEAR**2
        if better or was:  # after a step that led up, farther steps are sure ones again
            equations, pull = _equations(problem, state, blocks, bent=near)
    normal, curved = (_equations(problem, state, blocks, bent=bent)[0] for bent in (False, True))
    covariance: FloatArray = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    factor = _spread(blocks, covariance)
    sigma_px = problem.click_sigma_px * float(np.sqrt(factor))
    return Adjusted(problem, state, np.asarray(covariance * factor), sigma_px, steps, tied, curved)


def adjust_one(network: Adjusted, index: int, view: View) -> Adjusted:
    """Take in what has changed of one view's sightings, everything else as it is curved where it was adjusted.

    The ties and the other photos' sightings are not looked at anew: they count by
    the equations they ended with, and all photos follow. What that leaves out is
    of second order in how far a click has moved.

    Parameters
    ----------
    network : Adjusted
        As adjusted before.
    index : int
        Which view.
    view : View
        The same photo with its sightings as they are now, all on panels the network has.

    Returns
    -------
    Adjusted
        To be shown until all is adjusted again; its tied points stand where they were.
    """
    before, state = network.problem, network.state
    views = (*before.views[:index], view, *before.views[index + 1 :])
    problem = replace(before, views=views)
    old = _equations_of(before, state, index, bent=True)
    whole, moved = network.curved - old[0], np.zeros(problem.size)
    for _ in range(AT_ONCE_STEPS):
        curved, pull = _equations_of(problem, state, index, bent=False)
        step: FloatArray = np.asarray(np.linalg.solve(whole + curved, pull - old[1] - whole @ moved))
        state, moved = state.moved(step, problem), moved + step
        if float(np.abs(step @ (whole @ step))) < AT_ONCE_LEFT**2:
            break
    factor = (network.sigma_px / problem.click_sigma_px) ** 2
    held = np.linalg.inv(network.covariance / factor) - _equations_of(before, network.state, index, bent=False)[0]
    covariance: FloatArray = np.asarray(np.linalg.inv(held + curved) * factor)
    return replace(network, problem=problem, state=state, covariance=covariance)


def _equations_of(
    problem: NetworkProblem, state: NetworkState, index: int, *, bent: bool
) -> tuple[FloatArray, FloatArray]:
    """Put together what one view's sightings add to the normal equations."""
    normal, pull = np.zeros((problem.size, problem.size)), np.zeros(problem.size)
    if len(problem.views[index].ids):
        _add(normal, pull, _sighted(problem, state, index), bent=bent)
    return normal, pull


def _blocks(problem: NetworkProblem, state: NetworkState, bend: float) -> tuple[list[_Block], TiedRows]:
    found = [_sighted(problem, state, i) for i, view in enumerate(problem.views) if len(view.ids)]
    tied = link_rows(problem, state)
    if problem.links:
        parts = tuple(zip(tied.rows, tied.every.columns, strict=True))
        found.append(_Block(tied.every, parts, *_of_links(problem), bend, is_link=True))
    return found, tied


def _sighted(problem: NetworkProblem, state: NetworkState, index: int) -> _Block:
    view, rows = problem.views[index], sighting_rows(problem, state, index)
    sigma = np.full(len(view.ids), problem.click_sigma_px)
    return _Block(rows, ((slice(None), rows.columns),), sigma, view.weight, SIGHTING_BEND, is_link=False)


def _of_links(problem: NetworkProblem) -> tuple[FloatArray, FloatArray]:
    """Spread standard error and worth of links over their points."""
    sigma = np.array([link.sigma_px for link in problem.links])
    worth = np.array([link_weight(len(link.known_px)) for link in problem.links])
    return sigma[problem.tied.link], worth[problem.tied.link]


def _cost(problem: NetworkProblem, state: NetworkState, blocks: Sequence[_Block]) -> float:
    return float(((state.strayed / problem.prior_sigma) ** 2).sum()) + sum(block.cost for block in blocks)


def _equations(
    problem: NetworkProblem, state: NetworkState, blocks: Sequence[_Block], *, bent: bool
) -> tuple[FloatArray, FloatArray]:
    """Put together normal equations from small blocks, with what is known beforehand.

    `bent` takes off what the loss is less curved than its weights say, as far as
    the equations stay positive: then steps are nearly those of Newton. The
    covariance stands on the weights alone.
    """
    normal, pull = np.zeros((problem.size, problem.size)), np.zeros(problem.size)
    for block in blocks:
        _add(normal, pull, block, bent=bent)
    sigma = problem.prior_sigma
    last = np.arange(problem.size - len(sigma), problem.size)
    normal[last, last] += sigma**-2.0
    pull[last] -= state.strayed / sigma**2
    normal[np.diag_indices(problem.size)] += RIDGE
    return normal, pull


def _add(normal: FloatArray, pull: FloatArray, block: _Block, *, bent: bool) -> None:
    """Add a block to normal equations."""
    missed, weight = block.rows.missed_px, block.weight
    away = np.maximum(np.hypot(*missed.T), 1e-12)[:, None]
    less = weight * block.bent
    for rows, columns in block.parts:
        design = block.rows.design[rows]
        flat = design.reshape(-1, design.shape[2])
        held = (flat * np.repeat(weight[rows], 2)[:, None]).T
        square = held @ flat
        if bent:
            outward = ((missed[rows] / away[rows])[:, None, :] @ design)[:, 0]
            square -= (outward * less[rows][:, None]).T @ outward
        np.add.at(normal, np.ix_(columns, columns), square)
        np.add.at(pull, columns, held @ missed[rows].ravel())


def _spread(blocks: Sequence[_Block], covariance: FloatArray) -> float:
    """Factor of the variance that the residuals show, at least 1: of the sightings, and of everything."""
    square, freedom = np.zeros(2), np.zeros(2)
    for block in blocks:
        weight, used = block.weight, 0.0
        for rows, columns in block.parts:
            design = block.rows.design[rows]
            own = covariance[np.ix_(columns, columns)]
            used += float((((design @ own) * design).sum(axis=(1, 2)) * weight[rows]).sum())
        square[int(block.is_link)] += float((weight[:, None] * block.rows.missed_px**2).sum())
        # a point counts as many rows as its weight is of that of one good independent point
        freedom[int(block.is_link)] += 2.0 * float((weight * block.sigma_px**2).sum()) - used
    factors = [s / f for s, f in ((square[0], freedom[0]), (square.sum(), freedom.sum())) if f >= FREEDOM_FOR_SPREAD]
    return max(1.0, *factors) if factors else 1.0
