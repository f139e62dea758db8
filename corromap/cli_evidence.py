"""What the command line does with evidence: requests, shot lists, the whole picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from corromap.evaluation import evaluate, smallest_seen
from corromap.evidence.requests import RequestList, standard_shots, what_to_ask_for
from corromap.evidence.wording import inspector_text, seller_text
from corromap.io.opened import evaluated
from corromap.io.templates import load_template
from corromap.report.detail_map import detail_map_svg
from corromap.report.evidence_page import requests_of
from corromap.report.html import replace_page
from corromap.report.shot_list import write_shot_list
from corromap.report.whole_picture_file import write_whole_picture
from corromap.template import BodyTemplate

__all__ = ["ask_text", "draw_detail", "draw_picture"]

DEFAULT_BODY = "two-seat-open"
CLI_AUTHOR = "command line"


def ask_text(
    survey: Path | None,
    template_id: str | None,
    *,
    seller: bool,
    hole_mm: float | None = None,
    page: Path | None = None,
) -> str:
    """Say what photos to ask for.

    Parameters
    ----------
    survey : Path or None
        A survey file; None asks for the standard list of a body.
    template_id : str or None
        Which body, when there is no survey.
    seller : bool
        Worded as a message to a seller instead of a list for the inspector.
    hole_mm : float or None
        Smallest hole that must have been visible; None for the survey's own.
    page : Path or None
        Also write the list as a page to print.

    Returns
    -------
    str
        Plain text.

    Raises
    ------
    InputError
        If the survey or the template cannot be read, or the page not written.
    """
    wanted, template = _wanted(survey, template_id, hole_mm)
    if page is not None:
        write_shot_list(wanted, template, page)
    return (seller_text if seller else inspector_text)(wanted, template)


def _wanted(survey: Path | None, template_id: str | None, hole_mm: float | None) -> tuple[RequestList, BodyTemplate]:
    if survey is None:
        template = load_template(template_id or DEFAULT_BODY)
        return standard_shots(template), template
    _, evaluation = evaluated(survey, CLI_AUTHOR)
    if hole_mm is None or not evaluation.survey.photos:
        return requests_of(evaluation, {}), evaluation.template
    smallest = replace(smallest_seen(evaluation.survey.settings), size_mm=hole_mm)
    return what_to_ask_for(evaluation.template, evaluation.showing, smallest), evaluation.template


def draw_detail(survey: Path, target: Path, hole_mm: float | None) -> None:
    """Write the detail map of a survey.

    Parameters
    ----------
    survey : Path
        The survey file.
    target : Path
        SVG.
    hole_mm : float or None
        Smallest hole that must have been visible; None for the survey's own.

    Raises
    ------
    InputError
        If the survey cannot be read.
    OutputError
        If the map cannot be written.
    """
    _, evaluation = evaluated(survey, CLI_AUTHOR)
    if hole_mm is not None:
        settings = replace(evaluation.survey.settings, smallest_hole_mm=hole_mm)
        changed = replace(evaluation.survey, settings=settings)
        evaluation = evaluate(changed, evaluation.template, evaluation.rules, evaluation.quality)
    svg = detail_map_svg(evaluation, width=1180.0, turn=True)
    replace_page(target, f'<?xml version="1.0" encoding="UTF-8"?>\n{svg}\n'.encode())


def draw_picture(
    survey: Path, target: Path, mm_per_px: float | None, *, bare: bool, progress: Callable[[int, int], None]
) -> None:
    """Write the whole picture of a survey.

    Parameters
    ----------
    survey : Path
        The survey file.
    target : Path
        TIFF or JPEG, by its suffix.
    mm_per_px : float or None
        Scale; None for the survey's own.
    bare : bool
        Without zones and marks.
    progress : callable
        Called with tiles done and tiles in all.

    Raises
    ------
    InputError
        If the survey cannot be read or the picture not written.
    """
    file, evaluation = evaluated(survey, CLI_AUTHOR)
    scale = mm_per_px or evaluation.survey.settings.picture_mm_per_px
    write_whole_picture(evaluation, file.photo_bytes, target, scale, bare=bare, progress=progress)
