"""The request list as a page to print and take to the car."""

from __future__ import annotations

from pathlib import Path

from corromap.evidence.requests import RequestList
from corromap.report.evidence_page import ask_view
from corromap.report.html import environment, replace_page
from corromap.report.language import current
from corromap.template import BodyTemplate

__all__ = ["shot_list_html", "write_shot_list"]


def shot_list_html(wanted: RequestList, template: BodyTemplate) -> str:
    """Lay the list out with a drawing and a box to tick for each photo.

    Parameters
    ----------
    wanted : RequestList
        What to ask for.
    template : BodyTemplate
        The body.

    Returns
    -------
    str
        HTML that asks for nothing outside itself and runs no script.
    """
    page = environment().get_template("shot_list.html.j2")
    return page.render(ask=ask_view(wanted, template), template=template, language=current().code)


def write_shot_list(wanted: RequestList, template: BodyTemplate, path: Path) -> None:
    """Write the list, all of it or nothing.

    Parameters
    ----------
    wanted : RequestList
        What to ask for.
    template : BodyTemplate
        The body.
    path : Path
        The page.

    Raises
    ------
    OutputError
        If it could not be written; what stood there before is untouched.
    """
    replace_page(path, shot_list_html(wanted, template).encode("utf-8"))
