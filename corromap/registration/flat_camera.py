"""A camera from points of one plane, where its focal length is known from elsewhere.

A plane seen nearly square on tells pose and focal length apart too poorly, and
from afar it may be tilted either way. With the focal length held, six numbers
are left instead of the eight of the panel's own fit, as long as only one of the
two tilts fits. All limits here are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from corromap.frames import DatumId, FloatArray
from corromap.registration.camera import CameraPose
from corromap.registration.camera_fit import PhotoCamera, is_flat, problem_of, refined, without_bad
from corromap.registration.lens import Lens
from corromap.registration.poses import poses_of
from corromap.registration.sighted import lone_datums
from corromap.survey import Photo, Settings, Sighting
from corromap.template import BodyTemplate

__all__ = ["KNOWN_FOCAL", "SharedFocal", "solve_flat"]

KNOWN_FOCAL = 0.05
"""Relative standard uncertainty of a focal length beyond which nothing is made of a single plane."""

HELD = np.array([1e-6, 1e-6, 1e-6, 1e-6])
"""Standard uncertainty left to what is shared: it has been solved, or is taken as it is known."""

TOLD_APART = 9.0
"""The tilt that fits worse has to miss by three standard errors more, or both are one and the same."""

LEFT_OUT = 25.0
"""Price of a click left out: as if it missed by five standard errors."""

SAME_RAD = 0.02
"""Tilts nearer to one another than this are one: the covariance covers what is between them."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedFocal:
    """What a camera's photos say of its focal length.

    Parameters
    ----------
    log : float
        Logarithm of the focal length over the one its lens states.
    by_lens : ndarray of float64, shape (3,)
        How it goes with the lens's own parameters.
    variance : float
        Of its logarithm, with the lens held.
    """

    log: float
    by_lens: FloatArray
    variance: float

    def sigma(self, lens: Lens) -> float:
        """Tell the relative standard uncertainty of the focal length, the lens's error included."""
        return float(np.sqrt(self.variance + self.by_lens @ lens.covariance @ self.by_lens))


def solve_flat(  # noqa: PLR0913, PLR0917 - what a camera depends on
    photo: Photo,
    sightings: Sequence[Sighting],
    lens: Lens,
    focal: SharedFocal,
    settings: Settings,
    template: BodyTemplate,
) -> PhotoCamera | None:
    """Solve a photo's camera from points of one plane.

    Parameters
    ----------
    photo : Photo
        The photo.
    sightings : sequence of Sighting
        Its own.
    lens : Lens
        As it has been solved, or is known.
    focal : SharedFocal
        Likewise.
    settings : Settings
        For the error of a click.
    template : BodyTemplate
        The body.

    Returns
    -------
    PhotoCamera or None
        None where the focal length is not known, the points reach out of one plane or fix none, or both tilts fit.
    """
    kept = [s for s in sightings if s.datum in template.datum_points]
    problem = problem_of(kept, lens, template)
    if focal.sigma(lens) > KNOWN_FOCAL or problem is None or not is_flat(problem.car_mm):
        return None
    sigma, focal_px = settings.click_sigma_px, lens.focal_px * float(np.exp(focal.log))
    # the same lens in units of that focal length, so that holding what is shared holds it too
    held = replace(lens, focal_px=focal_px, k1=lens.k1 * (focal_px / lens.focal_px) ** 2)
    problem, ids = replace(problem, lens=held), tuple(s.datum for s in kept)
    found: list[PhotoCamera] = []
    for pose in poses_of(held, focal_px, problem.clicked_px, problem.car_mm, np.inf):
        end = refined(problem.at(pose), held, sigma, HELD)
        if end.is_in_front and _is_before(end.pose, ids, template):
            found.append(without_bad(PhotoCamera(photo, ids, end, is_flat=True), held, sigma, HELD))
    found.sort(key=lambda one: _miss(one, sigma))
    if not found or (len(found) > 1 and not _told_apart(found[0], found[1], sigma)):
        return None
    best = found[0]
    pose = replace(best.fit.pose, focal_px=focal_px)
    return replace(best, fit=replace(best.fit.problem, lens=lens).at(pose))


def _is_before(pose: CameraPose, ids: Sequence[DatumId], template: BodyTemplate) -> bool:
    """Whether the camera looks at the faces of the panels the points belong to."""
    panels = {template.datum_points[datum][0] for datum in ids if datum in lone_datums(template)}
    return all(float((pose.eye_mm - p.place.origin_mm) @ p.place.normal) * p.facing > 0 for p in panels)


def _told_apart(best: PhotoCamera, other: PhotoCamera, sigma_px: float) -> bool:
    turn = best.fit.pose.rotation @ other.fit.pose.rotation.T
    angle = float(np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0)))
    return angle < SAME_RAD or _miss(other, sigma_px) - _miss(best, sigma_px) > TOLD_APART


def _miss(camera: PhotoCamera, sigma_px: float) -> float:
    """Squared misses in standard errors, and the price of every click left out."""
    return camera.fit.square_sum_px2 / sigma_px**2 + LEFT_OUT * len(camera.bad)
