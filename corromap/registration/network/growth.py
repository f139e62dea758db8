"""From photos with points of their own to all that are tied to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from corromap.control import PhotoTie
from corromap.frames import FloatArray, PhotoId, TieId
from corromap.registration.camera import CameraPose
from corromap.registration.network.hits import EDGE_ON_MM, first_panels
from corromap.registration.network.start import Held, TiedPoints, agreed_pose
from corromap.registration.sighted import line_widths
from corromap.template import BodyTemplate, Panel

__all__ = ["Growth", "TiePart", "grow"]

LEAST_POINTS = 4

LEAST_ACROSS = 0.007
"""Ours: a photo of unknown focal length is not placed by points that stray from a line by less than this share of its
diagonal (root mean square; a strip of 2.4 per cent): its angle is then uncertain by tenths of a radian."""

WIDTH_PER_RMS = float(np.sqrt(12.0))
"""Width of a strip filled evenly, over the root mean square distance from its middle line."""


@dataclass(frozen=True, slots=True, eq=False)
class TiePart:
    """The points of a tie that lie on one panel.

    Parameters
    ----------
    tie : PhotoTie
        The tie.
    panel : Panel
        The panel.
    rows : ndarray of int64
        Which of its points.
    """

    tie: PhotoTie
    panel: Panel
    rows: np.ndarray[tuple[int], np.dtype[np.int64]]


@dataclass(eq=False)
class Growth:
    """Photos with a first pose, and what their ties are worth.

    Parameters
    ----------
    poses : dict of PhotoId to CameraPose
        Photos placed so far; those with points of their own to begin with.
    parts : dict of TieId to tuple of TiePart
        Of ties at least one photo of which is placed.
    used : dict of TieId to PhotoTie
        Ties by which photos were placed.
    outvoted : dict of TieId to float
        Ties that others contradict, and by how many pixels.
    refused : dict of PhotoId to (tuple of PhotoId, float)
        Photos whose ties put them at different places: their neighbours, and by how many pixels.
    narrow : dict of PhotoId to (tuple of PhotoId, float)
        Photos whose tied points all lie in a strip: their neighbours, and how many pixels it is wide.
    """

    poses: dict[PhotoId, CameraPose]
    parts: dict[TieId, tuple[TiePart, ...]] = field(default_factory=dict)
    used: dict[TieId, PhotoTie] = field(default_factory=dict)
    outvoted: dict[TieId, float] = field(default_factory=dict)
    refused: dict[PhotoId, tuple[tuple[PhotoId, ...], float]] = field(default_factory=dict)
    narrow: dict[PhotoId, tuple[tuple[PhotoId, ...], float]] = field(default_factory=dict)


def grow(
    poses: Mapping[PhotoId, CameraPose],
    ties: Sequence[PhotoTie],
    held: Mapping[PhotoId, Held],
    own: Mapping[PhotoId, TiedPoints],
    template: BodyTemplate,
) -> Growth:
    """Place photos through their neighbours, those with most tied points first.

    Parameters
    ----------
    poses : mapping of PhotoId to CameraPose
        Photos placed by points of their own.
    ties : sequence of PhotoTie
        What photos share.
    held : mapping of PhotoId to Held
        Every photo's lens.
    own : mapping of PhotoId to TiedPoints
        Sightings of photos that have too few to be placed by.
    template : BodyTemplate
        The body.

    Returns
    -------
    Growth
        Photos that are in neither `poses` nor `refused` hang on no placed photo.
    """
    growth = Growth(dict(poses))
    tried: dict[PhotoId, int] = {}
    while True:
        waiting = _waiting(growth, ties, tried)
        if not waiting:
            return growth
        photo = max(waiting, key=lambda key: (sum(len(t.known_px) for t in waiting[key]), key))
        tried[photo] = len(waiting[photo])
        _place(photo, waiting[photo], growth, held, own.get(photo), template)


def _waiting(growth: Growth, ties: Sequence[PhotoTie], tried: Mapping[PhotoId, int]) -> dict[PhotoId, list[PhotoTie]]:
    """Ties of each photo that has no pose to photos that have one, where there are more than when last tried."""
    found: dict[PhotoId, list[PhotoTie]] = {}
    for tie in ties:
        for photo, other in ((tie.known, tie.new), (tie.new, tie.known)):
            if photo not in growth.poses and other in growth.poses:
                found.setdefault(photo, []).append(tie)
    return {photo: those for photo, those in found.items() if len(those) > tried.get(photo, 0)}


def _place(  # noqa: PLR0913, PLR0917 - what a place depends on
    photo: PhotoId,
    ties: Sequence[PhotoTie],
    growth: Growth,
    held: Mapping[PhotoId, Held],
    own: TiedPoints | None,
    template: BodyTemplate,
) -> None:
    """Let a photo's ties vote and write down what comes of it."""
    voters, kept = [], []
    for tie in ties:
        points = _points(photo, tie, growth, held, template)
        if points is not None:
            voters.append(points)
            kept.append(tie)
    if not voters:
        return
    across, _ = line_widths(np.vstack([points.px for points in (*voters, *([own] if own else []))]))
    if not held[photo].focal_is_known and across < LEAST_ACROSS * held[photo].diagonal_px:
        growth.narrow[photo] = _neighbours(photo, kept), across * WIDTH_PER_RMS
        return
    growth.narrow.pop(photo, None)
    vote = agreed_pose(held[photo], voters, own)
    against = [kept[i] for i in vote.against]
    if vote.pose is None:
        growth.refused[photo] = _neighbours(photo, against or kept), vote.miss_px
        return
    growth.refused.pop(photo, None)
    growth.poses[photo] = vote.pose
    growth.outvoted.update({tie.id: vote.miss_px for tie in against})
    growth.used.update({tie.id: tie for tie in kept if tie not in against})


