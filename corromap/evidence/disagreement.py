"""Places that two photos show well and only one of them carries a mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from corromap.evidence.quality import RgbArray
from corromap.evidence.rectified import LoadPhoto, rectify, reduce_for
from corromap.evidence.seen_well import Showing
from corromap.frames import FloatArray, MarkId, PanelId, PhotoId
from corromap.projection import ProjectedMark, Registrations, SeenArea
from corromap.projection.view import polygons_of
from corromap.registration.result import Registration
from corromap.survey import MarkKind
from corromap.template import Panel

__all__ = ["Crop", "Disagreement", "crop_of", "crop_reduce", "find_disagreements"]

SHOWN_SHARE = 0.6
"""The other photo must show at least this share of the mark, not hidden."""
UNMARKED_SHARE = 0.8
"""... and carry no mark of its own on at least this share of that. Ours."""
SLACK_MM = 15.0
"""Its marks are let reach this much farther: clicks and outlines are no finer."""
LEAST_MM2 = 400.0
"""Smaller than 20 x 20 mm is not asked about."""
ROOM_MM, LEAST_SIDE_MM = 60.0, 240.0
CROP_LONGEST_PX = 420


@dataclass(frozen=True, slots=True, eq=False)
class Disagreement:
    """A mark that another photo of the same place does not carry.

    Parameters
    ----------
    mark : MarkId
        The mark.
    kind : MarkKind
        What it says.
    panel : PanelId
        Where it lies.
    photo, other : PhotoId
        Its photo, and the one that shows the place without a mark.
    area : shapely.MultiPolygon
        The part of the mark in question, panel mm.
    says_sound : bool
        Whether the other photo has the place marked as looked at and sound.
    """

    mark: MarkId
    kind: MarkKind
    panel: PanelId
    photo: PhotoId
    other: PhotoId
    area: MultiPolygon
    says_sound: bool


@dataclass(frozen=True, slots=True, eq=False)
class Crop:
    """A piece of one photo, rectified: same scale and orientation as any other crop of the place.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (H, W, 3)
        Pixels, oriented as the map.
    mm_per_px : float
        Scale.
    corner_mm : ndarray of float64, shape (2,)
        Map position of the outer corner of the top-left pixel.
    """

    rgb: RgbArray
    mm_per_px: float
    corner_mm: FloatArray

    def to_px(self, panel: Panel, uv_mm: FloatArray) -> FloatArray:
        """Carry panel millimetres to pixels of the crop.

        Parameters
        ----------
        panel : Panel
            The panel.
        uv_mm : ndarray of float64, shape (N, 2)
            Panel millimetres.

        Returns
        -------
        ndarray of float64, shape (N, 2)
            The centre of the top-left pixel is (0, 0).
        """
        return np.asarray((panel.map_frame.to_map(uv_mm) - self.corner_mm) / self.mm_per_px - 0.5)


def find_disagreements(showing: Showing) -> tuple[Disagreement, ...]:
    """List places that are to be looked at again.

    Parameters
    ----------
    showing : Showing
        Marks and what each photo shows; a photo that is dark or blurred at the
        place does not count as showing it. Withdrawn marks are among them, so
        that an answer can be looked up and changed.

    Returns
    -------
    tuple of Disagreement
        Largest first; one for each mark and other photo.
    """
    projection = showing.projection
    every = (*projection.marks, *projection.withdrawn)
    affected = [m for m in every if m.mark.kind.is_affected and m.area.area >= LEAST_MM2]
    # worked out once a photo and panel, not once a pair
    clear = {id(seen): shapely.difference(seen.area, seen.hidden) for seen in projection.seen}
    reaches = {id(seen): _reaches(seen, projection.marks) for seen in projection.seen}
    found = []
    for mark in affected:
        for seen in projection.seen:
            if seen.panel == mark.panel and seen.photo != mark.mark.photo:
                one = _compare(mark, seen, clear[id(seen)], *reaches[id(seen)])
                if one is not None and _is_clear(one, showing):
                    found.append(one)
    return tuple(sorted(found, key=lambda d: -d.area.area))


def _compare(
    mark: ProjectedMark, seen: SeenArea, clear: BaseGeometry, marked: BaseGeometry, sound: BaseGeometry
) -> Disagreement | None:
    shown = polygons_of(shapely.intersection(mark.area, clear))
    if shown.area < max(LEAST_MM2, SHOWN_SHARE * mark.area.area):
        return None
    # edges that only touch are left behind as lines, which the next overlay does not bear
    left = polygons_of(shapely.difference(shown, marked))
    if left.area < UNMARKED_SHARE * shown.area:
        return None
    return Disagreement(
        mark=mark.mark.id,
        kind=mark.mark.kind,
        panel=mark.panel,
        photo=mark.mark.photo,
        other=seen.photo,
        area=left,
        says_sound=bool(shapely.intersection(left, sound).area > 0.5 * left.area),
    )


def _is_clear(one: Disagreement, showing: Showing) -> bool:
    """Whether most of the place is sharp and lit in the other photo."""
    quality, registration = showing.quality.get(one.other), showing.registrations.get((one.other, one.panel))
    if quality is None or not isinstance(registration, Registration):
        return True
    low_u, low_v, high_u, high_v = one.area.bounds
    uv = np.stack(np.meshgrid(np.linspace(low_u, high_u, 12), np.linspace(low_v, high_v, 12)), axis=-1).reshape(-1, 2)
    uv = uv[np.asarray(shapely.intersects_xy(one.area, uv[:, 0], uv[:, 1]))]
    return len(uv) == 0 or float(quality.usable_at(registration.to_px(uv)).mean()) >= SHOWN_SHARE


def _reaches(seen: SeenArea, marks: Sequence[ProjectedMark]) -> tuple[BaseGeometry, BaseGeometry]:
    """Ground under a photo's marks of damage and repair, a little widened, and ground under `sound`."""
    own = [m for m in marks if m.mark.photo == seen.photo and m.panel == seen.panel]
    marked = [shapely.buffer(m.area, SLACK_MM) for m in own if m.mark.kind.is_affected]
    sound = [m.area for m in own if m.mark.kind is MarkKind.SOUND]
    return shapely.union_all(np.array(marked, dtype=object)), shapely.union_all(np.array(sound, dtype=object))


