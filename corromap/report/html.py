"""The report as one self-contained HTML page."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from corromap.errors import OutputError
from corromap.evaluation import Evaluation
from corromap.frames import PhotoId
from corromap.repair import Rates
from corromap.report.language import language_of, speaking, tr
from corromap.report.model import report_view
from corromap.report.svg import printable
from corromap.report.view import Length

__all__ = ["environment", "replace_page", "report_html"]


def _finalize(value: object) -> object:
    """Replace what no page may hold; drawings are markup already and pass."""
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def environment() -> Environment:
    """Set up the page templates: everything is escaped, nothing undefined passes.

    Returns
    -------
    jinja2.Environment
        With the filter ``drawing`` for markup made by this package and ``w``,
        which says a text in the language in use.
    """
    environment = Environment(
        loader=PackageLoader("corromap.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    environment.filters["drawing"] = Markup
    environment.globals["w"] = tr
    return environment


def report_html(  # noqa: PLR0913  what a report is made from; all but two by keyword
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    *,
    made_at: str,
    length: Length = Length.FULL,
    language: str = "",
    rates: Rates | None = None,
) -> str:
    """Make the report page.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    photo_bytes : callable
        The original bytes of a photo.
    made_at : str
        When the report is made, ISO 8601; the clock is the caller's.
    length : Length
        How much of it.
    language : str
        ISO 639-1; empty for the survey's own.
    rates : Rates or None
        For the repair plan; None takes the usual ones.

    Returns
    -------
    str
        HTML that asks for nothing outside itself and runs no script.

    Raises
    ------
    InvalidValueError
        If there is no such language.
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    with speaking(language_of(evaluation.survey.settings, language)):
        view = report_view(evaluation, photo_bytes, made_at=made_at, length=length, rates=rates)
        return environment().get_template("report.html.j2").render(view=view)


def replace_page(path: Path, data: bytes) -> None:
    """Write beside the page, flush to disk, then swap: a full disk leaves the old page.

    Parameters
    ----------
    path : Path
        The page.
    data : bytes
        All of it.

    Raises
    ------
    OutputError
        If it could not be written; what stood there before is untouched.
    """
    unfinished: Path | None = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name[:40]}.", delete=False) as file:
            unfinished = Path(file.name)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.chmod(0o644)  # NamedTemporaryFile gives 0600, which cannot be handed over
        unfinished.replace(path)
    except OSError as error:
        raise OutputError(
            f"report '{path.name}' could not be written: {error.strerror or error}; "
            "an older report there is untouched; choose another folder or free some space"
        ) from error
    finally:
        if unfinished is not None:
            unfinished.unlink(missing_ok=True)  # nothing is left of it once it has taken the page's name
