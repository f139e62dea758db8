"""Rule files: TOML, read strictly."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

from corromap.assessment import RuleSet
from corromap.errors import RuleSetError

__all__ = ["default_rules", "load_rules"]

MAX_RULE_FILE_BYTES = 1_000_000


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
        Naming the file, the place in it and the fault.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            data = file.read(MAX_RULE_FILE_BYTES + 1)
        return RuleSet.from_document(tomllib.loads(_text(data)))
    except OSError as error:
        raise RuleSetError(f"rule file '{path.name}' cannot be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise RuleSetError(f"rule file '{path.name}' is not UTF-8 text (byte {error.start})") from error
    except tomllib.TOMLDecodeError as error:
        raise RuleSetError(f"rule file '{path.name}' is not TOML: {error}") from error
    except RuleSetError as error:
        raise RuleSetError(f"rule file '{path.name}': {error}") from error


def _text(data: bytes) -> str:
    if len(data) > MAX_RULE_FILE_BYTES:
        raise RuleSetError(f"larger than {MAX_RULE_FILE_BYTES / 1e6:g} MB, which no rule file is")
    return data.decode("utf-8")