def crop_of(
    photo: PhotoId, disagreement: Disagreement, panel: Panel, registrations: Registrations, load: LoadPhoto
) -> Crop | None:
    """Cut the place out of one photo, rectified.

    Parameters
    ----------
    photo : PhotoId
        Either of the two photos.
    disagreement : Disagreement
        The place.
    panel : Panel
        The panel it is on.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        From `corromap.registration.place_photos`.
    load : callable
        Gives a photo's upright pixels, reduced by a power of two.

    Returns
    -------
    Crop or None
        None for a photo without a place on the panel. Both photos' crops have
        the same scale, size and orientation.
    """
    registration = registrations.get((photo, panel.id))
    if not isinstance(registration, Registration):
        return None
    low, high, scale = _frame(disagreement, panel)
    width, height = np.ceil((high - low) / scale).astype(int)
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    away = np.stack([x, y], axis=-1) * scale + low - panel.map_frame.origin_mm
    uv = np.stack([away @ panel.map_frame.u_axis, away @ panel.map_frame.v_axis], axis=-1)
    reduce = reduce_for(registration, disagreement.area, scale)
    colours = rectify(load(photo, reduce), registration, uv, reduce, repeat_edge=False)
    return Crop(np.clip(np.rint(colours), 0, 255).astype(np.uint8), scale, low)


def crop_reduce(photo: PhotoId, disagreement: Disagreement, panel: Panel, registrations: Registrations) -> int | None:
    """Say which pixels `crop_of` will ask for.

    Parameters
    ----------
    photo, disagreement, panel, registrations
        As for `crop_of`.

    Returns
    -------
    int or None
        By how much each side of the photo is divided; None for a photo
        without a place on the panel.
    """
    registration = registrations.get((photo, panel.id))
    if not isinstance(registration, Registration):
        return None
    return reduce_for(registration, disagreement.area, _frame(disagreement, panel)[2])


def _frame(disagreement: Disagreement, panel: Panel) -> tuple[FloatArray, FloatArray, float]:
    """Corners of a crop on the map, mm, and its millimetres a pixel."""
    ring = panel.map_frame.to_map(shapely.get_coordinates(disagreement.area.envelope))
    low, high = ring.min(axis=0) - ROOM_MM, ring.max(axis=0) + ROOM_MM
    short = np.maximum(LEAST_SIDE_MM - (high - low), 0.0) / 2
    low, high = low - short, high + short
    return low, high, max(1.0, float((high - low).max()) / CROP_LONGEST_PX)
