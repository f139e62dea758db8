"""The whole picture: all placed photos rectified and blended into one, to scale.

The photo with the finest detail wins at every place; seams are feathered; one
factor a photo and colour evens the exposure, and a smooth field the light
inside each photo. The picture is made tile by tile,
and photos are decoded no finer than the scale needs and kept only up to a
budget, so memory does not grow with their number.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon

from corromap.evidence.gains import GainField, even_fields, even_gains, field_terms, log_brightness, without_glare
from corromap.evidence.quality import QualityMap, RgbArray
from corromap.evidence.sheet import PictureSheet, Window
from corromap.frames import FloatArray, PanelId, PhotoId
from corromap.projection import Projection, Registrations
from corromap.registration.result import Registration
from corromap.template import BodyTemplate, Panel

__all__ = ["LoadPhoto", "PictureTile", "WholePicture", "rectify", "reduce_for"]

LoadPhoto = Callable[[PhotoId, int], RgbArray]
Mask = NDArray[np.bool_]

FEATHER_MM = 30.0
COARSE_PX = 16
"""Detail and quality are worked out on every 16th pixel: they change slowly."""
EDGE_PENALTY, BAD_PENALTY = 1.5, 2.0
"""Added to the logarithm of the detail at a photo's own edge and where it is dark
or blurred: another photo is taken there if there is one. Ours."""
SAMPLE_MM = 40.0
SAMPLE_REDUCE = 8
CACHE_BYTES = 110_000_000
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
class _View:
    """One photo on one panel."""

    photo: PhotoId
    registration: Registration
    area: MultiPolygon
    reduce: int


def rectify(
    rgb: RgbArray, registration: Registration, uv_mm: FloatArray, reduce: int = 1, *, repeat_edge: bool = True
) -> NDArray[np.float32]:
    """Look up the colours of panel points in a photo.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (h, w, 3)
        The upright photo, reduced by `reduce`.
    registration : Registration
        Its place on the panel.
    uv_mm : ndarray of float64, shape (H, W, 2)
        Panel millimetres.
    reduce : int
        As in ``io.photos.decode``.
    repeat_edge : bool
        Repeat the photo's edge outside its frame; else it is black there.

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        Bilinear.
    """
    xy = (registration.to_px(uv_mm.reshape(-1, 2)) - (reduce - 1) / 2) / reduce
    far = np.nan_to_num(xy, nan=-1e4).clip(-1e4, 3e4).astype(np.float32).reshape(uv_mm.shape)
    mode = cv2.BORDER_REPLICATE if repeat_edge else cv2.BORDER_CONSTANT
    found = cv2.remap(rgb, far[..., 0], far[..., 1], cv2.INTER_LINEAR, borderMode=mode)
    return np.asarray(found, dtype=np.float32)


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
        Gives a photo's upright pixels, reduced by a power of two.
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
        self._photos = _PhotoStore(load)
        self._quality = quality or {}
        self._views: dict[PanelId, list[_View]] = {}
        for seen in projection.seen:
            placed = registrations[seen.photo, seen.panel]
            if isinstance(placed, Registration) and not seen.area.is_empty:
                reduce = reduce_for(placed, seen.area, sheet.mm_per_px)
                self._views.setdefault(seen.panel, []).append(_View(seen.photo, placed, seen.area, reduce))
        self.gains, self.fields = self._even(load)

    def tiles(self) -> Iterator[PictureTile]:
        """Make the picture, tile by tile.

        Yields
        ------
        PictureTile
            In the order of ``sheet.tiles()``.
        """
        for window in self.sheet.tiles():
            yield self.tile(window)

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
        rgb = np.zeros((window.height, window.width, 3), dtype=np.uint8)
        state = np.zeros((window.height, window.width), dtype=np.uint8)
        for panel in self.template.panels:
            part = self._part(panel, window)
            if part is None:
                continue
            on_panel = _filled(MultiPolygon([panel.outline.polygon]), panel, self.sheet, part)
            colours, known = self._blend(panel, part)
            rows = slice(part.y - window.y, part.y - window.y + part.height)
            columns = slice(part.x - window.x, part.x - window.x + part.width)
            rgb[rows, columns][on_panel] = colours[on_panel]
            state[rows, columns][on_panel] = np.where(known, SEEN, UNSEEN)[on_panel]
        return PictureTile(window, rgb, state)

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
        feather = max(1, round(FEATHER_MM / self.sheet.mm_per_px))
        views = self._views.get(panel.id, [])
        winner, _ = self._contest(panel, window.grown(2 * feather), views, feather)
        inner = winner[2 * feather : -2 * feather, 2 * feather : -2 * feather]
        return {views[index].photo for index in np.unique(inner[inner >= 0]).tolist()}

    def _part(self, panel: Panel, window: Window) -> Window | None:
        """Cut a window down to what a panel can reach."""
        xy = self.sheet.to_px(panel, panel.outline.exterior_mm)
        low, high = np.floor(xy.min(axis=0)).astype(int) - 1, np.ceil(xy.max(axis=0)).astype(int) + 2
        x0, y0 = max(window.x, int(low[0])), max(window.y, int(low[1]))
        x1, y1 = min(window.x + window.width, int(high[0])), min(window.y + window.height, int(high[1]))
        return Window(x0, y0, x1 - x0, y1 - y0) if x1 > x0 and y1 > y0 else None

    def _blend(self, panel: Panel, part: Window) -> tuple[RgbArray, Mask]:
        """Colours of a part of one panel, and where they are known."""
        feather = max(1, round(FEATHER_MM / self.sheet.mm_per_px))
        wide = part.grown(2 * feather)
        views = self._views.get(panel.id, [])
        winner, fades = self._contest(panel, wide, views, feather)
        total = np.zeros((part.height, part.width, 3), dtype=np.float32)
        weight = np.zeros((part.height, part.width), dtype=np.float32)
        inner = slice(2 * feather, -2 * feather)
        uv = _uv_grid(self.sheet, panel, part, 1)
        for index in np.unique(winner[winner >= 0]).tolist():
            own = cv2.blur((winner == index).astype(np.float32), (2 * feather + 1, 2 * feather + 1))
            own = (own * fades[index] + 1e-4 * (winner == index))[inner, inner]
            if own.any():
                view = views[index]
                seen = rectify(self._photos.get(view.photo, view.reduce), view.registration, uv, view.reduce)
                bright = (own * self._field(panel, part, view))[..., None]
                total += bright * seen * self.gains[view.photo].astype(np.float32)
                weight += own
        known = weight > 0
        total[known] /= weight[known][:, None]
        return np.clip(np.rint(total), 0, 255).astype(np.uint8), known

    def _contest(
        self, panel: Panel, wide: Window, views: list[_View], feather: int
    ) -> tuple[NDArray[np.int16], dict[int, NDArray[np.float32]]]:
        """Who has the finest usable detail at each pixel, and how each fades to its own edge."""
        winner = np.full((wide.height, wide.width), -1, dtype=np.int16)
        best = np.full(winner.shape, np.inf, dtype=np.float32)
        fades: dict[int, NDArray[np.float32]] = {}
        for index, view in enumerate(views):
            shown = _filled(view.area, panel, self.sheet, wide)
            if not shown.any():
                continue
            away = cv2.distanceTransform(shown.astype(np.uint8), cv2.DIST_L2, 5)
            fade = np.minimum(np.asarray(away, dtype=np.float32) / feather, 1.0)
            score = self._scores(panel, wide, view) + EDGE_PENALTY * (1.0 - fade)
            better = shown & (score < best)
            winner[better], best[better] = index, score[better]
            fades[index] = fade
        return winner, fades

    def _scores(self, panel: Panel, wide: Window, view: _View) -> NDArray[np.float32]:
        """Logarithm of the detail, worse where the photo is dark or blurred."""
        xy = view.registration.to_px(_uv_grid(self.sheet, panel, wide, COARSE_PX).reshape(-1, 2))
        score = np.log(np.nan_to_num(view.registration.detail(xy), nan=1e6).clip(1e-6, 1e6))
        quality = self._quality.get(view.photo)
        if quality is not None:
            score += BAD_PENALTY * ~quality.usable_at(xy)
        return _smoothly(score, wide)

    def _field(self, panel: Panel, part: Window, view: _View) -> NDArray[np.float32]:
        """Factor that evens the light inside a photo."""
        xy = view.registration.to_px(_uv_grid(self.sheet, panel, part, COARSE_PX).reshape(-1, 2))
        return _smoothly(self.fields[view.photo].at(xy), part)

    def _even(self, load: LoadPhoto) -> tuple[dict[PhotoId, FloatArray], dict[PhotoId, GainField]]:
        """Even exposure and light from colours on a wide grid; each photo is decoded once, small."""
        points = {panel_id: _sample_points(self.template.panel(panel_id)) for panel_id in self._views}
        photos = list(dict.fromkeys(view.photo for views in self._views.values() for view in views))
        samples, places, sizes = [], [], []
        for photo in photos:
            small = load(photo, SAMPLE_REDUCE)
            parts, at = [], []
            for panel_id, views in self._views.items():
                uv = points[panel_id]
                found, xy = np.full((len(uv), 3), np.nan), np.zeros((len(uv), 2))
                for view in (v for v in views if v.photo == photo):
                    inside = np.asarray(shapely.contains_xy(view.area, uv[:, 0], uv[:, 1]))
                    found[inside] = rectify(small, view.registration, uv[None], SAMPLE_REDUCE)[0][inside]
                    xy[inside] = view.registration.to_px(uv[inside])
                parts.append(found)
                at.append(xy)
            samples.append(np.concatenate(parts))
            places.append(np.concatenate(at))
            sizes.append((small.shape[1] * SAMPLE_REDUCE, small.shape[0] * SAMPLE_REDUCE))
        if not photos:
            return {}, {}
        gains = even_gains(samples)
        logs = [log_brightness(one * gain) for one, gain in zip(samples, gains, strict=True)]
        terms = even_fields(logs, [field_terms(xy, *size) for xy, size in zip(places, sizes, strict=True)])
        fields = [GainField(*size, own) for size, own in zip(sizes, terms, strict=True)]
        gains = without_glare(gains, samples, [field.at(xy) for field, xy in zip(fields, places, strict=True)])
        return dict(zip(photos, gains, strict=True)), dict(zip(photos, fields, strict=True))


def _smoothly(values: FloatArray, window: Window) -> NDArray[np.float32]:
    """Bring values of every `COARSE_PX`-th block to all pixels of a window."""
    rows, columns = -(-window.height // COARSE_PX), -(-window.width // COARSE_PX)
    coarse = np.asarray(values, dtype=np.float32).reshape(rows, columns)
    fine = cv2.resize(coarse, (columns * COARSE_PX, rows * COARSE_PX), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[: window.height, : window.width], dtype=np.float32)


def _sample_points(panel: Panel) -> FloatArray:
    low_u, low_v, high_u, high_v = panel.outline.polygon.bounds
    us, vs = np.arange(low_u + 10, high_u, SAMPLE_MM), np.arange(low_v + 10, high_v, SAMPLE_MM)
    return np.stack(np.meshgrid(us, vs), axis=-1).reshape(-1, 2)


class _PhotoStore:
    """Decoded photos, the least recently used dropped beyond a budget."""

    def __init__(self, load: LoadPhoto) -> None:
        self._load = load
        self._held: OrderedDict[tuple[PhotoId, int], RgbArray] = OrderedDict()

    def get(self, photo: PhotoId, reduce: int) -> RgbArray:
        key = photo, reduce
        if key not in self._held:
            size = next((a.nbytes for (_, r), a in self._held.items() if r == reduce), 0)
            self._make_room(size)  # before decoding: the peak is what counts
            self._held[key] = self._load(photo, reduce)
            self._make_room(0)
        self._held.move_to_end(key)
        return self._held[key]

    def _make_room(self, coming: int) -> None:
        while len(self._held) > 1 and sum(a.nbytes for a in self._held.values()) + coming > CACHE_BYTES:
            self._held.popitem(last=False)


def reduce_for(registration: Registration, area: MultiPolygon, mm_per_px: float) -> int:
    """Find how far a photo can be reduced and still have the detail a picture needs.

    Parameters
    ----------
    registration : Registration
        The photo's place on the panel.
    area : shapely.MultiPolygon
        What is to be drawn, panel millimetres.
    mm_per_px : float
        Scale of the picture.

    Returns
    -------
    int
        1, 2, 4 or 8: decoding finer would only cost time and memory.
    """
    points = shapely.get_coordinates(shapely.segmentize(area.envelope, 200.0))
    inside = points[shapely.intersects_xy(area.buffer(1.0), points[:, 0], points[:, 1])]
    centre = np.array([[area.representative_point().x, area.representative_point().y]])
    detail = registration.detail(registration.to_px(np.concatenate([inside, centre])))
    finest = float(np.nanmin(detail)) if np.isfinite(detail).any() else mm_per_px
    return int(2 ** np.clip(np.floor(np.log2(max(mm_per_px / finest, 1.0))), 0, 3))


def _uv_grid(sheet: PictureSheet, panel: Panel, window: Window, step: int) -> FloatArray:
    """Panel millimetres of every `step`-th block's middle, shape (H, W, 2)."""
    xs = window.x + (step - 1) / 2 + np.arange(0, window.width, step, dtype=np.float64)
    ys = window.y + (step - 1) / 2 + np.arange(0, window.height, step, dtype=np.float64)
    xy = np.stack(np.meshgrid(xs, ys), axis=-1)
    return sheet.to_uv(panel, xy.reshape(-1, 2)).reshape(xy.shape)


def _filled(area: MultiPolygon, panel: Panel, sheet: PictureSheet, window: Window) -> Mask:
    """Pixels of a window whose centre is about inside an area; drawn, so within half a pixel."""
    mask = np.zeros((window.height, window.width), dtype=np.uint8)
    rings = [ring for part in area.geoms for ring in (part.exterior, *part.interiors)]
    drawn = [
        np.rint((sheet.to_px(panel, np.asarray(ring.coords)) - (window.x, window.y)) * 16).astype(np.int32)
        for ring in rings
    ]
    if drawn:
        cv2.fillPoly(mask, drawn, (1,), shift=4)
    return mask.astype(bool)
