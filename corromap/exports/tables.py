"""Zones, groups, marks, rules and photos as tables for a spreadsheet: CSV and XLSX.

Numbers are plain numbers in mm, mm2 and shares of 1, with the unit in the
heading. Texts that somebody typed stay texts: a spreadsheet takes one that
begins with ``=``, ``+``, ``-`` or ``@`` for a formula, so in CSV an apostrophe
is put before it (common practice) and in XLSX the cell is written as a string.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import xlsxwriter
from xlsxwriter.exceptions import XlsxWriterException

from corromap.errors import OutputError
from corromap.evaluation import Evaluation
from corromap.exports.output import made_folder, replaced_file, write_file
from corromap.frames import PanelId
from corromap.measures import GroupMeasure, ZoneMeasure
from corromap.projection import ProjectedMark
from corromap.report.findings import mark_numbers
from corromap.survey import MarkKind

__all__ = ["Table", "csv_text", "tables_of", "write_csv_folder", "write_xlsx"]

Cell = str | float | int | None

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_LONGEST_CELL = 32_767
"""Most characters of a cell in XLSX (ECMA-376 leaves it open; the limit of the programs that read it, from memory)."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of plain values.

    Parameters
    ----------
    name : str
        Of the file or the sheet.
    columns : tuple of str
        Headings, with units.
    rows : tuple of tuple
        Texts, numbers, or None for nothing.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def tables_of(evaluation: Evaluation) -> tuple[Table, ...]:
    """Set out an evaluation as tables.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of Table
        zones, groups, marks, rules, photos.
    """
    return tuple(make(evaluation) for make in (_zones, _groups, _marks, _rules, _photos))


