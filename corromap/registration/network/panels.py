"""Panels placed by the cameras of a network, with the errors they share.

The covariance of all cameras together is taken apart into what goes with the
lenses, a few directions that photos share, and the rest of each photo. So one
photo's own error stays exact, and photos that hang on the same points move
together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.linalg import eigh

from corromap.frames import CameraId, DatumId, FloatArray, PanelId, PhotoId
from corromap.messages import message
from corromap.registration.camera import POSE, SHARED, CameraPose, crosses
from corromap.registration.camera_place import LEAST_FACING, LOOSEST_MM, W_SHARE, places_on, standard_error
from corromap.registration.homography import apply
from corromap.registration.lens import Lens
from corromap.registration.network.solve import Adjusted
from corromap.registration.network.transfer import body, plane_in
from corromap.registration.network.values import AXES, View
from corromap.registration.result import Registration, camera_label, focal_label, lens_label, panel_place_label
from corromap.registration.sighted import datum_positions
from corromap.survey import Photo, Settings
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = ["LinkedCamera", "SharedErrors", "linked_panels", "shared_errors"]

THINNED = 3
"""Every third place is enough to tell how well a panel is known."""

MODES = 24
"""Directions in which photos of a network err together, at most."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedErrors:
    """The errors of a network, taken apart.

    Parameters
    ----------
    label : str
        Of the directions that photos share.
    by_shared : ndarray of float64, shape (6 V + 3 + P, 4 G)
        How poses, scales and panels go with lenses and focal lengths.
    modes : ndarray of float64, shape (6 V + 3 + P, R)
        Shared directions, each of standard error 1.
    rest : ndarray of float64, shape (6 V + 3 + P, 6 V + 3 + P)
        Covariance of what is left.
    """

    label: str
    by_shared: FloatArray
    modes: FloatArray
    rest: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LinkedCamera:
    """One photo's camera in an adjusted network.

    Parameters
    ----------
    network : Adjusted
        All of it.
    errors : SharedErrors
        Its errors.
    index : int
        Which view.
    lenses : tuple of Lens
        Of the cameras, as adjusted, by group; the photo's own is `lens`.
    lens : Lens
        The photo's.
    tied_px : ndarray of float64, shape (N, 2)
        Tied points in this photo.
    hull_px : ndarray of float64, shape (H, 2)
        Corners of what is sighted and tied in it.
    missed_px : ndarray of float64, shape (K, 2)
        Misses of its sightings.
    tied_miss_px : ndarray of float64, shape (M, 2)
        Misses of tied points in this photo, or in its neighbours where it has none.
    depths_mm : ndarray of float64, shape (K,)
        How far ahead the sighted and the tied points lie.
    neighbours : tuple of PhotoId
        Photos it is tied to.
    warnings : tuple of str
        Sentences for the person.
    """

    network: Adjusted
    errors: SharedErrors
    index: int
    lenses: tuple[Lens, ...]
    lens: Lens
    tied_px: FloatArray
    hull_px: FloatArray
    missed_px: FloatArray
    tied_miss_px: FloatArray
    depths_mm: FloatArray
    neighbours: tuple[PhotoId, ...]
    warnings: tuple[str, ...] = ()

    @property
    def view(self) -> View:
        """The photo with its sightings."""
        return self.network.problem.views[self.index]

    @property
    def pose(self) -> CameraPose:
        """Where it was taken from, in the template's car frame.

        The body is a little longer or shorter than the template; the eye is
        carried back to the template, so that lines of sight stay what they are.
        """
        state, problem = self.network.state, self.network.problem
        rotation = state.rotations[self.index]
        eye = -rotation.T @ state.shifts_mm[self.index]
        eye = problem.middle_mm + (eye - problem.middle_mm) / state.scale
        return CameraPose(rotation, -rotation @ eye, state.focal_px(self.view))

    def weights(self, datums: Iterable[DatumId]) -> FloatArray:
        """Look up what sightings count for.

        Parameters
        ----------
        datums : iterable of DatumId
            Sightings of this photo.

        Returns
        -------
        ndarray of float64, shape (N,)
            Weights in the adjustment.
        """
        rows = [self.view.ids.index(datum) for datum in datums]
        return np.asarray(self.view.weight[rows])


