"""An evaluation as plain data for other programs: ``--json``.

The keys are stable: a key may be added, none is renamed or removed without a
new ``version``. ``evaluation.schema.json`` beside this module and
``docs/conventions/evaluation-json.md`` describe them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib import resources

from corromap.assessment import ADVICE, RuleResult
from corromap.by_hand import SettledView
from corromap.evaluation import Evaluation
from corromap.evidence.settling import settled_views
from corromap.frames import MarkId, PanelId, PhotoId
from corromap.io.rules import default_rules
from corromap.io.survey_codec import car_document, settings_document
from corromap.measures import Figure, GroupMeasure, ZoneMeasure
from corromap.projection import MarkFate, ProjectedMark
from corromap.registration import Registration, RegistrationFailure
from corromap.report.control_words import body_fit_document, scales_document
from corromap.report.digests import digests_of
from corromap.report.structure_document import rusting_document, structure_document, what_if_document
from corromap.survey import Mark

__all__ = ["DOCUMENT_VERSION", "Document", "evaluation_document", "evaluation_schema"]

DOCUMENT_VERSION = 1
Document = dict[str, object]


def evaluation_schema() -> Document:
    """Read the JSON Schema (draft 2020-12) of `evaluation_document`.

    Returns
    -------
    dict
        The schema.
    """
    text = resources.files("corromap.report").joinpath("evaluation.schema.json").read_text(encoding="utf-8")
    schema: Document = json.loads(text)
    return schema


def evaluation_document(evaluation: Evaluation) -> Document:
    """Write an evaluation as plain data.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    dict
        What ``json.dumps`` takes as it is; every number is finite. Areas in
        mm2, lengths in mm, shares 0 to 1.
    """
    digests, template, rules = digests_of(evaluation), evaluation.template, evaluation.rules
    survey = evaluation.survey
    return {
        "document": "corromap evaluation",
        "version": DOCUMENT_VERSION,
        "program_version": evaluation.program_version,
        "survey": {
            "id": survey.id,
            "sha256": digests.survey,
            "car": car_document(survey.car),
            "settings": settings_document(survey.settings),
            "photo_count": len(survey.photos),
            "mark_count": len(survey.measured_marks),
        },
        "template": {
            "id": template.id,
            "name": template.name,
            "revision": template.revision,
            "sha256": digests.template,
        },
        "rules": {
            "id": rules.id,
            "name": rules.name,
            "version": rules.version,
            "sha256": digests.rules,
            "departures": list(rules.departures_from(default_rules())),
        },
        "outcome": _outcome(evaluation),
        "zones": [_zone(evaluation, zone) for zone in evaluation.measures.zones],
        "groups": [_group(group) for group in evaluation.measures.groups],
        "near_mountings": _near_mountings(evaluation),
        "placements": [_placement(photo, panel, result) for (photo, panel), result in evaluation.registrations.items()],
        "marks": _marks(evaluation),
        "structure": structure_document(evaluation),
        "body_fit": body_fit_document(evaluation),
        "scales": scales_document(evaluation),
        "rule_results": [_rule_result(result) for result in evaluation.assessment.results],
    }


def _outcome(evaluation: Evaluation) -> Document:
    outcome = evaluation.assessment.outcome
    return {
        "kind": outcome.kind.value,
        "headline": outcome.headline,
        "reasons": [_rule_result(result) for result in outcome.reasons],
        "uncertain": [_rule_result(result) for result in outcome.uncertain],
        "unseen_zones": list(outcome.unseen_zones),
        "advice": list(ADVICE[outcome.kind]),
        "what_would_change": what_if_document(evaluation),
    }


def _rule_result(result: RuleResult) -> Document:
    rule, reading = result.rule, result.reading
    return {
        "rule": rule.id,
        "family": rule.family,
        "title": rule.title,
        "zone": result.zone,
        "place": result.zone_name,
        "unit": rule.unit.value,
        "value": _rounded(reading.value),
        "low": _rounded(reading.low),
        "high": _rounded(reading.high),
        "limit": rule.at_least,
        "margin": _rounded(result.margin),
        "verdict": result.verdict.value,
        "doubt": result.doubt.value if result.doubt else None,
        "seen_well_share": _rounded(reading.seen_well),
        "reached": result.is_reached,
        "outcome": rule.outcome.value,
        "house_rule": rule.house_rule,
        "source": rule.source,
        "sentence": result.sentence,
        "marks": list(result.marks),
        "findings": list(reading.findings),
        "checks": list(reading.checks),
    }


def _zone(evaluation: Evaluation, measure: ZoneMeasure) -> Document:
    zone = evaluation.template.zone_by_id[measure.zone]
    head: Document = {
        "id": zone.id,
        "name": zone.name,
        "panel": zone.panel,
        "role": zone.role.value,
        "sheet_mm": zone.sheet_mm,
    }
    return head | _found(measure)


def _group(measure: GroupMeasure) -> Document:
    head: Document = {"id": measure.id, "name": measure.name, "zones": list(measure.zones)}
    return head | _found(measure)


def _found(measure: ZoneMeasure | GroupMeasure) -> Document:
    return {
        "area_mm2": _rounded(measure.area_mm2),
        "affected": _figure(measure.affected),
        "kinds": {kind.value: _figure(figure) for kind, figure in measure.kinds.items()},
        "stages": {stage.value: _figure(figure) for stage, figure in measure.stages.items()},
        "resolved": {kind.value: _figure(figure) for kind, figure in measure.resolved.items()},
        "rusting": rusting_document(measure),
        "patch_on_patch": measure.patch_on_patch,
        "seen_share": _rounded(measure.seen_share),
        "well_share": _rounded(measure.well_share),
        "hidden_share": _rounded(measure.hidden_share),
        "never_seen_share": _rounded(measure.never_seen_share),
    }


def _figure(figure: Figure) -> Document:
    return {
        "area_mm2": _rounded(figure.area_mm2),
        "likely_mm2": _rounded(figure.likely_mm2),
        "sigma_mm2": _rounded(figure.sigma_mm2),
        "low_mm2": _rounded(figure.low_mm2),
        "high_mm2": _rounded(figure.high_mm2),
        "share": _rounded(figure.share),
        "likely_share": _rounded(figure.likely_share),
        "low_share": _rounded(figure.low_share),
        "high_share": _rounded(figure.high_share),
        "pieces": figure.pieces,
        "separate": figure.separate,
        "perimeter_mm": _rounded(figure.perimeter_mm),
        "marks": list(figure.marks),
    }


def _near_mountings(evaluation: Evaluation) -> list[Document]:
    kinds = {mounting.id: mounting.kind.value for _, mounting in evaluation.template.mountings}
    return [
        {
            "mounting": near.mounting,
            "mounting_kind": kinds[near.mounting],
            "mark": near.mark,
            "kind": near.kind.value,
            "stage": near.stage.value if near.stage else None,
            "distance_mm": _rounded(near.distance_mm),
            "within_300_mm": near.is_within_prescribed,
        }
        for near in evaluation.measures.near_mountings
    ]


def _placement(photo: PhotoId, panel: PanelId, result: Registration | RegistrationFailure) -> Document:
    head: Document = {"photo": photo, "panel": panel, "placed": isinstance(result, Registration)}
    if isinstance(result, Registration):
        return head | {
            "datum_points": list(result.datum_ids),
            "rms_px": _rounded(result.rms_px),
            "rms_mm": _rounded(result.rms_mm),
            "sigma_px": _rounded(result.sigma_px),
            "method": result.method,
            "warnings": list(result.warnings),
        }
    return head | {"reason": result.reason.value, "message": result.message, "suspects": list(result.suspects)}


def _marks(evaluation: Evaluation) -> list[Document]:
    placed: dict[MarkId, list[ProjectedMark]] = {mark.id: [] for mark in evaluation.survey.measured_marks}
    for projected in (*evaluation.projection.marks, *evaluation.projection.withdrawn):
        placed[projected.mark.id].append(projected)
    fates: Mapping[MarkId, MarkFate] = {fate.mark: fate for fate in evaluation.projection.fates}
    views = settled_views(evaluation.survey)
    return [
        _mark(mark, placed[mark.id], fates[mark.id], views.get(mark.id)) for mark in evaluation.survey.measured_marks
    ]


def _mark(mark: Mark, placed: Sequence[ProjectedMark], fate: MarkFate, settled: SettledView | None) -> Document:
    return {
        "id": mark.id,
        "photo": mark.photo,
        "kind": mark.kind.value,
        "stage": mark.stage.value if mark.stage else None,
        "fixing": mark.fixing.value if mark.fixing else None,
        "note": mark.note,
        "placed_share": _rounded(fate.placed_share),
        "lost_horizon_share": _rounded(fate.lost_horizon_share),
        "lost_edge_share": _rounded(fate.lost_edge_share),
        "lost_frame_share": _rounded(fate.lost_frame_share),
        "message": fate.message,
        "settled": settled.value if settled else None,
        "panels": [
            {
                "panel": p.panel,
                "area_mm2": _rounded(p.area.area),
                "extrapolated_share": _rounded(p.extrapolated_share),
            }
            for p in placed
        ],
    }


def _rounded(value: float) -> float:
    """Round to six decimals: below any meaning, and equal on every machine."""
    return round(float(value), 6) + 0.0
