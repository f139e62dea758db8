"""What a fit cannot see for itself.

Four points fit exactly however they were clicked: with two of them swapped, or
with the photo seen from the wrong side, every residual is zero. So the points
are looked at before the fit and the sides of the plane after it, and each
fault has a sentence that says what to click next.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from scipy.stats import chi2

from corromap.frames import DatumId, FloatArray
from corromap.registration.homography import PanelFit, apply, direct_linear, fit_panel, normaliser
from corromap.registration.lens import Lens
from corromap.registration.result import FailureReason, RegistrationFailure
from corromap.registration.sighted import LEAST_POINTS, POINTS_FOR_SIGMA, Sighted
from corromap.registration.suggest import next_point, suggestion
from corromap.survey import Settings

__all__ = ["check_fit", "check_sightings", "fit_warnings"]

LINE_SHARE = 0.01
"""Ours: points lie on one line when they stray from it by less than this share
of their extent along it (root mean square, on the panel) ..."""

LINE_SIGMAS = 3.0
"""... or by less than so many click errors in the photo. Ours."""

NEAR_PHOTO_SHARE = 0.05
"""Ours: clicks that span less of the photo's diagonal are refused."""

NEAR_PANEL_SHARE = 0.02
"""Ours: datum points that span less of the panel's diagonal are refused."""

SPREAD_PHOTO_SHARE = 0.25
"""Ours: below this share of the photo's diagonal the spread is called poor."""

GOOD_SIGMAS = 3.0
"""Ours: residuals up to so many click errors are taken as they are."""

POOR_SIGMAS = 10.0
"""Ours: a fit is refused when its residuals exceed so many click errors ..."""

POOR_SHARE = 0.03
"""... and this share of the extent of the clicks. Between the two limits the fit
is kept and its interval widened: a real body strays from the template too. Ours."""

REPAIR_SHARE = 0.25
"""Ours: a swap repairs a fit when it leaves less than this share of the residual."""

OUTLIER_LEVEL = 0.01
"""Ours: chance of naming a sighting although all are right, over all of them."""


def check_sightings(sighted: Sighted, lens: Lens, settings: Settings) -> RegistrationFailure | None:
    """Look at the sightings before anything is fitted.

    Parameters
    ----------
    sighted : Sighted
        The sightings of one photo on one panel.
    lens : Lens
        The photo's lens.
    settings : Settings
        For the standard error of a click.

    Returns
    -------
    RegistrationFailure or None
        Duplicate, too few, too near together or on one line; None when a plane
        can be fitted.
    """
    return (
        _duplicate(sighted, settings)
        or _too_few(sighted, lens)
        or _too_near(sighted, lens)
        or _collinear(sighted, lens, settings)
    )


def check_fit(sighted: Sighted, fit: PanelFit, settings: Settings) -> RegistrationFailure | None:
    """Look at a fit: sides of the horizon, orientation, residuals.

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
    in_front, upright = fit.is_in_front, _is_upright(fit.matrix, sighted.panel.facing)
    if in_front and upright and _is_good(fit, settings):
        return None
    if in_front and not upright and _is_good(fit, settings):
        return _mirrored(sighted)
    swap = _repairing_swap(sighted, fit, settings)
    if swap is not None:
        return _crossed(sighted, swap)
    if in_front and not upright:
        return _mirrored(sighted)
    if not in_front:
        return _beyond(sighted, fit)
    return _poor_fit(sighted, fit, settings)


def fit_warnings(sighted: Sighted, fit: PanelFit, settings: Settings) -> tuple[str, ...]:
    """Sentences about a fit that is good enough to use.

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
    sentences = []
    if len(sighted.ids) == LEAST_POINTS:
        sentences.append(
            "Four points fit exactly wherever they were clicked, so nothing checks this fit: "
            f"{suggestion(sighted, fit.lens, ordinal='fifth')}."
        )
    share = _extent(sighted.clicked_px) / np.hypot(sighted.photo.width_px, sighted.photo.height_px)
    if share < SPREAD_PHOTO_SHARE:
        sentences.append(
            f"The points span only {share:.0%} of the photo; marks far outside them are carried less surely: "
            f"{suggestion(sighted, fit.lens)}."
        )
    sentences.extend(_stray_sentences(sighted, fit, settings))
    return tuple(sentences)


