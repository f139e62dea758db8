"""``corromap demo``: the demo survey from photos to report, beside the truth."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from corromap.cli_outcome import print_outcome
from corromap.cli_progress import progress_bar
from corromap.cli_tables import CLI_AUTHOR, write_report_of, zone_table
from corromap.errors import OutputError, PhotoError
from corromap.evaluation import Evaluation
from corromap.io.interchange import import_folder
from corromap.io.package_data import data_path
from corromap.io.photo_quality import ExaminedPhoto, examine_photo, keep_examined
from corromap.io.survey_file import SurveyFile
from corromap.survey import MarkKind

__all__ = ["run_demo", "truth_table"]

SURVEY_NAME, REPORT_NAME = "demo.corromap", "demo-report.html"
KINDS = (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)
MM2_PER_CM2 = 100.0


def run_demo(folder: Path, console: Console) -> None:
    """Build the demo survey, print what it comes to, write the report.

    Parameters
    ----------
    folder : Path
        Where survey and report go; an earlier demo there is replaced.
    console : rich.console.Console
        Where to print.

    Raises
    ------
    OutputError
        If the folder cannot be written to.
    """
    survey, page = folder / SURVEY_NAME, folder / REPORT_NAME
    source = data_path("demo_images")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        survey.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(
            f"'{folder}' cannot be written to: {error.strerror or error}; choose another --into"
        ) from error
    with progress_bar() as bar:
        taking = bar.add_task("taking in photos", total=None)
        take_in(source, survey, lambda done, total: bar.update(taking, completed=done, total=total))
        writing = bar.add_task("writing the report", total=None)
        evaluation = write_report_of(
            survey,
            page,
            datetime.now(UTC),
            lambda done, total: bar.update(writing, completed=done, total=total),
        )
    console.print(zone_table(evaluation))
    console.print()
    console.print(truth_table(evaluation, read_truth(source / "truth.json")))
    console.print()
    print_outcome(evaluation, console)
    console.print()
    console.print(f"Report: {escape(str(page))}")
    console.print(f"Open it in the app: corromap app {escape(str(survey))}")


def take_in(source: Path, survey: Path, progress: Callable[[int, int], None]) -> None:
    """Import the demo's folder while two threads examine its photos.

    Examining is most of the work and leaves the interpreter free, so that two
    cores are busy; what was found is kept in the file, as on every arrival.

    Parameters
    ----------
    source : Path
        The interchange folder.
    survey : Path
        The survey file to be.
    progress : callable
        Called with photos taken in and photos in all.

    Raises
    ------
    InputError
        If the folder cannot be imported.
    """
    with ThreadPoolExecutor(max_workers=2) as pool:
        pending = [pool.submit(_examined, photo) for photo in sorted((source / "photos").iterdir())]
        try:
            import_folder(source, survey, author=CLI_AUTHOR, progress=progress)
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
        found = [one for one in (job.result() for job in pending) if one is not None]
    file = SurveyFile.open(survey, author=CLI_AUTHOR)
    for one in found:
        keep_examined(file, one)


def _examined(path: Path) -> ExaminedPhoto | None:
    with suppress(PhotoError):  # one that cannot be decoded is told of where it is used
        return examine_photo(path.read_bytes(), path.name)
    return None


def read_truth(path: Path) -> Mapping[str, Mapping[str, float]]:
    """Read the demo's truth: area by zone and kind.

    Parameters
    ----------
    path : Path
        ``truth.json`` beside the demo photos.

    Returns
    -------
    mapping of str to mapping of str to float
        mm2 by zone id and kind.
    """
    zones: dict[str, dict[str, float]] = json.loads(path.read_text(encoding="utf-8"))["zones"]
    return zones


def truth_table(evaluation: Evaluation, truth: Mapping[str, Mapping[str, float]]) -> Table:
    """Set measured areas beside the true ones.

    Parameters
    ----------
    evaluation : Evaluation
        Of the demo survey, whose sightings and marks were made by looking.
    truth : mapping
        From `read_truth`.

    Returns
    -------
    rich.table.Table
        One row for each zone and kind that is there or was marked. The truth
        counts what no photo shows, too: the marks are a lower bound.
    """
    table = Table(title="Beside the truth of the rendered scene (cm²)", title_justify="left")
    table.add_column("zone", overflow="fold")
    for heading in ("kind", "marked", "95 % interval", "truth", "shown"):
        table.add_column(heading, justify="right")
    for measure in evaluation.measures.zones:
        for kind in KINDS:
            figure, true = measure.kinds[kind], truth.get(measure.zone, {}).get(kind.value, 0.0)
            if not figure.area_mm2 and true < MM2_PER_CM2:
                continue
            low, value, high, real = (
                v / MM2_PER_CM2 for v in (figure.low_mm2, figure.likely_mm2, figure.high_mm2, true)
            )
            name = evaluation.template.zone_by_id[measure.zone].name
            shown = f"{100 * measure.seen_share:.0f} %"
            table.add_row(escape(name), kind.value, f"{value:.1f}", f"{low:.1f} to {high:.1f}", f"{real:.1f}", shown)
    return table
