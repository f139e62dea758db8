"""The printed board as a PDF at true size, with a ruler to check the printer by."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from corromap.errors import InvalidValueError, OutputError
from corromap.registration.board import BOARD_MM, SQUARE_MM, black_rectangles
from corromap.report.language import current, tr
from corromap.report.pdf import words_of
from corromap.report.typeset import FAMILIES, PAPERS, pdf_bytes

__all__ = ["RULER_MM", "board_pdf", "board_svg", "ruler_svg", "write_board"]

RULER_MM = 150
RULER_HIGH_MM = 12.0
_SOURCE = "board.typ"


def board_svg() -> str:
    """Draw the board.

    Returns
    -------
    str
        SVG whose user unit is a millimetre.
    """
    width, height = BOARD_MM
    black = "".join(f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}"/>' for x, y, w, h in black_rectangles())
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}"><rect width="{width:g}" height="{height:g}" fill="#fff"/>'
        f'<g fill="#000" shape-rendering="crispEdges">{black}</g></svg>'
    )


def ruler_svg() -> str:
    """Draw a ruler of 150 mm.

    Returns
    -------
    str
        SVG whose user unit is a millimetre.
    """
    lines = []
    for mm in range(RULER_MM + 1):
        high = 6.0 if mm % 10 == 0 else 4.5 if mm % 5 == 0 else 3.0
        lines.append(f'<line x1="{mm}" y1="0" x2="{mm}" y2="{high:g}"/>')
    numbers = "".join(
        f'<text x="{mm}" y="10.5" font-size="3.4" text-anchor="middle" font-family="sans-serif">{mm}</text>'
        for mm in range(0, RULER_MM + 1, 10)
    )
    wide = RULER_MM + 10
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{RULER_HIGH_MM:g}mm" '
        f'viewBox="-5 -0.2 {wide} {RULER_HIGH_MM:g}"><g stroke="#000" stroke-width="0.15">'
        f'<line x1="0" y1="0" x2="{RULER_MM}" y2="0"/>{"".join(lines)}</g>{numbers}</svg>'
    )


def board_pdf(paper: str = "A4", *, made_at: datetime | None = None) -> bytes:
    """Set the board, its ruler and how to use it on one page.

    Parameters
    ----------
    paper : str
        ``A4`` or ``Letter``.
    made_at : datetime or None
        Written into the file.

    Returns
    -------
    bytes
        A tagged PDF of one page.

    Raises
    ------
    InvalidValueError
        If there is no such paper.
    OutputError
        If it cannot be set.
    """
    if paper not in PAPERS:
        raise InvalidValueError(f"paper {paper!r:.20} is not known; choose {' or '.join(PAPERS)}")
    words = {text: tr(text) for source in ("common.typ", _SOURCE) for text in words_of(source)}
    data = {
        "words": words,
        "paper": PAPERS[paper],
        "language": current().code,
        "fonts": list(FAMILIES),
        "board_wide_mm": BOARD_MM[0],
        "ruler_wide_mm": RULER_MM + 10,
        "ruler_mm": str(RULER_MM),
        "square_mm": f"{SQUARE_MM:g}",
    }
    return pdf_bytes(_SOURCE, data, {"board.svg": board_svg(), "ruler.svg": ruler_svg()}, made_at=made_at)


def write_board(path: Path, paper: str = "A4") -> None:
    """Write the board's page.

    Parameters
    ----------
    path : Path
        The PDF.
    paper : str
        ``A4`` or ``Letter``.

    Raises
    ------
    InvalidValueError
        If there is no such paper.
    OutputError
        If it cannot be set or written.
    """
    made = board_pdf(paper)
    try:
        path.write_bytes(made)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written: {error.strerror}") from error
