"""Command line. Exit codes: 0 done, 1 input that has to be mended, 2 wrong use, 3 a check found faults."""

from __future__ import annotations

import gc
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

import click
from rich.console import Console

from corromap import __version__
from corromap.cli_options import EXIT_FAULTS, InOrder, json_option, speaks, survey_argument
from corromap.cli_progress import progress_bar
from corromap.cli_record import RECORD_COMMANDS

__all__ = ["main"]

SUFFIX = ".corromap"


@click.group(cls=InOrder, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="corromap")
def main() -> None:
    """Rust, filler and patches on photos, carried to scale onto a body template."""
    # a command makes hundreds of thousands of objects that live to its end: they need not be looked through for garbage
    # again and again
    gc.set_threshold(50_000, 20, 20)


for _command in RECORD_COMMANDS:
    main.add_command(_command)


@main.command()
@click.option(
    "--into",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("corromap-demo"),
    show_default=True,
    help="Folder for the demo survey and its report.",
)
@speaks
def demo(folder: Path) -> None:
    """Build the demo survey from photos, print its zones and outcome beside the truth, write the report."""
    from corromap.cli_demo import run_demo  # noqa: PLC0415  # imports the heavy libraries

    run_demo(folder, _console())


@main.command()
@click.argument("survey", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option("--port", type=click.IntRange(1, 65535), help="Default: the first free one from 8501.")
@click.option("--browser/--no-browser", default=True, show_default=True, help="Open a browser window.")
@speaks
def app(survey: Path | None, *, port: int | None, browser: bool) -> None:
    """Open the app in the browser, on a survey if one is given."""
    from corromap.ui import launch  # noqa: PLC0415  # streamlit is slow to import

    sys.exit(launch(survey, port=port, open_browser=browser))


@main.command("import")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@survey_argument
@speaks
def import_(folder: Path, survey: Path) -> None:
    """Make a survey file from an interchange FOLDER (survey.json and its photos)."""
    from corromap.io.interchange import import_folder  # noqa: PLC0415

    with progress_bar() as bar:
        task = bar.add_task("photos", total=None)
        import_folder(
            folder,
            survey,
            author="command line",
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    click.echo(f"made {survey}")


@main.command("export")
@survey_argument
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--originals", is_flag=True, help="Photos as they are, with all their files say, and the log: no loss.")
@speaks
def export(survey: Path, folder: Path, *, originals: bool) -> None:
    """Write a survey as an interchange FOLDER; photos without metadata, faces and plates blurred as marked."""
    from corromap.exports.shared_survey import write_shared_folder  # noqa: PLC0415
    from corromap.io.interchange import export_folder  # noqa: PLC0415

    write = export_folder if originals else write_shared_folder
    with progress_bar() as bar:
        task = bar.add_task("photos", total=None)
        write(survey, folder, progress=lambda done, total: bar.update(task, completed=done, total=total))
    click.echo(f"wrote {folder}")


@main.command()
@survey_argument
@json_option
@click.option("--all", "every", is_flag=True, help="List zones without marks too.")
@speaks
def zones(survey: Path, *, as_json: bool, every: bool) -> None:
    """List the measures of each zone: area, 95 % interval, share, what was shown."""
    from corromap.cli_tables import evaluate_file, print_json, zone_table  # noqa: PLC0415

    evaluation = evaluate_file(survey)
    if as_json:
        print_json(evaluation)
    else:
        _console().print(zone_table(evaluation, every=every))


@main.command()
@survey_argument
@json_option
@click.option("--all", "every", is_flag=True, help="Each place that reaches a limit, not the first of each rule.")
@speaks
def outcome(survey: Path, *, as_json: bool, every: bool) -> None:
    """Print what the survey comes to, why, and how far the nearest limits are."""
    from corromap.cli_outcome import print_outcome  # noqa: PLC0415
    from corromap.cli_tables import evaluate_file, print_json  # noqa: PLC0415

    evaluation = evaluate_file(survey)
    if as_json:
        print_json(evaluation)
    else:
        print_outcome(evaluation, _console(), every=every)


@main.command()
@survey_argument
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option(
    "--length",
    type=click.Choice(["full", "one-page", "welder"]),
    default="full",
    show_default=True,
    help="Everything, the outcome on one page, or the welder's sheet.",
)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Of a PDF; default: the survey's.")
@click.option("--language", metavar="CODE", help="en or de; default: the survey's.")
@speaks
def report(survey: Path, out: Path | None, *, length: str, paper: str | None, language: str | None) -> None:
    """Write the report to OUT: a self-contained page (.html, default: beside the survey) or a tagged PDF (.pdf)."""
    from corromap.cli_tables import write_report_of  # noqa: PLC0415

    target = out or survey.with_suffix(".html")
    with progress_bar() as bar:
        task = bar.add_task("photos", total=None)
        write_report_of(
            survey,
            target,
            datetime.now(UTC),
            lambda done, total: bar.update(task, completed=done, total=total),
            length=length,
            paper=paper or "",
            language=language or "",
        )
    click.echo(f"wrote {target}")


@main.command()
@click.argument("survey", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option("--seller", is_flag=True, help="Worded as a polite message to a seller, to paste into an e-mail.")
@click.option("--body", metavar="TEMPLATE", help="Without a survey: the standard list for this body template.")
@click.option("--hole", type=click.FloatRange(0.1, 1000), help="Smallest hole to be seen, mm; default: the survey's.")
@click.option(
    "--page", type=click.Path(dir_okay=False, path_type=Path), help="Also write it as a page to print (HTML)."
)
@speaks
def ask(survey: Path | None, *, seller: bool, body: str | None, hole: float | None, page: Path | None) -> None:
    """Say which photos to take next: from where, which way, how near, with what light."""
    from corromap.cli_evidence import ask_text  # noqa: PLC0415

    if survey is not None and body is not None:
        raise click.UsageError("give a survey or --body, not both")
    if survey is None and hole is not None:
        raise click.UsageError("--hole says what the survey's photos must show; the standard list has none yet")
    click.echo(ask_text(survey, body, seller=seller, hole_mm=hole, page=page), nl=False)


@main.command()
@survey_argument
@click.argument("page", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--hole", type=click.FloatRange(0.1, 1000), help="Smallest hole to be seen, mm; default: the survey's.")
@speaks
def detail(survey: Path, page: Path, *, hole: float | None) -> None:
    """Draw how well each place was shown as a PAGE (.svg): detail, darkness, blur, angle, hidden, never seen."""
    from corromap.cli_evidence import draw_detail  # noqa: PLC0415

    draw_detail(survey, page, hole)
    click.echo(f"wrote {page}")


@main.command()
@survey_argument
@click.argument("picture", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--scale", type=click.FloatRange(0.1, 20), help="Millimetres per pixel; default: the survey's.")
@click.option("--bare", is_flag=True, help="Without zones and marks.")
@speaks
def picture(survey: Path, picture: Path, *, scale: float | None, bare: bool) -> None:
    """Blend all photos into one scaled PICTURE of the underside and sills (.tif or .jpg)."""
    from corromap.cli_evidence import draw_picture  # noqa: PLC0415

    with progress_bar() as bar:
        task = bar.add_task("tiles", total=None)
        draw_picture(
            survey,
            picture,
            scale,
            bare=bare,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    click.echo(f"wrote {picture}")


@main.command()
@survey_argument
@click.option("--accept", is_flag=True, help="Store the places that are proposed.")
@click.option("--photo", "photos", multiple=True, metavar="NAME", help="Only this photo; may be given again.")
@speaks
def link(survey: Path, photos: tuple[str, ...], *, accept: bool) -> None:
    """Propose places for photos without enough points, through photos that show the same ground."""
    from corromap.cli_link import link_file  # noqa: PLC0415

    link_file(survey, photos, accept=accept)


@main.command()
@survey_argument
@json_option
@click.option("--rates", type=click.Path(dir_okay=False, path_type=Path), help="Rates and policy (TOML) to use.")
@click.option("--keep", is_flag=True, help="Store the given rates in the survey.")
@click.option("--dxf", type=click.Path(file_okay=False, path_type=Path), help="Folder for drawings as DXF, mm.")
@click.option("--svg", type=click.Path(file_okay=False, path_type=Path), help="Folder for drawings as SVG, mm.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="The welder's sheet, true size on pages.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Of the welder's sheet; default: the survey's.")
@speaks
def plan(
    survey: Path,
    *,
    as_json: bool,
    rates: Path | None,
    keep: bool,
    dxf: Path | None,
    svg: Path | None,
    pdf: Path | None,
    paper: str | None,
) -> None:
    """Plan the repair: cut lines, sheet, weld, hours and cost as ranges, order of work. A lower bound."""
    from corromap.cli_plan import plan_file, print_plan, write_drawings, write_sheet  # noqa: PLC0415

    if keep and rates is None:
        raise click.UsageError("--keep stores what --rates gives: name a rates file")
    made = plan_file(survey, rates, keep=keep)
    print_plan(made, _console(), as_json=as_json)
    for folder, suffix in ((dxf, "dxf"), (svg, "svg")):
        if folder is not None:
            click.echo(f"wrote {write_drawings(made, folder, suffix)} drawings to {folder}", err=as_json)
    if pdf is not None:
        write_sheet(made, pdf, datetime.now(UTC), paper or "")
        click.echo(f"wrote {pdf}", err=as_json)


@main.command()
@click.argument("page", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
@speaks
def board(page: Path, *, paper: str) -> None:
    """Write the board of known size as a PDF PAGE to print at actual size; it comes with a ruler to check it by."""
    from corromap.report.board_sheet import write_board  # noqa: PLC0415

    write_board(page, paper)
    click.echo(f"wrote {page}: print it at actual size (100 %) and check the ruler")


@main.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@speaks
def check(paths: tuple[Path, ...]) -> None:
    """Check templates (.json), rule and rates files (.toml), surveys and interchange folders; name every fault."""
    from corromap.cli_tables import faults_of, notes_of  # noqa: PLC0415

    faulty = False
    for path in paths:
        faults = faults_of(path)
        faulty = faulty or bool(faults)
        click.echo(f"{path}: {'no fault found' if not faults else f'{len(faults)} fault(s)'}")
        for line in faults or notes_of(path):
            click.echo(f"  {line}")
    if faulty:
        sys.exit(EXIT_FAULTS)


@main.command()
@json_option
@speaks
def templates(*, as_json: bool) -> None:
    """List the body templates that come with the program."""
    from corromap.io.templates import list_templates  # noqa: PLC0415

    rows = list_templates()
    if as_json:
        click.echo(json.dumps([{"id": i, "name": name} for i, name in rows], ensure_ascii=False, indent=2))
        return
    for template_id, name in rows:
        click.echo(f"{template_id:20} {name}")


@main.command()
@click.argument("survey", type=click.Path(dir_okay=False, path_type=Path), required=False)
@click.option("--use", "source", metavar="FILE", help="Put this rule file, or 'default', in force for the survey.")
@click.option("--write", "target", type=click.Path(dir_okay=False, path_type=Path), help="Copy the set to a new file.")
@speaks
def rules(survey: Path | None, *, source: str | None, target: Path | None) -> None:
    """Show the rule set of a survey (or the default one), copy it to change it by hand, or choose another."""
    from corromap.cli_rules import choose_rules, copy_rules, show_rules  # noqa: PLC0415

    if source is not None:
        if survey is None:
            raise click.UsageError("--use needs a survey")
        choose_rules(survey, source, _console())
    elif target is not None:
        copy_rules(survey, target)
        click.echo(f"wrote {target}")
    else:
        show_rules(survey, _console())


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


if __name__ == "__main__":
    main()