def shared_errors(network: Adjusted, label: str) -> SharedErrors:
    """Take the errors of a network apart.

    Parameters
    ----------
    network : Adjusted
        The network.
    label : str
        For the shared directions.

    Returns
    -------
    SharedErrors
        The covariance of every photo alone is kept to the last digit; that
        between photos in its `MODES` largest directions.
    """
    problem = network.problem
    first = problem.scale_columns.start
    geometry = np.r_[0 : POSE * len(problem.views), first : problem.size]
    shared = np.arange(POSE * len(problem.views), first)
    whole = network.covariance
    within = whole[np.ix_(shared, shared)]
    by_shared = np.linalg.solve(within, whole[np.ix_(shared, geometry)]).T
    left = whole[np.ix_(geometry, geometry)] - by_shared @ whole[np.ix_(shared, geometry)]
    last = len(left) - 1
    values, vectors = eigh((left + left.T) / 2.0, subset_by_index=(max(0, last + 1 - MODES), last))
    modes = np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
    return SharedErrors(label, by_shared, modes, left - modes @ modes.T)


def adjusted_lens(network: Adjusted, view: View, name: str) -> Lens:
    """Take a view's lens as adjusted, with the covariance of its camera's.

    Parameters
    ----------
    network : Adjusted
        The network.
    view : View
        The photo.
    name : str
        Of the network: its lenses are not those of photos outside it.

    Returns
    -------
    Lens
        Shared by the photos of the camera in this network.
    """
    columns = network.problem.shared_columns[view.group]
    covariance = network.covariance[columns, columns][:3, :3]
    lens, given = network.state.lens(view), view.photo.camera or view.photo.id
    focal = lens.source.split(",", maxsplit=1)[0]
    return replace(
        lens,
        camera=CameraId(f"{given}, {name}"),
        sigma_k1=float(np.sqrt(covariance[0, 0])),
        covariance=covariance,
        source=f"{focal}, distortion estimated from {len(network.problem.views)} linked photos together",
    )


def linked_panels(camera: LinkedCamera, template: BodyTemplate, settings: Settings) -> dict[PanelId, Registration]:
    """Place a photo on every panel its camera in the network looks at.

    Parameters
    ----------
    camera : LinkedCamera
        The photo's camera.
    template : BodyTemplate
        The body.
    settings : Settings
        For the coarsest detail.

    Returns
    -------
    dict of PanelId to Registration
        Of method ``linked``, in the template's order; a panel without a point
        clicked on it only where its place is known well enough.
    """
    placed, eye = {}, camera.pose.eye_mm
    for panel in template.panels:
        px = _in_frame(camera, panel, eye)
        if len(px) == 0:
            continue
        registration = place_by_network(camera, panel, template)
        px = px[registration.detail(px) <= settings.coarsest_mm_per_px]
        if len(px) and (registration.datum_ids or standard_error(registration, px[::THINNED]) <= LOOSEST_MM):
            placed[panel.id] = registration
    return placed


def _in_frame(camera: LinkedCamera, panel: Panel, eye: FloatArray) -> FloatArray:
    """Pixels of places on the panel that the camera faces, not too flat, inside the frame."""
    places, problem, state = places_on(panel), camera.network.problem, camera.network.state
    rays = eye - places.car_mm
    facing = rays @ places.towards > LEAST_FACING * np.linalg.norm(rays, axis=1)
    if not facing.any():
        return np.empty((0, 2))
    car = body(problem, state, places.car_mm[facing])
    inside = car @ state.rotations[camera.index].T + state.shifts_mm[camera.index]
    inside = inside[inside[:, 2] > 1.0]
    straight = state.focal_px(camera.view) * inside[:, :2] / inside[:, 2:] + camera.lens.centre_px
    px = camera.lens.distort(straight)
    return np.asarray(px[_inside(px, camera.view.photo)])


def _inside(px: FloatArray, photo: Photo) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.asarray(((px >= -0.5) & (px <= [photo.width_px - 0.5, photo.height_px - 0.5])).all(axis=1))


