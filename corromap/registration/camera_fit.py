"""One photo's camera from its sightings anywhere on the body.

Bad sightings are found one by one, left out and named; a set that fixes no
camera is refused with a sentence. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from corromap.frames import DatumId, FloatArray
from corromap.messages import message
from corromap.registration.camera import POSE, CameraFit, CameraProblem
from corromap.registration.camera_start import robust_finish, robust_fit
from corromap.registration.influence import GOOD_SIGMAS, POINTS_FOR_SIGMA
from corromap.registration.lens import Lens
from corromap.registration.panel_fit import least_squares
from corromap.registration.prior import shared_sigma
from corromap.registration.sighted import LEAST_POINTS, extent, lone_datums, point_name
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate

__all__ = [
    "BadSighting",
    "CameraRefusal",
    "PhotoCamera",
    "camera_sigma",
    "is_flat",
    "problem_of",
    "refined",
    "solve_photo",
    "without_bad",
]

LEAST_DEPTH_SHARE = 0.02
"""Points stray from one plane by at least this share of their extent along it
(root mean square), or the photo is left to the panels."""

LEAST_DEPTH_MM = 8.0
"""And by at least so much: less is the body's own unevenness."""

OUTLIER_LEVEL = 0.01
"""Chance of leaving out a sighting although all are right, over all of them."""

MOST_BAD_SHARE = 0.25
"""More bad sightings than this share, and the photo is refused."""

LEAST_FREEDOM = 4
"""With so many coordinates to spare it can be told which sighting is wrong: with five sightings of six numbers, as
with six of the eight of a panel's own fit."""

POOR_SIGMAS = 6.0
POOR_SHARE = 0.02
"""A camera that misses by more than both (click errors; share of the extent of the
clicks) is not used: the panels are placed one by one."""

STEPS = 20
SMALLEST_COST = 1e-9
HALVINGS = 6


@dataclass(frozen=True, slots=True)
class BadSighting:
    """A click that the others contradict.

    Parameters
    ----------
    datum : DatumId
        What was clicked.
    miss_px, miss_mm : float
        How far from where the others put it, in the photo and at its depth.
    with_px, without_px : float
        Root mean square residual of all clicks with it and without it.
    """

    datum: DatumId
    miss_px: float
    miss_mm: float
    with_px: float
    without_px: float


