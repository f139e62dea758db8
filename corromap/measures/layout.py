"""Gradients of many figures as the rows of one matrix."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from corromap.errors import InvalidValueError
from corromap.frames import FloatArray
from corromap.projection import Projection
from corromap.projection.edges import outline_label
from corromap.projection.marks import Registrations
from corromap.registration.result import RegistrationFailure
from corromap.survey import Settings
from corromap.template import BodyTemplate
from corromap.uncertainty import ErrorSource

__all__ = ["SCALE_LABEL", "SourceLayout", "VectorGradient", "layout_of"]

SCALE_LABEL = "template scale"


@dataclass(frozen=True, eq=False)
class SourceLayout:
    """Where each error source has its columns.

    Parameters
    ----------
    sources : mapping of str to ErrorSource
        In the order of the columns.
    """

    sources: Mapping[str, ErrorSource]

    @cached_property
    def columns(self) -> Mapping[str, slice]:
        """Columns of each source."""
        ends = np.cumsum([len(s.covariance) for s in self.sources.values()], dtype=int)
        return {label: slice(end - len(s.covariance), end) for (label, s), end in zip(self.sources.items(), ends)}  # noqa: B905

    @cached_property
    def width(self) -> int:
        """Number of columns."""
        return sum(len(s.covariance) for s in self.sources.values())

    def variances(self, gradients: FloatArray) -> FloatArray:
        """Variance of figures: g C g^T, source by source (JCGM 100:2008, 5.2.2).

        Parameters
        ----------
        gradients : ndarray of float64, shape (N, width)
            One figure a row.

        Returns
        -------
        ndarray of float64, shape (N,)
            Variances.
        """
        single = np.zeros(self.width)
        total = np.zeros(len(gradients))
        for label, columns in self.columns.items():
            covariance = self.sources[label].covariance
            if len(covariance) == 1:
                single[columns] = covariance[0, 0]
            else:
                part = gradients[:, columns]
                total += ((part @ covariance) * part).sum(axis=1)
        return np.asarray(np.maximum(total + (gradients**2) @ single, 0.0), dtype=np.float64)


class VectorGradient(Mapping[str, FloatArray]):
    """One row of a gradient matrix, read as a `corromap.uncertainty.Gradient`.

    Parameters
    ----------
    layout : SourceLayout
        Where each source has its columns.
    vector : ndarray of float64, shape (width,)
        The row.
    """

    __slots__ = ("_layout", "_vector")

    def __init__(self, layout: SourceLayout, vector: FloatArray) -> None:
        self._layout = layout
        self._vector = vector

    def __getitem__(self, label: str) -> FloatArray:
        return self._vector[self._layout.columns[label]]

    def __iter__(self) -> Iterator[str]:
        return (label for label, columns in self._layout.columns.items() if self._vector[columns].any())

    def __len__(self) -> int:
        return sum(1 for _ in self)


def layout_of(
    projection: Projection, registrations: Registrations, template: BodyTemplate, settings: Settings
) -> SourceLayout:
    """Collect every error source the projected marks depend on.

    Parameters
    ----------
    projection : Projection
        The marks.
    registrations : mapping
        Where the click and lens sources come from.
    template : BodyTemplate
        For its scale.
    settings : Settings
        For the hand that draws.

    Returns
    -------
    SourceLayout
        Registrations first, then outlines, then the template's scale.

    Raises
    ------
    InvalidValueError
        If a mark depends on a source that no registration has.
    """
    known = {
        source.label: source
        for found in registrations.values()
        if not isinstance(found, RegistrationFailure)
        for source in found.sources
    }
    by_hand = np.array([[settings.outline_sigma_px**2]])
    known |= {outline_label(m.mark): ErrorSource(outline_label(m.mark), by_hand) for m in projection.marks}
    used = dict.fromkeys(label for m in projection.marks for label in m.edges.flux_mm2)
    missing = [label for label in used if label not in known]
    if missing:
        raise InvalidValueError(
            f"no registration has the error source '{missing[0]}': project and measure must be given the same ones"
        )
    scale = ErrorSource(SCALE_LABEL, np.array([[template.scale_sigma**2]]))
    return SourceLayout({label: known[label] for label in used} | {SCALE_LABEL: scale})
