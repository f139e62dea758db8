"""Intervals that reach down to what is left without the marks somebody could not tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from corromap.measures.result import Figure, GroupMeasure, Measures, ZoneMeasure

__all__ = ["reaching_down"]

_Key = TypeVar("_Key")
_Measure = TypeVar("_Measure", ZoneMeasure, GroupMeasure)


def reaching_down(measures: Measures, least: Measures) -> Measures:
    """Lower the lower ends of all figures to those of a smaller set of marks.

    Parameters
    ----------
    measures : Measures
        Of all marks that count.
    least : Measures
        Of the same survey without those in doubt.

    Returns
    -------
    Measures
        The same figures; their intervals hold both.
    """
    return replace(
        measures,
        zones=tuple(_lowered(one, other) for one, other in zip(measures.zones, least.zones, strict=True)),
        groups=tuple(_lowered(one, other) for one, other in zip(measures.groups, least.groups, strict=True)),
    )


def _lowered(one: _Measure, other: _Measure) -> _Measure:
    return replace(
        one,
        kinds=_each(one.kinds, other.kinds),
        stages=_each(one.stages, other.stages),
        resolved=_each(one.resolved, other.resolved),
        affected=_figure(one.affected, other.affected),
    )


def _each(one: Mapping[_Key, Figure], other: Mapping[_Key, Figure]) -> dict[_Key, Figure]:
    return {key: _figure(figure, other[key]) for key, figure in one.items()}


def _figure(one: Figure, other: Figure) -> Figure:
    return replace(one, low_mm2=min(one.low_mm2, other.low_mm2), low_share=min(one.low_share, other.low_share))
