"""Measures: how much of each zone is marked, how surely, and how much was seen.

Every area is that of a union on the panel, so no place counts twice however
many photos show it. Every figure keeps its gradient by error source.
"""

from corromap.measures.measuring import measure
from corromap.measures.result import (
    PRESCRIBED_DISTANCE_MM,
    Figure,
    GroupMeasure,
    Measures,
    MountingDistance,
    ZoneMeasure,
)

__all__ = [
    "PRESCRIBED_DISTANCE_MM",
    "Figure",
    "GroupMeasure",
    "Measures",
    "MountingDistance",
    "ZoneMeasure",
    "measure",
]
