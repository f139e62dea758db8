"""Looking at a fit: what its residuals cannot see, and what they can.

Four points fit exactly however they were clicked: with two of them swapped, or
with the panel seen from the wrong side, every residual is zero. What shows it
is the side of the horizon a point falls on, and the sense in which the plane
is traversed. All limits here are ours.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from scipy.stats import chi2

from corromap.frames import FloatArray
from corromap.messages import message
from corromap.registration.guards import refuse
from corromap.registration.homography import direct_linear
from corromap.registration.influence import (
    GOOD_SIGMAS,
    POINTS_FOR_SIGMA,
    LeftOut,
    left_out_fit,
    left_out_miss,
)
from corromap.registration.panel_fit import PanelFit, fit_panel
from corromap.registration.result import FailureReason, RegistrationFailure
from corromap.registration.sighted import LEAST_POINTS, Sighted, extent
from corromap.registration.suggest import suggestion
from corromap.survey import Settings

__all__ = ["check_fit", "fit_warnings"]

SPREAD_PHOTO_SHARE = 0.25
"""Below this share of the photo's diagonal the spread of the clicks is poor."""

POOR_SIGMAS = 10.0
"""A fit is refused when its residuals exceed so many click errors ..."""

POOR_SHARE = 0.03
"""... and this share of the extent of the clicks. Between good and poor the fit
is kept and its interval widened: a real body strays from the template too."""

STRAY_SHARE = 0.05
"""One sighting farther than this share of the extent of the clicks from where the
others put it is refused unless the lens explains it; nearer, it is named in a warning."""

LENS_SIGMAS = 3.0
"""A miss within so many standard errors of the lens is not held against a click."""

REPAIR_SHARE = 0.25
"""A change repairs a fit when it leaves less than this share of the residual."""

LOOSE_WARNED, LOOSE_REFUSED = 3.0, 25.0
"""Standard error of the fit amid the points, in click errors. Four corners give
about 0.6; points in three tight clusters, which no line holds, give tens."""

MOST_SUSPECTS = 12
"""Of sightings tried for a swap with each of the others."""

OUTLIER_LEVEL = 0.01
"""Chance of naming a sighting although all are right, over all of them."""


def check_fit(sighted: Sighted, fit: PanelFit, settings: Settings) -> RegistrationFailure | None:
    """Look at the sides of the horizon, the orientation and the residuals.

    Parameters
    ----------
    sighted : Sighted
        The sightings.
    fit : PanelFit
        Their fit.
    settings : Settings
        For the standard error of a click.

    Returns
    -------
    RegistrationFailure or None
        Crossed, mirrored or poor; None when the fit can be used.
    """
    upright = _is_upright(fit.matrix, sighted.panel.facing)
    if fit.is_in_front and _looseness(sighted, fit) > LOOSE_REFUSED:
        text = message(
            "the points lie so that they hardly fix a plane; {next}",
            next=suggestion(sighted, fit.lens, where=message("far from them")),
        )
        return refuse(sighted, FailureReason.COLLINEAR, text, sighted.ids)
    if fit.is_in_front and fit.spread_px <= GOOD_SIGMAS * settings.click_sigma_px:
        return None if upright else _mirrored(sighted)
    swap = _repairing_swap(sighted, fit, settings)
    if swap is not None:
        return _crossed(sighted, *swap)
    if fit.is_in_front and not upright:
        return _mirrored(sighted)
    is_poor = not fit.is_in_front or fit.spread_px > _poor_limit(sighted, settings)
    if is_poor or _has_gross_stray(sighted, fit, settings):
        return _at_odds(sighted, fit, settings)
    return None


def fit_warnings(sighted: Sighted, fit: PanelFit, settings: Settings) -> tuple[str, ...]:
    """Say what is doubtful about a fit that is good enough to use.

    Parameters
    ----------
    sighted : Sighted
        The sightings.
    fit : PanelFit
        Their fit.
    settings : Settings
        For the standard error of a click.

    Returns
    -------
    tuple of str
        Nothing checks the fit; the points are poorly spread; one sighting
        stands out, named with its distance from where the others put it.
    """
    sentences: list[str] = []
    if len(sighted.ids) == LEAST_POINTS:
        fifth = suggestion(sighted, fit.lens, ordinal="fifth")
        sentences.append(
            message(
                "Four points fit exactly wherever they were clicked, so nothing checks this fit: {next}.", next=fifth
            )
        )
    share = extent(sighted.clicked_px) / float(np.hypot(sighted.photo.width_px, sighted.photo.height_px))
    if share < SPREAD_PHOTO_SHARE:
        said = message(
            "The points span only {share:.0f} % of the photo, so marks far outside them are carried less surely: "
            "{next}.",
            share=100 * share,
            next=suggestion(sighted, fit.lens),
        )
        sentences.append(said)
    looseness = _looseness(sighted, fit)
    if looseness > LOOSE_WARNED:
        said = message(
            "The points lie so that the ground between them is {times:.0f} times less sure than a click: {next}.",
            times=looseness,
            next=suggestion(sighted, fit.lens),
        )
        sentences.append(said)
    stray = _stray_sentence(sighted, fit, settings)
    return tuple(sentences) if stray is None else (*sentences, stray)


