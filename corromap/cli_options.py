"""What the commands share: arguments, exit codes, errors as sentences, and the order of the help."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

import click

from corromap.errors import CorromapError, TemplateError

__all__ = ["EXIT_FAULTS", "EXIT_INPUT", "InOrder", "json_option", "speaks", "survey_argument"]

EXIT_INPUT, EXIT_FAULTS = 1, 3

_P = ParamSpec("_P")
_R = TypeVar("_R")
survey_argument = click.argument("survey", type=click.Path(dir_okay=False, path_type=Path))
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON with stable keys (see docs).")

SECTIONS = {
    "Start": {
        "demo": "the demo car from photos to report",
        "app": "the app in the browser",
        "import": "a survey file from a folder of photos and survey.json",
        "link": "places for photos without points, through others",
        "templates": "the body templates that come along",
        "board": "a page to print: board of known size for the photos",
    },
    "What the survey says": {
        "zones": "area, interval, share and what was shown, by zone",
        "outcome": "what it comes to, why, how far the limits are",
        "rules": "the limits in force; copy them, choose others",
        "plan": "cut lines, sheet, weld, hours and cost; welder's sheet",
    },
    "What was shown": {
        "ask": "which photos to take or to ask for next",
        "detail": "how well each place was shown, as a drawing",
        "picture": "all photos as one scaled picture of the underside",
    },
    "To hand over and to keep": {
        "report": "the report as a page or a PDF",
        "handover": "reports, plan, tables, map, annotations, photos",
        "export": "the survey as a folder that imports again",
        "seal": "a sealed record: BagIt bag with hashes",
        "key": "a key to sign sealed records with",
        "stamp": "a time stamp (RFC 3161) on a sealed record",
        "verify": "has a sealed record changed since it was sealed",
        "follow": "say that a survey follows a sealed record",
    },
    "Faults": {"check": "every fault of a template, rule file, survey or folder"},
}


class InOrder(click.Group):
    """Lists the commands as the job goes, not by the alphabet."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands by section.

        Parameters
        ----------
        ctx : click.Context
            Of the group.
        formatter : click.HelpFormatter
            Where to.
        """
        del ctx
        for title, commands in SECTIONS.items():
            with formatter.section(title):
                formatter.write_dl([*commands.items()])


def speaks(command: Callable[_P, _R]) -> Callable[_P, _R]:
    """Turn the project's own errors into one sentence on stderr and exit code 1.

    Parameters
    ----------
    command : callable
        A command.

    Returns
    -------
    callable
        The same, which ends the program with code 1 on wrong input.
    """

    @wraps(command)
    def wrapped(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        try:
            return command(*args, **kwargs)
        except CorromapError as error:
            click.echo(f"corromap: {error}", err=True)
            if isinstance(error, TemplateError):
                for fault in error.faults:
                    click.echo(f"  {fault}", err=True)
            sys.exit(EXIT_INPUT)

    return wrapped
