"""Lens and camera of every photo of a survey."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from corromap.frames import DatumId, FloatArray, PhotoId
from corromap.registration.camera_fit import CameraRefusal, PhotoCamera, camera_sigma, solve_photo
from corromap.registration.flat_camera import SharedFocal, solve_flat
from corromap.registration.joint import Joint, Known, moved_lens, solve_jointly
from corromap.registration.lens import Lens
from corromap.registration.lenses import estimated_lenses, usable_fits
from corromap.registration.prior import prior_lens, shared_sigma
from corromap.registration.result import lens_label
from corromap.survey import Photo, Settings, Sighting, Survey
from corromap.template import BodyTemplate

__all__ = ["PlacedCamera", "SurveyCameras", "forget_cameras", "own_camera", "solve_cameras", "solve_lenses"]

REMEMBERED = 256
"""Photos whose own cameras are kept."""


@dataclass(frozen=True, slots=True, eq=False)
class PlacedCamera:
    """A photo's camera with the lens its camera's photos share.

    Parameters
    ----------
    found : PhotoCamera
        The camera, its fit moved to the shared lens.
    lens : Lens
        The shared lens, with its covariance.
    sigma_px : float
        Standard error of a click that the covariance stands on.
    focal_by_lens : ndarray of float64, shape (3,)
        How the focal length's logarithm goes with the lens's own three parameters.
    focal_variance : float
        Of its logarithm, with the lens held.
    """

    found: PhotoCamera
    lens: Lens
    sigma_px: float
    focal_by_lens: FloatArray
    focal_variance: float

    def weights(self, datums: Iterable[DatumId]) -> FloatArray:
        """Look up what sightings count for.

        Parameters
        ----------
        datums : iterable of DatumId
            Sightings of this camera.

        Returns
        -------
        ndarray of float64, shape (N,)
            Weights in its fit.
        """
        known = self.found.weights
        return np.array([known[datum] for datum in datums])


@dataclass(frozen=True, slots=True, eq=False)
class SurveyCameras:
    """What is known of a survey's lenses and cameras.

    Parameters
    ----------
    lenses : mapping of PhotoId to Lens
        One for each photo.
    cameras : mapping of PhotoId to PlacedCamera or CameraRefusal
        One for each photo.
    """

    lenses: Mapping[PhotoId, Lens]
    cameras: Mapping[PhotoId, PlacedCamera | CameraRefusal]


def solve_lenses(survey: Survey, template: BodyTemplate) -> dict[PhotoId, Lens]:
    """Find the lens of every photo, shared among a camera's photos.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict of PhotoId to Lens
        One for each photo; see `solve_cameras`.
    """
    return dict(solve_cameras(survey, template).lenses)


def solve_cameras(survey: Survey, template: BodyTemplate) -> SurveyCameras:
    """Find lens and camera of every photo, the lens shared among a camera's photos.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    SurveyCameras
        A photo has a camera when its sightings reach out of one plane and agree.
        Where none of a camera's photos has, its lens is estimated from the
        panels' fits alone (`lenses.estimated_lenses`).
    """
    lenses = {photo.id: prior_lens(photo) for photo in survey.photos}
    groups: dict[str, list[Photo]] = {}
    for photo in survey.photos:
        groups.setdefault(lens_label(lenses[photo.id], photo.id), []).append(photo)
    cameras: dict[PhotoId, PlacedCamera | CameraRefusal] = {}
    focals = {p.id: SharedFocal(0.0, np.zeros(3), float(shared_sigma(p)[3]) ** 2) for p in survey.photos}
    clicks: dict[PhotoId, tuple[_Click, ...]] = {}
    for s in survey.sightings:
        clicks[s.photo] = (*clicks.get(s.photo, ()), (s.datum, float(s.at_px[0]), float(s.at_px[1])))
    for photos in groups.values():
        found = {p.id: _own_camera(p, clicks.get(p.id, ()), survey.settings, template) for p in photos}
        solved = [camera for camera in found.values() if isinstance(camera, PhotoCamera)]
        cameras.update({key: camera for key, camera in found.items() if isinstance(camera, CameraRefusal)})
        if not solved:
            lenses.update(estimated_lenses(photos, lenses, survey, template))
            continue
        placed, focal = _together(photos, solved, lenses, survey, template)
        cameras.update({camera.found.photo.id: camera for camera in placed})
        focals.update({photo.id: focal for photo in photos})
    for photo in survey.photos:
        if cameras[photo.id] == CameraRefusal():  # not refused for a reason: its points lie in one plane
            flat = _flat(photo, clicks.get(photo.id, ()), lenses[photo.id], focals[photo.id], survey, template)
            cameras[photo.id] = flat or CameraRefusal()
    return SurveyCameras(lenses, cameras)


def _flat(  # noqa: PLR0913, PLR0917 - what a camera depends on
    photo: Photo,
    clicks: tuple[_Click, ...],
    lens: Lens,
    focal: SharedFocal,
    survey: Survey,
    template: BodyTemplate,
) -> PlacedCamera | None:
    sightings = [Sighting(photo.id, datum, np.array([x, y])) for datum, x, y in clicks]
    found = solve_flat(photo, sightings, lens, focal, survey.settings, template)
    if found is None:
        return None
    return PlacedCamera(found, lens, camera_sigma(found.fit, survey.settings), focal.by_lens, focal.variance)


def own_camera(
    photo: Photo, sightings: Iterable[Sighting], settings: Settings, template: BodyTemplate
) -> PhotoCamera | CameraRefusal:
    """Solve a photo's camera from its own sightings alone.

    Parameters
    ----------
    photo : Photo
        The photo.
    sightings : iterable of Sighting
        Its own.
    settings : Settings
        For the error of a click.
    template : BodyTemplate
        The body.

    Returns
    -------
    PhotoCamera or CameraRefusal
        Remembered, for `solve_cameras` as well.
    """
    clicks = tuple((s.datum, float(s.at_px[0]), float(s.at_px[1])) for s in sightings)
    return _own_camera(photo, clicks, settings, template)


_Click = tuple[DatumId, float, float]


@lru_cache(maxsize=REMEMBERED)
def _own_camera(
    photo: Photo, clicks: tuple[_Click, ...], settings: Settings, template: BodyTemplate
) -> PhotoCamera | CameraRefusal:
    """Solve a photo's own camera; a click moved on one photo leaves those of the others as they are."""
    sightings = [Sighting(photo.id, datum, np.array([x, y])) for datum, x, y in clicks]
    return solve_photo(photo, sightings, prior_lens(photo), settings, template)


