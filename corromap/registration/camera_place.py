"""Panels placed by a photo's camera.

Of the panels it looks at, those it shows fine enough and near enough to what
was sighted. All limits here are ours.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.stats import chi2

from corromap.frames import FloatArray, PanelId
from corromap.messages import message
from corromap.registration.by_camera import (
    W_SHARE,
    away_mm,
    hull_of,
    inverse_by,
    is_known,
    own_points,
    panels_shown,
    places_over,
    root_mean_square,
)
from corromap.registration.cameras import PlacedCamera
from corromap.registration.homography import apply
from corromap.registration.influence import GOOD_SIGMAS
from corromap.registration.panel_fit import least_squares
from corromap.registration.result import (
    Registration,
    camera_label,
    focal_label,
    lens_label,
    panel_place_label,
)
from corromap.registration.sighted import point_name
from corromap.survey import Settings
from corromap.template import BodyTemplate, Panel
from corromap.uncertainty import ErrorSource

__all__ = ["camera_panels", "left_out_sentences", "panel_stands_out", "place_by_camera"]

STANDS_OUT = 0.01
"""Chance that a panel's own points are as far off the camera although nothing is wrong."""


def place_by_camera(camera: PlacedCamera, panel: Panel, template: BodyTemplate) -> Registration:
    """Place a photo on a panel by its camera.

    Parameters
    ----------
    camera : PlacedCamera
        The photo's camera.
    panel : Panel
        The panel; whether the photo shows it is not looked at here.
    template : BodyTemplate
        For its datum points.

    Returns
    -------
    Registration
        Of method ``camera``. The clicks are one source for all panels of the
        photo, the focal length one for all photos of the camera.
    """
    fit, lens, photo = camera.found.fit, camera.lens, camera.found.photo
    to_px = fit.pose.lens_matrix(lens.centre_px) @ fit.pose.plane(panel.place)
    scale = 1.0 / float((1.0 / fit.inside_mm[:, 2]).mean())
    matrix: FloatArray = np.asarray(np.linalg.inv(to_px) * scale, dtype=np.float64)
    sources, moved = _sources(camera, panel, matrix, template)
    w_min = W_SHARE * scale / float(fit.inside_mm[:, 2].max())
    w = apply(matrix, lens.undistort(fit.problem.clicked_px))[1]
    own = own_points(camera.found.ids, w, w_min, panel, template)
    rows, datum_mm = own.rows, own.at_mm
    sighted_px, residual_px = fit.problem.clicked_px[rows], fit.residual_px[rows]
    residual_mm = apply(matrix, lens.undistort(sighted_px))[0] - datum_mm
    everywhere_mm = fit.residual_px * (fit.inside_mm[:, 2:] / fit.pose.focal_px)
    return Registration(
        photo=photo.id,
        panel=panel.id,
        lens=lens,
        matrix=matrix,
        w_min=w_min,
        datum_ids=own.ids,
        datum_mm=datum_mm,
        sighted_px=sighted_px,
        residual_px=residual_px,
        residual_mm=residual_mm,
        rms_px=root_mean_square(residual_px if len(rows) else fit.residual_px),
        rms_mm=root_mean_square(residual_mm if len(rows) else everywhere_mm),
        sigma_px=camera.sigma_px,
        hull_px=hull_of(fit.problem.clicked_px),
        method="camera",
        sources=sources,
        matrix_by_source=moved,
        warnings=left_out_sentences(camera, template),
        camera=fit.pose,
        reason=_reason(camera, len(rows)),
    )


def camera_panels(camera: PlacedCamera, template: BodyTemplate, settings: Settings) -> dict[PanelId, Registration]:
    """Place a photo on every panel its camera looks at.

    Parameters
    ----------
    camera : PlacedCamera
        The photo's camera.
    template : BodyTemplate
        The body.
    settings : Settings
        For the coarsest detail.

    Returns
    -------
    dict of PanelId to Registration
        In the template's order. Panels that stand in the way of others are not
        taken off here: that is done where areas are cut (`corromap.projection`).
    """
    pose, poor, placed = camera.found.fit.pose, _poor_sentences(camera, settings), {}
    shown = panels_shown(pose, camera.lens, camera.found.photo, pose.inside(places_over(template).car_mm), template)
    for panel_id, every in shown.items():
        registration = place_by_camera(camera, template.panel(panel_id), template)
        px = every[registration.detail(every) <= settings.coarsest_mm_per_px]
        if len(px) and is_known(registration, px, template):
            placed[panel_id] = replace(registration, warnings=(*registration.warnings, *poor))
    return placed


def panel_stands_out(weight: FloatArray, by_camera: Registration) -> str:
    """Tell whether a panel's own points contradict the camera.

    Parameters
    ----------
    weight : ndarray of float64, shape (N,)
        Of the panel's own sightings in the camera's fit.
    by_camera : Registration
        The panel as the camera has it.

    Returns
    -------
    str
        Why the panel's own fit is to be kept, one sentence; empty when the camera will do.
    """
    count = len(by_camera.datum_ids)
    if count == 0:
        return ""
    square = float((weight * (by_camera.residual_px**2).sum(axis=1)).sum()) / by_camera.sigma_px**2
    if square <= chi2.isf(STANDS_OUT, 2 * count):
        return ""
    return message(
        "Placed by its own {count} points: the photo's camera misses them by {missed:.1f} px, more than the "
        "{sigma:.1f} px of its other points; the body differs from the template here.",
        count=count,
        missed=by_camera.rms_px,
        sigma=by_camera.sigma_px,
    )


