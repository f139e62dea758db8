"""Sources of error, and how they add up.

Every figure is a function of a few independent sources: the clicks that placed
a photo on a panel, the lens of a camera, the hand that drew a mark, the
template's scale. A figure keeps its gradient with respect to each source, so
that errors which are shared stay shared: all marks of a photo move together,
and the template's scale moves everything.

Law of propagation of uncertainty: JCGM 100:2008 (GUM), 5.1 and 5.2.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray

__all__ = ["COVERAGE_FACTOR", "ErrorSource", "Gradient", "add_gradients", "sigma_of"]

COVERAGE_FACTOR = 1.959963984540054
"""Normal 97.5 % quantile: an interval of +- this many sigma holds 95 %."""


@dataclass(frozen=True, slots=True, eq=False)
class ErrorSource:
    """One independent source of error with its covariance.

    Parameters
    ----------
    label : str
        Unique, for example ``clicks:photo-3/floor-left`` or ``template scale``.
    covariance : ndarray of float64, shape (P, P)
        Symmetric, positive semi-definite; units are the source's own.

    Raises
    ------
    InvalidValueError
        If the covariance is not square and finite.
    """

    label: str
    covariance: FloatArray

    def __post_init__(self) -> None:
        array = np.array(self.covariance, dtype=np.float64)
        if array.ndim != 2 or array.shape[0] != array.shape[1] or not np.isfinite(array).all():
            raise InvalidValueError(f"error source '{self.label}': covariance must be square and finite")
        array.setflags(write=False)
        object.__setattr__(self, "covariance", array)


Gradient = Mapping[str, FloatArray]
"""Derivative of one figure by each source: label to array of shape (P,)."""


def add_gradients(gradients: Iterable[Gradient]) -> dict[str, FloatArray]:
    """Gradient of a sum of figures.

    Parameters
    ----------
    gradients : iterable of Gradient
        One for each term.

    Returns
    -------
    dict of str to ndarray
        Label by label sum.
    """
    total: dict[str, FloatArray] = {}
    for gradient in gradients:
        for label, part in gradient.items():
            total[label] = total[label] + part if label in total else part
    return total


def sigma_of(gradient: Gradient, sources: Mapping[str, ErrorSource]) -> float:
    """Find the standard uncertainty of a figure from its gradient.

    Parameters
    ----------
    gradient : Gradient
        Of the figure.
    sources : mapping of str to ErrorSource
        Every source the gradient names.

    Returns
    -------
    float
        In the figure's unit.
    """
    variance = sum(float(g @ sources[label].covariance @ g) for label, g in gradient.items())
    return float(np.sqrt(max(variance, 0.0)))
