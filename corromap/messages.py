"""Sentences that remember how they were made, so that a report can say them in another language.

A module of the core writes ``message("{count} datum points", count=7)``. The
result is the English sentence, an ordinary string to everybody; only the
report asks for its template and values again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Self

__all__ = ["Message", "Sentence", "capitalised", "joined", "message", "to_say"]


class Message(str):
    """An English sentence with its template and values.

    Parameters
    ----------
    template : str
        With ``{names}`` as in `str.format`; taken as it is without values.
    values : mapping of str to object
        What stands for them. Messages among them are translated too, plain
        strings stay as somebody wrote them, numbers are written as the
        language does.
    """

    __slots__ = ("template", "values")
    template: str
    values: Mapping[str, object]

    def __new__(cls, template: str, values: Mapping[str, object] | None = None) -> Self:
        """Make the English sentence."""
        held = dict(values or {})
        made = super().__new__(cls, template.format(**held) if held else template)
        made.template, made.values = template, held
        return made

    def __reduce__(self) -> tuple[type[Message], tuple[str, Mapping[str, object]]]:
        """Say how a copy or a pickle is made again."""
        return type(self), (self.template, self.values)


class Sentence(Message):
    """A message that begins with a capital letter, whatever its first word was."""

    __slots__ = ()

    def __new__(cls, template: str, values: Mapping[str, object] | None = None) -> Self:
        """Make the English sentence."""
        made = super().__new__(cls, template, values)
        # a plain string under the same template and values: what it reads as in English
        upper = str.__new__(cls, capitalised(made))
        upper.template, upper.values = made.template, made.values
        return upper


def capitalised(text: str) -> str:
    """Make the first letter large and leave the rest.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str
        The same.
    """
    return text[:1].upper() + text[1:]


def message(template: str, /, **values: object) -> Message:
    """Write a sentence that can be said in another language.

    Parameters
    ----------
    template : str
        English, a literal, with ``{names}`` as in `str.format`.
    **values : object
        What stands for the names.

    Returns
    -------
    Message
        The English sentence.
    """
    return Message(template, values)


def joined(separator: str, parts: Sequence[str]) -> str:
    """Join sentences, each of which stays translatable.

    Parameters
    ----------
    separator : str
        Between them.
    parts : sequence of str
        Messages are translated, plain strings stay.

    Returns
    -------
    str
        The English whole.
    """
    if not parts:
        return ""
    names = [f"part{index}" for index in range(len(parts))]
    return Message(separator.join(f"{{{name}}}" for name in names), dict(zip(names, parts, strict=True)))


def to_say(text: str) -> str:
    """Mark a text for the catalogue where it stands; it is translated where it is printed.

    Parameters
    ----------
    text : str
        A literal.

    Returns
    -------
    str
        The same.
    """
    return text
