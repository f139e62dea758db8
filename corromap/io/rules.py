"""Rule files: TOML, read strictly, written so that they can be changed by hand."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from corromap.assessment import RuleSet
from corromap.errors import OutputError, RuleSetError

__all__ = ["default_rules", "load_rules", "parse_rules", "rules_text", "write_rules"]

MAX_RULE_FILE_BYTES = 1_000_000

FIELDS = (
    "id", "family", "title", "measure", "at_least", "unit", "scope", "roles", "outcome", "sentence", "source",
    "house_rule", "zones",
)  # fmt: skip
"""Fields of a rule in the order they are written."""

HEAD = """# A rule set. Change limits, wording, roles; leave rules out; add your own.
# Check it with `corromap check FILE`, choose it with `corromap rules SURVEY --use FILE`.
# The report prints its name, its version and every departure from the default.
"""


@cache
def default_rules() -> RuleSet:
    """Read the rule set that comes with the program.

    Returns
    -------
    RuleSet
        The default set.
    """
    text = resources.files("corromap.assessment").joinpath("rules.toml").read_text(encoding="utf-8")
    return RuleSet.from_document(tomllib.loads(text))


def load_rules(path: str | Path) -> RuleSet:
    """Read a rule set from a file.

    Parameters
    ----------
    path : str or Path
        A TOML file such as the one that comes with the program.

    Returns
    -------
    RuleSet
        The set.

    Raises
    ------
    RuleSetError
        Naming the file, the line, the place in it and the fault.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            data = file.read(MAX_RULE_FILE_BYTES + 1)
    except OSError as error:
        raise RuleSetError(f"rule file '{path.name}' cannot be read: {error.strerror or error}") from error
    return parse_rules(data, path.name)


def parse_rules(data: bytes, name: str) -> RuleSet:
    """Read a rule set from the bytes of a file.

    Parameters
    ----------
    data : bytes
        TOML, UTF-8.
    name : str
        Of the file, for messages.

    Returns
    -------
    RuleSet
        The set.

    Raises
    ------
    RuleSetError
        Naming the file, the line, the place in it and the fault.
    """
    if len(data) > MAX_RULE_FILE_BYTES:
        raise RuleSetError(f"rule file '{name}': larger than {MAX_RULE_FILE_BYTES / 1e6:g} MB, which no rule file is")
    try:
        return RuleSet.from_document(tomllib.loads(data.decode("utf-8")))
    except UnicodeDecodeError as error:
        raise RuleSetError(f"rule file '{name}' is not UTF-8 text (byte {error.start})") from error
    except tomllib.TOMLDecodeError as error:
        raise RuleSetError(f"rule file '{name}' is not TOML: {error}") from error
    except RuleSetError as error:
        line = _line_of(str(error), data.decode("utf-8", "replace"))
        where = f", line {line}" if line is not None else ""
        raise RuleSetError(f"rule file '{name}'{where}: {error}") from error


def rules_text(rules: RuleSet) -> str:
    """Write a rule set as TOML.

    Parameters
    ----------
    rules : RuleSet
        The set.

    Returns
    -------
    str
        What `parse_rules` reads back to an equal set.
    """
    lines = [HEAD, *(f"{key} = {_value(getattr(rules, key))}" for key in ("id", "name", "version"))]
    entries: Any = rules.to_document()["rule"]
    for entry in entries:
        lines += ["", "[[rule]]", *(f"{key} = {_value(entry[key])}" for key in FIELDS if key in entry)]
    return "\n".join(lines) + "\n"


def write_rules(rules: RuleSet, path: str | Path) -> None:
    """Write a rule set to a new file.

    Parameters
    ----------
    rules : RuleSet
        The set.
    path : str or Path
        Where; nothing may be there yet.

    Raises
    ------
    OutputError
        If something is there, or it cannot be written.
    """
    path = Path(path)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(rules_text(rules))
    except FileExistsError as error:
        raise OutputError(f"'{path.name}' is there already: give another name, nothing is overwritten") from error
    except OSError as error:
        raise OutputError(f"'{path.name}' cannot be written: {error.strerror or error}") from error


def _value(value: object) -> str:
    """Write one TOML value; JSON writes strings, numbers and lists of strings the same way."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


_RULE = re.compile(r"rule (\d+)\b")
_FIELD = re.compile(r"'\)\.(\w+)|unknown field '(\w+)'|^rule set\.(\w+)")
_TWICE = re.compile(r"id '(.*)' is used twice")
_HEADER = re.compile(r"\s*\[\[\s*[\"']?rule[\"']?\s*\]\]")
_KEY = re.compile(r"\s*[\"']?([\w-]+)[\"']?\s*=")


def _line_of(fault: str, text: str) -> int | None:
    """Find the line a fault is about: its key's, else the rule's; None when the file is laid out otherwise."""
    places = _places(text)
    number, field = _RULE.match(fault), _FIELD.search(fault)
    name = next((group for group in field.groups() if group), "") if field else ""
    twice = _TWICE.search(fault)
    if twice:
        lines = text.splitlines()
        known = [at for (_, key), at in places.items() if key == "id" and f'"{twice[1]}"' in lines[at - 1]]
        return known[1] if len(known) > 1 else None
    block = int(number[1]) if number else 0
    return places.get((block, name)) or places.get((block, ""))


def _places(text: str) -> Mapping[tuple[int, str], int]:
    """Line of every key by the number of its rule, 0 for the set; the header of a rule has the empty key."""
    found: dict[tuple[int, str], int] = {}
    block, quote = 0, ""
    for number, line in enumerate(text.splitlines(), start=1):
        if not quote:
            if _HEADER.match(line):
                block += 1
                found[block, ""] = number
            elif key := _KEY.match(line):
                found.setdefault((block, key[1]), number)
        for mark in ('"""', "'''"):
            if line.count(mark) % 2 and quote in {"", mark}:
                quote = "" if quote else mark
    return found
