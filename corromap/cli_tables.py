"""What the command line prints: zone table, JSON, faults."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import click
from rich.box import SIMPLE_HEAD
from rich.markup import escape
from rich.table import Table

from corromap.errors import CorromapError, InterchangeError, TemplateError
from corromap.evaluation import Evaluation
from corromap.frames import PhotoId
from corromap.io.opened import evaluated
from corromap.io.rates import holds_rates, load_rates, rates_from
from corromap.io.rules import load_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import check_template, load_template, read_document, template_notes
from corromap.measures import Figure, ZoneMeasure
from corromap.report.document import evaluation_document
from corromap.report.view import Length
from corromap.report.writing import write_report
from corromap.survey import MarkKind
from corromap.template import Role

__all__ = [
    "CLI_AUTHOR",
    "evaluate_file",
    "faults_of",
    "notes_of",
    "print_json",
    "write_report_of",
    "zone_table",
]

MM2_PER_CM2 = 100.0
CLI_AUTHOR = "command line"


def evaluate_file(path: Path) -> Evaluation:
    """Open a survey file and evaluate it.

    Parameters
    ----------
    path : Path
        The survey file.

    Returns
    -------
    Evaluation
        Of what is stored.

    Raises
    ------
    SurveyFileError
        If it cannot be opened.
    """
    return evaluated(path, CLI_AUTHOR)[1]


def zone_table(evaluation: Evaluation, *, every: bool = False) -> Table:
    """Lay out the zone measures.

    Parameters
    ----------
    evaluation : Evaluation
        What to show.
    every : bool
        Also zones without marks.

    Returns
    -------
    rich.table.Table
        Load-bearing zones carry a star.
    """
    title = "Zones: cm² with 95 % interval; coverage in % of the zone: shown (well enough to find a hole)"
    table = Table(title=title, title_justify="left", box=SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("zone (* load-bearing)", overflow="fold", min_width=14)
    for heading in ("rust", "filler", "patch", "affected", "shown", "hidden", "never"):
        table.add_column(heading, justify="right")
    for measure in evaluation.measures.zones:
        if every or measure.affected.area_mm2 > 0 or measure.hidden_share > 0:
            table.add_row(*_row(evaluation, measure))
    return table


def _row(evaluation: Evaluation, measure: ZoneMeasure) -> tuple[str, ...]:
    zone = evaluation.template.zone_by_id[measure.zone]
    star = " *" if zone.role is Role.PRIMARY else ""
    patches, affected = measure.kinds[MarkKind.PATCH].separate, measure.affected.likely_share
    return (
        escape(zone.name) + star,
        *(_area(measure.kinds[kind]) for kind in (MarkKind.RUST, MarkKind.FILLER)),
        _area(measure.kinds[MarkKind.PATCH]) + (f"\n{patches} patch{'es' if patches > 1 else ''}" if patches else ""),
        _area(measure.affected) + (f"\n{100 * affected:.1f} %" if affected else ""),
        f"{100 * measure.seen_share:.0f} ({100 * measure.well_share:.0f})",
        f"{100 * measure.hidden_share:.0f}",
        f"{100 * measure.never_seen_share:.0f}",
    )


def _area(figure: Figure) -> str:
    if not figure.area_mm2:
        return "-"
    low, value, high = (v / MM2_PER_CM2 for v in (figure.low_mm2, figure.likely_mm2, figure.high_mm2))
    digits = 0 if value >= 10 else 1
    return f"{value:.{digits}f}\n{low:.{digits}f}-{high:.{digits}f}"


def print_json(evaluation: Evaluation) -> None:
    """Print the evaluation document on stdout.

    Parameters
    ----------
    evaluation : Evaluation
        What to print; see ``docs/conventions/evaluation-json.md``.
    """
    click.echo(json.dumps(evaluation_document(evaluation), indent=2, allow_nan=False))


def write_report_of(  # noqa: PLR0913  what a report is made from; three by keyword
    path: Path,
    target: Path,
    made_at: datetime,
    progress: Callable[[int, int], None],
    *,
    length: str = "full",
    paper: str = "",
    language: str = "",
) -> Evaluation:
    """Evaluate a survey file and write its report.

    Parameters
    ----------
    path : Path
        The survey file.
    target : Path
        The page (``.html``) or the PDF (``.pdf``) to write.
    made_at : datetime
        Printed on the report.
    progress : callable
        Called with photos done and photos in all.
    length, paper, language : str
        As `corromap.report.writing.write_report`; empty for the survey's own.

    Returns
    -------
    Evaluation
        What the report shows.

    Raises
    ------
    SurveyFileError
        If the survey cannot be opened.
    OutputError
        If it cannot be written; an older one stays as it was.
    """
    file, evaluation = evaluated(path, CLI_AUTHOR)
    total, done = len(evaluation.survey.photos), 0

    def photo_bytes(photo: PhotoId) -> bytes:
        nonlocal done
        done += 1
        progress(min(done, total), total)
        return file.photo_bytes(photo)

    write_report(
        evaluation,
        photo_bytes,
        target,
        made_at=made_at.isoformat(timespec="seconds"),
        length=Length(length),
        paper=paper,
        language=language,
        rates=rates_from(file.load().rates_document),
    )
    return evaluation


def faults_of(path: Path) -> tuple[str, ...]:
    """Name every fault of a template, rule file, rates file, survey file or interchange folder.

    Parameters
    ----------
    path : Path
        By suffix: ``.json`` a template, ``.toml`` a rule file or rates, a
        folder an interchange folder, anything else a survey file.

    Returns
    -------
    tuple of str
        Empty if nothing is wrong.
    """
    try:
        return _faults(path)
    except TemplateError as error:
        return error.faults or (str(error),)
    except CorromapError as error:
        return (str(error),)


def notes_of(path: Path) -> tuple[str, ...]:
    """Say what is allowed in a template but worth knowing.

    Parameters
    ----------
    path : Path
        A template without faults; anything else has no notes.

    Returns
    -------
    tuple of str
        One sentence a note.
    """
    return template_notes(load_template(path)) if path.suffix == ".json" and path.is_file() else ()


def _faults(path: Path) -> tuple[str, ...]:
    if path.is_dir():
        from corromap.io.interchange import read_folder  # noqa: PLC0415

        read_folder(path)
        return ()
    if not path.exists():
        raise InterchangeError(f"'{path}' does not exist")
    if path.suffix == ".json":
        return check_template(read_document(path))
    if path.suffix == ".toml":
        (load_rates if holds_rates(path) else load_rules)(path)
        return ()
    return SurveyFile.open(path, author=CLI_AUTHOR).check()
