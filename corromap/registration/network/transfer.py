"""Residuals of sightings and ties with their derivatives.

A tied point needs no unknowns of its own: the ray of the known photo meets the
panel in it, and the new photo has to show it. Its derivatives by the known
photo's camera follow from the rule that its pixel there stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray
from corromap.registration.camera import NEAREST_MM, POSE, SHARED
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
    """Points as their views show them.

    Parameters
    ----------
    px : ndarray of float64, shape (N, 2)
        Pixels of the photo.
    inside_mm : ndarray of float64, shape (N, 3)
        In the camera frame of the view.
    ahead_mm : ndarray of float64, shape (N,)
        How far ahead the point lies about which the view is turned.
    rotation : ndarray of float64, shape (N, 3, 3)
        Car frame to camera frame.
    through : ndarray of float64, shape (N, 2, 3)
        Derivative of pixels by the point in the camera frame.
    by_shared : ndarray of float64, shape (N, 2, 4)
        Derivative by what the camera shares.
    """

    px: FloatArray
    inside_mm: FloatArray
    ahead_mm: FloatArray
    rotation: FloatArray
    through: FloatArray
    by_shared: FloatArray

    @property
    def depth_mm(self) -> FloatArray:
        """Ahead of the camera, shape (N,)."""
        return self.inside_mm[:, 2]

    @property
    def by_point(self) -> FloatArray:
        """Derivative by the point in the car frame, shape (N, 2, 3)."""
        return np.asarray(self.through @ self.rotation)

    def by_pose(self, through: FloatArray) -> FloatArray:
        """Carry a derivative by the point in the camera frame over to the pose.

        Parameters
        ----------
        through : ndarray of float64, shape (N, 2, 3)
            Derivative of anything by the point in the camera frame.

        Returns
        -------
        ndarray of float64, shape (N, 2, 6)
            By turn and shift.
        """
        from_pivot = self.inside_mm.copy()
        from_pivot[:, 2] -= self.ahead_mm
        a, b, c = np.moveaxis(through, 2, 0)
        x, y, z = from_pivot.T[:, :, None]
        # a row t times minus the cross matrix of p is p x t
        turn = np.stack([y * c - z * b, z * a - x * c, x * b - y * a], axis=2)
        return np.concatenate([turn, through * self.ahead_mm[:, None, None]], axis=2)


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


def see(problem: NetworkProblem, state: NetworkState, views: NDArray[np.int64], car_mm: FloatArray) -> Seen:
    """Show points of the body, each in its view.

    Parameters
    ----------
    problem : NetworkProblem
        The views.
    state : NetworkState
        Where they are.
    views : ndarray of int64, shape (N,)
        The view of each point.
    car_mm : ndarray of float64, shape (N, 3)
        Points of the body as it is, car frame.

    Returns
    -------
    Seen
        Points behind the camera are shown as if just before it.
    """
    rotation, count = state.rotations[views], len(views)
    inside = (rotation @ car_mm[:, :, None])[..., 0] + state.shifts_mm[views]
    slope = inside[:, :2] / np.maximum(inside[:, 2:], NEAREST_MM)
    px, through, shared = np.empty((count, 2)), np.empty((count, 2, 3)), np.empty((count, 2, SHARED))
    for number, rows in problem.by_optics(views):
        lens, focal = state.lens(problem.views[number]), state.focal_px(problem.views[number])
        offset = focal * slope[rows]
        straight = lens.centre_px + offset
        px[rows], bend, by_lens = lens.distort_with_derivatives(straight)
        through[rows, :, :2] = focal * bend
        pulled = (bend @ offset[:, :, None])[..., 0]
        through[rows, :, 2] = -pulled
        shared[rows, :, 0] = by_lens
        shared[rows, :, 1:3] = lens.focal_px * np.eye(2)
        shared[rows, :, 3] = pulled
    through /= np.maximum(inside[:, 2], NEAREST_MM)[:, None, None]
    return Seen(px, inside, state.depths_mm[views], rotation, through, shared)


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
    seen = see(problem, state, np.full(len(car), index), car)
    by_point = seen.by_point
    by_scale = by_point * (view.datum_mm - problem.middle_mm)[:, None, :]
    mine = np.unique(view.home)
    by_off = (by_point @ normals[:, :, None]) * (view.home[:, None] == mine)[:, None, :]
    design = np.concatenate([seen.by_pose(seen.through), seen.by_shared, by_scale, by_off], axis=2)
    columns = np.concatenate([_columns(problem, index), problem.scale_columns.stop + mine])
    return Rows(view.clicked_px - seen.px, design, columns, seen.depth_mm > NEAREST_MM)


@dataclass(frozen=True, eq=False)
class TiedRows:
    """Tied points as the photos show them.

    Parameters
    ----------
    every : Rows
        Residuals of all points in the new photo, link after link; its columns are those of each link, shape (L, P).
    rows : tuple of slice
        Of each link.
    car_mm : ndarray of float64, shape (N, 3)
        Where the points are, car frame.
    known_depth_mm, new_depth_mm : ndarray of float64, shape (N,)
        How far ahead of both cameras.
    """

    every: Rows
    rows: tuple[slice, ...]
    car_mm: FloatArray
    known_depth_mm: FloatArray
    new_depth_mm: FloatArray

    @cached_property
    def links(self) -> tuple[Rows, ...]:
        """Residuals of each link."""
        every = self.every
        return tuple(
            Rows(every.missed_px[rows], every.design[rows], columns, every.fits[rows])
            for rows, columns in zip(self.rows, every.columns, strict=True)
        )


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
        Worked out for all points at once.
    """
    tied = problem.tied
    template_mm, good = _met(problem, state)
    off = np.array([off_mm(problem, state, link.panel) for link in problem.links])
    normal = tied.normal[tied.link]
    car = body(problem, state, template_mm) + off[tied.link, None] * normal
    known, new = see(problem, state, tied.known, car), see(problem, state, tied.new, car)
    axes = (state.scale[:, None] * np.stack([tied.u_axis, tied.v_axis], axis=2))[tied.link]
    new_by_point = new.by_point
    along, across = known.by_point @ axes, new_by_point @ axes
    turns = along[:, 0, 0] * along[:, 1, 1] - along[:, 0, 1] * along[:, 1, 0]
    fits: Mask = np.asarray(good & (new.depth_mm > NEAREST_MM) & (np.abs(turns) > LEAST_AREA), dtype=np.bool_)
    follow = -across @ _inverse_2x2(along, np.where(fits, turns, np.inf))
    through = follow @ known.through
    by_point = new_by_point + through @ known.rotation
    by_scale = by_point * (template_mm - problem.middle_mm)[:, None, :]
    by_off = by_point @ normal[:, :, None]
    design = np.concatenate(
        [known.by_pose(through), follow @ known.by_shared, by_scale, new.by_pose(new.through), new.by_shared, by_off],
        axis=2,
    )
    columns = np.array([_link_columns(problem, i) for i in range(len(problem.links))], dtype=np.int64)
    every = Rows(tied.new_px - new.px, design, columns, fits)
    return TiedRows(every, tied.rows, car, known.depth_mm, new.depth_mm)