def _mirrored(sighted: Sighted) -> RegistrationFailure:
    seen_from = sighted.panel.seen_from
    side = message(seen_from) if seen_from in {"below", "above"} else message(f"the {seen_from}")
    text = message(
        "left and right are swapped, as if it were seen from the other side (the panel is drawn seen from {side}); "
        "check that the photo shows this side of the panel and of the car, was not flipped and that "
        "no two opposite points were swapped, then click the points again under their right names",
        side=side,
    )
    return refuse(sighted, FailureReason.MIRRORED, text, sighted.ids)


def _crossed(sighted: Sighted, i: int, j: int) -> RegistrationFailure:
    text = message(
        "the points {one} and {other} look swapped, for everything fits when they change places; click both again",
        one=sighted.name(i),
        other=sighted.name(j),
    )
    return refuse(sighted, FailureReason.CROSSED, text, (sighted.ids[i], sighted.ids[j]))


def _at_odds(sighted: Sighted, fit: PanelFit, settings: Settings) -> RegistrationFailure:
    """Refuse points that do not belong together, naming the worst if one can be named."""
    reason = FailureReason.POOR_FIT if fit.is_in_front else FailureReason.CROSSED
    count = len(sighted.ids)
    if count < POINTS_FOR_SIGMA:
        text = message(
            "the points do not fit together, and with {count} points it cannot be told which is wrong; check their "
            "names, then {next}",
            count={4: message("four"), 5: message("five")}[count],
            next=suggestion(sighted, fit.lens, ordinal={4: "fifth", 5: "sixth"}[count]),
        )
        return refuse(sighted, reason, text)
    others = [left_out_fit(sighted, fit, i) for i in range(count)]
    missed = np.array([o.spread_px if o.is_fixed and _is_right(o, sighted) else np.inf for o in others])
    order = [int(i) for i in np.argsort(missed, kind="stable")]
    suspects = tuple(sighted.ids[i] for i in order[:3])
    if missed[order[0]] > _poor_limit(sighted, settings):
        text = message(
            "the points do not fit together and more than one is wrong; check their names, beginning with {point}",
            point=sighted.name(order[0]),
        )
        return refuse(sighted, reason, text, suspects)
    px, mm = left_out_miss(sighted, others[order[0]], order[0])
    text = message(
        "the points do not fit together; {point} lies where no camera could see it if the others are right: click it "
        "again or remove it",
        point=sighted.name(order[0]),
    )
    if np.isfinite(px):
        text = message(
            "the points do not fit together; {point} lies {px:.0f} px ({mm:.0f} mm) from where the others put it: "
            "click it again or remove it",
            point=sighted.name(order[0]),
            px=px,
            mm=mm,
        )
    return refuse(sighted, reason, text, suspects)


def _stray(sighted: Sighted, fit: PanelFit, settings: Settings) -> tuple[int, float, float, float] | None:
    """Find the one sighting that stands out.

    Its index, how far it lies off in px and mm, and how far the lens's
    uncertainty alone would explain, px.
    """
    count = len(sighted.ids)
    if count < POINTS_FOR_SIGMA:
        return None
    left_out = LeftOut.of(fit)
    worst = int(np.argmax(left_out.gain_px2))
    rest = (fit.square_sum_px2 - float(left_out.gain_px2[worst])) / (fit.freedom - 2)
    if left_out.surprise(worst, max(settings.click_sigma_px**2, rest)) <= chi2.isf(OUTLIER_LEVEL / count, 2):
        return None
    explained = LENS_SIGMAS * left_out.lens_sigma_px(worst)
    return worst, *left_out_miss(sighted, left_out_fit(sighted, fit, worst), worst), explained


