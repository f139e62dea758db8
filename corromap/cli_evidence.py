"""What the command line does with evidence: requests, shot lists, the whole picture."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from corromap.assessment import RuleSet
from corromap.evaluation import evaluate
from corromap.evidence.requests import RequestList, standard_shots
from corromap.evidence.sheet import TILE_PX, sheet_of
from corromap.evidence.whole_picture import WholePicture
from corromap.evidence.wording import inspector_text, seller_text
from corromap.frames import PhotoId
from corromap.io.photos import RgbArray, decode
from corromap.io.picture_files import PictureScale, write_picture
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.report.evidence_page import examine_all, requests_of
from corromap.report.picture_overlay import PictureOverlay
from corromap.report.shot_list import write_shot_list
from corromap.template import BodyTemplate

__all__ = ["ask_text", "draw_picture"]


def ask_text(survey: Path | None, template_id: str | None, *, seller: bool, page: Path | None = None) -> str:
    """Say what photos to ask for.

    Parameters
    ----------
    survey : Path or None
        A survey file; None asks for the standard list of a body.
    template_id : str or None
        Which body, when there is no survey.
    seller : bool
        Worded as a message to a seller instead of a list for the inspector.
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
    wanted, template = _wanted(survey, template_id)
    if page is not None:
        write_shot_list(wanted, template, page)
    return (seller_text if seller else inspector_text)(wanted, template)


def _wanted(survey: Path | None, template_id: str | None) -> tuple[RequestList, BodyTemplate]:
    if survey is None:
        template = load_template(template_id or "two-seat-open")
        return standard_shots(template), template
    file = SurveyFile.open(survey, author="command line")
    record = file.load()
    evaluation = evaluate(record.survey, record.template, RuleSet.from_document(record.rules_document))
    return requests_of(evaluation, examine_all(evaluation, file.photo_bytes)), record.template


def draw_picture(
    survey: Path, target: Path, mm_per_px: float, *, bare: bool, progress: Callable[[int, int], None]
) -> None:
    """Write the whole picture of a survey.

    Parameters
    ----------
    survey : Path
        The survey file.
    target : Path
        TIFF or JPEG, by its suffix.
    mm_per_px : float
        Scale.
    bare : bool
        Without zones and marks.
    progress : callable
        Called with tiles done and tiles in all.

    Raises
    ------
    InputError
        If the survey cannot be read or the picture not written.
    """
    file = SurveyFile.open(survey, author="command line")
    record = file.load()
    evaluation = evaluate(record.survey, record.template, RuleSet.from_document(record.rules_document))
    names = {photo.id: photo.name for photo in record.survey.photos}

    def load(photo: PhotoId, reduce: int) -> RgbArray:
        return decode(file.photo_bytes(photo), names[photo], reduce=reduce)

    examined = examine_all(evaluation, file.photo_bytes)
    quality = {key: one.quality.map for key, one in examined.items() if one.quality is not None}
    sheet = sheet_of(record.template, mm_per_px)
    picture = WholePicture(
        sheet, record.template, evaluation.projection, evaluation.registrations, load, quality=quality
    )
    overlay = PictureOverlay(evaluation, sheet, marks=not bare, zones=not bare)
    total = len(list(sheet.tiles()))

    def painted() -> Iterator[RgbArray]:
        for done, tile in enumerate(picture.tiles(), start=1):
            progress(done, total)
            yield overlay.paint(tile)

    scale = PictureScale(sheet.width_px, sheet.height_px, TILE_PX, mm_per_px)
    title = f"Whole picture, {mm_per_px:g} mm per pixel, seen from below. {record.survey.car.label}".strip()
    write_picture(painted(), scale, target, title=title)
