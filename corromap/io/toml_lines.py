"""Where in a TOML text a key stands: the parser of the standard library does not tell."""

from __future__ import annotations

import re
import tomllib

__all__ = ["line_of"]

_HEADER = re.compile(r"\s*(\[\[?)(.*?)\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*=")
_PART = re.compile(r"[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'")
_LONG = re.compile(r"\"\"\"|'''")


def line_of(text: str, path: tuple[str | int, ...]) -> int | None:
    """Find the line of a key, or of the nearest table around it.

    Parameters
    ----------
    text : str
        A TOML document.
    path : tuple of str or int
        Names of tables and key from the top; numbers count list entries
        from 1.

    Returns
    -------
    int or None
        From 1; None when not even the outermost name is there.
    """
    places = _places(text)
    return next((places[path[:end]] for end in range(len(path), 0, -1) if path[:end] in places), None)


def _places(text: str) -> dict[tuple[str | int, ...], int]:
    places: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    table: tuple[str | int, ...] = ()
    inside: str | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        if inside is not None:  # within a text of several lines
            inside = None if inside in line else inside
            continue
        if (header := _HEADER.match(line)) and not line.lstrip().startswith("#"):
            table = _names(header[2])
            if header[1] == "[[":
                counts[table] = counts.get(table, 0) + 1
                places.setdefault(table, number)
                table = (*table, counts[table])
            for end in range(1, len(table) + 1):  # [a.b] makes the table a as well
                places.setdefault(table[:end], number)
        elif key := _KEY.match(line):
            places.setdefault((*table, *_names(key[1])), number)
            opened = _LONG.findall(line)
            inside = opened[0] if len(opened) % 2 else None
    return places


def _names(dotted: str) -> tuple[str | int, ...]:
    found = []
    for part in _PART.findall(dotted):
        try:
            found += list(tomllib.loads(f"{part} = 0"))
        except tomllib.TOMLDecodeError:
            found.append(part)
    return tuple(found)