def _inverse_2x2(matrices: FloatArray, determinants: FloatArray) -> FloatArray:
    """Invert many small matrices; zero where the determinant is said to be infinite."""
    out = np.empty_like(matrices)
    out[:, 0, 0], out[:, 1, 1] = matrices[:, 1, 1], matrices[:, 0, 0]
    out[:, 0, 1], out[:, 1, 0] = -matrices[:, 0, 1], -matrices[:, 1, 0]
    return np.asarray(out / determinants[:, None, None])


def _met(problem: NetworkProblem, state: NetworkState) -> tuple[FloatArray, Mask]:
    """Where rays of the known photos meet their panels, on the template; and whether they do."""
    tied = problem.tied
    rays = np.ones((len(tied.known_px), 3))
    for number, rows in problem.by_optics(tied.known):
        lens, focal = state.lens(problem.views[number]), state.focal_px(problem.views[number])
        rays[rows, :2] = (lens.undistort(tied.known_px[rows]) - lens.centre_px) / focal
    back = np.zeros((len(problem.links), 3, 3))
    if problem.links:
        planes = _planes(problem, state)
        seen = np.abs(np.linalg.det(planes)) > EDGE_ON_MM
        back[seen] = np.linalg.inv(planes[seen])
    met = (back[tied.link] @ rays[:, :, None])[..., 0]  # (u, v, 1) over the depth
    good: Mask = np.asarray(met[:, 2] > 1.0 / FARTHEST_MM, dtype=np.bool_)
    uv = np.where(good[:, None], met[:, :2] / np.where(good, met[:, 2], 1.0)[:, None], 0.0)
    at = tied.origin_mm[tied.link] + uv[:, :1] * tied.u_axis[tied.link] + uv[:, 1:] * tied.v_axis[tied.link]
    return np.asarray(at), good


def _planes(problem: NetworkProblem, state: NetworkState) -> FloatArray:
    """As `plane_in`, of every link's panel in its known photo, shape (L, 3, 3)."""
    tied, views = problem.tied, np.array([link.known for link in problem.links])
    off = state.off_mm[tied.panel_column - problem.scale_columns.stop]
    origin = body(problem, state, tied.origin_mm) + off[:, None] * tied.normal
    columns = np.stack([state.scale * tied.u_axis, state.scale * tied.v_axis, origin], axis=2)
    planes = state.rotations[views] @ columns
    planes[:, :, 2] += state.shifts_mm[views]
    return np.asarray(planes)


def _link_columns(problem: NetworkProblem, number: int) -> NDArray[np.int64]:
    link = problem.links[number]
    both = _columns(problem, link.known), _columns(problem, link.new)[: POSE + SHARED]
    return np.concatenate([*both, [problem.tied.panel_column[number]]])


def _columns(problem: NetworkProblem, index: int) -> NDArray[np.int64]:
    every = np.arange(problem.size)
    shared = problem.shared_columns[problem.views[index].group]
    return np.concatenate([every[problem.pose_columns[index]], every[shared], every[problem.scale_columns]])
