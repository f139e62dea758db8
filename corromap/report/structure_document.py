"""Patchwork, closed sections, findings by hand and what would change the outcome, as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from corromap.evaluation import Evaluation, what_if
from corromap.measures import GroupMeasure, ZoneMeasure
from corromap.measures.rusting import rust_degree
from corromap.measures.structure import STATION_MM, Continuity, Counted, HandMeasure, Patchwork, Span, WallState
from corromap.sections import BoxSection
from corromap.survey import MarkKind

__all__ = ["rusting_document", "structure_document", "what_if_document"]

Document = dict[str, object]


def rusting_document(measure: ZoneMeasure | GroupMeasure) -> Document:
    """Write how far a place is rusted: per cent first, then two scales for painted surfaces.

    Parameters
    ----------
    measure : ZoneMeasure or GroupMeasure
        The place.

    Returns
    -------
    dict
        Plain data.
    """
    rust = measure.kinds[MarkKind.RUST]
    degree = rust_degree(rust.likely_share, rust.low_share, rust.high_share)
    return {
        "percent": _rounded(degree.percent),
        "low_percent": _rounded(degree.low_percent),
        "high_percent": _rounded(degree.high_percent),
        "astm_d610_grade": degree.grade,
        "astm_d610_grade_at_low": degree.high_grade,
        "astm_d610_grade_at_high": degree.low_grade,
        "iso_4628_3_nearest_picture": degree.picture,
    }


def structure_document(evaluation: Evaluation) -> Document:
    """Write what is measured beside areas.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    dict
        Plain data; lengths in mm.
    """
    structure = evaluation.measures.structure
    sections = {section.id: section for section in evaluation.template.sections}
    return {
        "patchwork": [_patchwork(work) for work in structure.patchwork.values()],
        "sill_patches": [
            {
                "side": sill.side,
                "length_mm": _rounded(sill.length_mm),
                **_counted(sill.patches),
                "per_metre": _rounded(sill.per_metre),
            }
            for sill in structure.sills
        ],
        "patches_around_mountings": [
            {"mounting": mounting, **_counted(counted)} for mounting, counted in structure.around_mountings.items()
        ],
        "closed_sections": [_section(sections[found.section], found) for found in structure.continuity],
        "by_hand": [_hand(hand) for hand in structure.by_hand.values()],
        "shell": [
            {
                "kind": kind.value,
                "value": _rounded(value),
                "place": structure.shell.places[kind],
                "checks": list(structure.shell.checks[kind]),
            }
            for kind, value in structure.shell.values.items()
        ],
    }


def what_if_document(evaluation: Evaluation) -> list[Document]:
    """Write which uncertain things would change the outcome.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    list of dict
        The weightiest first.
    """
    return [
        {
            "supposed": one.supposed.value,
            "outcome": one.kind.value,
            "zones": list(one.zones),
            "mark": one.mark,
            "rule": one.result.rule.id if one.result else None,
        }
        for one in what_if(evaluation)
    ]


def _rounded(value: float) -> float:
    return round(float(value), 6) + 0.0


def _counted(counted: Counted) -> Document:
    return {"count": counted.count, "marks": list(counted.marks), "findings": list(counted.findings)}


def _span(span: Span) -> Document:
    return {"value_mm": _rounded(span.value), "low_mm": _rounded(span.low), "high_mm": _rounded(span.high)}


def _patchwork(work: Patchwork) -> Document:
    return {
        "place": work.place,
        "on_seam": _counted(work.on_seam),
        "rust_at_edge": _counted(work.rust_at_edge),
        "rust_through_edge": _counted(work.rust_through_edge),
        "rusted_edge_mm": _rounded(work.rusted_edge_mm),
        "fixings": [fixing.value for fixing in work.fixings],
        "not_seam_welded": _counted(work.not_seam_welded),
        "not_welded": _counted(work.not_welded),
        "edge": _span(work.edge),
        "holed": _counted(work.holed),
    }


def _section(section: BoxSection, found: Continuity) -> Document:
    return {
        "id": section.id,
        "name": section.name,
        "from_x_mm": _rounded(section.from_x_mm),
        "to_x_mm": _rounded(section.to_x_mm),
        "station_mm": STATION_MM,
        "open": _span(found.open),
        "open_or_unsound": _span(found.unsound),
        "shown_share": _rounded(found.shown_share),
        "walls": [
            {
                "id": wall.id,
                "name": wall.name,
                "panel": wall.panel,
                "sheet_mm": _rounded(wall.sheet_mm),
                "states": _runs(found.states[row]),
            }
            for row, wall in enumerate(section.walls)
        ],
        "open_stretches": [
            {
                "from_x_mm": _rounded(stretch.from_x_mm),
                "to_x_mm": _rounded(stretch.to_x_mm),
                "open_walls": list(stretch.open_walls),
                "cells_that_close": list(stretch.closed),
            }
            for stretch in found.stretches
        ],
        "marks": list(dict.fromkeys([*found.open_marks, *found.unsound_marks])),
        "findings": list(dict.fromkeys([*found.open_findings, *found.unsound_findings])),
    }


_STATES: Mapping[WallState, str] = {
    WallState.INSIDE: "inside",
    WallState.NOT_SHOWN: "not shown",
    WallState.SHOWN: "shown",
    WallState.PATCHED: "patched",
    WallState.UNSOUND: "unsound",
    WallState.HOLED: "holed",
}


def _runs(states: np.ndarray[tuple[int], np.dtype[np.int8]]) -> list[Document]:
    """Stations in a row with one state, by number from the rear."""
    cuts = [0, *(np.flatnonzero(np.diff(states)) + 1).tolist(), len(states)]
    return [
        {"from_station": first, "to_station": last - 1, "state": _STATES[WallState(int(states[first]))]}
        for first, last in pairwise(cuts)
    ]


def _hand(hand: HandMeasure) -> Document:
    return {
        "place": hand.place,
        "pierced": list(hand.pierced),
        "dull": list(hand.dull),
        "magnet_does_not_hold": list(hand.not_held),
        "covered": list(hand.covered),
        "gauge": list(hand.thin),
        "thinnest_mm": _rounded(hand.thinnest_mm) if hand.thinnest_mm is not None else None,
        "largest_loss_percent": _rounded(hand.loss_percent),
    }
