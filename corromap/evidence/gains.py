"""Evening the exposure: one factor a photo and colour, and a smooth field for the torch's fall-off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.frames import FloatArray

__all__ = ["GainField", "even_fields", "even_gains", "field_terms", "log_brightness", "without_glare"]

LEAST_SAMPLES = 12
STIFFNESS = 0.05
"""How strongly factors are held at 1, against one overlap of typical weight."""
MOST_GAIN = 2.2
MOST_FIELD = 1.8
"""A field may brighten or darken a place by this factor at most, so that rust stays rust. Ours."""
METAL_SPREAD, PHOTO_SPREAD = 0.5, 0.12
"""Spread of the logarithm of brightness from place to place, and between photos of one place. Ours."""
TERM_SPREAD = (0.25, 0.3, 0.3, 0.3, 0.3, 0.3)
"""How large a field's terms are expected to be. Ours."""
SAMPLES_ALIKE = 10.0
"""Neighbouring samples lie on one piece of metal and err together: this many count as one. Ours."""
GLARE_QUANTILE = 0.95
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


def log_brightness(colours: NDArray[np.float64]) -> FloatArray:
    """Logarithm of the brightness of samples.

    Parameters
    ----------
    colours : ndarray of float64, shape (P, 3)
        NaN where a photo does not show the place.

    Returns
    -------
    ndarray of float64, shape (P,)
        NaN for black, white and unknown.
    """
    return np.asarray(_usable_log(colours).mean(axis=1))


def _usable_log(colours: NDArray[np.float64]) -> FloatArray:
    """Logarithms; black and white tell nothing of the exposure."""
    usable = np.asarray(((colours > _DARK) & (colours < _BRIGHT)).all(axis=1))
    return np.log(np.where(usable[:, None], colours, np.nan))


@dataclass(frozen=True, slots=True, eq=False)
class GainField:
    """A smooth factor over one photo that takes out the torch's fall-off.

    Parameters
    ----------
    width_px, height_px : int
        Of the full upright photo.
    terms : ndarray of float64, shape (6,)
        Of 1, x, y, x^2, x y, y^2 in the logarithm; x and y run from -1 to 1.
    """

    width_px: int
    height_px: int
    terms: FloatArray

    def at(self, xy_px: FloatArray) -> FloatArray:
        """Compute the factor.

        Parameters
        ----------
        xy_px : ndarray of float64, shape (N, 2)
            Pixels of the full photo.

        Returns
        -------
        ndarray of float64, shape (N,)
            Within 1 / 1.8 and 1.8; the same for all three colours, so that hues stay.
        """
        logs = field_terms(xy_px, self.width_px, self.height_px) @ self.terms
        return np.asarray(np.exp(np.clip(logs, -np.log(MOST_FIELD), np.log(MOST_FIELD))))


def without_glare(gains: FloatArray, samples: Sequence[FloatArray], fields: Sequence[FloatArray]) -> FloatArray:
    """Lower the factors of photos that would turn white.

    Parameters
    ----------
    gains : ndarray of float64, shape (N, 3)
        From `even_gains`.
    samples : sequence of ndarray of float64, shape (P, 3)
        Each photo's colours; NaN where it does not show the place.
    fields : sequence of ndarray of float64, shape (P,)
        Each photo's smooth factor at the places.

    Returns
    -------
    ndarray of float64, shape (N, 3)
        All three colours of a photo lowered alike, never below 1 on their
        account alone, so that only its brightest twentieth may go white.
    """
    lowered = gains.copy()
    for index, (colours, field) in enumerate(zip(samples, fields, strict=True)):
        brightest = (colours * gains[index] * field[:, None]).max(axis=1)
        if np.isfinite(brightest).any():
            high = float(np.nanquantile(brightest, GLARE_QUANTILE))
            least = min(1.0, 1.0 / float(gains[index].max()))
            lowered[index] *= max(min(1.0, _BRIGHT / high), least) if high > 0 else 1.0
    return lowered


def field_terms(xy_px: FloatArray, width_px: int, height_px: int) -> FloatArray:
    """Terms of a field at pixels of a photo.

    Parameters
    ----------
    xy_px : ndarray of float64, shape (N, 2)
        Pixels of the full photo; those outside count as on its edge.
    width_px, height_px : int
        Of the full photo.

    Returns
    -------
    ndarray of float64, shape (N, 6)
        1, x, y, x^2, x y, y^2 with x and y from -1 to 1.
    """
    half = np.array([width_px, height_px]) / 2.0
    x, y = np.clip((np.nan_to_num(xy_px) + 0.5) / half - 1.0, -1.0, 1.0).T
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def even_fields(logs: Sequence[FloatArray], terms: Sequence[FloatArray]) -> FloatArray:
    """Find the smooth fields that make photos agree where they overlap, and level where they do not.

    Parameters
    ----------
    logs : sequence of ndarray of float64, shape (P,)
        Logarithm of each photo's brightness at the same P places; NaN where
        it does not show them or is black or white.
    terms : sequence of ndarray of float64, shape (P, 6)
        From `field_terms` at those places.

    Returns
    -------
    ndarray of float64, shape (len(logs), 6)
        Terms of each photo's field.

    Notes
    -----
    A place's own brightness is a draw from one distribution (spread
    `METAL_SPREAD`), what photos say of it scatters by `PHOTO_SPREAD`: a
    random-effects model, solved as generalised least squares by taking the
    share 1 - s / sqrt(s^2 + n a^2) of each place's mean off its n rows. So
    overlaps decide where there are some, and a photo alone is only drawn
    gently towards an even brightness. Terms are held at 0 by `TERM_SPREAD`.
    """
    count = len(logs)
    known = [np.isfinite(one) for one in logs]
    seen_by = np.sum(known, axis=0)
    pull = 1.0 - PHOTO_SPREAD / np.sqrt(PHOTO_SPREAD**2 + seen_by * METAL_SPREAD**2)
    level = float(np.mean(np.concatenate([one[k] for one, k in zip(logs, known, strict=True)]))) if seen_by.any() else 0
    values = np.array([np.where(k, level - np.nan_to_num(one), 0.0) for one, k in zip(logs, known, strict=True)])
    rows = np.array([np.where(k[:, None], t, 0.0) for t, k in zip(terms, known, strict=True)])
    normal, wanted = np.zeros((6 * count, 6 * count)), np.zeros(6 * count)
    share = np.where(seen_by > 0, pull * (2.0 - pull) / np.maximum(seen_by, 1), 0.0)
    # rows less a share of their mean: R'R = sum rows rows' - share * (sum rows)(sum rows)'
    for i in range(count):
        at_i = slice(6 * i, 6 * i + 6)
        normal[at_i, at_i] += rows[i].T @ rows[i]
        wanted[at_i] += rows[i].T @ (values[i] - share * values.sum(axis=0))
        for j in range(count):
            normal[at_i, 6 * j : 6 * j + 6] -= rows[i].T @ (share[:, None] * rows[j])
    hold = PHOTO_SPREAD**2 / np.asarray(TERM_SPREAD) ** 2 * SAMPLES_ALIKE
    found = np.linalg.solve(normal + np.diag(np.tile(hold, count)), wanted) if count else wanted
    return np.asarray(found.reshape(count, 6))
