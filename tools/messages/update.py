"""Collect the texts, merge them into every catalogue, compile: ``python -m tools.messages.update``.

Texts that are new stand in the ``.po`` file with an empty translation; texts
that are gone leave it. The compiled ``.mo`` file is what the program reads.
"""

from __future__ import annotations

from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from corromap.report.language import DOMAIN, FOLDER, LANGUAGES
from tools.messages.collect import collect

__all__ = ["catalogue_path", "missing", "update"]


def catalogue_path(code: str) -> Path:
    """Say where a language's catalogue is.

    Parameters
    ----------
    code : str
        Of the language.

    Returns
    -------
    Path
        The ``.po`` file; the ``.mo`` file lies beside it.
    """
    return FOLDER / code / "LC_MESSAGES" / f"{DOMAIN}.po"


def update(code: str) -> Catalog:
    """Bring one language's catalogue up to date.

    Parameters
    ----------
    code : str
        Of the language.

    Returns
    -------
    Catalog
        As it was written.
    """
    path, template = catalogue_path(code), collect()
    path.parent.mkdir(parents=True, exist_ok=True)
    known = Catalog(locale=code)
    if path.exists():
        with path.open("rb") as file:
            known = read_po(file, locale=code)
    fresh = Catalog(locale=code, project="corromap", charset="utf-8")
    for text in template:
        if text.id:
            old = known.get(text.id)
            fresh.add(text.id, old.string if old else "", locations=text.locations)
    with path.open("wb") as file:
        write_po(file, fresh, width=120, omit_header=False, sort_output=True, include_lineno=False)
    with path.with_suffix(".mo").open("wb") as file:
        write_mo(file, fresh)
    return fresh


def missing(catalogue: Catalog) -> list[str]:
    """List what has no translation.

    Parameters
    ----------
    catalogue : Catalog
        Of a language.

    Returns
    -------
    list of str
        English texts.
    """
    return [str(text.id) for text in catalogue if text.id and not all(_strings(text.string))]


def _strings(value: object) -> tuple[str, ...]:
    return tuple(value) if isinstance(value, (tuple, list)) else (str(value),)


if __name__ == "__main__":
    for code in LANGUAGES:
        if code != "en":
            lacking = missing(update(code))
            print(f"{code}: {len(lacking)} without a translation")
            for text in lacking:
                print(f"  {text}")
