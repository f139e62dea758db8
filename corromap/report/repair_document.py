"""The repair plan as plain data for other programs: ``corromap plan --json``.

Described by ``repair.schema.json`` beside this module; keys are stable as in
`corromap.report.document`.
"""

from __future__ import annotations

import json
from importlib import resources

import numpy as np

from corromap.evaluation import Evaluation
from corromap.repair import Piece, Range, Rates, RepairPlan, SheetNeed, ZonePlan
from corromap.report.document import Document
from corromap.report.welder_drawing import zone_drawing

__all__ = ["REPAIR_DOCUMENT_VERSION", "repair_document", "repair_schema"]

REPAIR_DOCUMENT_VERSION = 1
DECIMALS = 6


def repair_schema() -> Document:
    """Read the JSON Schema (draft 2020-12) of `repair_document`.

    Returns
    -------
    dict
        The schema.
    """
    text = resources.files("corromap.report").joinpath("repair.schema.json").read_text(encoding="utf-8")
    schema: Document = json.loads(text)
    return schema


def repair_document(evaluation: Evaluation, plan: RepairPlan, rates: Rates) -> Document:
    """Write a plan as plain data.

    Parameters
    ----------
    evaluation : Evaluation
        What it was made from.
    plan : RepairPlan
        The plan.
    rates : Rates
        In force.

    Returns
    -------
    dict
        What ``json.dumps`` takes as it is. Areas in mm2, lengths in mm, money
        in ``currency``.
    """
    return {
        "document": "corromap repair plan",
        "version": REPAIR_DOCUMENT_VERSION,
        "program_version": evaluation.program_version,
        "survey": evaluation.survey.id,
        "template": {"id": evaluation.template.id, "revision": evaluation.template.revision},
        "rates": rates.to_document(),
        "currency": plan.currency,
        "is_lower_bound": True,
        "notes": [str(note) for note in plan.notes],
        "hours": _range(plan.hours),
        "cost": _range(plan.cost),
        "shell_hours": _range(plan.shell_hours),
        "seam_mm": _number(plan.seam_mm),
        "plugs": plan.plugs,
        "outside_mm2": _number(plan.outside_mm2),
        "not_shown": [str(zone) for zone in plan.not_shown],
        "zones": [_zone(zone, evaluation, rates) for zone in plan.zones],
        "sheet": [_sheet(need) for need in plan.sheet],
        "order": [{"title": s.title, "text": s.text, "zones": [str(z) for z in s.zones]} for s in plan.order],
    }


def _zone(zone: ZonePlan, evaluation: Evaluation, rates: Rates) -> Document:
    drawing = zone_drawing(zone, evaluation.template, flange_mm=rates.policy["flange"].value) if zone.pieces else None
    names = {reference.label: reference.name for reference in drawing.references} if drawing else {}
    return {
        "zone": str(zone.zone),
        "number": zone.number,
        "name": str(evaluation.template.zone_by_id[zone.zone].name),
        "method": zone.method.value,
        "sheet_mm": zone.sheet_mm,
        "area_mm2": _number(zone.area_mm2),
        "area_range_mm2": _range(zone.area_range_mm2),
        "marked_mm2": _number(float(zone.metal.area)),
        "seam_mm": _number(zone.seam_mm),
        "seam_range_mm": _range(zone.seam_range_mm),
        "lap_mm": _number(zone.plug_mm),
        "lap_range_mm": _range(zone.plug_range_mm),
        "plugs": zone.plugs,
        "clean_mm2": _number(zone.clean_mm2),
        "kept_patches": [str(mark) for mark in zone.kept_patches],
        "sheet_mm2": _number(zone.sheet_mm2),
        "hours": _range(zone.hours),
        "cost": _range(zone.cost),
        "whole_zone_cost": _range(zone.whole_cost) if zone.whole_cost else None,
        "whole_zone_is_cheaper": zone.is_whole_cheaper,
        "seen_share": _number(zone.seen_share),
        "notes": [str(note) for note in zone.notes],
        "references": names,
        "pieces": [_piece(piece) for piece in zone.pieces],
        "corners": [
            {
                "piece": corner.piece,
                "number": corner.number,
                "from": corner.first.label,
                "right_mm": _number(corner.right_mm),
                "up_mm": _number(corner.up_mm),
                "tapes_mm": {
                    corner.first.label: _number(corner.tape_first_mm),
                    corner.second.label: _number(corner.tape_second_mm),
                },
            }
            for corner in (drawing.corners if drawing else ())
        ],
    }


def _piece(piece: Piece) -> Document:
    return {
        "label": piece.label,
        "panel": str(piece.panel),
        "outline_mm": np.asarray(piece.outline.exterior.coords)[:-1].round(DECIMALS).tolist(),
        "area_mm2": _number(piece.area_mm2),
        "perimeter_mm": _number(piece.perimeter_mm),
        "blank_mm": [_number(side) for side in piece.blank_mm],
        "edges": [
            {
                "meets": edge.kind.value,
                "joint": edge.joint.value,
                "from_mm": edge.from_mm.round(DECIMALS).tolist(),
                "to_mm": edge.to_mm.round(DECIMALS).tolist(),
                "neighbour": str(edge.neighbour),
                "counted": edge.shared,
            }
            for edge in piece.edges
        ],
        "marks": [str(mark) for mark in piece.marks],
        "near_mountings": [{"mounting": str(n), "distance_mm": _number(d)} for n, d in piece.near_mountings],
        "crosses": [str(name) for name in piece.crosses],
    }


def _sheet(need: SheetNeed) -> Document:
    return {
        "thickness_mm": need.thickness_mm,
        "pieces": need.pieces,
        "net_mm2": _number(need.net_mm2),
        "bought_mm2": _number(need.bought_mm2),
        "waste_share": _number(need.waste_share),
        "sheets": need.sheets,
        "oversize": need.oversize,
        "cost": _range(need.cost),
    }


def _range(ends: Range) -> Document:
    return {"low": _number(ends.low), "high": _number(ends.high)}


def _number(value: float) -> float:
    return round(float(value), DECIMALS)
