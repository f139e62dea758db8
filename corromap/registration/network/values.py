"""What the adjustment works on: views, ties as points of panels, and where everything is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray, PanelId
from corromap.registration.camera import POSE, SHARED, CameraPose, rotation_of
from corromap.registration.joint import moved_lens
from corromap.registration.lens import Lens
from corromap.registration.network.view import View
from corromap.template import Panel

__all__ = ["AXES", "LinkPoints", "NetworkProblem", "NetworkState", "TiedArrays"]

AXES = 3
"""Scales of the body along x, y and z against the template."""


@dataclass(frozen=True, slots=True, eq=False)
class LinkPoints:
    """Points that two photos share on one panel.

    Parameters
    ----------
    known, new : int
        The views.
    panel : Panel
        Where they lie.
    known_px, new_px : ndarray of float64, shape (N, 2)
        The points, pixels of the photos as they are.
    sigma_px : float
        Standard error of a point in `new`.
    """

    known: int
    new: int
    panel: Panel
    known_px: FloatArray
    new_px: FloatArray
    sigma_px: float


@dataclass(frozen=True, slots=True, eq=False)
class TiedArrays:
    """All tied points of a network in a row, link after link.

    Parameters
    ----------
    known_px, new_px : ndarray of float64, shape (N, 2)
        In both photos.
    link : ndarray of int64, shape (N,)
        Which link.
    known, new : ndarray of int64, shape (N,)
        Which views.
    rows : tuple of slice
        Of each link.
    by_known, by_new : tuple of ndarray of int64
        For each view, the points it shows as the known, and as the new one.
    origin_mm, u_axis, v_axis, normal : ndarray of float64, shape (L, 3)
        Of each link's panel.
    panel_column : ndarray of int64, shape (L,)
        Its unknown.
    """

    known_px: FloatArray
    new_px: FloatArray
    link: NDArray[np.int64]
    known: NDArray[np.int64]
    new: NDArray[np.int64]
    rows: tuple[slice, ...]
    by_known: tuple[NDArray[np.int64], ...]
    by_new: tuple[NDArray[np.int64], ...]
    origin_mm: FloatArray
    u_axis: FloatArray
    v_axis: FloatArray
    normal: FloatArray
    panel_column: NDArray[np.int64]

    @classmethod
    def of(cls, problem: NetworkProblem) -> TiedArrays:
        """Gather the points of all links.

        Parameters
        ----------
        problem : NetworkProblem
            Whose links they are.

        Returns
        -------
        TiedArrays
            In the order of the links.
        """
        links = problem.links
        counts = [len(link.known_px) for link in links]
        number = np.repeat(np.arange(len(links)), counts)
        ends = np.cumsum([0, *counts])
        known = np.array([x.known for x in links], dtype=np.int64)[number]
        new = np.array([x.new for x in links], dtype=np.int64)[number]
        views, nothing = range(len(problem.views)), np.empty((0, 2))
        places = [link.panel.place for link in links]

        def stacked(rows: list[FloatArray]) -> FloatArray:
            return np.array(rows, dtype=np.float64).reshape(-1, 3)

        return cls(
            np.vstack([*(x.known_px for x in links), nothing]),
            np.vstack([*(x.new_px for x in links), nothing]),
            number,
            known,
            new,
            tuple(slice(int(a), int(b)) for a, b in pairwise(ends)),
            tuple(np.flatnonzero(known == i) for i in views),
            tuple(np.flatnonzero(new == i) for i in views),
            stacked([p.origin_mm for p in places]),
            stacked([p.u_axis for p in places]),
            stacked([p.v_axis for p in places]),
            stacked([p.normal for p in places]),
            np.array([problem.panel_columns[x.panel.id] for x in links], dtype=np.int64),
        )


@dataclass(frozen=True, eq=False)
class NetworkProblem:
    """What is adjusted.

    Parameters
    ----------
    views : tuple of View
        The photos.
    links : tuple of LinkPoints
        What they share.
    middle_mm : ndarray of float64, shape (3,)
        The body is scaled about this point.
    click_sigma_px : float
        Standard error of a click.
    shared_sigma : ndarray of float64, shape (G, 4)
        What is known beforehand of each camera's lens and focal length.
    scale_sigma : float
        Standard uncertainty of the body's scale along each axis.
    panels : tuple of Panel
        Those with tied or sighted points; the body has each of them a little off
        the template, along its normal.
    panel_sigma_mm : ndarray of float64, shape (P,)
        By how much, standard uncertainty.
    """

    views: tuple[View, ...]
    links: tuple[LinkPoints, ...]
    middle_mm: FloatArray
    click_sigma_px: float
    shared_sigma: FloatArray
    scale_sigma: float
    panels: tuple[Panel, ...]
    panel_sigma_mm: FloatArray

    @property
    def groups(self) -> int:
        """How many cameras."""
        return len(self.shared_sigma)

    @property
    def size(self) -> int:
        """Number of unknowns: poses, what cameras share, the body's scales, how far panels stand off."""
        return POSE * len(self.views) + SHARED * self.groups + AXES + len(self.panels)

    @cached_property
    def pose_columns(self) -> list[slice]:
        """Of each view."""
        return [slice(POSE * i, POSE * (i + 1)) for i in range(len(self.views))]

    @cached_property
    def shared_columns(self) -> list[slice]:
        """Of each camera."""
        first = POSE * len(self.views)
        return [slice(first + SHARED * g, first + SHARED * (g + 1)) for g in range(self.groups)]

    @property
    def scale_columns(self) -> slice:
        """Of the body's scales."""
        end = self.size - len(self.panels)
        return slice(end - AXES, end)

    @cached_property
    def panel_columns(self) -> dict[PanelId, int]:
        """Of each panel."""
        first = self.size - len(self.panels)
        return {panel.id: first + i for i, panel in enumerate(self.panels)}

    @cached_property
    def normals(self) -> FloatArray:
        """Unit normals of the panels, shape (P, 3)."""
        return np.array([panel.place.normal for panel in self.panels]).reshape(-1, 3)

    @cached_property
    def optics(self) -> NDArray[np.int64]:
        """For each view the first one with the same lens beforehand, of the same camera."""
        firsts: dict[tuple[object, ...], int] = {}
        keys = ((v.group, *v.lens.centre_px.tolist(), v.lens.focal_px, v.lens.k1) for v in self.views)
        return np.array([firsts.setdefault(key, i) for i, key in enumerate(keys)], dtype=np.int64)

    def by_optics(self, views: NDArray[np.int64]) -> list[tuple[int, NDArray[np.int64]]]:
        """Part points by the lens they are seen through.

        Parameters
        ----------
        views : ndarray of int64, shape (N,)
            The view of each point.

        Returns
        -------
        list of (int, ndarray of int64)
            A view with that lens, and which points.
        """
        first = self.optics[views]
        return [(number, np.flatnonzero(first == number)) for number in np.unique(first).tolist()]

    @cached_property
    def sighted_mm(self) -> FloatArray:
        """All sighted points, car frame, shape (N, 3)."""
        return np.vstack([view.datum_mm for view in self.views])

    @cached_property
    def tied(self) -> TiedArrays:
        """All tied points."""
        return TiedArrays.of(self)

    @property
    def prior_sigma(self) -> FloatArray:
        """Standard uncertainty of all unknowns but the poses, in their order."""
        return np.concatenate([self.shared_sigma.ravel(), np.full(AXES, self.scale_sigma), self.panel_sigma_mm])


