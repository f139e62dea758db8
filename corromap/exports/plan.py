"""The repair plan as files: JSON, the welder's sheet, one drawing a zone as DXF and SVG in millimetres."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from corromap.evaluation import Evaluation, repair_plan
from corromap.exports.output import made_folder, write_file
from corromap.repair import Rates, RepairPlan
from corromap.report.language import language_of, speaking
from corromap.report.repair_document import repair_document
from corromap.report.welder_drawing import zone_drawing
from corromap.report.welder_dxf import drawing_dxf
from corromap.report.welder_sheet import welder_pdf
from corromap.report.welder_svg import drawing_svg

__all__ = ["drawings_of", "write_plan"]


def drawings_of(evaluation: Evaluation, plan: RepairPlan, rates: Rates, suffix: str) -> Iterator[tuple[str, bytes]]:
    """Draw each zone that is cut.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    plan : RepairPlan
        Its plan.
    rates : Rates
        In force.
    suffix : str
        ``dxf`` or ``svg``.

    Yields
    ------
    tuple of (str, bytes)
        File name and content.
    """
    flange = rates.policy["flange"].value
    with speaking(language_of(evaluation.survey.settings)):
        for zone in plan.zones:
            if zone.pieces:
                drawing = zone_drawing(zone, evaluation.template, flange_mm=flange)
                text = drawing_dxf(drawing) if suffix == "dxf" else drawing_svg(drawing)
                yield f"{zone.number:02}-{zone.zone}.{suffix}", text.encode("utf-8")


def write_plan(evaluation: Evaluation, rates: Rates, folder: Path, made_at: str) -> None:
    """Write everything of the plan into a folder.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    rates : Rates
        In force.
    folder : Path
        Made when it is not there.
    made_at : str
        As printed.

    Raises
    ------
    OutputError
        If the folder or a file cannot be written.
    """
    plan = repair_plan(evaluation, rates)
    made_folder(folder)
    document = json.dumps(repair_document(evaluation, plan, rates), ensure_ascii=False, indent=2)
    write_file(folder / "repair-plan.json", document.encode("utf-8", "backslashreplace"))
    write_file(folder / "welders-sheet.pdf", welder_pdf(evaluation, plan, rates, made_at=made_at))
    for suffix in ("dxf", "svg"):
        for name, data in drawings_of(evaluation, plan, rates, suffix):
            write_file(folder / name, data)
