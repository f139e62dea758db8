"""How the whole picture is drawn: each photo once, by any number of threads, within a budget."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from corromap.errors import PhotoError
from corromap.evidence import rectified, whole_picture
from corromap.evidence.quality import RgbArray
from corromap.evidence.rectified import LoadPhoto, rectify, rectify_window
from corromap.evidence.sheet import PictureSheet, Window, sheet_of
from corromap.evidence.whole_picture import SAMPLE_REDUCE, WholePicture
from corromap.frames import PhotoId
from corromap.projection import Projection
from corromap.registration import Registration
from tests.picture_scene import BODY, PANEL, loader, photograph, seen, texture
from tests.registration_scene import DATUM_MM, Camera, fitted, lens, turned

PAINT = texture()


def placed(key: str, camera: Camera) -> Registration:
    return replace(fitted(camera.sees(DATUM_MM), lens_=camera.lens), photo=PhotoId(key))


PLACES = {
    key: placed(key, Camera(turned(*angles), away, lens(-0.1)))
    for key, angles, away in (
        ("a", (0.35, 0.1, 0.1), 900.0),
        ("b", (-0.3, -0.2, 3.0), 1000.0),
        ("c", (0.1, 0.4, -0.2), 420.0),
    )
}
PHOTOS = {key: photograph(place, PAINT) for key, place in PLACES.items()}


def picture(load: LoadPhoto, mm_per_px: float = 1.0) -> WholePicture:
    projection = Projection((), (), tuple(seen(key, place) for key, place in PLACES.items()))
    registrations = {(PhotoId(key), PANEL.id): place for key, place in PLACES.items()}
    return WholePicture(sheet_of(BODY, mm_per_px), BODY, projection, registrations, load)


def pixels(made: WholePicture) -> np.ndarray:
    out = np.zeros((made.sheet.height_px, made.sheet.width_px, 4), dtype=np.uint8)
    for tile in made.tiles():
        here = tile.window.within(Window(0, 0, made.sheet.width_px, made.sheet.height_px))
        out[here] = np.concatenate([tile.rgb, tile.state[..., None]], axis=2)
    return out


@pytest.mark.parametrize("mm_per_px", [1.0, 3.0])
def test_threads_do_not_change_the_picture(mm_per_px: float, monkeypatch: pytest.MonkeyPatch) -> None:
    one = pixels(picture(loader(PHOTOS), mm_per_px))
    assert (one[..., 3] == whole_picture.SEEN).any()

    def late(photo: PhotoId, reduce: int) -> RgbArray:
        time.sleep(0.2 if photo == "a" else 0.0)  # the first comes last
        return loader(PHOTOS)(photo, reduce)

    monkeypatch.setattr(whole_picture, "WORKERS", 2)
    assert (pixels(picture(late, mm_per_px)) == one).all()


def test_the_budget_does_not_change_the_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = pixels(picture(loader(PHOTOS)))
    monkeypatch.setattr(whole_picture, "PATCH_BYTES", 1)
    assert (pixels(picture(loader(PHOTOS))) == whole).all()


def test_each_photo_is_decoded_once_small_and_once_to_be_drawn() -> None:
    calls: Counter[tuple[str, bool]] = Counter()

    def counting(photo: PhotoId, reduce: int) -> RgbArray:
        calls[photo, reduce == SAMPLE_REDUCE] += 1
        return loader(PHOTOS)(photo, reduce)

    pixels(picture(counting))
    assert calls == {(key, small): 1 for key in PLACES for small in (True, False)}


def test_parts_are_held_up_to_a_budget(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for less than one tile's parts, each tile is judged only when the one before was given out."""
    made = picture(loader(PHOTOS))
    monkeypatch.setattr(whole_picture, "PATCH_BYTES", 1)
    judged = made._judged()
    assert all(sum(bool(plan.patches) for plan in plans) <= 1 for plans in judged)
    monkeypatch.setattr(whole_picture, "PATCH_BYTES", 10**9)
    assert len(list(made._judged())) == 1


def test_a_photo_that_cannot_be_decoded_is_told() -> None:
    def broken(photo: PhotoId, reduce: int) -> RgbArray:
        if photo == "b" and reduce != SAMPLE_REDUCE:
            raise PhotoError("photo 'b' is damaged")
        return loader(PHOTOS)(photo, reduce)

    with pytest.raises(PhotoError, match="'b' is damaged"):
        pixels(picture(broken))


def exact(photo: RgbArray, place: Registration, sheet: PictureSheet, window: Window) -> np.ndarray:
    xs, ys = np.arange(window.x, window.x + window.width), np.arange(window.y, window.y + window.height)
    xy = np.stack(np.meshgrid(xs, ys), axis=-1).astype(float)
    uv = sheet.to_uv(PANEL, xy.reshape(-1, 2)).reshape(xy.shape)
    return rectify(photo, place, uv)


@pytest.mark.parametrize("tilt", [0.0, 0.6, 1.1])
def test_a_window_is_looked_up_where_each_pixel_lies(tilt: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every pixel by its own projection, closed form, against the interpolated places: within 0.05 px."""
    place = placed("a", Camera(turned(tilt, 0.1, 0.2), 1000.0, lens(-0.1)))
    sheet = sheet_of(BODY, 1.0)
    low = np.floor(sheet.to_px(PANEL, np.array([[200.0, 150.0]]))[0]).astype(int)
    window = Window(int(low[0]) + 3, int(low[1]) + 5, 333, 217)
    seen_at: list[np.ndarray] = []

    def remap(_rgb: RgbArray, x: np.ndarray, y: np.ndarray, *_args: object, **_options: object) -> RgbArray:
        seen_at.append(np.stack([x, y], axis=-1))
        return np.zeros((*x.shape, 3), dtype=np.uint8)

    monkeypatch.setattr(rectified.cv2, "remap", remap)
    nothing = np.zeros((4, 4, 3), dtype=np.uint8)
    rectify_window(nothing, place, sheet, PANEL, window, reduce=1)
    exact(nothing, place, sheet, window)
    ours, theirs = seen_at
    assert np.abs(ours - theirs).max() < rectified.MOST_BEND_PX


def test_beyond_the_horizon_each_pixel_is_projected(monkeypatch: pytest.MonkeyPatch) -> None:
    """A window that reaches behind the camera cannot be interpolated: same places as one by one."""
    place = placed("a", Camera(turned(1.1, 0.0, 0.0), 1000.0, lens()))
    sheet = sheet_of(BODY, 4.0)
    window = Window(-3000, -3000, 6000, 64)
    photo = photograph(place, PAINT)
    got = rectify_window(photo, place, sheet, PANEL, window, reduce=1)
    assert (got == exact(photo, place, sheet, window)).all()