@dataclass(frozen=True, slots=True, eq=False)
class NetworkState:
    """Where everything is.

    Parameters
    ----------
    rotations : ndarray of float64, shape (V, 3, 3)
        Car frame to camera frame.
    shifts_mm : ndarray of float64, shape (V, 3)
        Of the car frame's origin.
    shared : ndarray of float64, shape (G, 4)
        As in `joint`: ``k1``, centre, logarithm of the focal length, over what is known beforehand.
    scale : ndarray of float64, shape (3,)
        Of the body over the template.
    depths_mm : ndarray of float64, shape (V,)
        How far ahead of a camera the point lies about which it is turned; it stays that point when the camera moves.
    off_mm : ndarray of float64, shape (P,)
        How far each panel stands off the template's, along its normal.
    """

    rotations: FloatArray
    shifts_mm: FloatArray
    shared: FloatArray
    scale: FloatArray
    depths_mm: FloatArray
    off_mm: FloatArray

    @classmethod
    def of(cls, poses: Sequence[CameraPose], shared: FloatArray, depths_mm: FloatArray, panels: int) -> NetworkState:
        """Start from poses.

        Parameters
        ----------
        poses : sequence of CameraPose
            Of each view.
        shared : ndarray of float64, shape (G, 4)
            Of each camera.
        depths_mm : ndarray of float64, shape (V,)
            Of what each looks at.
        panels : int
            How many panels there are.

        Returns
        -------
        NetworkState
            The body as the template has it.
        """
        rotations, shifts = np.array([p.rotation for p in poses]), np.array([p.shift_mm for p in poses])
        return cls(rotations, shifts, shared, np.ones(AXES), depths_mm, np.zeros(panels))

    def moved(self, step: FloatArray, problem: NetworkProblem) -> NetworkState:
        """Take a step.

        Parameters
        ----------
        step : ndarray of float64, shape (size,)
            Of all unknowns.
        problem : NetworkProblem
            Whose unknowns they are.

        Returns
        -------
        NetworkState
            Where it leads.

        Notes
        -----
        Steps ahead are taken in the logarithm of that depth: a focal length that is hardly known then goes with the
        distance along a straight line (what is seen of its ratio stays), along which a step may be long.
        """
        rotations, shifts = np.empty_like(self.rotations), np.empty_like(self.shifts_mm)
        depths = np.empty_like(self.depths_mm)
        for i, columns in enumerate(problem.pose_columns):
            turn, pivot = rotation_of(step[columns][:3]), np.array([0.0, 0.0, self.depths_mm[i]])
            rotations[i] = turn @ self.rotations[i]
            across, down, ahead = step[columns][3:]
            walked = np.array([across, down, np.expm1(ahead)])
            shifts[i] = turn @ (self.shifts_mm[i] - pivot) + pivot + self.depths_mm[i] * walked
            depths[i] = self.depths_mm[i] * np.exp(ahead)
        first = POSE * len(problem.views)
        shared = self.shared + step[first : first + SHARED * problem.groups].reshape(-1, SHARED)
        scale, off = self.scale + step[problem.scale_columns], self.off_mm + step[problem.scale_columns.stop :]
        return replace(
            self, rotations=rotations, shifts_mm=shifts, shared=shared, scale=scale, depths_mm=depths, off_mm=off
        )

    @property
    def strayed(self) -> FloatArray:
        """All unknowns but the poses, as far as they are from what was known beforehand."""
        return np.concatenate([self.shared.ravel(), self.scale - 1.0, self.off_mm])

    def lens(self, view: View) -> Lens:
        """Tell a view's lens."""
        return moved_lens(view.lens, self.shared[view.group])

    def focal_px(self, view: View) -> float:
        """Tell a view's focal length, px."""
        return view.lens.focal_px * float(np.exp(self.shared[view.group][3]))
