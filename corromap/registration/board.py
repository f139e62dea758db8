"""A printed board of known size, found in a photo: a chessboard whose white squares carry markers.

A part of the board is enough, and it is told which part: every inner corner
has a number. Found by OpenCV's ``aruco`` (ChArUco board, dictionary 4x4_50).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray

__all__ = ["BOARD_MM", "SQUARE_MM", "FoundBoard", "black_rectangles", "find_board"]

COLUMNS, ROWS = 5, 7
SQUARE_MM, MARKER_MM = 25.0, 18.0
BOARD_MM = (COLUMNS * SQUARE_MM, ROWS * SQUARE_MM)
"""Width and height of the printed board; it fits A4 and Letter with a ruler below it."""

CELLS = 6
"""Cells along the side of a marker, its black border included."""

LEAST_CORNERS = 6
"""Fewer inner corners fix its size too poorly."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundBoard:
    """A board as a photo shows it.

    Parameters
    ----------
    at_px : ndarray of float64, shape (K, 2)
        Its inner corners, pixels of the photo.
    at_mm : ndarray of float64, shape (K, 2)
        The same in the board's own frame, x right and y down.
    """

    at_px: FloatArray
    at_mm: FloatArray


def _board() -> cv2.aruco.CharucoBoard:
    markers = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.CharucoBoard((COLUMNS, ROWS), SQUARE_MM, MARKER_MM, markers)


def find_board(grey: NDArray[np.uint8]) -> FoundBoard | None:
    """Find the printed board in a photo.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        Pixels, upright, full size.

    Returns
    -------
    FoundBoard or None
        None when it is not there, too small or too blurred.

    Raises
    ------
    InvalidValueError
        If the pixels are not grey.
    """
    if grey.ndim != 2 or grey.dtype != np.uint8:
        raise InvalidValueError(f"expected grey pixels (H, W) of uint8, found {grey.shape}")
    board = _board()
    found: Any = cv2.aruco.CharucoDetector(board).detectBoard(grey)  # None where nothing is, whatever its type says
    corners, numbers = found[0], found[1]
    if numbers is None or len(numbers) < LEAST_CORNERS:
        return None
    known = np.asarray(board.getChessboardCorners(), dtype=np.float64)[:, :2]
    return FoundBoard(np.asarray(corners, dtype=np.float64).reshape(-1, 2), known[np.asarray(numbers).ravel()])


def black_rectangles() -> tuple[tuple[float, float, float, float], ...]:
    """Lay out what is printed black.

    Returns
    -------
    tuple of (x, y, width, height)
        Millimetres from the board's upper left corner; neighbours in a row are one.
    """
    found = [
        (x * SQUARE_MM, y * SQUARE_MM, SQUARE_MM, SQUARE_MM)
        for y in range(ROWS)
        for x in range(COLUMNS)
        if (x + y) % 2 == 0
    ]
    board, cell = _board(), MARKER_MM / CELLS
    markers = board.getDictionary()
    for number, corners in zip(np.asarray(board.getIds()).ravel(), board.getObjPoints(), strict=True):
        x0, y0 = np.asarray(corners, dtype=np.float64)[:, :2].min(axis=0)
        black = cv2.aruco.generateImageMarker(markers, int(number), CELLS) == 0
        for row, cells in enumerate(black):
            edges = np.flatnonzero(np.diff(np.concatenate([[0], cells.astype(int), [0]])))
            found += [
                (float(x0 + start * cell), float(y0 + row * cell), float((end - start) * cell), cell)
                for start, end in edges.reshape(-1, 2)
            ]
    return tuple(found)
