"""Where templates and demo photos lie: in the wheel or in the checkout."""

from __future__ import annotations

from pathlib import Path

from corromap.errors import InputError

__all__ = ["data_path"]

_PACKAGE = Path(__file__).resolve().parent.parent


def data_path(*parts: str) -> Path:
    """Find a file or folder that is shipped with the program.

    Parameters
    ----------
    *parts : str
        Path below the data folder, for example ``"body_templates"`` or
        ``"demo_images", "truth.json"``.

    Returns
    -------
    pathlib.Path
        In the installed package (``corromap/_data``), else at the top level
        of the checkout.

    Raises
    ------
    InputError
        If it is in neither place.
    """
    for root in (_PACKAGE / "_data", _PACKAGE.parent):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise InputError(f"'{'/'.join(parts)}' is not part of this installation: install corromap again")
