"""The report as a tagged PDF, from the same gathered values as the page."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from functools import lru_cache

from corromap.errors import InvalidValueError
from corromap.evaluation import Evaluation
from corromap.frames import PhotoId
from corromap.repair import Rates
from corromap.report.language import language_of, speaking, tr
from corromap.report.model import report_view
from corromap.report.moment import moment_of
from corromap.report.typeset import FAMILIES, FOLDER, PAPERS, pdf_bytes
from corromap.report.view import Length, ReportView

__all__ = ["DRAWINGS", "pdf_of", "report_pdf", "words_of"]

DRAWINGS = frozenset({"svg", "other_svg", "locator", "phone", "wide", "sheet", "drawing", "strip"})
"""Fields that hold a drawing; they go to the typesetter as files."""
_WORD = re.compile(r'\bw\(\s*"((?:[^"\\]|\\.)*)"')


@lru_cache(maxsize=8)
def words_of(source: str) -> tuple[str, ...]:
    """List what a packaged source says by itself.

    Parameters
    ----------
    source : str
        Name of a file in ``corromap/report/typst``.

    Returns
    -------
    tuple of str
        Every literal given to its function ``w``.
    """
    text = (FOLDER / "typst" / source).read_text(encoding="utf-8")
    return tuple(dict.fromkeys(found.replace('\\"', '"') for found in _WORD.findall(text)))


def report_pdf(  # noqa: PLR0913  what a report is made from; all but two by keyword
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    *,
    made_at: str,
    length: Length = Length.FULL,
    paper: str = "",
    language: str = "",
    rates: Rates | None = None,
) -> bytes:
    """Make the report as a tagged PDF.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    photo_bytes : callable
        The original bytes of a photo.
    made_at : str
        When the report is made, ISO 8601; written into the file too if it
        is an ISO 8601 time. Equal input gives equal bytes then.
    length : Length
        How much of it.
    paper : str
        ``A4`` or ``Letter``; empty for the survey's own.
    language : str
        ISO 639-1; empty for the survey's own.
    rates : Rates or None
        For the repair plan; None takes the usual ones.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    InvalidValueError
        If there is no such language or paper.
    PhotoError
        If a photo's bytes cannot be decoded.
    OutputError
        If it cannot be set.
    """
    settings = evaluation.survey.settings
    chosen = paper or settings.paper
    if chosen not in PAPERS:
        raise InvalidValueError(f"paper {chosen!r:.20} is not known; choose {' or '.join(PAPERS)}")
    with speaking(language_of(settings, language)):
        view = report_view(evaluation, photo_bytes, made_at=made_at, length=length, rates=rates, on_paper=True)
        return pdf_of(view, paper=chosen, made_at=moment_of(made_at))


def pdf_of(view: ReportView, *, paper: str, made_at: datetime | None = None) -> bytes:
    """Set the report as a PDF.

    Parameters
    ----------
    view : ReportView
        What it prints, gathered in the language in use.
    paper : str
        As in `corromap.report.typeset.PAPERS`.
    made_at : datetime or None
        Written into the file; None takes the present time.

    Returns
    -------
    bytes
        A tagged PDF.

    Raises
    ------
    OutputError
        If it cannot be set.
    """
    files: dict[str, bytes | str] = {}
    content = asdict(view)
    legend = content["structure"]["sill_legend"]
    content["structure"]["sill_legend"] = [{"svg": swatch, "text": text} for swatch, text in legend]
    return pdf_bytes(
        "report.typ",
        {
            "view": _with_files(content, files),
            "words": {text: tr(text) for source in ("common.typ", "report.typ") for text in words_of(source)},
            "length": view.length.value,
            "paper": PAPERS[paper],
            "language": view.language,
            "fonts": list(FAMILIES),
        },
        files,
        made_at=made_at,
    )


def _with_files(value: object, files: dict[str, bytes | str]) -> object:
    """Replace each drawing by the name of its file."""
    if isinstance(value, Mapping):
        return {str(key): _drawn(str(key), item, files) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_with_files(item, files) for item in value]
    return value


def _drawn(key: str, item: object, files: dict[str, bytes | str]) -> object:
    if key not in DRAWINGS or not isinstance(item, str):
        return _with_files(item, files)
    if not item.startswith("<svg"):
        return ""
    name = f"drawing-{len(files)}.svg"
    files[name] = item
    return name
