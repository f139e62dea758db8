"""Everything measured beside areas, brought together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corromap.measures.continuity import continuity_of
from corromap.measures.ground import Ground
from corromap.measures.hand import hand_measures, shell_measure
from corromap.measures.patchwork import around_mountings, patchwork_of, sill_patches
from corromap.measures.result import Figure, MountingDistance
from corromap.measures.structure import Structure
from corromap.measures.totals import Totals
from corromap.projection import Projection
from corromap.survey import Survey
from corromap.template import BodyTemplate

__all__ = ["Counting", "structure_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Counting:
    """What counting marks stands on.

    Parameters
    ----------
    grounds : sequence of Ground
        Panels with marks.
    totals : Totals
        Of the same marks.
    patches : mapping of str to (ndarray of int, Figure)
        For each zone and group, by id: its zones by index, and the figure of
        its patches.
    near_mountings : sequence of MountingDistance
        Of the affected marks.
    """

    grounds: Sequence[Ground]
    totals: Totals
    patches: Mapping[str, tuple[NDArray[np.intp], Figure]]
    near_mountings: Sequence[MountingDistance]


def structure_of(projection: Projection, survey: Survey, template: BodyTemplate, counting: Counting) -> Structure:
    """Measure what areas do not tell.

    Parameters
    ----------
    projection : Projection
        The marks and what was seen.
    survey : Survey
        For findings by hand and settings.
    template : BodyTemplate
        The body.
    counting : Counting
        The same marks, measured.

    Returns
    -------
    Structure
        Patchwork, closed sections, findings by hand.
    """
    totals = counting.totals
    places = {place: {template.zones[i].id for i in zones} for place, (zones, _) in counting.patches.items()}
    return Structure(
        patchwork=patchwork_of(counting.grounds, totals, counting.patches, survey, template),
        sills=sill_patches(totals, template),
        around_mountings=around_mountings(counting.near_mountings, totals),
        continuity=continuity_of(projection, survey, template, totals.layout.sources),
        by_hand=hand_measures(survey.hand_findings, places, template),
        shell=shell_measure(survey.shell_checks),
    )
