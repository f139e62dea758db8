"""Evening the exposure: one factor a photo and colour, so that overlaps agree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray

__all__ = ["even_gains"]

LEAST_SAMPLES = 12
STIFFNESS = 0.05
"""How strongly factors are held at 1, against one overlap of typical weight."""
MOST_GAIN = 2.2
_DARK, _BRIGHT = 18.0, 245.0


def even_gains(samples: Sequence[NDArray[np.float64]]) -> FloatArray:
    """Find the factors that make photos agree where they overlap.

    Parameters
    ----------
    samples : sequence of ndarray of float64, shape (P, 3)
        Each photo's colour at the same P places; NaN where it does not show them.

    Returns
    -------
    ndarray of float64, shape (len(samples), 3)
        Factors between 1 / 2.2 and 2.2; 1 for photos without overlap.

    Notes
    -----
    Least squares on the logarithm of the medians, each overlap weighted by the
    root of its size, with a pull towards 1: the gain compensation of Brown and
    Lowe (2007), "Automatic panoramic image stitching", section 6, in
    logarithms so that it is linear.
    """
    count = len(samples)
    logs = [_usable_log(one) for one in samples]
    gains = np.ones((count, 3))
    rows, values = [], []
    for i in range(count):
        for j in range(i):
            both = np.isfinite(logs[i]).all(axis=1) & np.isfinite(logs[j]).all(axis=1)
            if int(both.sum()) >= LEAST_SAMPLES:
                weight = float(both.sum()) ** 0.25
                row = np.zeros(count)
                row[i], row[j] = weight, -weight
                rows.append(row)
                values.append(weight * np.median(logs[j][both] - logs[i][both], axis=0))
    if rows:
        system = np.vstack([*rows, STIFFNESS * np.eye(count)])
        wanted = np.vstack([*values, np.zeros((count, 3))])
        gains = np.exp(np.linalg.lstsq(system, wanted, rcond=None)[0])
    return np.asarray(np.clip(gains, 1 / MOST_GAIN, MOST_GAIN))


def _usable_log(colours: NDArray[np.float64]) -> FloatArray:
    """Logarithms; black and white tell nothing of the exposure."""
    usable = np.asarray(((colours > _DARK) & (colours < _BRIGHT)).all(axis=1))
    return np.log(np.where(usable[:, None], colours, np.nan))
