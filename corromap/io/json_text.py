"""JSON read strictly: nothing ambiguous, nothing endless, and errors that say where.

Python's reader takes NaN, 1e999, the same key twice and lone surrogates. A
survey document holds measurements that people act on, so each is refused here
with the path to it, written like ``survey.marks[3].outline``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from corromap.errors import InterchangeError

__all__ = ["MAX_DEPTH", "canonical", "parse"]

MAX_DEPTH = 32
"""Deepest nesting taken; a template needs nine levels. Ours."""

MAX_INTEGER = 2**53
"""Integers beyond this lose digits in other JSON readers (RFC 8259, section 6)."""


class _Doubt:
    """What the reader met on its way that must be looked at again, with its path."""

    def __init__(self, text: str) -> None:
        # An escaped surrogate begins so; most pairs of them are whole characters.
        self.found = "\\ud" in text or "\\uD" in text or not _is_unicode(text)

    def number(self, text: str) -> float:
        """Read a number with a fraction or an exponent."""
        value = float(text)
        self.found = self.found or math.isinf(value)
        return value

    def integer(self, text: str) -> int:
        """Read a whole number."""
        value = int(text)
        self.found = self.found or abs(value) > MAX_INTEGER
        return value

    def constant(self, text: str) -> float:
        """Read NaN or Infinity, which are not JSON."""
        self.found = True
        return float(text)

    def pairs(self, items: list[tuple[str, object]]) -> _Pairs:
        """Read an object, noting a key given twice."""
        made = _Pairs(items)
        if len(made) != len(items):
            keys = [key for key, _ in items]
            made.twice = next(key for key in keys if keys.count(key) > 1)
            self.found = True
        return made


class _Pairs(dict[str, object]):
    """An object that remembers a key given twice, until its path is known."""

    twice: str | None = None


def parse(text: str | bytes, where: str = "document") -> object:
    """Read a JSON text strictly.

    Parameters
    ----------
    text : str or bytes
        JSON; bytes must be UTF-8, a byte order mark is taken.
    where : str
        What the text is; starts every path in an error.

    Returns
    -------
    object
        dict, list, str, int, float, bool or None.

    Raises
    ------
    InterchangeError
        If the text is not JSON, repeats a key, holds a number that is not
        finite, a lone surrogate, or is nested deeper than `MAX_DEPTH`.

    Examples
    --------
    >>> parse('{"a": [1, 2.5]}')
    {'a': [1, 2.5]}
    >>> parse('{"a": [1, NaN]}', "survey")
    Traceback (most recent call last):
        ...
    corromap.errors.InterchangeError: survey.a[1]: expected a finite number, found nan
    """
    try:
        text = _decoded(text, where)
        doubt = _Doubt(text)
        value = json.loads(
            text,
            object_pairs_hook=doubt.pairs,
            parse_float=doubt.number,
            parse_int=doubt.integer,
            parse_constant=doubt.constant,
        )
    except json.JSONDecodeError as error:
        raise InterchangeError(
            f"{where}: not JSON at line {error.lineno}, column {error.colno}: {error.msg}"
        ) from error
    except RecursionError as error:
        raise InterchangeError(f"{where}: nested deeper than {MAX_DEPTH} levels") from error
    except ValueError as error:  # an integer of more than 4300 digits
        raise InterchangeError(f"{where}: a number has too many digits") from error
    if doubt.found or _is_deep(value):
        _check(value, where)  # slower, but knows the path
    return value


def _is_deep(root: object) -> bool:
    """Whether the nesting is too deep; looked at level by level."""
    level = [root] if isinstance(root, (dict, list)) else []
    for _ in range(MAX_DEPTH):
        level = [
            part
            for holder in level
            for part in (holder.values() if isinstance(holder, dict) else holder)
            if isinstance(part, (dict, list))
        ]
        if not level:
            return False
    return True


def _decoded(text: str | bytes, where: str) -> str:
    if isinstance(text, str):
        return text
    try:
        return text.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InterchangeError(f"{where}: not UTF-8 text at byte {error.start}; save the file as UTF-8") from error


def _check(root: object, where: str) -> None:
    waiting: list[tuple[object, str, int]] = [(root, where, 0)]
    while waiting:
        value, path, depth = waiting.pop()
        if depth > MAX_DEPTH:
            raise InterchangeError(f"{path:.120}: nested deeper than {MAX_DEPTH} levels")
        if isinstance(value, dict):
            _check_keys(value, path)
            waiting.extend((part, f"{path}.{key}", depth + 1) for key, part in value.items())
        elif isinstance(value, list):
            waiting.extend((part, f"{path}[{i}]", depth + 1) for i, part in enumerate(value) if not _is_plain(part))
        else:
            _check_scalar(value, path)


def _is_plain(value: object) -> bool:
    """Whether a list's item needs no look: most items are pixel coordinates."""
    return isinstance(value, float) and math.isfinite(value)


def _check_keys(value: Mapping[str, object], path: str) -> None:
    twice = getattr(value, "twice", None)
    if twice is not None:
        raise InterchangeError(f"{path}: key '{_printable(twice)}' is given twice")
    for key in value:
        _check_scalar(key, f"{path}: key")


def _check_scalar(value: object, path: str) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise InterchangeError(f"{path}: expected a finite number, found {value}")
    if isinstance(value, int) and abs(value) > MAX_INTEGER:
        raise InterchangeError(f"{path}: expected a number of at most 2^53, found {value:.6e}")
    if isinstance(value, str) and not _is_unicode(value):
        raise InterchangeError(f"{path}: holds half a character (a lone surrogate) in '{_printable(value)}'")


def _is_unicode(value: str) -> bool:
    if value.isascii():
        return True
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _printable(value: str) -> str:
    return value[:60].encode("utf-8", "backslashreplace").decode()


def canonical(value: object) -> str:
    """Write a value as the one JSON text that stands for it.

    Keys sorted, no blanks, floats as the shortest text that reads back to the
    same bits.

    Parameters
    ----------
    value : object
        JSON-like value.

    Returns
    -------
    str
        The text.

    Raises
    ------
    InterchangeError
        If a number is not finite or a text holds a lone surrogate.
    """
    try:
        text = json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
    except ValueError:  # not finite
        _check(value, "document")
        raise
    if not _is_unicode(text):
        _check(value, "document")
    return text