def _failure(
    sighted: Sighted, reason: FailureReason, text: str, suspects: tuple[DatumId, ...] = ()
) -> RegistrationFailure:
    message = f"Photo '{sighted.photo.name}' on panel '{sighted.panel.name}': {text}."
    return RegistrationFailure(sighted.photo.id, sighted.panel.id, reason, message, suspects)


def _duplicate(sighted: Sighted, settings: Settings) -> RegistrationFailure | None:
    for i, j in combinations(range(len(sighted.ids)), 2):
        if sighted.ids[i] == sighted.ids[j]:
            text = f"the point {sighted.name(i)} was clicked twice; remove one of the two clicks"
            return _failure(sighted, FailureReason.DUPLICATE, text, (sighted.ids[i],))
        apart = float(np.hypot(*(sighted.clicked_px[i] - sighted.clicked_px[j])))
        if apart < settings.click_sigma_px:
            text = (
                f"the points {sighted.name(i)} and {sighted.name(j)} were clicked at the same place; "
                "click the one that is wrong again"
            )
            return _failure(sighted, FailureReason.DUPLICATE, text, (sighted.ids[i], sighted.ids[j]))
    return None


def _too_few(sighted: Sighted, lens: Lens) -> RegistrationFailure | None:
    count = len(sighted.ids)
    if count >= LEAST_POINTS:
        return None
    text = f"{count} of the {LEAST_POINTS} points needed are clicked; {suggestion(sighted, lens)}"
    return _failure(sighted, FailureReason.TOO_FEW, text)


def _too_near(sighted: Sighted, lens: Lens) -> RegistrationFailure | None:
    photo, panel = sighted.photo, sighted.panel
    of_photo = _extent(sighted.clicked_px) / np.hypot(photo.width_px, photo.height_px)
    of_panel = _extent(sighted.datum_mm) / _extent(panel.outline.exterior_mm)
    if of_photo >= NEAR_PHOTO_SHARE and of_panel >= NEAR_PANEL_SHARE:
        return None
    text = (
        f"the points are too near together (they span {of_photo:.0%} of the photo and {of_panel:.0%} of the "
        f"panel); {suggestion(sighted, lens)}"
    )
    return _failure(sighted, FailureReason.TOO_NEAR, text)


def _collinear(sighted: Sighted, lens: Lens, settings: Settings) -> RegistrationFailure | None:
    """A plane needs two points off any line through the others."""
    px, mm = lens.undistort(sighted.clicked_px), sighted.datum_mm
    for left_out in range(len(sighted.ids)):
        rest = np.arange(len(sighted.ids)) != left_out
        across_mm, along_mm = _line_widths(mm[rest])
        across_px, _ = _line_widths(px[rest])
        if across_mm >= LINE_SHARE * along_mm and across_px >= LINE_SIGMAS * settings.click_sigma_px:
            continue
        across, along = _line_widths(mm)
        which = "all the points" if across < LINE_SHARE * along else f"all the points but {sighted.name(left_out)}"
        text = f"{which} lie on one line, which fixes no plane; {suggestion(sighted, lens, where='off that line')}"
        suspects = tuple(sighted.ids[i] for i in np.flatnonzero(rest))
        return _failure(sighted, FailureReason.COLLINEAR, text, suspects)
    return None


def _mirrored(sighted: Sighted) -> RegistrationFailure:
    seen_from = sighted.panel.seen_from
    text = (
        f"the points lie left-right swapped, as if the panel were seen from the other side (it is drawn seen "
        f"from {'the ' if seen_from not in {'below', 'above'} else ''}{seen_from}); check that the photo shows this "
        "side of the panel and of the car and was not flipped, then click the points again under their right names"
    )
    return _failure(sighted, FailureReason.MIRRORED, text, sighted.ids)


