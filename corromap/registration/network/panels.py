"""Panels placed by the cameras of a network."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.messages import message
from corromap.registration.by_camera import (
    W_SHARE,
    away_mm,
    inverse_by,
    is_known,
    own_points,
    panels_shown,
    places_over,
    root_mean_square,
)
from corromap.registration.camera import POSE, SHARED, crosses
from corromap.registration.homography import apply
from corromap.registration.network.linked import LinkedCamera
from corromap.registration.network.transfer import body, plane_in
from corromap.registration.network.values import AXES
from corromap.registration.result import Registration, camera_label, focal_label, lens_label, panel_place_label
from corromap.survey import Settings
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = ["linked_panels", "place_by_network"]


@dataclass(frozen=True, slots=True, eq=False)
class _Placing:
    """A panel in a view: its frame in the camera frame, the lens's matrix, their product and its scaled inverse."""

    camera: LinkedCamera
    panel: Panel
    plane: FloatArray
    optics: FloatArray
    to_px: FloatArray
    matrix: FloatArray


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
    placed, problem, state = {}, camera.network.problem, camera.network.state
    car = body(problem, state, places_over(template).car_mm)
    inside = car @ state.rotations[camera.index].T + state.shifts_mm[camera.index]
    shown = panels_shown(camera.pose, camera.lens, camera.view.photo, inside, template)
    for panel_id, every in shown.items():
        registration = place_by_network(camera, template.panel(panel_id), template)
        px = every[registration.detail(every) <= settings.coarsest_mm_per_px]
        if len(px) and is_known(registration, px, template):
            placed[panel_id] = registration
    return placed


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
    pose, plane = camera.pose, plane_in(network.problem, network.state, camera.index, panel)
    optics = pose.lens_matrix(lens.centre_px)
    to_px, depths = optics @ plane, camera.depths_mm
    scale = 1.0 / float((1.0 / depths).mean())
    matrix: FloatArray = np.asarray(np.linalg.inv(to_px) * scale, dtype=np.float64)
    sources, moved = _sources(_Placing(camera, panel, plane, optics, to_px, matrix), template)
    w_min = W_SHARE * scale / float(depths.max())
    own = own_points(view.ids, apply(matrix, lens.undistort(view.clicked_px))[1], w_min, panel, template)
    rows, datum_mm = own.rows, own.at_mm
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
        datum_ids=own.ids,
        datum_mm=datum_mm,
        sighted_px=sighted_px,
        residual_px=residual_px,
        residual_mm=residual_mm,
        rms_px=root_mean_square(everywhere),
        rms_mm=root_mean_square(residual_mm if len(rows) else everywhere * mm_per_px),
        sigma_px=network.sigma_px,
        hull_px=camera.hull_px,
        method="linked",
        sources=sources,
        matrix_by_source=moved,
        warnings=camera.warnings,
        camera=pose,
        reason=_reason(camera, len(rows)),
    )


def _sources(placing: _Placing, template: BodyTemplate) -> tuple[tuple[ErrorSource, ...], dict[str, FloatArray]]:
    """Error sources and how the matrix follows each."""
    camera = placing.camera
    problem, errors, photo = camera.network.problem, camera.errors, camera.view.photo.id
    by_own, by_shared = _by_unknowns(placing)
    rows = np.r_[POSE * camera.index : POSE * (camera.index + 1), POSE * len(problem.views) : len(errors.modes)]
    rest = errors.rest[np.ix_(rows, rows)]
    own = ErrorSource(camera_label(photo), (rest + rest.T) / 2.0)
    sources, moved = [own], {own.label: by_own}
    if errors.modes.shape[1]:
        shared = ErrorSource(errors.label, np.eye(errors.modes.shape[1]))
        sources, moved = [shared, own], {shared.label: by_own @ errors.modes[rows], **moved}
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
    away = away_mm(problem.sighted_mm, placing.panel)
    if away > 0 and template.scale_sigma > 0:
        label = panel_place_label(PhotoId(errors.label), placing.panel.id)
        by_place = np.zeros((3, 3, 3))
        by_place[:, 2, :] = placing.optics @ camera.network.state.rotations[camera.index]
        sources.append(ErrorSource(label, np.eye(3) * (template.scale_sigma * away) ** 2))
        moved[label] = inverse_by(placing.matrix, by_place, placing.to_px)
    return tuple(sources), moved


def _by_unknowns(placing: _Placing) -> tuple[FloatArray, FloatArray]:
    """Differentiate the matrix by pose, scales and panels, and by what the camera shares."""
    camera, plane, place = placing.camera, placing.plane, placing.panel.place
    problem, state = camera.network.problem, camera.network.state
    rotation, ahead = state.rotations[camera.index], float(state.depths_mm[camera.index])
    by_plane = np.zeros((3, 3, POSE + AXES + len(problem.panels)))
    from_middle = [place.u_axis, place.v_axis, place.origin_mm - problem.middle_mm]
    for i, turned in enumerate(crosses(np.eye(3))):
        by_plane[:, :, i] = turned @ plane
        by_plane[:, 2, i] -= turned @ np.array([0.0, 0.0, ahead])
        by_plane[i, 2, 3 + i] = ahead
        by_plane[:, :, POSE + i] = np.stack([rotation[:, i] * column[i] for column in from_middle], axis=1)
    column = problem.panel_columns.get(placing.panel.id)
    if column is not None:
        by_plane[:, 2, POSE + column - problem.scale_columns.start] = rotation @ place.normal
    by_shared = np.zeros((3, 3, SHARED))
    by_shared[0, :, 1] = by_shared[1, :, 2] = camera.lens.focal_px * plane[2]
    by_shared[:2, :, 3] = state.focal_px(camera.view) * plane[:2]
    by_own = inverse_by(placing.matrix, np.tensordot(placing.optics, by_plane, axes=1), placing.to_px)
    return by_own, inverse_by(placing.matrix, by_shared, placing.to_px)


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
