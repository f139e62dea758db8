"""Picture files: what they are, and their pixels, upright and in RGB.

One loader for everything. The header is judged first (format by content, not
by file name; size limit), then the pixels are loaded by Pillow, whose
``load`` raises on a truncated file where OpenCV would return a grey picture.
The original bytes are never changed.
"""

from __future__ import annotations

import hashlib
import io
import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from corromap.errors import InvalidValueError, PhotoError
from corromap.io.photo_header import ORIENTATION, PhotoHeader, camera_of, focal_px_of, taken_at_of

__all__ = [
    "MAX_BYTES",
    "MAX_PIXELS",
    "RgbArray",
    "check_photo",
    "decode",
    "encode_jpeg",
    "read_header",
    "thumbnail",
]

Image.init()  # every opener, or one that was not asked for yet raises KeyError
pillow_heif.register_heif_opener()

RgbArray = NDArray[np.uint8]

MAX_PIXELS = 250_000_000
"""Largest picture taken; a decoded one of this size fills 750 MB. Ours."""
MAX_BYTES = 200 * 1024 * 1024
STRIP_PX = 256
_FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "HEIF", "GIF")
_STILLS_ONLY = frozenset({"PNG", "WEBP", "TIFF", "GIF"})
_EXIF_IFD = 0x8769
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""How a picture is turned upright, by its orientation (TIFF 6.0, tag 274)."""
_LAST_ROW_FIRST = frozenset({3, 4, 6, 7})
"""Orientations whose last stored row is the topmost row, or the leftmost column, of the upright picture."""


def read_header(data: bytes, name: str) -> PhotoHeader:
    """Read a picture's header without decoding its pixels.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    PhotoHeader
        What the file says.

    Raises
    ------
    PhotoError
        If it is empty, too large, not a picture of a known format, or an
        animation.
    """
    with _open(data, name) as image, _damage_told(name):
        exif = image.getexif()  # reads a PNG to its end, where its tags may be
        details = exif.get_ifd(_EXIF_IFD)
        orientation = exif.get(ORIENTATION, 1)
        orientation = orientation if orientation in range(1, 9) else 1
        width, height = image.size
        if orientation >= 5:
            width, height = height, width
        focal = focal_px_of(details, width, height)
        return PhotoHeader(
            format="JPEG" if image.format == "MPO" else str(image.format),
            width_px=width,
            height_px=height,
            orientation=orientation,
            taken_at=taken_at_of(details),
            camera=camera_of(exif, focal, width, height),
            focal_px=focal,
            sha256=hashlib.sha256(data).hexdigest(),
            byte_count=len(data),
        )


def check_photo(data: bytes, name: str) -> PhotoHeader:
    """Read the header and load every pixel once, so that damage is found on arrival.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.

    Returns
    -------
    PhotoHeader
        What the file says.

    Raises
    ------
    PhotoError
        As `read_header`, and when the pixels are damaged or cut short.
    """
    header = read_header(data, name)
    decode(data, name)
    return header


def decode(data: bytes, name: str, *, reduce: int = 1) -> RgbArray:
    """Decode to upright 8-bit RGB.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.
    reduce : int
        1, 2, 4, 8, ...: each side becomes ``ceil(side / reduce)``. Aligned by
        centres: full-size x = reduce * x + (reduce - 1) / 2.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        RGB.

    Raises
    ------
    PhotoError
        If the file cannot be decoded whole.
    InvalidValueError
        If `reduce` is not a power of two.
    """
    if reduce < 1 or reduce & (reduce - 1):
        raise InvalidValueError(f"reduce: expected a power of two, found {reduce}")
    with _open(data, name) as image:
        return _upright_pixels(*_stored_rgb(image, name, reduce))


def thumbnail(data: bytes, name: str, longest_px: int, *, quality: int = 82) -> bytes:
    """Make a small upright JPEG without metadata.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for messages only.
    longest_px : int
        Longest side of the result; smaller pictures keep their size.
    quality : int
        JPEG quality.

    Returns
    -------
    bytes
        JPEG.

    Raises
    ------
    PhotoError
        If the file cannot be decoded.
    """
    with _open(data, name) as image:
        reduce = 1
        while max(image.size) >= 2 * reduce * longest_px and reduce < 8:
            reduce *= 2
        picture, orientation = _stored_rgb(image, name, reduce)
        picture.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
        return encode_jpeg(_upright_pixels(picture, orientation), quality)


def encode_jpeg(rgb: RgbArray, quality: int = 85) -> bytes:
    """Encode RGB pixels as a JPEG without any metadata.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (height, width, 3)
        Pixels.
    quality : int
        1 to 95.

    Returns
    -------
    bytes
        JPEG.
    """
    target = io.BytesIO()
    Image.fromarray(rgb).save(target, format="JPEG", quality=quality, optimize=True)
    return target.getvalue()


def _open(data: bytes, name: str) -> Image.Image:
    if not data:
        raise PhotoError(f"photo '{name}' is empty (0 bytes): copy it again from where it came")
    if len(data) > MAX_BYTES:
        raise PhotoError(f"photo '{name}' has {len(data) / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB are taken")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(data), formats=_FORMATS)
    except UnidentifiedImageError as error:
        raise PhotoError(
            f"photo '{name}' is not a picture corromap can read, whatever its name says: "
            "expected JPEG, PNG, WebP, TIFF, BMP or HEIC"
        ) from error
    except Image.DecompressionBombError as error:
        raise PhotoError(_too_many_pixels(name, None)) from error
    except (OSError, SyntaxError, ValueError, RuntimeError, EOFError) as error:
        raise PhotoError(f"photo '{name}' is damaged: {_reason(error)}") from error
    _judge(image, name)
    return image


def _judge(image: Image.Image, name: str) -> None:
    width, height = image.size
    if width * height > MAX_PIXELS:
        raise PhotoError(_too_many_pixels(name, (width, height)))
    frames = getattr(image, "n_frames", 1)
    if image.format in _STILLS_ONLY and frames > 1:
        raise PhotoError(
            f"photo '{name}' holds {frames} pictures (an animation or several pages): save the one you want as a photo"
        )


def _too_many_pixels(name: str, size: tuple[int, int] | None) -> str:
    found = f"{size[0]} x {size[1]} px, {size[0] * size[1] / 1e6:.0f} MP" if size else "far more"
    return f"photo '{name}' has too many pixels ({found}); at most {MAX_PIXELS / 1e6:.0f} MP are taken: save it smaller"


@contextmanager
def _damage_told(name: str) -> Iterator[None]:
    try:
        yield
    except (OSError, SyntaxError, EOFError, RuntimeError, struct.error) as error:
        raise PhotoError(
            f"photo '{name}' is damaged or cut short ({_reason(error)}): copy it again from where it came"
        ) from error


def _stored_rgb(image: Image.Image, name: str, reduce: int) -> tuple[Image.Image, int]:
    """Pixels as the file has them, and how they are to be turned (TIFF 6.0, tag 274)."""
    goal = (-(-image.size[0] // reduce), -(-image.size[1] // reduce))
    with _damage_told(name):
        if reduce > 1 and image.format in {"JPEG", "MPO"}:
            image.draft(None, goal)  # the decoder itself drops what is not needed
        image.load()
        orientation = image.getexif().get(ORIENTATION, 1)
        rgb = _to_rgb(image, name)
        if rgb.size != goal:
            rgb = rgb.reduce(max(1, round(rgb.size[0] / goal[0])))
        if rgb.size != goal:
            rgb = rgb.resize(goal, Image.Resampling.BOX)
        return rgb, orientation


def _upright_pixels(stored: Image.Image, orientation: int) -> RgbArray:
    """Copy and turn the pixels strip by strip: all at once takes three times their size meanwhile."""
    width, height = stored.size
    turn = _TURNS.get(orientation)
    on_its_side = turn is not None and orientation >= 5
    size = (width, height) if on_its_side else (height, width)
    upright = np.empty((*size, 3), dtype=np.uint8)
    for top in range(0, height, STRIP_PX):
        bottom = min(top + STRIP_PX, height)
        strip = stored.crop((0, top, width, bottom))
        low, high = (height - bottom, height - top) if orientation in _LAST_ROW_FIRST else (top, bottom)
        part = upright[:, low:high] if on_its_side else upright[low:high]
        part[:] = np.asarray(strip if turn is None else strip.transpose(turn))
    return upright


def _to_rgb(image: Image.Image, name: str) -> Image.Image:
    if image.mode in {"I;16", "I;16B", "I;16L", "I;16N", "I"}:
        # Pillow's own conversion clips at 255; 16-bit greys keep their range
        values = np.asarray(image, dtype=np.float64)
        top = 65535.0 if values.max(initial=0.0) > 255 else 255.0
        return Image.fromarray(np.clip(np.rint(values * (255.0 / top)), 0, 255).astype(np.uint8)).convert("RGB")
    if image.mode == "F":
        raise PhotoError(f"photo '{name}' holds decimal fractions instead of colours: save it as JPEG")
    profile = image.info.get("icc_profile")
    if image.mode == "CMYK" and profile:
        managed = _managed(image, profile)
        if managed is not None:
            return managed
    if image.mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        white = Image.new("RGBA", image.size, "white")
        return Image.alpha_composite(white, image.convert("RGBA")).convert("RGB")
    return image if image.mode == "RGB" else image.convert("RGB")  # convert copies even what is RGB already


def _managed(image: Image.Image, profile: bytes) -> Image.Image | None:
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        return ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError):
        return None  # a broken profile: the plain conversion is near enough to mark on


def _reason(error: BaseException) -> str:
    return str(error).strip().splitlines()[0][:120] if str(error).strip() else type(error).__name__
