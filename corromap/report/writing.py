"""The report written to a file: a page or a PDF, by its suffix, all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from corromap.errors import OutputError
from corromap.evaluation import Evaluation
from corromap.frames import PhotoId
from corromap.repair import Rates
from corromap.report.html import replace_page, report_html
from corromap.report.pdf import report_pdf
from corromap.report.view import Length

__all__ = ["SUFFIXES", "write_report"]

SUFFIXES = (".html", ".htm", ".pdf")


def write_report(  # noqa: PLR0913  what a report is made from; all but three by keyword
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    path: Path | str,
    *,
    made_at: str = "",
    length: Length = Length.FULL,
    paper: str = "",
    language: str = "",
    rates: Rates | None = None,
) -> None:
    """Write the report, all of it or nothing.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    photo_bytes : callable
        The original bytes of a photo.
    path : Path or str
        Ends in ``.html`` or ``.pdf``; an older report is replaced only when
        the new one is complete.
    made_at : str
        ISO 8601; empty takes the present time, UTC.
    length : Length
        How much of it.
    paper : str
        ``A4`` or ``Letter``, for a PDF; empty for the survey's own.
    language : str
        ISO 639-1; empty for the survey's own.
    rates : Rates or None
        For the repair plan; None takes the usual ones.

    Raises
    ------
    InvalidValueError
        If there is no such language or paper.
    OutputError
        If the suffix is another one or it could not be written; what stood
        there before is untouched.
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    target = Path(path)
    if target.suffix.lower() not in SUFFIXES:
        raise OutputError(f"report '{target.name}': give it a name that ends in .html or .pdf")
    printed = made_at or datetime.now(UTC).isoformat(sep=" ", timespec="minutes")
    if target.suffix.lower() == ".pdf":
        data = report_pdf(
            evaluation, photo_bytes, made_at=printed, length=length, paper=paper, language=language, rates=rates
        )
    else:
        data = report_html(
            evaluation, photo_bytes, made_at=printed, length=length, language=language, rates=rates
        ).encode("utf-8")
    replace_page(target, data)
