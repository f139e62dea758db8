"""JSON as it should be: no NaN, no key twice, no bombs, UTF-8 only."""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn

from corromap.errors import InputError

__all__ = ["MAX_DEPTH", "read_json_bytes"]

MAX_DEPTH = 32
"""Deepest nesting taken; our own documents have at most 8 levels."""


def read_json_bytes(data: bytes, name: str, error: type[InputError] = InputError) -> dict[str, Any]:
    """Read a JSON document strictly.

    Parameters
    ----------
    data : bytes
        The file's content; the caller limits its size.
    name : str
        Used in the errors.
    error : type of InputError
        Raised for every fault.

    Returns
    -------
    dict
        The document, always an object at the top.

    Raises
    ------
    InputError
        (or the type given) if it is not UTF-8, not JSON, cut short, holds NaN,
        infinity or a number too large, a key twice, a lone surrogate, nests
        deeper than `MAX_DEPTH`, or is not an object.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        raise error(f"'{name}' is not text in UTF-8 (byte {bad.start}): it is not a JSON document") from bad
    _refuse_depth(text, name, error)
    try:
        document = json.loads(
            text,
            parse_constant=lambda word: _refuse(word, name, error),
            parse_float=lambda word: _finite(word, name, error),
            object_pairs_hook=lambda pairs: _unique(pairs, name, error),
        )
    except json.JSONDecodeError as bad:
        where = f"line {bad.lineno}, column {bad.colno}"
        raise error(f"'{name}' is not complete JSON ({where}: {bad.msg}): save or copy it again") from bad
    except ValueError as bad:  # an integer of thousands of digits
        raise error(f"'{name}' holds a number that is too long") from bad
    if not isinstance(document, dict):
        raise error(f"'{name}' must hold one JSON object, found {type(document).__name__}")
    _refuse_surrogates(text, document, name, error)
    return document


def _refuse(word: str, name: str, error: type[InputError]) -> NoReturn:
    raise error(f"'{name}' holds {word}, which is not a number: every number must be finite")


def _finite(word: str, name: str, error: type[InputError]) -> float:
    value = float(word)
    if not math.isfinite(value):
        _refuse(word, name, error)
    return value


def _unique(pairs: list[tuple[str, Any]], name: str, error: type[InputError]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        raise error(f"'{name}' gives the key '{twice[0]:.60}' twice in one object: keep one")
    return found


def _refuse_depth(text: str, name: str, error: type[InputError]) -> None:
    """Refuse deep nesting before the parser recurses into it."""
    depth, in_string, escaped = 0, False, False
    for char in text:
        if in_string:
            if escaped:
                escaped = False
            elif char == "\\":
                escaped = True
            elif char == '"':
                in_string = False
        elif char == '"':
            in_string = True
        elif char in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                raise error(f"'{name}' nests deeper than {MAX_DEPTH} levels")
        elif char in "]}":
            depth -= 1


def _refuse_surrogates(text: str, document: dict[str, Any], name: str, error: type[InputError]) -> None:
    if "\\u" not in text.lower():
        return
    try:
        json.dumps(document, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError as bad:
        raise error(f"'{name}' holds half a character (a lone surrogate): save it as UTF-8") from bad