def _has_gross_stray(sighted: Sighted, fit: PanelFit, settings: Settings) -> bool:
    # a corner click draws the fit after it: its residual stays small however wrong it is
    stray = _stray(sighted, fit, settings)
    return stray is not None and stray[1] > max(STRAY_SHARE * extent(sighted.clicked_px), stray[3])


def _stray_sentence(sighted: Sighted, fit: PanelFit, settings: Settings) -> str | None:
    stray = _stray(sighted, fit, settings)
    if stray is not None:
        worst, px, mm, _ = stray
        return message(
            "The point {point} lies {px:.1f} px ({mm:.1f} mm) from where the others put it: click it again.",
            point=sighted.name(worst),
            px=px,
            mm=mm,
        )
    if fit.spread_px > GOOD_SIGMAS * settings.click_sigma_px:
        return message(
            "The points miss by {px:.1f} px where {expected:g} px is expected, so the interval is widened: the body "
            "differs from the template here or a click is off; {next}.",
            px=fit.spread_px,
            expected=settings.click_sigma_px,
            next=suggestion(sighted, fit.lens),
        )
    return None


def _looseness(sighted: Sighted, fit: PanelFit) -> float:
    """Compute the standard error of the fit amid the points, for clicks of error 1."""
    if not fit.is_fixed:
        return float("inf")
    jacobian = fit.at(sighted.datum_mm.mean(axis=0, keepdims=True))[2][0]
    covariance = np.linalg.inv(fit.jacobian.T @ fit.jacobian)
    return float(np.sqrt(np.linalg.norm(jacobian @ covariance @ jacobian.T, ord=2)))


def _poor_limit(sighted: Sighted, settings: Settings) -> float:
    return max(POOR_SIGMAS * settings.click_sigma_px, POOR_SHARE * extent(sighted.clicked_px))


def _is_upright(matrix: FloatArray, facing: int) -> bool:
    # photo pixels run down: the map from panel to photo turns over when u x v points to the viewer
    return bool(np.sign(np.linalg.det(matrix)) == -facing)


def _is_right(fit: PanelFit, sighted: Sighted) -> bool:
    return fit.is_in_front and _is_upright(fit.matrix, sighted.panel.facing)


def _repairing_swap(sighted: Sighted, fit: PanelFit, settings: Settings) -> tuple[int, int] | None:
    """Find the pair that makes everything fit when its two names change places."""
    # with many points one of the two is surely among those that miss most
    suspects = set(np.argsort(-np.abs(fit.residual_px).sum(axis=1))[:MOST_SUSPECTS].tolist())
    pairs = [pair for pair in combinations(range(len(sighted.ids)), 2) if suspects & set(pair)]
    orders = np.tile(np.arange(len(sighted.ids)), (len(pairs), 1))
    for row, (i, j) in enumerate(pairs):
        orders[row, [i, j]] = j, i
    score = _swap_scores(fit, orders, sighted.panel.facing)
    best = int(np.argmin(score))
    if not np.isfinite(score[best]):
        return None
    swapped = fit_panel(sighted.clicked_px, sighted.datum_mm[orders[best]], fit.lens)
    stays_bad = fit.is_in_front and swapped.spread_px > REPAIR_SHARE * fit.spread_px
    if stays_bad or not _is_right(swapped, sighted) or swapped.spread_px > POOR_SIGMAS * settings.click_sigma_px:
        return None
    return pairs[best]


def _swap_scores(fit: PanelFit, orders: np.ndarray[tuple[int, int], np.dtype[np.intp]], facing: int) -> FloatArray:
    """Score reordered datum points by a linear fit; infinite where it cannot be."""
    a, b = fit.problem.a[orders], fit.problem.b
    matrices = direct_linear(a, np.broadcast_to(b, a.shape))
    q = np.concatenate([a, np.ones((*a.shape[:2], 1))], axis=-1) @ np.swapaxes(matrices, -1, -2)
    w = q[..., 2]
    possible = (w > 0).all(axis=1) & (np.sign(np.linalg.det(matrices)) == -facing)
    w = np.where(possible[:, None], w, 1.0)
    if fit.freedom == 0:
        # four points fit exactly under several names: prefer the mildest perspective
        return np.where(possible, w.max(axis=1) / w.min(axis=1), np.inf)
    missed = ((q[..., :2] / w[..., None] - b) ** 2).sum(axis=(1, 2))
    return np.where(possible, missed, np.inf)
