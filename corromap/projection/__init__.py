"""Projection: marks carried from photo pixels to panel millimetres.

The way of a mark: repaired in pixels; cut to the photo's frame; its edges cut
short and the lens taken out; cut at the horizon, the panel's edge and the
panels that stand in front, all exact polygon operations in straightened
pixels; carried to the panel. What is lost on the way is counted and told.
"""

from corromap.projection.marks import Registrations, join_projections, project, project_one, project_photo
from corromap.projection.result import MarkFate, MovingEdges, PhotoProjection, ProjectedMark, Projection, SeenArea

__all__ = [
    "MarkFate",
    "MovingEdges",
    "PhotoProjection",
    "ProjectedMark",
    "Projection",
    "Registrations",
    "SeenArea",
    "join_projections",
    "project",
    "project_one",
    "project_photo",
]
