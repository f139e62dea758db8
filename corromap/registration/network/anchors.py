"""What a network starts from: lenses as they are known, photos that stand by points of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from corromap.frames import PhotoId
from corromap.registration.camera import CameraPose
from corromap.registration.cameras import PlacedCamera
from corromap.registration.joint import moved_lens
from corromap.registration.network.linked import LinkedCamera
from corromap.registration.network.start import Held, TiedPoints, pose_of_plane
from corromap.registration.network.wording import Given
from corromap.registration.prior import prior_lens
from corromap.registration.result import Registration, lens_label
from corromap.survey import Photo

__all__ = ["anchors_of", "better_held", "held_of", "own_points"]


def better_held(
    given: Given, held: Mapping[PhotoId, Held], cameras: Mapping[PhotoId, LinkedCamera]
) -> dict[PhotoId, Held]:
    """Take lens and focal length of every photo as the network has them for its camera.

    Parameters
    ----------
    given : Given
        For the photos.
    held : mapping of PhotoId to Held
        As they were.
    cameras : mapping of PhotoId to LinkedCamera
        Photos of the network.

    Returns
    -------
    dict of PhotoId to Held
        Unchanged for cameras of which no photo is in the network.
    """
    shared = {}
    for key, camera in cameras.items():
        label = lens_label(prior_lens(given.photos[key]), key)
        shared[label] = camera.network.state.shared[camera.view.group]
    found = dict(held)
    for key, photo in given.photos.items():
        lens = prior_lens(photo)
        adjusted = shared.get(lens_label(lens, key))
        if adjusted is not None:
            focal = lens.focal_px * float(np.exp(adjusted[3]))
            found[key] = replace(held[key], lens=moved_lens(lens, adjusted), focal_px=focal, focal_is_known=True)
    return found


def held_of(photo: Photo, given: Given) -> Held:
    """Take a photo's lens and focal length as they are known without ties.

    Parameters
    ----------
    photo : Photo
        The photo.
    given : Given
        For what the sightings of its camera's photos say.

    Returns
    -------
    Held
        To look for first poses with.
    """
    lens, camera = given.solved.lenses[photo.id], given.solved.cameras[photo.id]
    focal, is_known = lens.focal_px, photo.focal_px is not None
    if isinstance(camera, PlacedCamera):
        focal = camera.found.fit.pose.focal_px
    else:
        label = lens_label(lens, photo.id)
        for other in given.solved.cameras.values():
            if isinstance(other, PlacedCamera) and lens_label(other.lens, other.found.photo.id) == label:
                # photos of one camera differ in size; their focal lengths go with what the lens states
                focal, is_known = lens.focal_px * other.found.fit.pose.focal_px / other.lens.focal_px, True
    return Held(lens, focal, float(np.hypot(photo.width_px, photo.height_px)), is_known)


def anchors_of(given: Given, held: Mapping[PhotoId, Held]) -> dict[PhotoId, CameraPose]:
    """Find poses of photos by their own points: on several panels, or on one.

    Parameters
    ----------
    given : Given
        For cameras and placings.
    held : mapping of PhotoId to Held
        Every photo's lens.

    Returns
    -------
    dict of PhotoId to CameraPose
        Photos without enough points are left out.
    """
    poses = {}
    for key, camera in given.solved.cameras.items():
        if isinstance(camera, PlacedCamera):
            poses[key] = camera.found.fit.pose
            continue
        placings = [r for r in given.found[key].values() if isinstance(r, Registration)]
        if placings:
            best = max(placings, key=lambda r: len(r.datum_ids))
            panel = given.template.panel(best.panel)
            car = panel.place.to_car(best.datum_mm)
            own = TiedPoints(best.sighted_px, car, given.settings.click_sigma_px, (panel,))
            pose = pose_of_plane(held[key], own)
            if pose is not None:
                poses[key] = pose
    return poses


def own_points(given: Given, key: PhotoId) -> TiedPoints | None:
    """Gather a photo's own sightings, to vote as one tie does.

    Parameters
    ----------
    given : Given
        For the sightings.
    key : PhotoId
        The photo.

    Returns
    -------
    TiedPoints or None
        None when nothing is clicked.
    """
    clicked = given.sightings[key]
    if not clicked:
        return None
    px = np.array([s.at_px for s in clicked], dtype=np.float64)
    return TiedPoints(px, given.car_mm(clicked), given.settings.click_sigma_px)
