"""What the command line does with the repair plan: print, JSON, drawings, the welder's sheet."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import click
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from corromap.cli_tables import CLI_AUTHOR
from corromap.errors import OutputError
from corromap.evaluation import Evaluation, repair_plan
from corromap.exports.output import write_file
from corromap.exports.plan import drawings_of
from corromap.io.opened import evaluated
from corromap.io.rates import default_rates, load_rates, rates_from
from corromap.repair import Rates, RepairPlan
from corromap.report.language import language_of, speaking
from corromap.report.repair_document import repair_document
from corromap.report.repair_view import RepairView, ZoneRepairRow, repair_view
from corromap.report.welder_sheet import welder_pdf

__all__ = ["Planned", "plan_file", "print_plan", "write_drawings", "write_sheet"]


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """A survey's plan with what it was made from.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    rates : Rates
        In force.
    plan : RepairPlan
        The plan.
    """

    evaluation: Evaluation
    rates: Rates
    plan: RepairPlan


def plan_file(survey: Path, rates_file: Path | None, *, keep: bool = False) -> Planned:
    """Open a survey and plan its repair.

    Parameters
    ----------
    survey : Path
        The survey file.
    rates_file : Path or None
        Rates to use; None takes the survey's own, or the usual ones.
    keep : bool
        Store the rates of the file in the survey.

    Returns
    -------
    Planned
        The plan.

    Raises
    ------
    RatesError
        If the rates cannot be used.
    SurveyFileError
        If the survey cannot be opened.
    """
    rates = load_rates(rates_file) if rates_file is not None else None
    file, evaluation = evaluated(survey, CLI_AUTHOR)
    if rates is not None and keep:
        file.set_rates(rates.to_document())
    rates = rates or rates_from(file.load().rates_document)
    return Planned(evaluation, rates, repair_plan(evaluation, rates))


def print_plan(made: Planned, console: Console, *, as_json: bool) -> None:
    """Print a plan.

    Parameters
    ----------
    made : Planned
        The plan.
    console : Console
        For tables.
    as_json : bool
        Print JSON with stable keys instead.
    """
    if as_json:
        document = repair_document(made.evaluation, made.plan, made.rates)
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return
    with speaking(language_of(made.evaluation.survey.settings)):
        _print(repair_view(made.evaluation, made.plan, made.rates, default_rates(), with_drawings=False), console)


def _print(view: RepairView, console: Console) -> None:
    table = Table(title="Repair plan (a lower bound)", title_justify="left", box=SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("zone: what is done", overflow="fold", ratio=1)
    for heading in ("sheet", "seam, plugs", "hours", "cost"):
        table.add_column(heading, justify="right", no_wrap=True)
    for row in view.zones:
        table.add_row(*(escape(cell) for cell in _plan_cells(row)))
    if view.zones:
        console.print(table)
    for label, value in view.totals:
        console.print(f"{label}: {value}", markup=False)
    for need in view.sheet:
        line = f"Sheet {need.thickness}: {need.bought} to buy, {need.waste} waste, {need.cost}"
        console.print(line, markup=False)
    for step in view.steps:
        console.print(f"{step.number}. {step.title}: {step.text}", markup=False)
    for note in (*view.notes, *filter(None, [view.currency_note])):
        console.print(f"Note: {note}", markup=False)
    console.print(f"Rates: {'; '.join((view.rates_name, *view.departures))}", markup=False)
    for title, text, _ in view.cautions:
        console.print(f"Caution, {title}: {text}", markup=False)


def _plan_cells(row: ZoneRepairRow) -> tuple[str, ...]:
    """Two or three lines a zone: nine columns side by side cannot be read in a terminal."""
    pieces = ", ".join(f"{piece.label} {piece.size}" for piece in row.pieces)
    whole = f"whole zone {row.whole}{' (cheaper)' if row.is_whole_cheaper else ''}" if row.whole else ""
    done = ": ".join(filter(None, [row.method, pieces]))
    weld = ", ".join(filter(None, [row.seam, row.plugs]))
    lines = [f"{row.number} {row.name}", f"  {done}", f"  {whole}"]
    return "\n".join(line for line in lines if line.strip()), row.area, weld, row.hours, row.cost


def write_drawings(made: Planned, folder: Path, suffix: str) -> int:
    """Write one drawing for each zone that is cut, in millimetres.

    Parameters
    ----------
    made : Planned
        The plan.
    folder : Path
        Made if it is not there.
    suffix : str
        ``dxf`` or ``svg``.

    Returns
    -------
    int
        How many were written.

    Raises
    ------
    OutputError
        If the folder or a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"folder '{folder}' cannot be made: {error.strerror or error}; choose another") from error
    written = 0
    for name, data in drawings_of(made.evaluation, made.plan, made.rates, suffix):
        write_file(folder / name, data)
        written += 1
    return written


def write_sheet(made: Planned, target: Path, now: datetime, paper: str) -> None:
    """Write the welder's sheet.

    Parameters
    ----------
    made : Planned
        The plan.
    target : Path
        The PDF.
    now : datetime
        As printed.
    paper : str
        ``A4`` or ``Letter``; empty for the survey's own.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    printed = now.isoformat(sep=" ", timespec="minutes")
    write_file(target, welder_pdf(made.evaluation, made.plan, made.rates, made_at=printed, paper=paper))