def forget_cameras() -> None:
    """Forget the cameras kept, as benchmarks have to."""
    _own_camera.cache_clear()


def _together(
    photos: Sequence[Photo],
    solved: Sequence[PhotoCamera],
    lenses: dict[PhotoId, Lens],
    survey: Survey,
    template: BodyTemplate,
) -> tuple[list[PlacedCamera], SharedFocal]:
    """Estimate a camera's lens from all its photos; puts it into `lenses`."""
    with_camera = {camera.photo.id for camera in solved}
    others = [p for p in photos if p.id not in with_camera]
    fits = [fit for p in others for fit in usable_fits(p, lenses[p.id], survey, template)]
    # photos without EXIF among others with it: the wider prior holds for all
    prior = np.max([shared_sigma(photo) for photo in photos], axis=0)
    held = len({photo.width_px > photo.height_px for photo in photos}) > 1
    before = [lenses[camera.photo.id] for camera in solved]
    known = Known(prior, survey.settings.click_sigma_px, held)
    joint = solve_jointly([camera.fit for camera in solved], fits, before, known)
    count = len(solved) + len(fits)
    for photo in photos:
        lenses[photo.id] = _with_joint(lenses[photo.id], joint, count)
    own = joint.covariance[:3, :3]
    by_lens: FloatArray = np.asarray(np.linalg.solve(own, joint.covariance[:3, 3]), dtype=np.float64)
    rest = float(joint.covariance[3, 3] - by_lens @ joint.covariance[:3, 3])
    placed = [
        PlacedCamera(
            replace(camera, fit=fit), lenses[camera.photo.id], camera_sigma(fit, survey.settings), by_lens, rest
        )
        for camera, fit in zip(solved, joint.cameras, strict=True)
    ]
    return placed, SharedFocal(float(joint.shared[3]), by_lens, rest)


def _with_joint(lens: Lens, joint: Joint, fits: int) -> Lens:
    focal = lens.source.split(",", maxsplit=1)[0]
    covariance = joint.covariance[:3, :3]
    together = "one fit" if fits == 1 else f"{fits} fits together"
    return replace(
        moved_lens(lens, joint.shared),
        sigma_k1=float(np.sqrt(covariance[0, 0])),
        covariance=covariance,
        source=f"{focal}, distortion estimated from {joint.freedom} spare coordinates of {together}",
    )
