"""Surveys as a folder that other programs can read: ``survey.json`` and ``photos/``.

Both ways without loss: the same bytes, the same ids, the same numbers to the
last bit, the log included, so that undo works on the other side. The folder is
described in ``docs/conventions/interchange.md``.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from corromap.errors import InterchangeError, PhotoError, RatesError, RuleSetError, SurveyFileError, TemplateError
from corromap.io import survey_codec as codec
from corromap.io.document_fields import Document, parse_object
from corromap.io.interchange_document import PhotoFile, SurveyDocument, document_text, parse_document
from corromap.io.interchange_files import FolderReader, file_name, fresh_folder
from corromap.io.json_text import parse
from corromap.io.photos import check_photo, read_header
from corromap.io.rules import default_rules
from corromap.io.survey_bundle import Progress, SurveyBundle, check_bundle, opened_bundle, write_bundle
from corromap.io.survey_db import with_suffix
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_record import SurveyRecord, reference_faults
from corromap.io.templates import list_templates, load_template, template_document

__all__ = ["export_folder", "import_folder", "read_folder", "write_folder"]

DOCUMENT_NAME = "survey.json"


def export_folder(
    survey_path: Path | str, folder: Path | str, *, history: bool = True, progress: Progress | None = None
) -> Path:
    """Write a survey file as an interchange folder, whole or not at all.

    Parameters
    ----------
    survey_path : Path or str
        The survey file.
    folder : Path or str
        The folder to be. One that is there is replaced only when it is empty
        or an earlier export of the same survey.
    history : bool
        False leaves out the log and the photos that were removed.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    SurveyFileError
        If the file cannot be read.
    OutputError
        If the folder cannot be written; what stood there is untouched.
    """
    with opened_bundle(Path(survey_path), history=history) as bundle:
        return write_folder(bundle, folder, progress=progress)


def write_folder(bundle: SurveyBundle, folder: Path | str, *, progress: Progress | None = None) -> Path:
    """Write a bundle as an interchange folder; see `export_folder`."""
    target = Path(folder)
    files = _file_names(bundle)
    with fresh_folder(target, bundle.head.id) as fresh:
        for done, sha256 in enumerate(bundle.digests):
            fresh.write(f"photos/{files[sha256]}", bundle.blob(sha256))
            if progress:
                progress(done + 1, len(bundle.digests))
        fresh.write(DOCUMENT_NAME, document_text(bundle, files).encode())
    return target


def _file_names(bundle: SurveyBundle) -> dict[str, str]:
    names = {sha256: f"removed-{sha256[:16]}" for sha256 in bundle.removed}
    for i, photo in enumerate(bundle.record.survey.photos):
        names[photo.sha256] = file_name(i + 1, photo.name)
    return names


def read_folder(folder: Path | str) -> SurveyBundle:
    """Read an interchange folder; photos are read again when asked for.

    Parameters
    ----------
    folder : Path or str
        Holds ``survey.json`` and ``photos/``.

    Returns
    -------
    SurveyBundle
        Checked: every number, every id, every photo's SHA-256 and size.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    reader = FolderReader(Path(folder))
    document = parse_document(
        parse(reader.document(DOCUMENT_NAME), "survey"), lambda item, where, i: _photo_file(reader, item, where, i)
    )
    paths = {file.photo.sha256: file.file for file in document.files} | dict(document.removed)
    _check_files(reader, document)
    template, rules = _template(document.template), _rules(document.rules)
    latest = document.log[-1].change.id if document.log else 0
    record = SurveyRecord(document.survey, template, rules, latest, document.rates)
    _check_record(record)
    bundle = SurveyBundle(
        record, document.head, document.log, tuple(document.removed), lambda sha256: reader.photo(paths[sha256])
    )
    try:
        check_bundle(bundle)
    except (SurveyFileError, InterchangeError) as error:
        raise InterchangeError(f"survey.log: {error}") from error
    return bundle


