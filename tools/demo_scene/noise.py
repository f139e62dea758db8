"""Noise fields in millimetres: the grain everything on the car is made of.

All fields come from a seeded generator, so a panel looks the same in every
photo. Sizes are in millimetres, never in texels.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]


def smooth_noise(
    shape: tuple[int, int], ppm: float, cell_mm: tuple[float, float] | float, rng: np.random.Generator
) -> Field:
    """One octave of smooth noise, mean 0, standard deviation about 1.

    Parameters
    ----------
    shape : tuple of int
        Rows, columns.
    ppm : float
        Texels a millimetre.
    cell_mm : float or (float, float)
        Size of a cell along u (columns) and v (rows), mm.
    rng : Generator
        Source of the numbers.

    Returns
    -------
    ndarray of float32, shape `shape`
        The field.
    """
    cu, cv = (cell_mm, cell_mm) if isinstance(cell_mm, (int, float)) else cell_mm
    rows, cols = shape
    nr, nc = max(int(np.ceil(rows / (cv * ppm))) + 3, 4), max(int(np.ceil(cols / (cu * ppm))) + 3, 4)
    coarse = rng.standard_normal((nr, nc)).astype(np.float32)
    scale_u, scale_v = cu * ppm, cv * ppm
    if scale_u <= 1 and scale_v <= 1:
        return rng.standard_normal(shape).astype(np.float32)
    shift = rng.random(2)
    x = ((np.arange(cols, dtype=np.float32) + 0.5) / max(scale_u, 1) + 0.5 + shift[0]).astype(np.float32)
    y = ((np.arange(rows, dtype=np.float32) + 0.5) / max(scale_v, 1) + 0.5 + shift[1]).astype(np.float32)
    big = cv2.warpAffine(
        coarse,
        np.array([[1 / max(scale_u, 1), 0, x[0]], [0, 1 / max(scale_v, 1), y[0]]]),
        (cols, rows),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REFLECT,
    )
    return np.asarray(big * 1.45, dtype=np.float32)


def fbm(
    shape: tuple[int, int],
    ppm: float,
    cell_mm: float,
    rng: np.random.Generator,
    *,
    octaves: int = 5,
    gain: float = 0.5,
    stretch: float = 1.0,
) -> Field:
    """Fractal noise, mean 0, standard deviation about 1.

    Parameters
    ----------
    shape, ppm, rng
        As in `smooth_noise`.
    cell_mm : float
        Size of the coarsest cell along v, mm.
    octaves : int
        Number of halvings.
    gain : float
        Height of each octave against the one before.
    stretch : float
        How much longer the cells are along u.

    Returns
    -------
    ndarray of float32
        The field.
    """
    total = np.zeros(shape, np.float32)
    weight, power = 1.0, 0.0
    for octave in range(octaves):
        cell = cell_mm / 2**octave
        if cell * ppm < 0.7:
            break
        total += weight * smooth_noise(shape, ppm, (cell * stretch, cell), rng)
        power += weight**2
        weight *= gain
    return total / np.float32(np.sqrt(power)) if power else total


def warp(field: Field, du_px: Field, dv_px: Field) -> Field:
    """Push a field about by two others, in texels."""
    rows, cols = field.shape[:2]
    x, y = np.meshgrid(np.arange(cols, dtype=np.float32), np.arange(rows, dtype=np.float32))
    moved = cv2.remap(field, x + du_px, y + dv_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(moved, np.float32)


def cells(shape: tuple[int, int], ppm: float, cell_mm: float, rng: np.random.Generator) -> tuple[Field, Field]:
    """Irregular cells (flakes, cracks): a random value per cell and the distance to its edge in mm.

    Parameters
    ----------
    shape, ppm, rng
        As in `smooth_noise`.
    cell_mm : float
        Mean size of a cell.

    Returns
    -------
    value, edge_mm : ndarray of float32
        One random number in 0..1 a cell; distance from the cell's edge.
    """
    rows, cols = shape
    count = max(int(rows * cols / (cell_mm * ppm) ** 2), 4)
    seeds = np.full(shape, 255, np.uint8)
    seeds[rng.integers(0, rows, count), rng.integers(0, cols, count)] = 0
    _, labels = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    wobble = [smooth_noise(shape, ppm, cell_mm * 0.45, rng) * cell_mm * 0.16 * ppm for _ in range(2)]
    x, y = np.meshgrid(np.arange(cols, dtype=np.float32), np.arange(rows, dtype=np.float32))
    labels = cv2.remap(
        labels.astype(np.float32), x + wobble[0], y + wobble[1], cv2.INTER_NEAREST, borderMode=cv2.BORDER_REFLECT
    ).astype(np.int64)
    values = rng.random(int(labels.max()) + 1).astype(np.float32)[labels]
    border = np.zeros(shape, bool)
    border[:, 1:] |= labels[:, 1:] != labels[:, :-1]
    border[1:, :] |= labels[1:, :] != labels[:-1, :]
    edge = cv2.distanceTransform((~border).astype(np.uint8), cv2.DIST_L2, 3) / np.float32(ppm)
    return values, edge


def smoothstep(low: float, high: float, field: Field | np.float32) -> Field:
    """Ease from 0 at `low` to 1 at `high`."""
    t = np.clip((field - np.float32(low)) / np.float32(high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t))
