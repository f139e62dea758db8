"""What the report page offers besides the report: tables, map, marked photos, copies, the sealed record."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import streamlit as st

from corromap.exports.annotations import write_annotations
from corromap.exports.geopackage import write_geopackage
from corromap.exports.handover import HandOver, seal_survey
from corromap.exports.marked_photos import write_marked_photos
from corromap.exports.shared_survey import write_shared_file, write_shared_folder
from corromap.exports.tables import write_xlsx
from corromap.io.interchange import export_folder
from corromap.io.photo_sharing import SharedPhotos
from corromap.ui import state
from corromap.ui.hand_out import HandOut, copy_bytes
from corromap.ui.markup import lead
from corromap.ui.repair import rates_of
from corromap.ui.surveys import SUFFIX, file_name_for

__all__ = ["EXPORT_TITLES", "export_offers", "originals_are_chosen", "originals_choice"]

EXPORT_TITLES = {
    "workbook": ("Download the tables", "Zones, marks, rules and photos as a workbook (XLSX)."),
    "marked": ("Download the marked photos", "Every photo with its marks drawn on it, as a zip of JPEGs."),
    "map": ("Download the map for a GIS", "Panels, zones, marks and what was seen as a GeoPackage, in millimetres."),
    "annotations": ("Download the marks as annotations", "W3C Web Annotations (JSON-LD), for picture archives."),
    "folder": ("Download photos and JSON", "A zip of the photos and survey.json, for other programs."),
    "copy": ("Download a copy of the survey", "One file that opens here or in somebody else's corromap."),
    "seal": (
        "Download a sealed record",
        "Photos, survey, report and exports with the hashes that show later change (BagIt); see 'corromap verify'.",
    ),
}

_STORED = frozenset({".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp", ".gif", ".pdf", ".xlsx"})


_CHOICE = "hand_out_originals"


def originals_are_chosen() -> bool:
    """Whether the person asked for photos as they are; not unless they did."""
    return bool(st.session_state.get(_CHOICE, False))


def originals_choice() -> None:
    """Ask whether photos go out as they are, and say what that means."""
    if st.toggle("Photos as they were given, with all that their files say", key=_CHOICE):
        lead(
            "Copies, folder and sealed record now hold the original files: the place where they were taken, camera "
            "and serial number, times, faces and number plates under blur marks, and who changed what when."
        )
    else:
        lead(
            "Photos go out without place, serial numbers and thumbnails, and with blur marks carried out. "
            "The originals stay untouched in the survey."
        )


def export_offers(held: state.OpenSurvey, *, originals: bool) -> dict[str, HandOut]:
    """Everything of `EXPORT_TITLES`, made when it is fetched.

    Parameters
    ----------
    held : OpenSurvey
        The open survey.
    originals : bool
        Photos as they were given.

    Returns
    -------
    dict of str to HandOut
        By the keys of `EXPORT_TITLES`.
    """
    name = file_name_for(held.survey.car.label)
    shown = SharedPhotos(held.survey, held.file.photo_bytes).to_show
    zipped = "application/zip"

    def workbook(folder: Path) -> None:
        write_xlsx(held.evaluation, folder / "one.xlsx")

    def gis(folder: Path) -> None:
        write_geopackage(held.evaluation, folder / "one.gpkg")

    def annotations(folder: Path) -> None:
        write_annotations(held.evaluation, folder / "one.jsonld")

    def marked(folder: Path) -> None:
        write_marked_photos(held.evaluation, shown, folder)

    def survey(folder: Path) -> None:
        (export_folder if originals else write_shared_folder)(held.file.path, folder / "survey")

    def copy(folder: Path) -> None:
        write_shared_file(held.file.path, folder / f"one{SUFFIX}", held.file.author)

    def seal(folder: Path) -> None:
        given = HandOver(held.evaluation, held.file.photo_bytes, datetime.now(UTC), rates_of(held)[0])
        seal_survey(given, held.file.path, folder / f"{name}-record", originals=originals)

    sheet = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    whole_copy = (lambda: copy_bytes(held.file)) if originals else _made(copy)
    return {
        "workbook": HandOut(f"{name}.xlsx", sheet, _made(workbook)),
        "marked": HandOut(f"{name}-marked-photos.zip", zipped, _zipped(marked)),
        "map": HandOut(f"{name}.gpkg", "application/geopackage+sqlite3", _made(gis)),
        "annotations": HandOut(f"{name}-marks.jsonld", "application/ld+json", _made(annotations)),
        "folder": HandOut(f"{name}.zip", zipped, _zipped(survey, inside="survey")),
        "copy": HandOut(f"{name}{SUFFIX}", "application/vnd.sqlite3", whole_copy),
        "seal": HandOut(f"{name}-record.zip", zipped, _zipped(seal)),
    }


def _made(write: Callable[[Path], None]) -> Callable[[], bytes]:
    """Bytes of the one file that a writer leaves in a folder."""

    def make() -> bytes:
        with tempfile.TemporaryDirectory(prefix="corromap-") as scratch:
            write(Path(scratch))
            (only,) = Path(scratch).iterdir()
            return only.read_bytes()

    return make


def _zipped(write: Callable[[Path], None], *, inside: str = "") -> Callable[[], bytes]:
    """Bytes of a zip of everything that a writer leaves in a folder."""

    def make() -> bytes:
        with tempfile.TemporaryDirectory(prefix="corromap-") as scratch:
            folder = Path(scratch) / "made"
            folder.mkdir()
            write(folder)
            target = Path(scratch) / "made.zip"
            with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
                for item in sorted((folder / inside).rglob("*")):
                    if item.is_file():
                        how = zipfile.ZIP_STORED if item.suffix.lower() in _STORED else zipfile.ZIP_DEFLATED
                        packed.write(item, item.relative_to(folder / inside).as_posix(), how)
            return target.read_bytes()

    return make
