"""Residuals of sightings and ties with their derivatives.

A tied point needs no unknowns of its own: the ray of the known photo meets the
panel in it, and the new photo has to show it. Its derivatives by the known
photo's camera follow from the rule that its pixel there stays where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, POSE, SHARED, crosses
from corromap.registration.network.hits import EDGE_ON_MM
from corromap.registration.network.values import NetworkProblem, NetworkState
from corromap.template import Panel

__all__ = ["Rows", "Seen", "TiedRows", "body", "link_rows", "off_mm", "plane_in", "see", "sighting_rows"]

LEAST_AREA = 1e-9
"""px2 per mm2; a panel seen flatter than this is not met."""

Mask = NDArray[np.bool_]

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
    columns: NDArray[np.int64]
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


def plane_in(problem: NetworkProblem, state: NetworkState, index: int, panel: Panel) -> FloatArray:
    """Carry (u, v, 1) of a panel, as the template has it, into a view's camera frame, shape (3, 3)."""
    place, off = panel.place, off_mm(problem, state, panel)
    origin = body(problem, state, place.origin_mm[None])[0]
    if off:
        origin = origin + off * problem.normals[problem.panel_columns[panel.id] - problem.scale_columns.stop]
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
    normals = problem.normals[view.home]
    car = body(problem, state, view.datum_mm) + state.off_mm[view.home, None] * normals
    seen = see(problem, state, index, car)
    by_scale = seen.by_point * (view.datum_mm - problem.middle_mm)[:, None, :]
    mine = np.unique(view.home)
    by_off = (seen.by_point @ normals[:, :, None]) * (view.home[:, None] == mine)[:, None, :]
    design = np.concatenate([seen.by_pose, seen.by_shared, by_scale, by_off], axis=2)
    columns = np.concatenate([_columns(problem, index), problem.scale_columns.stop + mine])
    return Rows(view.clicked_px - seen.px, design, columns, seen.depth_mm > NEAREST_MM)


@dataclass(frozen=True, slots=True, eq=False)
class TiedRows:
    """Tied points as the photos show them.

    Parameters
    ----------
    links : tuple of Rows
        Residuals of each link, in the new photo.
    car_mm : ndarray of float64, shape (N, 3)
        Where the points are, car frame, of all links in a row.
    known_depth_mm, new_depth_mm : ndarray of float64, shape (N,)
        How far ahead of both cameras.
    fits : ndarray of bool, shape (N,)
        False where a ray misses its panel, or a point is behind a camera.
    """

    links: tuple[Rows, ...]
    car_mm: FloatArray
    known_depth_mm: FloatArray
    new_depth_mm: FloatArray
    fits: Mask


def link_rows(problem: NetworkProblem, state: NetworkState) -> TiedRows:
    """Residuals of all tied points in the new photo.

    Parameters
    ----------
    problem : NetworkProblem
        The views and links.
    state : NetworkState
        Where they are.

    Returns
    -------
    TiedRows
        Worked out for all points at once, view by view.
    """
    tied = problem.tied
    template_mm, good = _met(problem, state)
    off = np.array([off_mm(problem, state, link.panel) for link in problem.links])
    normal = tied.normal[tied.link]
    car = body(problem, state, template_mm) + off[tied.link, None] * normal
    known, new = _seen(problem, state, tied.by_known, car), _seen(problem, state, tied.by_new, car)
    axes = (state.scale[:, None] * np.stack([tied.u_axis, tied.v_axis], axis=2))[tied.link]
    along, across = known.by_point @ axes, new.by_point @ axes
    turns = along[:, 0, 0] * along[:, 1, 1] - along[:, 0, 1] * along[:, 1, 0]
    fits: Mask = np.asarray(good & (new.depth_mm > NEAREST_MM) & (np.abs(turns) > LEAST_AREA), dtype=np.bool_)
    along = np.where(fits[:, None, None], along, np.eye(2))
    follow = -across @ np.linalg.inv(along)
    stretch = (template_mm - problem.middle_mm)[:, None, :]
    by_scale = new.by_point * stretch + follow @ (known.by_point * stretch)
    by_off = (new.by_point + follow @ known.by_point) @ normal[:, :, None]
    design = np.concatenate(
        [follow @ known.by_pose, follow @ known.by_shared, by_scale, new.by_pose, new.by_shared, by_off], axis=2
    )
    missed = tied.new_px - new.px
    links = tuple(
        Rows(missed[rows], design[rows], _link_columns(problem, i), fits[rows]) for i, rows in enumerate(tied.rows)
    )
    return TiedRows(links, car, known.depth_mm, new.depth_mm, fits)


def _met(problem: NetworkProblem, state: NetworkState) -> tuple[FloatArray, Mask]:
    """Where rays of the known photos meet their panels, on the template; and whether they do."""
    tied = problem.tied
    rays = np.ones((len(tied.known_px), 3))
    for i, rows in enumerate(tied.by_known):
        if len(rows):
            view = problem.views[i]
            lens, focal = state.lens(view), state.focal_px(view)
            rays[rows, :2] = (lens.undistort(tied.known_px[rows]) - lens.centre_px) / focal
    back = np.zeros((len(problem.links), 3, 3))
    for number, link in enumerate(problem.links):
        plane = plane_in(problem, state, link.known, link.panel)
        if abs(float(np.linalg.det(plane))) > EDGE_ON_MM:
            back[number] = np.linalg.inv(plane)
    met = (back[tied.link] @ rays[:, :, None])[..., 0]  # (u, v, 1) over the depth
    good: Mask = np.asarray(met[:, 2] > 1.0 / FARTHEST_MM, dtype=np.bool_)
    uv = np.where(good[:, None], met[:, :2] / np.where(good, met[:, 2], 1.0)[:, None], 0.0)
    at = tied.origin_mm[tied.link] + uv[:, :1] * tied.u_axis[tied.link] + uv[:, 1:] * tied.v_axis[tied.link]
    return np.asarray(at), good


def _seen(
    problem: NetworkProblem, state: NetworkState, by_view: Sequence[NDArray[np.int64]], car_mm: FloatArray
) -> Seen:
    """Show every point in its view."""
    count = len(car_mm)
    whole = Seen(
        np.empty((count, 2)), np.empty(count), np.empty((count, 2, POSE)), np.empty((count, 2, SHARED)),
        np.empty((count, 2, 3)),
    )  # fmt: skip
    for i, rows in enumerate(by_view):
        if len(rows):
            one = see(problem, state, i, car_mm[rows])
            whole.px[rows], whole.depth_mm[rows], whole.by_pose[rows] = one.px, one.depth_mm, one.by_pose
            whole.by_shared[rows], whole.by_point[rows] = one.by_shared, one.by_point
    return whole


def _link_columns(problem: NetworkProblem, number: int) -> NDArray[np.int64]:
    link = problem.links[number]
    both = _columns(problem, link.known), _columns(problem, link.new)[: POSE + SHARED]
    return np.concatenate([*both, [problem.tied.panel_column[number]]])


def _columns(problem: NetworkProblem, index: int) -> NDArray[np.int64]:
    every = np.arange(problem.size)
    shared = problem.shared_columns[problem.views[index].group]
    return np.concatenate([every[problem.pose_columns[index]], every[shared], every[problem.scale_columns]])