def place_by_network(camera: LinkedCamera, panel: Panel, template: BodyTemplate) -> Registration:
    """Place a photo on a panel by its camera in the network.

    Parameters
    ----------
    camera : LinkedCamera
        The photo's camera.
    panel : Panel
        The panel; whether the photo shows it is not looked at here.
    template : BodyTemplate
        For its datum points.

    Returns
    -------
    Registration
        Of method ``linked``.
    """
    network, view, lens = camera.network, camera.view, camera.lens
    plane = plane_in(network.problem, network.state, camera.index, panel)
    to_px = camera.pose.lens_matrix(lens.centre_px) @ plane
    depths = camera.depths_mm
    scale = 1.0 / float((1.0 / depths).mean())
    matrix: FloatArray = np.asarray(np.linalg.inv(to_px) * scale, dtype=np.float64)
    sources, moved = _sources(camera, panel, matrix, template)
    w_min = W_SHARE * scale / float(depths.max())
    rows, datum_mm = _own_points(camera, panel, template, matrix, w_min)
    sighted_px, residual_px = view.clicked_px[rows], camera.missed_px[rows]
    residual_mm = apply(matrix, lens.undistort(sighted_px))[0] - datum_mm
    everywhere = camera.tied_miss_px if len(rows) == 0 else residual_px
    mm_per_px = float(np.median(depths)) / network.state.focal_px(view)
    return Registration(
        photo=view.photo.id,
        panel=panel.id,
        lens=lens,
        matrix=matrix,
        w_min=w_min,
        datum_ids=tuple(view.ids[i] for i in rows),
        datum_mm=datum_mm,
        sighted_px=sighted_px,
        residual_px=residual_px,
        residual_mm=residual_mm,
        rms_px=_rms(everywhere),
        rms_mm=_rms(residual_mm if len(rows) else everywhere * mm_per_px),
        sigma_px=network.sigma_px,
        hull_px=camera.hull_px,
        method="linked",
        sources=sources,
        matrix_by_source=moved,
        warnings=camera.warnings,
        camera=camera.pose,
        reason=_reason(camera, len(rows)),
    )


def _own_points(
    camera: LinkedCamera, panel: Panel, template: BodyTemplate, matrix: FloatArray, w_min: float
) -> tuple[list[int], FloatArray]:
    view, positions = camera.view, datum_positions(template, panel.id)
    w = apply(matrix, camera.lens.undistort(view.clicked_px))[1]
    rows = [i for i, datum in enumerate(view.ids) if datum in positions and w[i] >= w_min]
    ids: list[DatumId] = [view.ids[i] for i in rows]
    return rows, np.array([positions[datum] for datum in ids], dtype=np.float64).reshape(-1, 2)


def _sources(
    camera: LinkedCamera, panel: Panel, matrix: FloatArray, template: BodyTemplate
) -> tuple[tuple[ErrorSource, ...], dict[str, FloatArray]]:
    """Error sources and how the matrix follows each."""
    problem, errors, photo = camera.network.problem, camera.errors, camera.view.photo.id
    by_own, by_shared, optics = _by_unknowns(camera, panel, matrix)
    rows = np.r_[POSE * camera.index : POSE * (camera.index + 1), POSE * len(problem.views) : len(errors.modes)]
    rest = errors.rest[np.ix_(rows, rows)]
    shared = ErrorSource(errors.label, np.eye(errors.modes.shape[1]))
    own = ErrorSource(camera_label(photo), (rest + rest.T) / 2.0)
    sources, moved = [shared, own], {shared.label: by_own @ errors.modes[rows], own.label: by_own}
    for group in range(problem.groups):
        follow = by_own @ errors.by_shared[rows, SHARED * group : SHARED * (group + 1)]
        if group == camera.view.group:
            follow = follow + by_shared
        within = camera.network.covariance[problem.shared_columns[group], problem.shared_columns[group]]
        by_lens = np.linalg.solve(within[:3, :3], within[:3, 3])
        lens = camera.lenses[group]
        first = ErrorSource(lens_label(lens, photo), within[:3, :3])
        focal = ErrorSource(focal_label(lens, photo), np.array([[float(within[3, 3] - by_lens @ within[:3, 3])]]))
        sources += [first, focal]
        moved[first.label] = follow[:, :, :3] + follow[:, :, 3:] * by_lens
        moved[focal.label] = follow[:, :, 3:]
    away = _away_mm(camera, panel)
    if away > 0 and template.scale_sigma > 0:
        label = panel_place_label(PhotoId(errors.label), panel.id)
        by_place = np.zeros((3, 3, 3))
        by_place[:, 2, :] = optics @ camera.network.state.rotations[camera.index]
        sources.append(ErrorSource(label, np.eye(3) * (template.scale_sigma * away) ** 2))
        moved[label] = _inverse_by(camera, matrix, by_place, panel)
    return tuple(sources), moved


