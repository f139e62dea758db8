"""Residuals of sightings and ties with their derivatives.

A tied point needs no unknowns of its own: the ray of the known photo meets the
panel in it, and the new photo has to show it. Its derivatives by the known
photo's camera follow from the rule that its pixel there stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, POSE, SHARED, crosses
from corromap.registration.network.values import LinkPoints, NetworkProblem, NetworkState
from corromap.template import Panel

__all__ = ["Rows", "Seen", "cast", "link_rows", "see", "sighting_rows"]

LEAST_AREA = 1e-9
"""px2 per mm2; a panel seen flatter than this is not met."""

Mask = np.ndarray[tuple[int], np.dtype[np.bool_]]

FARTHEST_MM = 2e4
"""A ray that meets its panel farther off than this does not meet it."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Points as one view shows them.

    Parameters
    ----------
    px : ndarray of float64, shape (N, 2)
        Pixels of the photo.
    depth_mm : ndarray of float64, shape (N,)
        Ahead of the camera.
    by_pose : ndarray of float64, shape (N, 2, 6)
    by_shared : ndarray of float64, shape (N, 2, 4)
    by_point : ndarray of float64, shape (N, 2, 3)
        Derivatives; the last by the point in the car frame.
    """

    px: FloatArray
    depth_mm: FloatArray
    by_pose: FloatArray
    by_shared: FloatArray
    by_point: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Residuals of one set of points.

    Parameters
    ----------
    missed_px : ndarray of float64, shape (N, 2)
        Found minus predicted.
    design : ndarray of float64, shape (N, 2, P)
        Derivative of the prediction by the unknowns in `columns`.
    columns : ndarray of int, shape (P,)
        Some may appear twice: their parts add up.
    fits : ndarray of bool, shape (N,)
        False where a point is behind a camera or a ray misses its panel.
    """

    missed_px: FloatArray
    design: FloatArray
    columns: np.ndarray[tuple[int], np.dtype[np.int64]]
    fits: Mask


def see(problem: NetworkProblem, state: NetworkState, index: int, car_mm: FloatArray) -> Seen:
    """Show points of the body in a view.

    Parameters
    ----------
    problem : NetworkProblem
        The views.
    state : NetworkState
        Where they are.
    index : int
        Which view.
    car_mm : ndarray of float64, shape (N, 3)
        Points of the body as it is, car frame.

    Returns
    -------
    Seen
        Points behind the camera are shown as if just before it.
    """
    view, rotation = problem.views[index], state.rotations[index]
    lens, focal, ahead = state.lens(view), state.focal_px(view), float(state.depths_mm[index])
    inside = car_mm @ rotation.T + state.shifts_mm[index]
    depth = np.maximum(inside[:, 2], NEAREST_MM)
    offset = focal * inside[:, :2] / depth[:, None]
    straight = lens.centre_px + offset
    bend = lens.distort_jacobian(straight)
    by_inside = np.zeros((len(depth), 2, 3))
    by_inside[:, 0, 0] = by_inside[:, 1, 1] = focal / depth
    by_inside[:, :, 2] = -offset / depth[:, None]
    through = bend @ by_inside
    turn = -through @ crosses(inside - [0.0, 0.0, ahead])
    shared = np.zeros((len(depth), 2, SHARED))
    shared[:, :, 0] = lens.distort_by_lens(straight)[:, :, 0]
    shared[:, :, 1:3] = lens.focal_px * np.eye(2)
    shared[:, :, 3] = (bend @ offset[:, :, None])[..., 0]
    by_pose = np.concatenate([turn, through * ahead], axis=2)
    return Seen(lens.distort(straight), inside[:, 2], by_pose, shared, through @ rotation)


def cast(problem: NetworkProblem, state: NetworkState, index: int, px: FloatArray, panel: Panel) -> FloatArray:
    """Let rays of a view meet a panel.

    Parameters
    ----------
    problem : NetworkProblem
        The views.
    state : NetworkState
        Where they are.
    index : int
        Which view.
    px : ndarray of float64, shape (N, 2)
        Pixels of its photo.
    panel : Panel
        The panel.

    Returns
    -------
    ndarray of float64, shape (N, 2)
        Panel millimetres of the template; NaN where a ray misses the plane.
    """
    view = problem.views[index]
    lens, focal = state.lens(view), state.focal_px(view)
    rays = np.column_stack([(lens.undistort(px) - lens.centre_px) / focal, np.ones(len(px))])
    met = rays @ np.linalg.inv(plane_in(problem, state, index, panel)).T
    # met is (u, v, 1) over the depth
    good = met[:, 2] > 1.0 / FARTHEST_MM
    return np.asarray(np.where(good[:, None], met[:, :2] / np.where(good, met[:, 2], 1.0)[:, None], np.nan))