@dataclass(frozen=True, slots=True)
class CameraRefusal:
    """Why the sightings of a photo yield no camera.

    Parameters
    ----------
    message : str
        A sentence for the person; empty when the photo is simply left to its
        panels, as when all points lie in one plane.
    suspects : tuple of DatumId
        Sightings most likely at fault, worst first.
    """

    message: str = ""
    suspects: tuple[DatumId, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class PhotoCamera:
    """One photo's camera and what it stands on.

    Parameters
    ----------
    photo : Photo
        The photo.
    ids : tuple of DatumId
        Sightings used, in the order of the fit.
    fit : CameraFit
        The camera.
    bad : tuple of BadSighting
        Sightings left out.
    is_flat : bool
        Whether the points lie in one plane, and the focal length was held.
    """

    photo: Photo
    ids: tuple[DatumId, ...]
    fit: CameraFit
    bad: tuple[BadSighting, ...] = ()
    is_flat: bool = False

    @property
    def weights(self) -> dict[DatumId, float]:
        """What each sighting used counts for."""
        return dict(zip(self.ids, self.fit.problem.weight.tolist(), strict=True))


def solve_photo(
    photo: Photo, sightings: Iterable[Sighting], lens: Lens, settings: Settings, template: BodyTemplate
) -> PhotoCamera | CameraRefusal:
    """Solve one photo's camera.

    Parameters
    ----------
    photo : Photo
        The photo.
    sightings : iterable of Sighting
        Those of other photos are passed over.
    lens : Lens
        What is known of its lens beforehand.
    settings : Settings
        For the click error.
    template : BodyTemplate
        The body.

    Returns
    -------
    PhotoCamera or CameraRefusal
        A refusal is a value.
    """
    kept = [s for s in sightings if s.photo == photo.id and s.datum in template.datum_points]
    problem = _problem(kept, lens, template)
    if problem is None:
        return CameraRefusal()
    sigma, prior, ids = settings.click_sigma_px, shared_sigma(photo), tuple(s.datum for s in kept)
    fit = robust_fit(problem, sigma, prior)
    if fit is None:
        return CameraRefusal(_not_one_camera(photo), ids)
    problem = replace(fit.problem, weight=_weights(fit, template.scale_sigma, sigma))
    fit = problem.at(fit.pose)
    found = without_bad(PhotoCamera(photo, ids, refined(fit, lens, sigma, prior)), lens, sigma, prior)
    fit = found.fit
    poor = max(POOR_SIGMAS * sigma, POOR_SHARE * extent(problem.clicked_px))
    if not fit.is_in_front or _spread(fit) > poor:
        return CameraRefusal(_not_one_camera(photo), ids)
    behind = _seen_from_behind(found, template)
    return found if behind is None else behind


def refined(fit: CameraFit, lens: Lens, sigma_px: float, prior: FloatArray) -> CameraFit:
    """Finish a fit by Gauss-Newton, all ten parameters, the shared ones held by what is known of them.

    Parameters
    ----------
    fit : CameraFit
        Near the end.
    lens : Lens
        The lens as known beforehand.
    sigma_px : float
        Standard error of a click.
    prior : ndarray of float64, shape (4,)
        Standard uncertainty of the shared parameters.

    Returns
    -------
    CameraFit
        As good as it gets.
    """
    for _ in range(STEPS):
        design, missed = _with_prior(fit, lens, sigma_px, prior)
        step = least_squares(design, missed)
        cost, better = float(missed @ missed), None
        for halving in range(HALVINGS):
            tried = fit.moved(step[:POSE] * 0.5**halving, step[POSE:] * 0.5**halving)
            new = _with_prior(tried, lens, sigma_px, prior)[1]
            if tried.is_in_front and float(new @ new) <= cost:
                better = tried, float(new @ new)
                break
        if better is None:
            break
        fit = better[0]
        if cost - better[1] < SMALLEST_COST * (1.0 + cost):
            break
    return fit


def _with_prior(fit: CameraFit, lens: Lens, sigma_px: float, prior: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Design and residuals, px, with a row for what is known of each shared parameter."""
    hold = sigma_px / prior
    shift = (fit.lens.centre_px - lens.centre_px) / lens.focal_px
    strayed = np.array([fit.lens.k1 - lens.k1, *shift, fit.log_focal])
    rows = np.hstack([np.zeros((len(prior), POSE)), np.diag(hold)])
    design = np.vstack([np.hstack([fit.jacobian, fit.by_shared]), rows])
    return design, np.concatenate([fit.weighted_px, -hold * strayed])


def camera_sigma(fit: CameraFit, settings: Settings) -> float:
    """Choose the standard error of a click that a camera's covariance stands on.

    Parameters
    ----------
    fit : CameraFit
        The fit.
    settings : Settings
        For the error always allowed for.

    Returns
    -------
    float
        Per axis, px: the larger of the setting and what the residuals show,
        as for one panel.
    """
    setting, spread = settings.click_sigma_px, _spread(fit)
    if len(fit.residual_px) < POINTS_FOR_SIGMA and spread <= GOOD_SIGMAS * setting:
        return setting
    return max(setting, spread)


def _spread(fit: CameraFit) -> float:
    return float(np.sqrt(fit.square_sum_px2 / max(fit.freedom, 1)))


def _problem(kept: list[Sighting], lens: Lens, template: BodyTemplate) -> CameraProblem | None:
    """Arrays of the sightings, or None when they lie in one plane."""
    problem = problem_of(kept, lens, template)
    return None if problem is None or is_flat(problem.car_mm) else problem


def problem_of(kept: Sequence[Sighting], lens: Lens, template: BodyTemplate) -> CameraProblem | None:
    """Put a photo's sightings into arrays.

    Parameters
    ----------
    kept : sequence of Sighting
        Of one photo, on points that the template knows.
    lens : Lens
        Its lens.
    template : BodyTemplate
        The body.

    Returns
    -------
    CameraProblem or None
        None when they are too few, one was clicked twice, or they lie on a line.
    """
    if len(kept) < LEAST_POINTS or len({s.datum for s in kept}) < len(kept):
        return None
    car = np.array([_car_place(s.datum, template) for s in kept])
    along, across, _ = np.linalg.svd(car - car.mean(axis=0), compute_uv=False)
    if across < LEAST_DEPTH_SHARE * along:
        return None
    return CameraProblem(lens, np.array([s.at_px for s in kept]), car, np.ones(len(car)))


def is_flat(car_mm: FloatArray) -> bool:
    """Tell whether points lie in one plane, but for a body's own unevenness.

    Parameters
    ----------
    car_mm : ndarray of float64, shape (N, 3)
        The points.

    Returns
    -------
    bool
        Then pose and focal length cannot be told apart.
    """
    along, _, depth = np.linalg.svd(car_mm - car_mm.mean(axis=0), compute_uv=False) / np.sqrt(len(car_mm))
    return bool(depth < max(LEAST_DEPTH_MM, LEAST_DEPTH_SHARE * along))


def _car_place(datum: DatumId, template: BodyTemplate) -> FloatArray:
    panel, point = template.datum_points[datum]
    return np.asarray(panel.place.to_car(point.at_mm)[0])


def _weights(fit: CameraFit, scale_sigma: float, sigma_px: float) -> FloatArray:
    """Trust a point less the farther it lies off the plane of the others: a body is not the template's depth."""
    car = fit.problem.car_mm
    centred = car - car.mean(axis=0)
    off_plane = np.abs(centred @ np.linalg.svd(centred, full_matrices=True)[2][2])
    depth = np.maximum(fit.inside_mm[:, 2], 1.0)
    body_px = scale_sigma * off_plane * fit.pose.focal_px / depth
    return np.asarray(sigma_px**2 / (sigma_px**2 + body_px**2))


def without_bad(found: PhotoCamera, lens: Lens, sigma_px: float, prior: FloatArray) -> PhotoCamera:
    """Leave out, one by one, the sightings that the others contradict.

    Parameters
    ----------
    found : PhotoCamera
        With all of them.
    lens : Lens
        The lens as known beforehand.
    sigma_px : float
        Standard error of a click.
    prior : ndarray of float64, shape (4,)
        Standard uncertainty of the shared parameters.

    Returns
    -------
    PhotoCamera
        What is left out is named.
    """
    allowed = int(MOST_BAD_SHARE * len(found.ids))
    for _ in range(allowed):
        fit, ids = found.fit, found.ids
        worst = _worst(fit, lens, sigma_px, prior) if fit.freedom >= LEAST_FREEDOM else None
        if worst is None:
            break
        rest = fit.problem.without(worst)
        extents = np.linalg.svd(rest.car_mm - rest.car_mm.mean(axis=0), compute_uv=False)
        if (extents[2] < LEAST_DEPTH_MM and not found.is_flat) or extents[1] < LEAST_DEPTH_SHARE * extents[0]:
            break
        other = refined(
            robust_finish(replace(rest, lens=fit.lens).at(fit.pose), sigma_px, prior), lens, sigma_px, prior
        )
        lone = replace(rest, lens=other.lens, clicked_px=fit.problem.clicked_px[worst : worst + 1],
                       car_mm=fit.problem.car_mm[worst : worst + 1], weight=np.ones(1)).at(other.pose)  # fmt: skip
        px = float(np.hypot(*lone.residual_px[0]))
        mm = px * float(lone.inside_mm[0, 2]) / other.pose.focal_px
        bad = BadSighting(ids[worst], px, mm, _rms(fit.residual_px), _rms(other.residual_px))
        found = replace(found, ids=ids[:worst] + ids[worst + 1 :], fit=other, bad=(*found.bad, bad))
    return found


def _worst(fit: CameraFit, lens: Lens, sigma_px: float, prior: FloatArray) -> int | None:
    """Find the sighting whose leaving out takes most off the squared sum, if that is more than chance.

    As `influence.LeftOut`, with the rows of what is known of the lens included.
    """
    design, missed = _with_prior(fit, lens, sigma_px, prior)
    count = len(fit.residual_px)
    q = np.linalg.qr(design)[0][: 2 * count].reshape(count, 2, -1)
    spread = np.linalg.pinv(np.eye(2) - q @ np.swapaxes(q, 1, 2), hermitian=True)
    residual = missed[: 2 * count].reshape(count, 2)
    gain = np.einsum("ni,nij,nj->n", residual, spread, residual)
    worst = int(np.argmax(gain))
    rest = (fit.square_sum_px2 - float(gain[worst])) / max(fit.freedom - 2, 1)
    return worst if gain[worst] > max(sigma_px**2, rest) * chi2.isf(OUTLIER_LEVEL / count, 2) else None


def _rms(residual: FloatArray) -> float:
    return float(np.sqrt((residual**2).sum(axis=1).mean()))


def _not_one_camera(photo: Photo) -> str:
    return message(
        "Photo '{photo}': its points on several panels do not fit one camera, so each panel is placed by its own "
        "points alone; check that no point has another's name (left for right, front for rear) and that the photo is "
        "not flipped.",
        photo=photo.name,
    )


def _seen_from_behind(found: PhotoCamera, template: BodyTemplate) -> CameraRefusal | None:
    """Refuse a camera behind a panel on which a point was clicked that lies on no other."""
    alone = lone_datums(template)
    for datum in found.ids:
        panel, point = template.datum_points[datum]
        towards = (found.fit.pose.eye_mm - panel.place.origin_mm) @ panel.place.normal * panel.facing
        if datum in alone and towards < 0:
            said = message(
                "Photo '{photo}': the point {point} lies on a side of '{panel}' that faces "
                "away from where this photo was taken; check its name, and that the photo is not flipped, then click "
                "it again or remove it.",
                photo=found.photo.name,
                point=point_name(panel.name, point.name),
                panel=message(panel.name),
            )
            return CameraRefusal(said, (datum,))
    return None
