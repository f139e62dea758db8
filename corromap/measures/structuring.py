"""Everything measured beside areas, brought together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corromap.frames import ZoneId
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
    patches : mapping of ZoneId or None to Figure
        Figure of the patches of each zone, and of all.
    near_mountings : sequence of MountingDistance
        Of the affected marks.
    """

    grounds: Sequence[Ground]
    totals: Totals
    patches: Mapping[ZoneId | None, Figure]
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
    findings, totals = survey.hand_findings, counting.totals
    return Structure(
        patchwork=patchwork_of(counting.grounds, totals, counting.patches, findings, template),
        sills=sill_patches(totals, template),
        around_mountings=around_mountings(counting.near_mountings, totals),
        continuity=continuity_of(projection, survey, template, totals.layout.sources),
        by_hand=hand_measures(findings, template),
        shell=shell_measure(survey.shell_checks),
    )
