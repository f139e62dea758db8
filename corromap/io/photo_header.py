"""What a picture file says of itself: size, orientation, lens, time."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from corromap.frames import CameraId

__all__ = ["ORIENTATION", "PhotoHeader", "camera_of", "focal_px_of", "taken_at_of"]

FULL_FRAME_DIAGONAL_MM = 43.2666
"""Diagonal of 36 x 24 mm, to which a 35 mm equivalent focal length refers (CIPA DCG-001, from memory)."""

ORIENTATION = 0x0112
_MAKE, _MODEL = 0x010F, 0x0110
_TAKEN, _OFFSET, _FOCAL, _FOCAL35 = 0x9003, 0x9011, 0x920A, 0xA405
_PLANE_RES, _PLANE_UNIT = 0xA20E, 0xA210
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}

ExifTags = Mapping[int, object]


@dataclass(frozen=True, slots=True)
class PhotoHeader:
    """What a picture file says of itself.

    Parameters
    ----------
    format : str
        ``JPEG``, ``PNG``, ``HEIF``, ...: by content.
    width_px, height_px : int
        Of the upright picture (EXIF orientation applied).
    orientation : int
        EXIF orientation as stored, 1 to 8; 1 if absent.
    taken_at : str or None
        ISO 8601, with an offset only if the file states one.
    camera : CameraId or None
        Make, model, focal length and size as one word: photos that agree in
        all four are taken to share a lens.
    focal_px : float or None
        Focal length in pixels of the upright picture.
    sha256 : str
        Of the bytes as given.
    byte_count : int
        Number of bytes.
    """

    format: str
    width_px: int
    height_px: int
    orientation: int
    taken_at: str | None
    camera: CameraId | None
    focal_px: float | None
    sha256: str
    byte_count: int


def _number(value: object) -> float | None:
    try:
        number = float(str(value))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def focal_px_of(details: ExifTags, width: int, height: int) -> float | None:
    """Focal length in pixels from EXIF.

    From the 35 mm equivalent (over the diagonal) or else from the focal
    length and the stated sensor resolution.

    Parameters
    ----------
    details : mapping of int to object
        Tags of the EXIF sub-directory.
    width, height : int
        Of the picture, px.

    Returns
    -------
    float or None
        In px; None if the tags do not tell.
    """
    equivalent = _number(details.get(_FOCAL35))
    if equivalent:
        return equivalent / FULL_FRAME_DIAGONAL_MM * math.hypot(width, height)
    focal, resolution = _number(details.get(_FOCAL)), _number(details.get(_PLANE_RES))
    unit = _MM_PER_UNIT.get(int(_number(details.get(_PLANE_UNIT, 2)) or 2))
    if focal and resolution and unit:
        pixels = focal * resolution / unit
        # A stated sensor resolution that gives an absurd lens is ignored
        return pixels if 0.2 * max(width, height) < pixels < 30 * max(width, height) else None
    return None


def taken_at_of(details: ExifTags) -> str | None:
    """When a picture was taken, ISO 8601; no time zone is guessed.

    Parameters
    ----------
    details : mapping of int to object
        Tags of the EXIF sub-directory.

    Returns
    -------
    str or None
        For example ``2026-03-01T14:05:00+01:00``.
    """
    stamp = str(details.get(_TAKEN, ""))
    match = re.match(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", stamp)
    if not match:
        return None
    year, month, day, time = match.groups()
    offset = str(details.get(_OFFSET, "")).strip("\x00 ")
    known = re.fullmatch(r"[+-]\d\d:\d\d", offset)
    return f"{year}-{month}-{day}T{time}{offset if known else ''}"


def camera_of(exif: ExifTags, focal: float | None, width: int, height: int) -> CameraId | None:
    """One word for a camera with its lens setting.

    Parameters
    ----------
    exif : mapping of int to object
        Tags of the main directory.
    focal : float or None
        Focal length, px.
    width, height : int
        Of the picture, px.

    Returns
    -------
    CameraId or None
        None if the file tells nothing of its camera.
    """
    words = [str(exif.get(tag, "")).strip("\x00 ") for tag in (_MAKE, _MODEL)]
    label = " ".join(word for word in words if word)[:120]
    if not label and focal is None:
        return None
    lens = f", focal length {focal:.0f} px" if focal else ""
    return CameraId(f"{label or 'camera'}{lens}, {max(width, height)} x {min(width, height)}")
