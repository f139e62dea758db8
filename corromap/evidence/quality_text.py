"""A quality map as one line of plain text, so that a photo is examined once and the survey keeps what was found."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from corromap.errors import InvalidValueError
from corromap.evidence.quality import PhotoQuality, QualityMap

__all__ = ["look_from_text", "map_from_text", "quality_text"]

VERSION = "q1"
_DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"
_BASE = len(_DIGITS)
_UNKNOWN = _BASE**2 - 1
"""Blur that cannot be told; the largest blur kept is one less, in tenths of a pixel."""
_DARK, _BLOWN, _BLURRED = 1, 2, 4
_HEAD = re.compile(rf"{VERSION} ([1-9]\d?)x([1-9]\d?) ([0-9a-f]{{16}}|-) ([0-7][0-9a-z]{{2}})+")
MOST_SIDE = 64


def quality_text(quality: PhotoQuality, look: int | None) -> str:
    """Write what was found of a photo.

    Parameters
    ----------
    quality : PhotoQuality
        From `corromap.evidence.quality.judge_photo`.
    look : int or None
        From `corromap.evidence.duplicates.look_hash`.

    Returns
    -------
    str
        ``q1 24x16 <look, 16 hex digits> <cells>``: columns and rows, then
        three characters a cell, row by row: 1 dark + 2 blown + 4 blurred, and
        the width of its edges in tenths of a full pixel, base 36, ``zz`` where
        it cannot be told. About 1.2 kB.
    """
    cells = quality.map
    flags = _DARK * cells.dark + _BLOWN * cells.blown + _BLURRED * cells.blurred
    tenths = np.clip(np.round(10 * np.nan_to_num(cells.blur_px, nan=0.0, posinf=1e6)), 0, _UNKNOWN - 1).astype(int)
    tenths = np.where(np.isfinite(cells.blur_px), tenths, _UNKNOWN)
    body = "".join(
        f"{flag}{_DIGITS[tenth // _BASE]}{_DIGITS[tenth % _BASE]}"
        for flag, tenth in zip(flags.ravel().tolist(), tenths.ravel().tolist(), strict=True)
    )
    rows, columns = cells.blur_px.shape
    return f"{VERSION} {columns}x{rows} {'-' if look is None else f'{look:016x}'} {body}"


def map_from_text(text: str, width_px: int, height_px: int) -> QualityMap:
    """Read a quality map back.

    Parameters
    ----------
    text : str
        From `quality_text`.
    width_px, height_px : int
        Of the full upright photo.

    Returns
    -------
    QualityMap
        Shares of a cell come back as 0 or 1; blur within 0.05 px.

    Raises
    ------
    InvalidValueError
        If the text was not written by `quality_text`.
    """
    columns, rows, _, body = _parts(text)
    codes = np.frombuffer(body.encode("ascii"), dtype=np.uint8).reshape(rows, columns, 3)
    flags, tenths = _values(codes[..., 0]), _BASE * _values(codes[..., 1]) + _values(codes[..., 2])
    return QualityMap(
        width_px=width_px,
        height_px=height_px,
        blur_px=np.where(tenths == _UNKNOWN, np.nan, tenths / 10.0),
        dark_share=np.where(flags & _DARK, 1.0, 0.0),
        blown_share=np.where(flags & _BLOWN, 1.0, 0.0),
        blurred=(flags & _BLURRED) > 0,
    )


def look_from_text(text: str) -> int | None:
    """Read the hash of what a photo looks like.

    Parameters
    ----------
    text : str
        From `quality_text`.

    Returns
    -------
    int or None
        None for a picture too small to have one.

    Raises
    ------
    InvalidValueError
        If the text was not written by `quality_text`.
    """
    look = _parts(text)[2]
    return None if look == "-" else int(look, 16)


def _parts(text: str) -> tuple[int, int, str, str]:
    match = _HEAD.fullmatch(text)
    body = text.rpartition(" ")[2]
    if match is None or len(body) != 3 * int(match[1]) * int(match[2]) or max(int(match[1]), int(match[2])) > MOST_SIDE:
        raise InvalidValueError(
            f"photo quality: expected '{VERSION} <columns>x<rows> <look> <cells>', found '{text:.40}'"
        )
    return int(match[1]), int(match[2]), match[3], body


def _values(codes: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Digits of base 36 to numbers."""
    return np.asarray(np.where(codes >= ord("a"), codes.astype(np.int64) - ord("a") + 10, codes.astype(np.int64) - 48))