def _neighbours(photo: PhotoId, ties: Sequence[PhotoTie]) -> tuple[PhotoId, ...]:
    return tuple(tie.new if tie.known == photo else tie.known for tie in ties)


def _points(
    photo: PhotoId, tie: PhotoTie, growth: Growth, held: Mapping[PhotoId, Held], template: BodyTemplate
) -> TiedPoints | None:
    """Find a tie's points on the body, as its placed photo shows them."""
    here, there = (tie.new_px, tie.known_px) if tie.new == photo else (tie.known_px, tie.new_px)
    other = tie.known if tie.new == photo else tie.new
    if tie.id not in growth.parts:
        growth.parts[tie.id] = parts_of(tie, growth.poses[other], held[other], there, template)
    px, car = [], []
    for part in growth.parts[tie.id]:
        uv = _cast(growth.poses[other], held[other], there[part.rows], part.panel)
        good = np.isfinite(uv).all(axis=1)
        px.append(here[part.rows][good])
        car.append(part.panel.place.to_car(uv[good]))
    if sum(len(x) for x in px) < LEAST_POINTS:
        return None
    panels = tuple(part.panel for part in growth.parts[tie.id])
    return TiedPoints(np.vstack(px), np.vstack(car), tie.sigma_px, panels, other)


def parts_of(
    tie: PhotoTie, pose: CameraPose, held: Held, px: FloatArray, template: BodyTemplate
) -> tuple[TiePart, ...]:
    """Divide a tie's points among panels.

    Parameters
    ----------
    tie : PhotoTie
        The tie.
    pose : CameraPose
        Of one of its photos.
    held : Held
        That photo's lens.
    px : ndarray of float64, shape (N, 2)
        The tie's points in it.
    template : BodyTemplate
        The body.

    Returns
    -------
    tuple of TiePart
        One when the tie names its panel; points that hit none are passed over.
    """
    if tie.panel is not None:
        return (TiePart(tie, template.panel(tie.panel), np.arange(len(px))),)
    index, _ = first_panels(pose, held.lens, px, template)
    return tuple(
        TiePart(tie, template.panels[number], np.flatnonzero(index == number))
        for number in np.unique(index[index >= 0])
    )


def _cast(pose: CameraPose, held: Held, px: FloatArray, panel: Panel) -> FloatArray:
    if abs(float((pose.eye_mm - panel.place.origin_mm) @ panel.place.normal)) < EDGE_ON_MM:
        return np.full((len(px), 2), np.nan)
    rays = np.column_stack([(held.lens.undistort(px) - held.lens.centre_px) / pose.focal_px, np.ones(len(px))])
    met = rays @ np.linalg.inv(pose.plane(panel.place)).T
    good = met[:, 2] > 1e-5
    return np.asarray(np.where(good[:, None], met[:, :2] / np.where(good, met[:, 2], 1.0)[:, None], np.nan))