def _by_unknowns(camera: LinkedCamera, panel: Panel, matrix: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Differentiate the matrix by pose, scales and panels, by what the camera shares; and the lens's matrix."""
    problem, state, place = camera.network.problem, camera.network.state, panel.place
    rotation, ahead = state.rotations[camera.index], float(state.depths_mm[camera.index])
    optics, plane = camera.pose.lens_matrix(camera.lens.centre_px), plane_in(problem, state, camera.index, panel)
    by_plane = np.zeros((3, 3, POSE + AXES + len(problem.panels)))
    from_middle = [place.u_axis, place.v_axis, place.origin_mm - problem.middle_mm]
    for i in range(3):
        turned = crosses(np.eye(3)[i : i + 1])[0]
        by_plane[:, :, i] = turned @ plane
        by_plane[:, 2, i] -= turned @ np.array([0.0, 0.0, ahead])
        by_plane[i, 2, 3 + i] = ahead
        by_plane[:, :, POSE + i] = np.stack([rotation[:, i] * column[i] for column in from_middle], axis=1)
    column = problem.panel_columns.get(panel.id)
    if column is not None:
        by_plane[:, 2, POSE + column - problem.scale_columns.start] = rotation @ place.normal
    by_shared = np.zeros((3, 3, SHARED))
    by_shared[0, :, 1] = by_shared[1, :, 2] = camera.lens.focal_px * plane[2]
    by_shared[:2, :, 3] = state.focal_px(camera.view) * plane[:2]
    own = _inverse_by(camera, matrix, np.einsum("ij,jkp->ikp", optics, by_plane), panel)
    return own, _inverse_by(camera, matrix, by_shared, panel), optics


def _inverse_by(camera: LinkedCamera, matrix: FloatArray, by: FloatArray, panel: Panel) -> FloatArray:
    """Differentiate the scaled inverse of the map to pixels given that map's derivative."""
    plane = plane_in(camera.network.problem, camera.network.state, camera.index, panel)
    inverse = np.linalg.inv(camera.pose.lens_matrix(camera.lens.centre_px) @ plane)
    return np.asarray(-np.einsum("ij,jkp,kl->ilp", matrix, by, inverse))


def _away_mm(camera: LinkedCamera, panel: Panel) -> float:
    """Shortest way from any sighted point of the network to the panel, car frame."""
    sighted = np.vstack([view.datum_mm for view in camera.network.problem.views])
    relative, place = sighted - panel.place.origin_mm, panel.place
    uv = np.stack([relative @ place.u_axis, relative @ place.v_axis], axis=1)
    beside = shapely.distance(panel.outline.polygon, shapely.points(uv))
    return float(np.hypot(beside, relative @ place.normal).min())


def _rms(residual: FloatArray) -> float:
    return float(np.sqrt((residual**2).sum(axis=1).mean())) if len(residual) else 0.0


def _reason(camera: LinkedCamera, own: int) -> str:
    clicked, others = len(camera.view.ids), len(camera.neighbours)
    one, more = message("one other photo"), message("{count} other photos", count=others)
    shared = {"tied": len(camera.tied_px), "others": one if others == 1 else more}
    if clicked == 0:
        return message(
            "Linked: placed by {tied} points it shares with {others}, together with all linked photos; no point of its "
            "own.",
            **shared,
        )
    return message(
        "Linked: placed by {tied} points it shares with {others} and {clicked} points of its own, {own} of them on "
        "this panel, together with all linked photos.",
        **shared,
        clicked=clicked,
        own=own,
    )
