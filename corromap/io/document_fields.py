"""Take a JSON object apart, key by key, strictly.

A key nobody knows is an error that names it, because a key that is dropped in
silence is evidence lost. Every error starts with the path to the fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import TypeVar

from corromap.errors import InterchangeError

__all__ = [
    "MAX_ID",
    "MAX_TEXT",
    "Document",
    "Fields",
    "checked_id",
    "checked_sha256",
    "found",
    "number",
    "parse_object",
]

MAX_TEXT = 20_000
"""Longest free text, in characters. Ours: some ten printed pages."""

MAX_ID = 200
"""Longest id, in characters. Ours."""

_HEX = frozenset("0123456789abcdef")

Document = dict[str, object]

_Choice = TypeVar("_Choice", bound=StrEnum)


class Fields:
    """Take the keys of one object, each of a known type, leaving none over.

    Parameters
    ----------
    value : object
        Expected to be a mapping.
    where : str
        The path to it, as errors print it.

    Raises
    ------
    InterchangeError
        If the value is not an object.
    """

    def __init__(self, value: object, where: str) -> None:
        if not isinstance(value, Mapping):
            raise InterchangeError(f"{where}: expected an object, found {found(value)}")
        self._left = dict(value)
        self.where = where

    def has(self, key: str) -> bool:
        """Whether a key is there and not null."""
        return self._left.get(key) is not None

    def take(self, key: str) -> object:
        """Take a value of any type; the key must be there."""
        if key not in self._left:
            raise InterchangeError(f"{self.where}: key '{key}' is missing")
        return self._left.pop(key)

    def text(self, key: str, default: str | None = None, *, longest: int = MAX_TEXT) -> str:
        """Take a text; without a default the key must be there."""
        if default is not None and key not in self._left:
            return default
        value = self.take(key)
        if not isinstance(value, str):
            raise InterchangeError(f"{self.where}.{key}: expected a text, found {found(value)}")
        if len(value) > longest:
            raise InterchangeError(f"{self.where}.{key}: {len(value)} characters; at most {longest} are taken")
        return value

    def text_or_none(self, key: str) -> str | None:
        """Take a text; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.text(key)

    def id(self, key: str) -> str:
        """Take an id: 1 to 200 printable characters."""
        return checked_id(self.text(key, longest=MAX_ID), f"{self.where}.{key}")

    def id_or_none(self, key: str) -> str | None:
        """Take an id; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.id(key)

    def integer(self, key: str, default: int | None = None) -> int:
        """Take a whole number."""
        if default is not None and key not in self._left:
            return default
        value = self.take(key)
        if not isinstance(value, int) or isinstance(value, bool):
            raise InterchangeError(f"{self.where}.{key}: expected a whole number, found {found(value)}")
        return value

    def number(self, key: str, default: float | None = None) -> float:
        """Take a number."""
        if default is not None and key not in self._left:
            return default
        return number(self.take(key), f"{self.where}.{key}")

    def number_or_none(self, key: str) -> float | None:
        """Take a number; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.number(key)

    def choice(self, key: str, kind: type[_Choice]) -> _Choice:
        """Take one word of a fixed list."""
        value = self.text(key)
        try:
            return kind(value)
        except ValueError as error:
            words = ", ".join(member.value for member in kind)
            raise InterchangeError(f"{self.where}.{key}: expected one of {words}; found '{value:.60}'") from error

    def choice_or_none(self, key: str, kind: type[_Choice]) -> _Choice | None:
        """Take one word of a fixed list; null or absent is None."""
        if not self.has(key):
            self._left.pop(key, None)
            return None
        return self.choice(key, kind)

    def items(self, key: str) -> list[object]:
        """Take a list; absent is empty."""
        value = self._left.pop(key, [])
        if not isinstance(value, list):
            raise InterchangeError(f"{self.where}.{key}: expected a list, found {found(value)}")
        return value

    def fields(self, key: str) -> Fields:
        """Take an object."""
        return Fields(self.take(key), f"{self.where}.{key}")

    def drop(self, *keys: str) -> None:
        """Pass over keys that were looked at otherwise."""
        for key in keys:
            self._left.pop(key, None)

    def done(self) -> None:
        """Raise if a key is left over."""
        if self._left:
            names = ", ".join(f"'{key:.60}'" for key in sorted(self._left)[:5])
            raise InterchangeError(f"{self.where}: unknown key {names}; correct the name or remove it")


def checked_id(value: str, where: str) -> str:
    """Return an id, or say why it cannot be one.

    Parameters
    ----------
    value : str
        The id.
    where : str
        The path to it.

    Returns
    -------
    str
        The same id.

    Raises
    ------
    InterchangeError
        If it is empty, too long or holds a character that cannot be printed.
    """
    if not value or len(value) > MAX_ID or not value.isprintable():
        raise InterchangeError(f"{where}: an id has 1 to {MAX_ID} printable characters, found {value[:60]!r}")
    return value


def checked_sha256(value: str, where: str) -> str:
    """Return a SHA-256 in hex digits, or say that it is not one.

    Raises
    ------
    InterchangeError
        If it is not 64 digits of 0-9 a-f.
    """
    if len(value) != 64 or not _HEX.issuperset(value):
        raise InterchangeError(f"{where}: expected 64 digits of 0-9 a-f, found {value[:70]!r}")
    return value


def found(value: object) -> str:
    """Say what a value is, for an error."""
    for kind, name in ((dict, "an object"), (list, "a list"), (str, "a text"), (bool, "true or false")):
        if isinstance(value, kind):
            return name
    return "null" if value is None else f"{value!r:.40}"


def number(value: object, where: str) -> float:
    """Return a JSON number as a float.

    Raises
    ------
    InterchangeError
        If it is not a number.
    """
    if isinstance(value, float):
        return value
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    raise InterchangeError(f"{where}: expected a number, found {found(value)}")


def parse_object(value: object, where: str) -> Document:
    """Read an object whose keys are somebody else's business.

    Raises
    ------
    InterchangeError
        If it is not an object.
    """
    if not isinstance(value, Mapping):
        raise InterchangeError(f"{where}: expected an object, found {found(value)}")
    return dict(value)
