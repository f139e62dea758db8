"""The report as a tagged PDF, from the same gathered values as the page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from functools import lru_cache

from corromap.report.language import tr
from corromap.report.model import ReportView
from corromap.report.typeset import FAMILIES, FOLDER, PAPERS, pdf_bytes

__all__ = ["DRAWINGS", "pdf_of", "words_of"]

DRAWINGS = frozenset({"svg", "other_svg", "locator", "phone", "wide", "sheet"})
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


def pdf_of(view: ReportView, *, length: str, paper: str, made_at: datetime | None = None) -> bytes:
    """Set the report as a PDF.

    Parameters
    ----------
    view : ReportView
        What it prints, gathered in the language in use.
    length : str
        ``full``, ``one-page`` or ``welder``.
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
    return pdf_bytes(
        "report.typ",
        {
            "view": _with_files(asdict(view), files),
            "words": {text: tr(text) for source in ("common.typ", "report.typ") for text in words_of(source)},
            "length": length,
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
