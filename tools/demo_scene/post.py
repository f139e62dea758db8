"""From linear light to a phone's JPEG: exposure, glow, vignetting, tone, noise, sharpening, EXIF."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import piexif
from camera import Camera
from numpy.typing import NDArray
from PIL import Image

MAKE = "Invented"
SENSOR_WIDTH_MM = 6.4


@dataclass(frozen=True)
class Look:
    """How one photo was taken.

    Parameters
    ----------
    exposure : float
        Aim for the brightness of the middle (linear, 0.18 is mid grey).
    vignette : float
        Loss in the corner, 0 to 1.
    noise : float
        Sensor noise at mid grey, 8-bit steps.
    warmth : float
        White balance: +0.1 is warmer.
    blur_px : float
        Focus error.
    quality : int
        JPEG.
    """

    exposure: float = 0.10
    vignette: float = 0.30
    noise: float = 2.6
    warmth: float = 0.0
    blur_px: float = 0.0
    quality: int = 72


def develop(photo: NDArray[np.float32], look: Look, camera: Camera, seed: int) -> NDArray[np.uint8]:
    """Linear distorted picture to 8-bit sRGB, shape (H, W, 3)."""
    rng = np.random.default_rng(seed)
    x = np.maximum(photo, 0)
    h, w = x.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((xx - camera.cx) ** 2 + (yy - camera.cy) ** 2) / (w * w + h * h) * 4
    middle = np.exp(-r2 * 3)
    luma = x @ np.array([0.21, 0.72, 0.07], np.float32)
    level = np.exp((np.log(luma + 1e-5) * middle).sum() / middle.sum())
    x = (
        x
        * (look.exposure / max(float(level), 1e-6))
        * (1 - look.vignette * r2 * r2 * 0.6 - look.vignette * r2 * 0.4)[..., None]
    )
    x = x * np.array([1 + look.warmth, 1.0, 1 - look.warmth], np.float32)
    glow = cv2.GaussianBlur(np.minimum(x, 8), (0, 0), w / 90)
    x = 0.965 * x + 0.035 * glow
    if look.blur_px > 0:
        x = cv2.GaussianBlur(x, (0, 0), look.blur_px)
    tone: NDArray[Any] = _curve(x)
    grain = rng.standard_normal((h, w, 3)).astype(np.float32)
    grain = 0.6 * grain + 0.8 * cv2.GaussianBlur(grain, (0, 0), 0.9) * 1.9
    shared = cv2.GaussianBlur(rng.standard_normal((h, w, 1)).astype(np.float32), (0, 0), 0.6)
    shared = shared.reshape(h, w, 1) * 1.6
    strength = look.noise / 255 * (0.45 + 0.9 * np.sqrt(np.clip(1 - tone, 0, 1)))
    tone = tone + strength * (0.45 * grain + 0.9 * shared)
    soft = cv2.GaussianBlur(tone, (0, 0), 1.1)
    tone = np.clip(tone + 0.45 * (tone - soft), 0, 1)
    return (tone * 255 + 0.5).astype(np.uint8)


def _curve(x: NDArray[np.float32]) -> NDArray[np.float32]:
    """Soft shoulder and a slight toe, then the sRGB curve (own numbers, common practice)."""
    x = np.minimum(x, 2.8)  # beyond it the curve would bend down again
    y = np.clip(1.18 * x / (1 + 0.5 * x + 0.12 * x * x), 0, 1)
    y = y * (0.82 + 0.18 * np.clip(y / 0.25, 0, 1))
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.maximum(y, 1e-9) ** (1 / 2.4) - 0.055).astype(np.float32)


def exif(camera: Camera, model: str, taken: str) -> bytes:
    """EXIF block; `taken` is ``YYYY:MM:DD HH:MM:SS``."""
    focal_mm = camera.focal_px * SENSOR_WIDTH_MM / camera.width
    diagonal = np.hypot(camera.width, camera.height)
    equivalent = round(float(camera.focal_px / diagonal * np.hypot(36, 24)))
    return bytes(
        piexif.dump(
            {
                "0th": {
                    piexif.ImageIFD.Make: MAKE,
                    piexif.ImageIFD.Model: model,
                    piexif.ImageIFD.Orientation: 1,
                    piexif.ImageIFD.DateTime: taken,
                },
                "Exif": {
                    piexif.ExifIFD.DateTimeOriginal: taken,
                    piexif.ExifIFD.FocalLength: (round(focal_mm * 1000), 1000),
                    piexif.ExifIFD.FocalLengthIn35mmFilm: equivalent,
                    piexif.ExifIFD.PixelXDimension: camera.width,
                    piexif.ExifIFD.PixelYDimension: camera.height,
                },
            }
        )
    )


def jpeg(image: NDArray[np.uint8], camera: Camera, look: Look, taken: str, model: str = "Pocket 26") -> bytes:
    """The file as the phone would have written it."""
    out = io.BytesIO()
    Image.fromarray(image).save(
        out, "JPEG", quality=look.quality, subsampling="4:2:0", optimize=True, exif=exif(camera, model, taken)
    )
    return out.getvalue()
