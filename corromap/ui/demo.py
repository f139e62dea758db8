"""The demo survey: an invented car, imported afresh from its interchange folder."""

from __future__ import annotations

from pathlib import Path

from corromap.errors import InputError, InterchangeError
from corromap.io.interchange import import_folder
from corromap.io.package_data import data_path
from corromap.ui.surveys import free_path

__all__ = ["demo_folder", "open_demo"]


def demo_folder() -> Path | None:
    """Find the demo's interchange folder.

    Returns
    -------
    Path or None
        In the installed package or in the source tree; None when neither has
        one.
    """
    try:
        place = data_path("demo_images")
    except InputError:
        return None
    return place if (place / "survey.json").is_file() else None


def open_demo() -> Path:
    """Import the demo into a new survey file.

    Returns
    -------
    Path
        The new file, in the surveys' folder.

    Raises
    ------
    InterchangeError
        If the demo is not there.
    InputError
        If it cannot be imported.
    """
    source = demo_folder()
    if source is None:
        raise InterchangeError("the demo's photos are not installed: install corromap again")
    target = free_path("demo")
    import_folder(source, target)
    return target