def _crossed(sighted: Sighted, swap: tuple[int, int]) -> RegistrationFailure:
    i, j = swap
    text = (
        f"the points {sighted.name(i)} and {sighted.name(j)} look swapped, everything fits when they change "
        "places; click both again"
    )
    return _failure(sighted, FailureReason.CROSSED, text, (sighted.ids[i], sighted.ids[j]))


def _beyond(sighted: Sighted, fit: PanelFit) -> RegistrationFailure:
    worst = [int(i) for i in np.argsort(fit.w) if fit.w[i] <= 0]
    names = " and ".join(sighted.name(i) for i in worst)
    text = (
        f"no camera can see the points in this arrangement, {names} would lie behind it; check the names of the "
        f"points in turn and click {sighted.name(worst[0])} again first"
    )
    return _failure(sighted, FailureReason.CROSSED, text, tuple(sighted.ids[i] for i in worst))


def _poor_fit(sighted: Sighted, fit: PanelFit, settings: Settings) -> RegistrationFailure | None:
    spread = np.sqrt(fit.square_sum_px2 / fit.freedom)
    limit = max(POOR_SIGMAS * settings.click_sigma_px, POOR_SHARE * _extent(sighted.clicked_px))
    if spread <= limit:
        return None
    if len(sighted.ids) < POINTS_FOR_SIGMA:
        text = (
            f"the points do not fit together (they miss by {spread:.0f} px where {settings.click_sigma_px:g} px is "
            f"expected), and with five points it cannot be told which is wrong; {suggestion(sighted, fit.lens)}"
        )
        return _failure(sighted, FailureReason.POOR_FIT, text)
    order = _suspicion(fit)
    px, mm = _left_out_miss(sighted, fit, order[0])
    text = (
        f"the points do not fit together; {sighted.name(order[0])} lies {px:.0f} px ({mm:.0f} mm) from where the "
        "others put it; click it again or remove it"
    )
    return _failure(sighted, FailureReason.POOR_FIT, text, tuple(sighted.ids[i] for i in order[:3]))


def _stray_sentences(sighted: Sighted, fit: PanelFit, settings: Settings) -> list[str]:
    if fit.freedom == 0:
        return []
    spread = float(np.sqrt(fit.square_sum_px2 / fit.freedom))
    if len(sighted.ids) >= POINTS_FOR_SIGMA:
        order, gain = _suspicion(fit), _gain(fit)
        rest = (fit.square_sum_px2 - gain[order[0]]) / (fit.freedom - 2)
        variance = max(settings.click_sigma_px**2, rest)
        if gain[order[0]] / variance > chi2.isf(OUTLIER_LEVEL / len(sighted.ids), 2):
            px, mm = _left_out_miss(sighted, fit, order[0])
            return [
                f"The point {sighted.name(order[0])} lies {px:.1f} px ({mm:.1f} mm) from where the others put it: "
                "click it again."
            ]
    if spread > GOOD_SIGMAS * settings.click_sigma_px:
        return [
            f"The points miss by {spread:.1f} px where {settings.click_sigma_px:g} px is expected: the body differs "
            f"from the template here, or a click is off; {suggestion(sighted, fit.lens)}."
        ]
    return []


def _is_good(fit: PanelFit, settings: Settings) -> bool:
    return fit.freedom == 0 or np.sqrt(fit.square_sum_px2 / fit.freedom) <= GOOD_SIGMAS * settings.click_sigma_px


def _is_upright(matrix: FloatArray, facing: int) -> bool:
    # the map from panel to photo turns over when u x v points to the viewer: photo pixels run down
    return bool(np.sign(np.linalg.det(matrix)) == -facing)