def import_folder(
    folder: Path | str, survey_path: Path | str, *, author: str = "", progress: Progress | None = None
) -> SurveyFile:
    """Make a survey file from an interchange folder, whole or not at all.

    Parameters
    ----------
    folder : Path or str
        Holds ``survey.json`` and ``photos/``.
    survey_path : Path or str
        The file to be; must not be there yet.
    author : str
        Who brings it in.
    progress : callable, optional
        Called with (photos done, photos in all).

    Returns
    -------
    SurveyFile
        Open on the new file.

    Raises
    ------
    InterchangeError
        If the folder is not usable, with the path to the fault.
    SurveyFileError
        If the file is there already or cannot be written.
    """
    bundle = read_folder(folder)
    path = with_suffix(survey_path)
    label = "changes made outside corromap, brought in from a folder" if bundle.log else "brought in from a folder"
    write_bundle(path, bundle, author, label, progress)
    return SurveyFile.open(path, author=author)


def _photo_file(reader: FolderReader, item: Document, where: str, number: int) -> PhotoFile:
    """Fill in what the author left out, and check what is given, against the file itself."""
    file = reader.checked_name(item.pop("file", None), f"{where}.file")
    try:
        data = reader.photo(file)
        header = (read_header if item.get("sha256") else check_photo)(data, file)
    except (PhotoError, InterchangeError) as error:
        raise InterchangeError(f"{where}.file: {error}") from error
    known: Document = {
        "id": f"photo-{number + 1}",
        "name": file,
        "sha256": hashlib.sha256(data).hexdigest(),
        "width_px": int(header.width_px),
        "height_px": int(header.height_px),
        "camera": header.camera,
        "focal_px": header.focal_px,
        "taken_at": header.taken_at,
        "order": number + 1,
    }
    photo = codec.parse_photo(known | item, where)
    if photo.sha256 != known["sha256"]:
        raise InterchangeError(f"{where}.sha256: the file '{file}' is not the photo that was recorded; it was changed")
    if (photo.width_px, photo.height_px) != (header.width_px, header.height_px):
        raise InterchangeError(
            f"{where}: says {photo.width_px} x {photo.height_px} px, the file '{file}' has "
            f"{header.width_px} x {header.height_px} px when upright"
        )
    return PhotoFile(photo, file)


def _check_files(reader: FolderReader, document: SurveyDocument) -> None:
    seen: dict[str, int] = {}
    for i, file in enumerate(document.files):
        if file.photo.sha256 in seen:
            first = seen[file.photo.sha256]
            raise InterchangeError(f"survey.photos[{i}]: the same picture as survey.photos[{first}]; keep one")
        seen[file.photo.sha256] = i
    for i, (sha256, name) in enumerate(document.removed.items()):
        where = f"survey.removed_photos[{i}]"
        data = reader.photo(reader.checked_name(name, f"{where}.file"))
        if hashlib.sha256(data).hexdigest() != sha256:
            raise InterchangeError(f"{where}.sha256: the file '{name}' is not the photo that was recorded")
    reader.refuse_others({file.file for file in document.files} | set(document.removed.values()))


def _template(given: object) -> Document:
    if not isinstance(given, str):
        return parse_object(given, "survey.template")
    known = [template_id for template_id, _ in list_templates()]
    if given not in known:
        raise InterchangeError(f"survey.template: no body template '{given:.60}'; there are {', '.join(known)}")
    return template_document(load_template(given))


def _rules(given: object) -> Document:
    return default_rules().to_document() if given is None else parse_object(given, "survey.rules")


def _check_record(record: SurveyRecord) -> None:
    try:
        faults = reference_faults(record)
        record.rules, record.rates  # noqa: B018  # reads and checks them
    except TemplateError as error:
        raise InterchangeError(f"survey.template: {error}") from error
    except RuleSetError as error:
        raise InterchangeError(f"survey.rules: {error}") from error
    except RatesError as error:
        raise InterchangeError(f"survey.rates: {error}") from error
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise InterchangeError(f"survey.{faults[0]}{more}")
