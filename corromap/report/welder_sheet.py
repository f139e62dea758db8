"""The welder's sheet as a PDF: the plan, a drawing a zone, the same at true size on tiled pages."""

from __future__ import annotations

from dataclasses import asdict

from corromap.errors import InvalidValueError
from corromap.evaluation import Evaluation
from corromap.repair import Rates, RepairPlan
from corromap.report.language import language_of, speaking, tr
from corromap.report.moment import moment_of, moment_words
from corromap.report.pdf import words_of
from corromap.report.repair_view import repair_view
from corromap.report.typeset import FAMILIES, PAPERS, pdf_bytes
from corromap.report.welder_drawing import zone_drawing
from corromap.report.welder_tiles import Tile, tiles_of

__all__ = ["welder_pdf"]

TILE_TEXT_MM = 4.0


def welder_pdf(evaluation: Evaluation, plan: RepairPlan, rates: Rates, *, made_at: str, paper: str = "") -> bytes:
    """Make the welder's sheet.

    Parameters
    ----------
    evaluation : Evaluation
        What the plan was made from.
    plan : RepairPlan
        The plan.
    rates : Rates
        In force.
    made_at : str
        ISO 8601, printed in words and written into the file.
    paper : str
        ``A4`` or ``Letter``; empty for the survey's own.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    InvalidValueError
        If there is no such paper.
    OutputError
        If it cannot be set.
    """
    paper = paper or evaluation.survey.settings.paper
    if paper not in PAPERS:
        raise InvalidValueError(f"paper: expected one of {', '.join(PAPERS)}, found {paper!r:.40}")
    with speaking(language_of(evaluation.survey.settings)):
        view = repair_view(evaluation, plan, rates)
        files = {f"zone-{zone.number}.svg": zone.drawing for zone in view.zones if zone.drawing}
        tiles = _tiles(plan, evaluation, rates, paper)
        files |= {name: tile.svg for name, tile in tiles.items()}
        shown = asdict(view)
        for zone in shown["zones"]:
            zone["file"] = f"zone-{zone['number']}.svg" if zone.pop("drawing") else ""
        data = {
            "paper": PAPERS[paper],
            "fonts": FAMILIES,
            "language": evaluation.survey.settings.language,
            "words": {text: tr(text) for text in (*words_of("common.typ"), *words_of("welder.typ"))},
            "car": evaluation.survey.car.label or tr("Unnamed car"),
            "made": moment_words(made_at),
            "view": shown,
            "tiles": [
                {"file": name, "width": tile.width_mm, "height": tile.height_mm, "alt": _alt(name, tile)}
                for name, tile in tiles.items()
            ],
        }
    return pdf_bytes("welder.typ", data, files, made_at=moment_of(made_at))


def _tiles(plan: RepairPlan, evaluation: Evaluation, rates: Rates, paper: str) -> dict[str, Tile]:
    found = {}
    for zone in plan.zones:
        if zone.pieces:
            flange = rates.policy["flange"].value
            drawing = zone_drawing(zone, evaluation.template, flange_mm=flange, text_mm=TILE_TEXT_MM)
            for tile in tiles_of(drawing, paper):
                found[f"tile-{zone.number}-{tile.row}-{tile.column}.svg"] = tile
    return found


def _alt(name: str, tile: Tile) -> str:
    number = name.split("-")[1]
    return tr("Zone {number} at true size, page {row}.{column}", number=number, row=tile.row, column=tile.column)