def _sources(
    camera: PlacedCamera, panel: Panel, matrix: FloatArray, template: BodyTemplate
) -> tuple[tuple[ErrorSource, ...], dict[str, FloatArray]]:
    """Error sources and how the matrix follows each.

    As for one panel, the lens and the focal length are estimated together with
    the pose: what the clicks leave the pose is independent of both. The focal
    length follows the lens; what is left of its error is a source of its own.
    """
    fit, lens, pose = camera.found.fit, camera.lens, camera.found.fit.pose
    optics, plane = pose.lens_matrix(lens.centre_px), pose.plane(panel.place)
    by_pose = inverse_by(matrix, np.einsum("ij,jkp->ikp", optics, fit.plane_by_pose(panel.place)), optics @ plane)
    by_shared = np.zeros((3, 3, 4))
    by_shared[0, :, 1] = by_shared[1, :, 2] = lens.focal_px * plane[2]
    by_shared[:2, :, 3] = pose.focal_px * plane[:2]
    followed = -least_squares(fit.jacobian, fit.by_shared)
    shared = inverse_by(matrix, by_shared, optics @ plane) + by_pose @ followed
    covariance: FloatArray = np.asarray(np.linalg.inv(fit.jacobian.T @ fit.jacobian), dtype=np.float64)
    clicks = ErrorSource(camera_label(camera.found.photo.id), camera.sigma_px**2 * covariance)
    lens_source = ErrorSource(lens_label(lens, camera.found.photo.id), lens.covariance)
    focal = ErrorSource(focal_label(lens, camera.found.photo.id), np.array([[camera.focal_variance]]))
    moved = {
        clicks.label: by_pose,
        lens_source.label: shared[:, :, :3] + shared[:, :, 3:] * camera.focal_by_lens,
        focal.label: shared[:, :, 3:],
    }
    sources = [clicks, lens_source, focal]
    away = away_mm(fit.problem.car_mm, panel)
    if away > 0 and template.scale_sigma > 0:
        # a panel apart from what was sighted: the body's dimensions between them are not the template's
        label = panel_place_label(camera.found.photo.id, panel.id)
        by_place = np.zeros((3, 3, 3))
        by_place[:, 2, :] = optics @ pose.rotation
        sources.append(ErrorSource(label, np.eye(3) * (template.scale_sigma * away) ** 2))
        moved[label] = inverse_by(matrix, by_place, optics @ plane)
    return tuple(sources), moved


def _poor_sentences(camera: PlacedCamera, settings: Settings) -> tuple[str, ...]:
    """Say that all points together miss by too much: no one of them is at fault."""
    if camera.sigma_px <= GOOD_SIGMAS * settings.click_sigma_px:
        return ()
    return (
        message(
            "The points miss by {px:.1f} px where {expected:g} px is expected, so the intervals are widened: this car "
            "is not the body that was chosen, several points were clicked under wrong names, or the photo was joined "
            "from several; compare the car with the template on page 1, then look at the points that lie farthest off.",
            px=camera.sigma_px,
            expected=settings.click_sigma_px,
        ),
    )


def left_out_sentences(camera: PlacedCamera, template: BodyTemplate) -> tuple[str, ...]:
    """Name the sightings that a photo's own camera was solved without.

    Parameters
    ----------
    camera : PlacedCamera
        The photo's camera.
    template : BodyTemplate
        For the names of its points.

    Returns
    -------
    tuple of str
        One sentence each, with the misses with and without it.
    """
    said = []
    for bad in camera.found.bad:
        panel, datum = template.datum_points[bad.datum]
        sentence = message(
            "The point {point} lies {px:.1f} px ({mm:.0f} mm) from where the others put it and was left out: with it "
            "the points miss by {with_it:.1f} px, without it by {without_it:.1f} px. Click it again or remove it.",
            point=point_name(panel.name, datum.name),
            px=bad.miss_px,
            mm=bad.miss_mm,
            with_it=bad.with_px,
            without_it=bad.without_px,
        )
        said.append(sentence)
    return tuple(said)


def _reason(camera: PlacedCamera, own: int) -> str:
    count, spare = len(camera.found.ids), camera.found.fit.freedom
    none, some = message("none of them on this panel"), message("{own} of them on this panel", own=own)
    counted = {
        "count": count,
        "here": some if own else none,
        "spare": spare,
        "px": root_mean_square(camera.found.fit.residual_px),
    }
    if camera.found.is_flat:
        return message(
            "Placed by the photo's camera: {count} points of one plane, {here}, and a focal length known beforehand; "
            "{spare} coordinates to spare, {px:.1f} px.",
            **counted,
        )
    return message(
        "Placed by the photo's camera: {count} points anywhere on the body, {here}, {spare} coordinates to spare, "
        "{px:.1f} px.",
        **counted,
    )