def plane_in(problem: NetworkProblem, state: NetworkState, index: int, panel: Panel) -> FloatArray:
    """Carry (u, v, 1) of a panel, as the template has it, into a view's camera frame, shape (3, 3)."""
    place = panel.place
    origin = body(problem, state, place.origin_mm[None])[0] + off_mm(problem, state, panel) * place.normal
    columns = np.stack([state.scale * place.u_axis, state.scale * place.v_axis, origin], axis=1)
    moved = state.rotations[index] @ columns
    moved[:, 2] += state.shifts_mm[index]
    return np.asarray(moved)


def body(problem: NetworkProblem, state: NetworkState, template_mm: FloatArray) -> FloatArray:
    """Carry points of the template to the body as it is."""
    return np.asarray(problem.middle_mm + state.scale * (template_mm - problem.middle_mm))


def off_mm(problem: NetworkProblem, state: NetworkState, panel: Panel) -> float:
    """Tell how far a panel stands off the template's, along its normal; 0 where nothing shows it."""
    column = problem.panel_columns.get(panel.id)
    return 0.0 if column is None else float(state.off_mm[column - problem.scale_columns.stop])


def sighting_rows(problem: NetworkProblem, state: NetworkState, index: int) -> Rows:
    """Residuals of a view's sightings.

    Parameters
    ----------
    problem : NetworkProblem
        The views.
    state : NetworkState
        Where they are.
    index : int
        Which view.

    Returns
    -------
    Rows
        One row a sighting.
    """
    view = problem.views[index]
    normals = np.array([panel.place.normal for panel in problem.panels])[view.home]
    car = body(problem, state, view.datum_mm) + state.off_mm[view.home, None] * normals
    seen = see(problem, state, index, car)
    by_scale = seen.by_point * (view.datum_mm - problem.middle_mm)[:, None, :]
    mine = np.unique(view.home)
    by_off = (seen.by_point @ normals[:, :, None]) * (view.home[:, None] == mine)[:, None, :]
    design = np.concatenate([seen.by_pose, seen.by_shared, by_scale, by_off], axis=2)
    columns = np.concatenate([_columns(problem, index), problem.scale_columns.stop + mine])
    return Rows(view.clicked_px - seen.px, design, columns, seen.depth_mm > NEAREST_MM)


def link_rows(problem: NetworkProblem, state: NetworkState, link: LinkPoints) -> Rows:
    """Residuals of tied points in the new photo.

    Parameters
    ----------
    problem : NetworkProblem
        The views.
    state : NetworkState
        Where they are.
    link : LinkPoints
        The points.

    Returns
    -------
    Rows
        One row a point.
    """
    place = link.panel.place
    uv = cast(problem, state, link.known, link.known_px, link.panel)
    good: Mask = np.asarray(np.isfinite(uv).all(axis=1), dtype=np.bool_)
    template_mm = place.to_car(np.where(good[:, None], uv, 0.0))
    car = body(problem, state, template_mm) + off_mm(problem, state, link.panel) * place.normal
    known, new = see(problem, state, link.known, car), see(problem, state, link.new, car)
    axes = state.scale[:, None] * np.stack([place.u_axis, place.v_axis], axis=1)
    along, across = known.by_point @ axes, new.by_point @ axes
    turns = np.asarray(np.linalg.det(along), dtype=np.float64)
    fits: Mask = np.asarray(good & (new.depth_mm > NEAREST_MM) & (np.abs(turns) > LEAST_AREA), dtype=np.bool_)
    along = np.where(fits[:, None, None], along, np.eye(2))
    follow = -across @ np.linalg.inv(along)
    stretch = (template_mm - problem.middle_mm)[:, None, :]
    by_scale = new.by_point * stretch + follow @ (known.by_point * stretch)
    by_off = (new.by_point + follow @ known.by_point) @ place.normal[:, None]
    design = np.concatenate(
        [follow @ known.by_pose, follow @ known.by_shared, by_scale, new.by_pose, new.by_shared, by_off], axis=2
    )
    both = _columns(problem, link.known), _columns(problem, link.new)[: POSE + SHARED]
    columns = np.concatenate([*both, [problem.panel_columns[link.panel.id]]])
    return Rows(link.new_px - new.px, design, columns, fits)


def _columns(problem: NetworkProblem, index: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    every = np.arange(problem.size)
    shared = problem.shared_columns[problem.views[index].group]
    return np.concatenate([every[problem.pose_columns[index]], every[shared], every[problem.scale_columns]])
