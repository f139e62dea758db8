"""From data to a tagged PDF by typst: text goes in as data, never as typesetting source."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import typst
from fontTools.ttLib import TTFont

from corromap.errors import OutputError
from corromap.report.svg import printable

__all__ = ["FAMILIES", "PAPERS", "pdf_bytes", "settable"]

FOLDER = Path(__file__).parent
FAMILIES = ("Noto Sans", "DejaVu Sans")
"""Packed with the program, so that a page looks the same everywhere and needs no network."""
PAPERS: Mapping[str, str] = {"A4": "a4", "Letter": "us-letter"}
"""Papers by their names here and in typst."""
LONGEST_WORD = 24
BREAK_HERE = "\u200b"
_NAME = re.compile(r"\{\w+\}|[^\s{}]{13,}")
"""Longer than a narrow column bears. A name in braces holds the place of a value: it is found first, to stay whole."""
_JOINT = re.compile(r"(?<=[^\W_][_/\\])(?=[^\W_])")
_LONG_WORD = re.compile(rf"[^\s{BREAK_HERE}]{{{LONGEST_WORD + 1},}}")
_SVG_FONTS = re.compile(r'font-family="[^"]*"')
_KEPT = frozenset(
    "\n\t\r\u00a0\u00ad\u200b\u200c\u200d\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069"
)
"""White space and marks of direction: no glyph of their own, acted on by the typesetter."""


def pdf_bytes(
    source: str,
    data: Mapping[str, object],
    files: Mapping[str, bytes | str] | None = None,
    *,
    made_at: datetime | None = None,
) -> bytes:
    """Set a PDF from a packaged source and data.

    Parameters
    ----------
    source : str
        Name of a file in ``corromap/report/typst``, for example ``report.typ``.
        It may import its neighbours there.
    data : mapping
        JSON values; the source reads them by ``json("data.json")``. Every
        string in it passes `settable`.
    files : mapping of str to bytes or str, optional
        Pictures by the name under which the source asks for them; drawings
        (``.svg``) as text.
    made_at : datetime or None
        Written as the time of making; None takes the present time. Equal input
        and time give equal bytes.

    Returns
    -------
    bytes
        A tagged PDF with its fonts inside.

    Raises
    ------
    OutputError
        If it cannot be set.
    """
    given: dict[str, bytes] = {path.name: path.read_bytes() for path in (FOLDER / "typst").glob("*.typ")}
    given["main.typ"] = f'#include "{source}"'.encode()
    given["data.json"] = json.dumps(_all_settable(data), ensure_ascii=False, allow_nan=False).encode()
    given |= {name: _as_file(content) for name, content in (files or {}).items()}
    moment = (made_at or datetime.now(UTC)).replace(microsecond=0)
    try:
        # the stub of typst leaves out that the input may be files by name, held in memory
        made: bytes = typst.compile(given, font_paths=_fonts(), ignore_system_fonts=True, timestamp=moment)  # type: ignore[call-overload]
    except typst.TypstError as error:
        raise OutputError(f"the PDF could not be set: {error.message}; the HTML page holds the same report") from error
    return made


def _as_file(content: bytes | str) -> bytes:
    """Drawings are text with fonts of their own naming; only the packed ones are there."""
    if isinstance(content, bytes):
        return content
    return _SVG_FONTS.sub(f'font-family="{", ".join(FAMILIES)}"', content).encode()


def settable(text: str) -> str:
    """Make any text fit for the page: what the packed fonts cannot draw is named, long words may break.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str
        With ``[U+1F697]`` for a character no packed font has, and invisible
        places to break: behind an underscore or slash within a word, as in the
        name of a file, and in what is still longer than 24 characters.
    """
    known, drawn = _known_characters(), printable(text)
    if not known.issuperset(drawn):
        drawn = "".join(c if c in known else f"[U+{ord(c):04X}]" for c in drawn)
    joined = _NAME.sub(lambda found: found[0] if found[0][0] == "{" else _JOINT.sub(BREAK_HERE, found[0]), drawn)
    return _LONG_WORD.sub(_with_breaks, joined)


def _with_breaks(found: re.Match[str]) -> str:
    word = found.group()
    return BREAK_HERE.join(word[at : at + 8] for at in range(0, len(word), 8))


def _all_settable(value: object) -> object:
    if isinstance(value, str):
        return settable(value)
    if isinstance(value, Mapping):
        return {key: _all_settable(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [_all_settable(item) for item in value]
    return value


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FOLDER / "fonts")])


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[str]:
    """Characters that both weights can draw."""
    weights = []
    for weight in ("Regular", "Bold"):
        codes: set[int] = set()
        for path in (FOLDER / "fonts").glob(f"*-{weight}.ttf"):
            with TTFont(path, lazy=True) as font:
                codes |= set(font.getBestCmap())
        weights.append(codes)
    return frozenset(map(chr, weights[0] & weights[1])) | _KEPT
