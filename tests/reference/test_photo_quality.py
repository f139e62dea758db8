"""Photo quality on photographs that come with scikit-image, degraded by known amounts."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import skimage
from PIL import Image
from scipy import ndimage

from corromap.errors import InvalidValueError
from corromap.evidence.duplicates import NEAR_BITS, find_duplicates, hash_distance, look_hash
from corromap.evidence.quality import BLURRED_PX, blur_of_edges, judge_photo, noise_sigma
from corromap.frames import PhotoId

FOLDER = Path(skimage.__file__).parent / "data"
NAMES = ("astronaut.png", "brick.png", "camera.png", "chelsea.png", "coffee.png", "grass.png", "gravel.png",
         "motorcycle_left.png", "rocket.jpg")  # fmt: skip
SHARP_STEPS = ("astronaut.png", "camera.png", "chelsea.png", "coffee.png", "motorcycle_left.png")


def photo(name: str) -> np.ndarray:
    with Image.open(FOLDER / name) as image:
        return np.asarray(image.convert("RGB"))


def blurred(rgb: np.ndarray, sigma: float) -> np.ndarray:
    return np.clip(ndimage.gaussian_filter(rgb.astype(float), (sigma, sigma, 0)), 0, 255).astype(np.uint8)


def noisy(rgb: np.ndarray, sigma: float) -> np.ndarray:
    return np.clip(rgb + np.random.default_rng(4).normal(0, sigma, rgb.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("name", NAMES)
def test_photographs_as_they_come_are_sharp(name: str) -> None:
    assert judge_photo(photo(name)).blur_px < 1.0


@pytest.mark.parametrize("name", NAMES)
def test_blur_grows_with_every_step_and_past_the_noise(name: str) -> None:
    found = [judge_photo(blurred(photo(name), sigma)).blur_px for sigma in (0.01, 1, 2, 4)]
    assert found == sorted(found)
    assert found[3] > 2.5 * found[0]


@pytest.mark.parametrize("name", SHARP_STEPS)
def test_blur_of_pictures_made_of_edges_is_the_width_applied(name: str) -> None:
    """Two blurs add up as the root of the squares; within 25 % where edges, not fine texture, carry the picture."""
    rgb = photo(name)
    own = judge_photo(rgb).blur_px
    assert judge_photo(blurred(rgb, 3.0)).blur_px == pytest.approx(np.hypot(own, 3.0), rel=0.25)


@pytest.mark.parametrize("sigma", [0.8, 1.5, 3.0])
def test_blur_of_a_step_edge_in_closed_form(sigma: float) -> None:
    step = np.zeros((200, 200))
    step[:, 100:] = 200.0
    soft = ndimage.gaussian_filter(step, sigma)
    energies = [np.array((np.gradient(ndimage.gaussian_filter(soft, s))[1] ** 2).sum()) for s in (0, 1.0)]
    # central differences widen an edge by half a pixel squared or so
    assert float(blur_of_edges(*energies)) == pytest.approx(sigma, rel=0.25)


@pytest.mark.parametrize("sigma", [3.0, 8.0])
def test_noise_is_measured_and_does_not_pass_for_sharpness(sigma: float) -> None:
    grey = np.full((300, 300), 128.0, dtype=np.float32) + np.random.default_rng(1).normal(0, sigma, (300, 300))
    assert noise_sigma(grey.astype(np.float32)) == pytest.approx(sigma, rel=0.05)
    assert not judge_photo(noisy(blurred(photo("coffee.png"), 5), sigma)).map.usable.mean() > 0.35


def through_jpeg(rgb: np.ndarray) -> np.ndarray:
    """At the quality of a message service; the noise that is left is no longer white."""
    held = io.BytesIO()
    Image.fromarray(rgb).save(held, "JPEG", quality=72)
    return np.asarray(Image.open(held).convert("RGB"))


@pytest.mark.parametrize("name", SHARP_STEPS)
def test_noise_that_went_through_jpeg_does_not_pass_for_sharpness(name: str) -> None:
    sharp = judge_photo(through_jpeg(noisy(photo(name), 6)))
    soft = judge_photo(through_jpeg(noisy(blurred(photo(name), 4), 6)))
    assert sharp.blur_px < 1.0
    assert sharp.map.blurred.mean() < 0.15
    assert soft.blur_px > BLURRED_PX
    assert soft.map.blurred.mean() > 0.65


@pytest.mark.parametrize(
    ("where", "words"),
    [
        (np.s_[:, :200], "too dark to judge the left third"),
        (np.s_[:, 400:], "too dark to judge the right third"),
        (np.s_[:133], "too dark to judge the upper third"),
        (np.s_[:, 300:], "too dark to judge the right half"),
    ],
)
def test_dark_parts_are_named(where: object, words: str) -> None:
    rgb = np.maximum(photo("coffee.png"), 40)
    rgb[where] = (rgb[where] * 0.04).astype(np.uint8)
    found = judge_photo(rgb)
    assert found.words[0] == words
    assert found.map.dark_share.mean() == pytest.approx(found.dark_share, abs=0.01)


def test_torch_circle() -> None:
    """Bright in the middle and black outside, as under a car."""
    rgb = photo("brick.png")
    y, x = np.mgrid[:512, :512]
    fall = np.exp(-((x - 256.0) ** 2 + (y - 256.0) ** 2) / (2 * 70.0**2))
    found = judge_photo((rgb * fall[..., None]).astype(np.uint8))
    assert found.words == ("too dark to judge anything but the middle",)
    assert found.map.usable_at(np.array([[256.0, 256.0], [20.0, 20.0], [-3.0, 0.0], [np.nan, 1.0]])).tolist() == [
        True, False, False, False,
    ]  # fmt: skip


def test_blown_and_blurred_parts_are_named() -> None:
    rgb = photo("gravel.png").copy()
    rgb[:, :256] = 255
    assert judge_photo(rgb).words[0] == "too bright to judge the left half"
    rgb = photo("brick.png").copy()
    rgb[:, 256:] = blurred(rgb, 6)[:, 256:]
    assert judge_photo(rgb).words == ("too blurred to judge the right half",)


@pytest.mark.parametrize("stops", [-2, -7])
def test_underexposure_by_known_stops(stops: int) -> None:
    """Two stops less is dim but can be judged; seven stops less cannot."""
    linear = (photo("gravel.png") / 255.0) ** 2.2 * 2.0**stops
    found = judge_photo((255 * linear ** (1 / 2.2)).astype(np.uint8))
    assert (found.map.dark.mean() > 0.5) == (stops == -7)


def test_figures_refer_to_the_full_photo() -> None:
    soft = blurred(photo("coffee.png"), 2.0)
    half = soft.reshape(200, 2, 300, 2, 3).mean(axis=(1, 3)).astype(np.uint8)
    full, reduced = judge_photo(soft), judge_photo(half, (600, 400))
    assert reduced.blur_px == pytest.approx(full.blur_px, rel=0.3)
    assert reduced.map.blur_at(np.array([[599.0, 399.0]]))[0] == pytest.approx(reduced.map.blur_px[-1, -1])


def test_what_is_no_photo_is_refused() -> None:
    with pytest.raises(InvalidValueError, match=r"expected \(H, W, 3\) bytes"):
        judge_photo(np.zeros((100, 100), dtype=np.uint8))
    with pytest.raises(InvalidValueError, match="at least 32 x 32 px, found 8 x 100"):
        look_hash(np.zeros((100, 8, 3), dtype=np.uint8))


def changed(rgb: np.ndarray) -> dict[str, np.ndarray]:
    small = np.asarray(Image.fromarray(rgb).resize((rgb.shape[1] // 2, rgb.shape[0] // 2)))
    edge = rgb[4:-4, 4:-4]
    return {"blurred": blurred(rgb, 2), "noisy": noisy(rgb, 8), "halved": small, "darker": (rgb * 0.6).astype(np.uint8),
            "edge cut off": edge}  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_near_duplicates_are_found(name: str) -> None:
    own = look_hash(photo(name))
    bits = {how: hash_distance(own, look_hash(rgb)) for how, rgb in changed(photo(name)).items()}
    assert all(b <= NEAR_BITS for b in bits.values()), bits


def test_different_photographs_are_told_apart() -> None:
    hashes = [look_hash(photo(name)) for name in NAMES]
    nearest = min(hash_distance(a, b) for i, a in enumerate(hashes) for b in hashes[:i])
    assert nearest > 2 * NEAR_BITS


def test_duplicates_name_the_earlier_photo() -> None:
    a, b, c, d = map(PhotoId, "abcd")
    hashes = {a: 0, b: (1 << 64) - 1, c: 0b111, d: 0}
    found = find_duplicates({a: "x", b: "y", c: "z", d: "x"}, hashes)
    assert [(f.photo, f.earlier, f.is_exact, f.bits) for f in found] == [(c, a, False, 3), (d, a, True, 0)]
    assert find_duplicates({a: "x", b: "x"}, {})[0].is_exact
