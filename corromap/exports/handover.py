"""Everything that leaves the tool, in one folder or in one sealed record."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from corromap.evaluation import Evaluation
from corromap.exports.annotations import write_annotations
from corromap.exports.geopackage import write_geopackage
from corromap.exports.marked_photos import photo_file_names, write_marked_photos
from corromap.exports.output import made_folder
from corromap.exports.plan import write_plan
from corromap.exports.seal import make_bag
from corromap.exports.shared_survey import write_shared_folder
from corromap.exports.tables import write_csv_folder, write_xlsx
from corromap.frames import PhotoId
from corromap.io.interchange import export_folder
from corromap.io.photo_sharing import SharedPhotos
from corromap.repair import Rates
from corromap.report.writing import write_report

__all__ = ["IN_ORDER", "HandOver", "Part", "seal_survey", "write_parts"]

Progress = Callable[[int, int], None]


class Part(StrEnum):
    """What can be handed over."""

    REPORT = "report"
    """``report.html``."""
    PDF = "pdf"
    """``report.pdf``."""
    TABLES = "tables"
    """``tables/*.csv`` and ``tables.xlsx``."""
    MAP = "map"
    """``map.gpkg``."""
    ANNOTATIONS = "annotations"
    """``marks.jsonld``."""
    PHOTOS = "photos"
    """``marked-photos/*.jpg``."""
    PLAN = "plan"
    """``plan/``: the repair plan as JSON, the welder's sheet, drawings as DXF and SVG."""


IN_ORDER = (*(part for part in Part if part is not Part.ANNOTATIONS), Part.ANNOTATIONS)
"""Annotations name the marked photos, so photos come first."""


@dataclass(frozen=True, eq=False)
class HandOver:
    """What is needed to write any part.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    photo_bytes : callable
        Photo to its original bytes.
    made_at : datetime
        When, as the reports print it.
    rates : Rates
        Of the repair plan.
    """

    evaluation: Evaluation
    photo_bytes: Callable[[PhotoId], bytes]
    made_at: datetime
    rates: Rates

    @property
    def stamp(self) -> str:
        """When, as the reports take it."""
        return self.made_at.isoformat(sep=" ", timespec="minutes")

    @property
    def shared(self) -> SharedPhotos:
        """Photos with their blur marks carried out."""
        return SharedPhotos(self.evaluation.survey, self.photo_bytes)


def write_parts(given: HandOver, folder: Path, parts: tuple[Part, ...], progress: Progress | None = None) -> None:
    """Write parts into a folder, each whole or not at all.

    Parameters
    ----------
    given : HandOver
        The survey.
    folder : Path
        Made when it is not there; older files of the same names are replaced.
    parts : tuple of Part
        Which.
    progress : callable, optional
        Called with (parts done, parts in all).

    Raises
    ------
    OutputError
        If something cannot be written; what was written before it stays.
    """
    made_folder(folder)
    for done, part in enumerate(parts, start=1):
        _WRITERS[part](given, folder)
        if progress:
            progress(done, len(parts))


def _report(given: HandOver, folder: Path) -> None:
    write_report(given.evaluation, given.photo_bytes, folder / "report.html", made_at=given.stamp)


def _pdf(given: HandOver, folder: Path) -> None:
    write_report(given.evaluation, given.photo_bytes, folder / "report.pdf", made_at=given.stamp)


def _tables(given: HandOver, folder: Path) -> None:
    write_csv_folder(given.evaluation, folder / "tables")
    write_xlsx(given.evaluation, folder / "tables.xlsx")


def _map(given: HandOver, folder: Path) -> None:
    write_geopackage(given.evaluation, folder / "map.gpkg")


def _annotations(given: HandOver, folder: Path) -> None:
    names = {photo: f"marked-photos/{name}" for photo, name in photo_file_names(given.evaluation).items()}
    there = (folder / "marked-photos").is_dir()
    write_annotations(given.evaluation, folder / "marks.jsonld", names if there else None)


def _photos(given: HandOver, folder: Path) -> None:
    write_marked_photos(given.evaluation, given.shared.to_show, folder / "marked-photos")


def _plan(given: HandOver, folder: Path) -> None:
    write_plan(given.evaluation, given.rates, folder / "plan", given.stamp)


_WRITERS: Mapping[Part, Callable[[HandOver, Path], None]] = {
    Part.REPORT: _report,
    Part.PDF: _pdf,
    Part.TABLES: _tables,
    Part.MAP: _map,
    Part.ANNOTATIONS: _annotations,
    Part.PHOTOS: _photos,
    Part.PLAN: _plan,
}


def seal_survey(
    given: HandOver,
    survey_path: Path,
    target: Path,
    *,
    originals: bool = True,
    progress: Progress | None = None,
) -> str:
    """Seal a survey: photos, survey document, reports and exports in one bag.

    Parameters
    ----------
    given : HandOver
        The survey.
    survey_path : Path
        Its file.
    target : Path
        The folder to be; must not be there yet.
    originals : bool
        Photos as they were given, with their metadata, and the log; False
        takes the ones to give away.
    progress : callable, optional
        Called with (parts done, parts in all).

    Returns
    -------
    str
        By which a later survey points to it: 64 hex digits.

    Raises
    ------
    OutputError
        If it cannot be written; nothing is left behind.
    """
    survey = given.evaluation.survey
    info = {
        "External-Identifier": survey.id,
        "External-Description": f"{survey.car.label or 'car'}: {survey.car.registration}".strip(": "),
        "Bagging-Date": given.made_at.date().isoformat(),
        "Contact-Name": survey.car.inspector or survey.car.owner or "not given",
        "Internal-Sender-Description": "photos as given" if originals else "photos without metadata, faces blurred",
    }
    if survey.earlier_record:
        info["Follows-Record"] = survey.earlier_record

    def fill(folder: Path) -> None:
        write_parts(
            given, folder, (Part.REPORT, Part.PDF, Part.TABLES, Part.MAP, Part.PHOTOS, Part.ANNOTATIONS), progress
        )
        write = export_folder if originals else write_shared_folder
        write(survey_path, folder / "survey")

    return make_bag(target, fill, info)