def csv_text(table: Table) -> str:
    """Table as CSV (RFC 4180), every field quoted, UTF-8 with a byte order mark when written.

    Parameters
    ----------
    table : Table
        The table.

    Returns
    -------
    str
        Lines end in CR LF.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow([_defused(cell) for cell in row])
    return stream.getvalue()


def _defused(cell: Cell) -> Cell:
    if isinstance(cell, str):
        whole = cell.replace("\0", "\ufffd")
        return f"'{whole}" if whole.startswith(_FORMULA_STARTS) else whole
    return "" if cell is None else cell


def write_csv_folder(evaluation: Evaluation, folder: Path) -> tuple[Path, ...]:
    """Write each table as a CSV file of its name.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    folder : Path
        Made when it is not there.

    Returns
    -------
    tuple of Path
        What was written.

    Raises
    ------
    OutputError
        If the folder or a file cannot be written.
    """
    made_folder(folder)
    written = []
    for table in tables_of(evaluation):
        target = folder / f"{table.name}.csv"
        write_file(target, csv_text(table).encode("utf-8-sig", "backslashreplace"))
        written.append(target)
    return tuple(written)


def write_xlsx(evaluation: Evaluation, target: Path) -> None:
    """Write the tables as one workbook, a sheet each.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    target : Path
        Ends in ``.xlsx``.

    Raises
    ------
    OutputError
        If the name ends otherwise or it cannot be written; an older file is
        untouched.
    """
    if target.suffix.lower() != ".xlsx":
        raise OutputError(f"'{target.name}': give the workbook a name that ends in .xlsx")
    with replaced_file(target) as fresh:
        try:
            with xlsxwriter.Workbook(
                str(fresh), {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
            ) as book:
                for table in tables_of(evaluation):
                    _sheet(book, table)
        except XlsxWriterException as error:
            raise OutputError(f"'{target.name}' could not be written: {error}") from error


def _sheet(book: xlsxwriter.Workbook, table: Table) -> None:
    sheet = book.add_worksheet(table.name)
    heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    sheet.freeze_panes(1, 1)
    for column, title in enumerate(table.columns):
        sheet.write_string(0, column, title, heading)
        sheet.set_column(column, column, max(10, min(36, len(title))))
    for number, row in enumerate(table.rows, start=1):
        for column, cell in enumerate(row):
            if isinstance(cell, str):
                sheet.write_string(number, column, _printable(cell))
            elif cell is not None:
                sheet.write_number(number, column, cell)


def _printable(text: str) -> str:
    """Text without what XML 1.0 cannot hold, at a length a cell takes."""
    kept = "".join(c if c in "\t\n" or (c >= " " and not 0xD800 <= ord(c) <= 0xDFFF) else "\ufffd" for c in text)
    return kept if len(kept) <= _LONGEST_CELL else kept[: _LONGEST_CELL - 1] + "\u2026"


_FIGURES = ("area mm2", "low mm2", "high mm2", "share", "low share", "high share")


def _figure_columns() -> Iterator[str]:
    yield from (f"affected {name}" for name in _FIGURES)
    for kind in MarkKind:
        if kind.is_affected:
            yield from (f"{kind.value} {name}" for name in _FIGURES)
    yield from ("rust holed mm2", "rust scaled mm2", "rust surface mm2")
    yield from ("separate patches", "patch on patch")
    yield from ("seen share", "seen well share", "hidden share", "never seen share")


def _figure_cells(measure: ZoneMeasure | GroupMeasure) -> Iterator[Cell]:
    kinds = [measure.kinds[kind] for kind in MarkKind if kind.is_affected]
    for found in (measure.affected, *kinds):
        yield from (found.area_mm2, found.low_mm2, found.high_mm2, found.share, found.low_share, found.high_share)
    stages = {stage.value: found.area_mm2 for stage, found in measure.stages.items()}
    yield from (stages["holed"], stages["scaled"], stages["surface"])
    yield from (measure.kinds[MarkKind.PATCH].separate, measure.patch_on_patch)
    yield from (measure.seen_share, measure.well_share, measure.hidden_share, measure.never_seen_share)


def _zones(evaluation: Evaluation) -> Table:
    found = {measure.zone: measure for measure in evaluation.measures.zones}
    rows = []
    for panel in evaluation.template.panels:
        for zone in panel.zones:
            measure = found[zone.id]
            head = (str(zone.id), zone.name, panel.name, zone.role.value, zone.sheet_mm, measure.area_mm2)
            rows.append((*head, *_figure_cells(measure)))
    head_columns = ("zone", "name", "panel", "role", "nominal sheet mm", "zone area mm2")
    return Table("zones", (*head_columns, *_figure_columns()), tuple(rows))


def _groups(evaluation: Evaluation) -> Table:
    rows = tuple((group.id, group.name, *_figure_cells(group)) for group in evaluation.measures.groups)
    return Table("groups", ("group", "name", *_figure_columns()), rows)


def _marks(evaluation: Evaluation) -> Table:
    numbers, fates = mark_numbers(evaluation), {fate.mark: fate for fate in evaluation.projection.fates}
    photos = evaluation.survey.photo_by_id
    names: Mapping[PanelId, str] = {panel.id: panel.name for panel in evaluation.template.panels}
    placed: dict[str, list[ProjectedMark]] = {}
    for projected in evaluation.projection.marks:
        placed.setdefault(projected.mark.id, []).append(projected)
    rows = []
    for mark in evaluation.survey.measured_marks:
        on, fate = placed.get(mark.id, []), fates.get(mark.id)
        what = (mark.kind.value, mark.stage.value if mark.stage else None, mark.fixing.value if mark.fixing else None)
        where = (photos[mark.photo].name, "; ".join(names[p.panel] for p in on))
        area = sum(p.area.area for p in on) if on else None
        told = (fate.placed_share, fate.message) if fate else (None, "")
        rows.append((numbers[mark.id], str(mark.id), *what, *where, area, *told, mark.note))
    columns = (
        "number",
        "mark",
        "kind",
        "stage",
        "fixing",
        "photo",
        "panels",
        "area mm2",
        "placed share",
        "lost",
        "note",
    )
    return Table("marks", columns, tuple(rows))


def _rules(evaluation: Evaluation) -> Table:
    rows = tuple(
        (
            result.rule.id,
            result.rule.title,
            result.zone_name,
            result.reading.value,
            result.reading.low,
            result.reading.high,
            result.rule.at_least,
            result.rule.unit,
            result.margin,
            result.verdict.value,
            result.rule.outcome.value,
            result.rule.source,
        )
        for result in evaluation.assessment.results
    )
    columns = (
        "rule",
        "title",
        "place",
        "value",
        "low",
        "high",
        "limit",
        "unit",
        "margin",
        "verdict",
        "asks for",
        "source",
    )
    return Table("rules", columns, rows)


def _photos(evaluation: Evaluation) -> Table:
    rows = tuple(
        (photo.order, photo.name, photo.source, photo.taken_at, photo.width_px, photo.height_px, photo.sha256)
        for photo in evaluation.survey.photos
    )
    return Table("photos", ("order", "name", "whose", "taken at", "width px", "height px", "sha256"), rows)
