"""The whole picture: all placed photos rectified and blended into one, to scale.

The photo with the finest detail wins at every place; seams are feathered; one
factor a photo and colour evens the exposure, and a smooth field the light
inside each photo. The picture is made tile by tile: it is judged first who
has which part of the next tiles, then each photo is decoded once, no finer
than the scale needs, and drawn into all its parts. Parts are held up to a
budget, so memory does not grow with the number of photos.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.evidence.contest import COARSE_PX, Contest, Outline, Patch, PlacedView
from corromap.evidence.drawing import WORKERS, Drawing
from corromap.evidence.gains import GainField, even_fields, even_gains, field_terms, log_brightness, without_glare
from corromap.evidence.quality import QualityMap, RgbArray
from corromap.evidence.rectified import LoadPhoto, lattice_uv, rectify, spread
from corromap.evidence.sheet import PictureSheet, Window
from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.projection import Projection, Registrations
from corromap.registration.result import Registration
from corromap.template import BodyTemplate, Panel

__all__ = ["SAMPLE_REDUCE", "SEEN", "UNSEEN", "PictureTile", "WholePicture"]

SAMPLE_MM = 40.0
SAMPLE_REDUCE = 8
PATCH_BYTES = 48_000_000
"""Parts judged and drawn ahead of their tile, weights and colours; those of the default sheet fit. House rule."""
UNSEEN, SEEN = 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class PictureTile:
    """One tile of the whole picture, without anything drawn over it.

    Parameters
    ----------
    window : Window
        Where it belongs.
    rgb : ndarray of uint8, shape (H, W, 3)
        Pixels; undefined where nothing was seen.
    state : ndarray of uint8, shape (H, W)
        0 off the body, 1 body that no photo shows, 2 seen.
    """

    window: Window
    rgb: RgbArray
    state: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """What one panel has of a tile."""

    outline: Outline
    window: Window
    patches: list[Patch]


@dataclass(frozen=True, slots=True, eq=False)
class _Plan:
    """A tile as it was judged, before it is drawn."""

    window: Window
    parts: list[_Part]

    @property
    def patches(self) -> list[Patch]:
        return [patch for part in self.parts for patch in part.patches]


@dataclass(frozen=True, slots=True, eq=False)
class _Sample:
    """One photo's colours on a wide grid of all panels, NaN where it does not show them."""

    colours: FloatArray
    xy_px: FloatArray
    width_px: int
    height_px: int