def _repairing_swap(sighted: Sighted, fit: PanelFit, settings: Settings) -> tuple[int, int] | None:
    """Find the pair that makes everything fit when its two names change places."""
    pairs = list(combinations(range(len(sighted.ids)), 2))
    orders = np.tile(np.arange(len(sighted.ids)), (len(pairs), 1))
    for row, (i, j) in enumerate(pairs):
        orders[row, [i, j]] = j, i
    undistorted = fit.lens.undistort(sighted.clicked_px)
    b = apply(normaliser(undistorted), undistorted)[0]
    a = apply(fit.unit_mm, sighted.datum_mm)[0][orders]
    matrices = direct_linear(a, np.broadcast_to(b, a.shape))
    q = np.concatenate([a, np.ones((*a.shape[:2], 1))], axis=-1) @ np.swapaxes(matrices, -1, -2)
    usable = (q[..., 2] > 0).all(axis=1) & (np.sign(np.linalg.det(matrices)) == -sighted.panel.facing)
    if not usable.any():
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        missed = ((q[..., :2] / q[..., 2:] - b) ** 2).sum(axis=(1, 2))
    # four points fit exactly under several names: prefer the mildest perspective
    steep = q[..., 2].max(axis=1) / q[..., 2].min(axis=1)
    score = np.where(usable, steep if fit.freedom == 0 else missed, np.inf)
    best = int(np.argmin(score))
    refined = fit_panel(sighted.clicked_px, sighted.datum_mm[orders[best]], fit.lens)
    if not refined.is_in_front:
        return None
    if fit.is_in_front and refined.square_sum_px2 > REPAIR_SHARE**2 * fit.square_sum_px2:
        return None
    poor = fit.freedom > 0 and np.sqrt(refined.square_sum_px2 / fit.freedom) > POOR_SIGMAS * settings.click_sigma_px
    return None if poor else pairs[best]


def _gain(fit: PanelFit) -> FloatArray:
    """How much of the squared sum each sighting's removal takes away, px2.

    For sighting i with residual e and hat-matrix block H it is
    ``e' (I - H)^-1 e`` (Cook and Weisberg, Residuals and Influence in Regression, 1982,
    section 2.2, for a pair of rows).
    """
    blocks = _freedom_blocks(fit)
    e = fit.residual_px
    return np.asarray(np.einsum("ni,ni->n", e, (np.linalg.pinv(blocks, hermitian=True) @ e[:, :, None])[..., 0]))


def _freedom_blocks(fit: PanelFit) -> FloatArray:
    q = np.linalg.qr(fit.jacobian)[0].reshape(-1, 2, 8)
    return np.asarray(np.eye(2) - q @ np.swapaxes(q, 1, 2))


def _suspicion(fit: PanelFit) -> list[int]:
    return [int(i) for i in np.argsort(-_gain(fit))]


def _left_out_miss(sighted: Sighted, fit: PanelFit, index: int) -> tuple[float, float]:
    """Distance of a click from where the other points put it, px and mm."""
    rest = np.arange(len(sighted.ids)) != index
    other = fit_panel(sighted.clicked_px[rest], sighted.datum_mm[rest], fit.lens)
    predicted, w, _ = other.at(sighted.datum_mm[index : index + 1])
    clicked = sighted.clicked_px[index : index + 1]
    carried = apply(other.px_to_mm(), fit.lens.undistort(clicked))[0]
    px = float(np.hypot(*(clicked - predicted)[0])) if w[0] > 0 else float("inf")
    return px, float(np.hypot(*(carried - sighted.datum_mm[index])[0]))


def _extent(xy: FloatArray) -> float:
    """Diagonal of the box around points."""
    return float(np.hypot(*(xy.max(axis=0) - xy.min(axis=0))))


def _line_widths(xy: FloatArray) -> tuple[float, float]:
    """Root mean square extent across and along the best line."""
    along, across = np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False) / np.sqrt(len(xy))
    return float(across), float(along)
