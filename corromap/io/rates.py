"""Rates of the repair plan: TOML, read strictly, faults told with their line."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path

from corromap.errors import RatesError
from corromap.io.toml_lines import line_of
from corromap.repair import Rates

__all__ = ["default_rates", "holds_rates", "load_rates", "rates_from"]

MAX_RATES_FILE_BYTES = 1_000_000


def default_rates() -> Rates:
    """Read the rates that come with the program.

    Returns
    -------
    Rates
        The default rates.
    """
    text = resources.files("corromap.repair").joinpath("rates.toml").read_text(encoding="utf-8")
    return Rates.from_document(tomllib.loads(text))


def rates_from(document: Mapping[str, object]) -> Rates:
    """Read the rates a survey keeps.

    Parameters
    ----------
    document : mapping
        As `Rates.to_document` writes it; empty for the default rates.

    Returns
    -------
    Rates
        The rates.

    Raises
    ------
    RatesError
        Naming the place and the fault.
    """
    return Rates.from_document(document) if document else default_rates()


def load_rates(path: str | Path) -> Rates:
    """Read rates from a file.

    Parameters
    ----------
    path : str or Path
        A TOML file such as the one that comes with the program.

    Returns
    -------
    Rates
        The rates.

    Raises
    ------
    RatesError
        Naming the file, the line and the fault.
    """
    path = Path(path)
    name = f"rates file '{path.name}'"
    try:
        with path.open("rb") as file:
            data = file.read(MAX_RATES_FILE_BYTES + 1)
    except OSError as error:
        raise RatesError(f"{name} cannot be read: {error.strerror or error}") from error
    if len(data) > MAX_RATES_FILE_BYTES:
        raise RatesError(f"{name}: larger than {MAX_RATES_FILE_BYTES / 1e6:g} MB, which no rates file is")
    try:
        text = data.decode("utf-8")
        return Rates.from_document(tomllib.loads(text))
    except UnicodeDecodeError as error:
        raise RatesError(f"{name} is not UTF-8 text (byte {error.start})") from error
    except tomllib.TOMLDecodeError as error:
        raise RatesError(f"{name} is not TOML: {error}") from error
    except RecursionError as error:
        raise RatesError(f"{name} is nested too deep") from error
    except RatesError as error:
        line = line_of(text, error.path)
        where = f", line {line}" if line is not None else ""
        raise RatesError(f"{name}{where}: {error}", error.path) from error


def holds_rates(path: Path) -> bool:
    """Tell a rates file from a rule file, as far as it can be read.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    bool
        Whether a line of it opens a table of the rates.
    """
    try:
        with path.open("rb") as file:
            head = file.read(MAX_RATES_FILE_BYTES)
    except OSError:
        return False
    return any(line.startswith((b"[policy.", b"[rate.", b"[access.", b"[[sheet]]")) for line in head.splitlines())