class WholePicture:
    """All photos of a survey on one sheet, tile by tile.

    Parameters
    ----------
    sheet : PictureSheet
        The raster.
    template : BodyTemplate
        The body.
    projection : Projection
        What each photo shows.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        From `corromap.registration.place_photos`.
    load : callable
        Gives a photo's upright pixels, reduced by a power of two; called from
        another thread too, not from two at once.
    quality : mapping of PhotoId to QualityMap, optional
        Dark and blurred parts of these photos are used only where nothing
        better is.

    Attributes
    ----------
    gains : dict of PhotoId to ndarray of float64, shape (3,)
        Factors that even the exposure.
    fields : dict of PhotoId to GainField
        Smooth factors that even the light inside each photo.
    """

    def __init__(  # noqa: PLR0913  what a picture is made from
        self,
        sheet: PictureSheet,
        template: BodyTemplate,
        projection: Projection,
        registrations: Registrations,
        load: LoadPhoto,
        *,
        quality: Mapping[PhotoId, QualityMap] | None = None,
    ) -> None:
        self.sheet = sheet
        self.template = template
        self._load = load
        self._contest = Contest(sheet, quality or {})
        self._outlines = {p.id: Outline(MultiPolygon([p.outline.polygon]), p, sheet) for p in template.panels}
        self._views: dict[PanelId, list[PlacedView]] = {}
        for seen in projection.seen:
            placed = registrations[seen.photo, seen.panel]
            if isinstance(placed, Registration) and not seen.area.is_empty:
                view = PlacedView(placed, seen.area, template.panel(seen.panel), sheet)
                self._views.setdefault(seen.panel, []).append(view)
        for views in self._views.values():
            views.sort(key=lambda view: -view.reduce)  # the finest first: fewer stand a chance after them
        self.gains, self.fields = self._even()

    def tiles(self) -> Iterator[PictureTile]:
        """Make the picture, tile by tile.

        Yields
        ------
        PictureTile
            In the order of ``sheet.tiles()``.
        """
        with ThreadPoolExecutor(WORKERS) as pool:
            try:
                for plans in self._judged():
                    yield from self._drawn(plans, pool)
            finally:  # also when nobody wants the rest
                pool.shutdown(cancel_futures=True)

    def tile(self, window: Window) -> PictureTile:
        """Make one tile.

        Parameters
        ----------
        window : Window
            Any rectangle of the sheet; its neighbours fit without a seam.

        Returns
        -------
        PictureTile
            Its pixels.
        """
        with ThreadPoolExecutor(WORKERS) as pool:
            return next(self._drawn([self._plan(window)], pool))

    def winners(self, window: Window, panel: Panel) -> set[PhotoId]:
        """Tell which photos a part of one panel is taken from.

        Parameters
        ----------
        window : Window
            A rectangle of the sheet.
        panel : Panel
            The panel.

        Returns
        -------
        set of PhotoId
            Those with the finest usable detail at some pixel there.
        """
        views = self._views.get(panel.id, [])
        winner = self._contest.winners(panel, window, views)
        return {views[index].photo for index in np.unique(winner[winner >= 0]).tolist()}

    def _judged(self) -> Iterator[list[_Plan]]:
        """Judge the sheet's tiles up to the budget, again and again."""
        plans: list[_Plan] = []
        held = 0
        for window in self.sheet.tiles():
            plans.append(self._plan(window))
            held += sum(patch.byte_count for patch in plans[-1].patches)
            if held > PATCH_BYTES:
                yield plans
                plans, held = [], 0
        yield plans

    def _plan(self, window: Window) -> _Plan:
        parts = []
        for panel in self.template.panels:
            outline = self._outlines[panel.id]
            part = window.common(outline.box)
            if part:
                patches = self._contest.patches(panel, part, self._views.get(panel.id, []))
                parts.append(_Part(outline, part, patches))
        return _Plan(window, parts)

    def _drawn(self, plans: list[_Plan], pool: ThreadPoolExecutor) -> Iterator[PictureTile]:
        """Draw and blend tiles; the plans are used up, so that what was given out is not held."""
        drawing = Drawing(self.sheet, self._load, [p for plan in plans for p in plan.patches], pool)
        plans.reverse()
        while plans:
            plan = plans.pop()
            drawing.wait_for(plan.patches)
            yield self._blended(plan)

    def _blended(self, plan: _Plan) -> PictureTile:
        window = plan.window
        rgb = np.zeros((window.height, window.width, 3), dtype=np.uint8)
        state = np.zeros((window.height, window.width), dtype=np.uint8)
        for part in plan.parts:
            here = part.window.within(window)
            on_panel = part.outline.filled(part.window).view(np.bool_)
            colours, known = self._blend(part)
            np.copyto(rgb[here], colours, where=on_panel[..., None])
            np.copyto(state[here], np.where(known, np.uint8(SEEN), np.uint8(UNSEEN)), where=on_panel)
        return PictureTile(window, rgb, state)

    def _blend(self, part: _Part) -> tuple[RgbArray, NDArray[np.bool_]]:
        """Colours of a part of one panel, and where they are known."""
        size = part.window.height, part.window.width
        # plane by plane: numpy is slow where the innermost axis has three
        total, weight = np.zeros((3, *size), dtype=np.float32), np.zeros(size, dtype=np.float32)
        for patch in part.patches:
            here = patch.window.within(part.window)
            own = patch.weight.astype(np.float32)
            weight[here] += own
            own *= self._field(patch)
            for plane, of_patch, gain in zip(total, cv2.split(patch.rgb), self.gains[patch.view.photo], strict=True):
                plane[here] += own * np.float32(gain) * of_patch
        known = weight > 0
        total /= np.where(known, weight, np.float32(1.0))
        np.clip(np.rint(total, out=total), 0, 255, out=total)
        return np.asarray(cv2.merge(list(total.astype(np.uint8))), dtype=np.uint8), known

    def _field(self, patch: Patch) -> NDArray[np.float32]:
        """Factor that evens the light inside a photo."""
        uv = lattice_uv(self.sheet, patch.panel, patch.window, COARSE_PX)
        factor = self.fields[patch.view.photo].at(patch.view.registration.to_px(uv.reshape(-1, 2)))
        return spread(factor.reshape(uv.shape[:2]), patch.window, COARSE_PX)

    def _even(self) -> tuple[dict[PhotoId, FloatArray], dict[PhotoId, GainField]]:
        """Even exposure and light from colours on a wide grid; each photo is decoded once, small."""
        photos = list(dict.fromkeys(view.photo for views in self._views.values() for view in views))
        if not photos:
            return {}, {}
        points = {panel_id: _sample_points(self.template.panel(panel_id)) for panel_id in self._views}
        found = [self._sampled(photo, points) for photo in photos]
        samples, places = [one.colours for one in found], [one.xy_px for one in found]
        sizes = [(one.width_px, one.height_px) for one in found]
        gains = even_gains(samples)
        logs = [log_brightness(one * gain) for one, gain in zip(samples, gains, strict=True)]
        terms = even_fields(logs, [field_terms(xy, *size) for xy, size in zip(places, sizes, strict=True)])
        fields = [GainField(*size, own) for size, own in zip(sizes, terms, strict=True)]
        gains = without_glare(gains, samples, [field.at(xy) for field, xy in zip(fields, places, strict=True)])
        return dict(zip(photos, gains, strict=True)), dict(zip(photos, fields, strict=True))

    def _sampled(self, photo: PhotoId, points: Mapping[PanelId, FloatArray]) -> _Sample:
        small = self._load(photo, SAMPLE_REDUCE)
        colours, places = [], []
        for panel_id, views in self._views.items():
            uv = points[panel_id]
            found, xy = np.full((len(uv), 3), np.nan), np.zeros((len(uv), 2))
            for view in (v for v in views if v.photo == photo):
                inside = np.asarray(shapely.contains_xy(view.area, uv[:, 0], uv[:, 1]))
                if inside.any():
                    found[inside] = rectify(small, view.registration, uv[inside][None], SAMPLE_REDUCE)[0]
                    xy[inside] = view.registration.to_px(uv[inside])
            colours.append(found)
            places.append(xy)
        height, width = small.shape[0] * SAMPLE_REDUCE, small.shape[1] * SAMPLE_REDUCE
        return _Sample(np.concatenate(colours), np.concatenate(places), width, height)


def _sample_points(panel: Panel) -> FloatArray:
    low_u, low_v, high_u, high_v = panel.outline.polygon.bounds
    us, vs = np.arange(low_u + 10, high_u, SAMPLE_MM), np.arange(low_v + 10, high_v, SAMPLE_MM)
    return np.stack(np.meshgrid(us, vs), axis=-1).reshape(-1, 2)
