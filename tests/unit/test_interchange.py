"""The interchange folder: written whole, read strictly, filled in for people who write by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from corromap.errors import InterchangeError
from corromap.io import interchange_files
from corromap.io.interchange import export_folder, import_folder, read_folder
from corromap.io.interchange_files import file_name
from corromap.survey import Settings
from tests.store_scene import HARD_TEXTS, TEMPLATE, as_plain, full_file, picture, rules_document

SCHEMA = json.loads(Path("corromap/io/survey.schema.json").read_text("utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
RING = [[1, 2], [30, 2], [15, 25]]


def by_hand(**more: object) -> dict[str, Any]:
    """What a person writes: only what is needed."""
    return {
        "format": "corromap survey",
        "version": 1,
        "template": TEMPLATE,
        "photos": [{"file": "left sill.png"}, {"file": "b.jpg", "id": "b", "source": "seller"}],
        "marks": [{"photo": "b", "kind": "rust", "outline": {"exterior_px": RING}}],
        "sightings": [{"photo": "photo-1", "datum": "drain", "at_px": [3, 4.5]}],
        "notes": [{"text": "magnet falls off"}],
        **more,
    }


def write(folder: Path, document: object) -> Path:
    photos = folder / "in" / "photos"
    photos.mkdir(parents=True, exist_ok=True)
    (photos / "left sill.png").write_bytes(picture(1))
    (photos / "b.jpg").write_bytes(picture(2, "JPEG"))
    text = document if isinstance(document, str) else json.dumps(document)
    (folder / "in" / "survey.json").write_text(text, "utf-8")
    return folder / "in"


def test_schema_itself_is_valid() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_export_validates_and_comes_back_the_same(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    folder = export_folder(file.path, tmp_path / "out")
    document = json.loads((folder / "survey.json").read_text("utf-8"))
    VALIDATOR.validate(document)
    again = import_folder(folder, tmp_path / "again")
    assert as_plain(again.load().survey) == as_plain(file.load().survey)
    assert again.history(1000) == file.history(1000)
    assert again.undo() == "photo 'gone.png' removed"
    assert again.photo_bytes(again.load().survey.photos[2].id) == picture(3)


def test_export_without_history(tmp_path: Path) -> None:
    folder = export_folder(full_file(tmp_path).path, tmp_path / "out", history=False)
    document = json.loads((folder / "survey.json").read_text("utf-8"))
    assert document["log"] == document["removed_photos"] == []
    assert len(list((folder / "photos").iterdir())) == 2
    VALIDATOR.validate(document)


def test_photos_lie_there_byte_for_byte(tmp_path: Path) -> None:
    folder = export_folder(full_file(tmp_path).path, tmp_path / "out")
    assert (folder / "photos" / "002-sill.jpg").read_bytes() == picture(2, "JPEG")


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("sill left.JPG", "007-sill_left.JPG"),
        ("../../etc/passwd", "007-etc_passwd"),
        ("C:\\x\\con", "007-C_x_con"),
        (HARD_TEXTS[1], "007-right_to_left"),
        ("\U0001f697.png", "007-photo.png"),
        (".hidden", "007-hidden"),
        ("a" * 300 + ".jpeg", "007-" + "a" * 60 + ".jpeg"),
        ("", "007-photo"),
    ],
)
def test_file_names_that_every_system_keeps(name: str, kept: str) -> None:
    assert file_name(7, name) == kept


def test_by_hand_is_filled_in(tmp_path: Path) -> None:
    document = by_hand()
    VALIDATOR.validate(document)
    file = import_folder(write(tmp_path, document), tmp_path / "made", author="me")
    survey = file.load().survey
    first, second = survey.photos
    assert (first.id, first.name, first.width_px, first.height_px, first.order) == (
        "photo-1",
        "left sill.png",
        40,
        30,
        1,
    )
    assert (second.id, second.source, second.order) == ("b", "seller", 2)
    assert file.photo_bytes(second.id) == picture(2, "JPEG")
    assert [mark.id for mark in survey.marks] == ["mark-1"]
    assert survey.settings == Settings()
    assert file.load().rules_document == rules_document()
    assert [(c.action, c.author, c.label) for c in file.history()] == [("start", "me", "brought in from a folder")]
    assert file.undo() is None
    assert file.check() == ()


def test_template_by_name(tmp_path: Path) -> None:
    document = by_hand(template="two-seat-open", sightings=[])
    assert read_folder(write(tmp_path, document)).record.template.id == "two-seat-open"


def test_example_of_the_documentation(tmp_path: Path) -> None:
    text = Path("docs/conventions/interchange.md").read_text("utf-8")
    example = text.split("```json\n")[1].split("```")[0]
    VALIDATOR.validate(json.loads(example))
    folder = tmp_path / "in"
    (folder / "photos").mkdir(parents=True)
    (folder / "photos" / "left sill.jpg").write_bytes(picture(2, "JPEG"))
    (folder / "survey.json").write_text(example, "utf-8")
    survey = import_folder(folder, tmp_path / "made").load().survey
    assert survey.photos[0].name == "left sill.jpg"
    assert survey.sightings[0].at_px.tolist() == [412.5, 300]


def test_marks_edited_by_hand_are_taken_and_logged(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    folder = export_folder(file.path, tmp_path / "out")
    document = json.loads((folder / "survey.json").read_text("utf-8"))
    document["marks"][0]["note"] = "edited outside"
    del document["marks"][1]
    (folder / "survey.json").write_text(json.dumps(document), "utf-8")
    again = import_folder(folder, tmp_path / "again", author="me")
    latest = again.history(1)[0]
    assert latest.label == "changes made outside corromap, brought in from a folder"
    assert [mark.id for mark in again.load().survey.marks] == [m["id"] for m in document["marks"]]
    assert again.undo() == latest.label
    assert as_plain(again.load().survey) == as_plain(file.load().survey)


def with_change(path: str, value: object) -> dict[str, Any]:
    """By-hand document with one value set, or removed when it is `...`."""
    document = json.loads(json.dumps(by_hand()))
    at: Any = document
    *way, last = path.split(".")
    for step in way:
        at = at[int(step) if step.isdigit() else step]
    if value is ...:
        del at[last]
    else:
        at[int(last) if last.isdigit() else last] = value
    return document


BOTH = [  # refused by the reader, with the path, and by the JSON Schema
    ("format", "something else", r"survey\.format"),
    ("version", 3, r"survey\.version: 3; this program reads versions 1 to 2; update corromap"),
    ("version", "1", r"survey\.version: expected a whole number"),
    ("template", ..., r"survey: key 'template' is missing"),
    ("template", 7, r"survey\.template: expected an object, found 7"),
    ("colour", "red", r"survey: unknown key 'colour'; correct the name or remove it"),
    ("car", {"lable": "x"}, r"survey\.car: unknown key 'lable'"),
    ("car", [], r"survey\.car: expected an object, found a list"),
    ("car", {"label": 5}, r"survey\.car\.label: expected a text, found 5"),
    ("settings", {"click_sigma_px": 0}, r"survey\.settings: setting click_sigma_px"),
    ("photos", {}, r"survey\.photos: expected a list, found an object"),
    ("photos.0", "a.jpg", r"survey\.photos\[0\]: expected an object"),
    ("photos.0.file", ..., r"survey\.photos\[0\]\.file: expected a file name"),
    ("photos.0.file", "../b.jpg", r"survey\.photos\[0\]\.file: '../b\.jpg' is not a plain file name"),
    ("photos.0.file", "/etc/passwd", r"photos\[0\]\.file: '/etc/passwd' is not a plain"),
    ("photos.0.file", "C:b.jpg", r"photos\[0\]\.file: 'C:b\.jpg' is not a plain"),
    ("photos.0.file", "..\\b.jpg", r"photos\[0\]\.file: .* is not a plain"),
    ("photos.0.sha256", "abc", r"survey\.photos\[0\]\.sha256: expected 64 digits"),
    ("photos.0.width_px", 40.5, r"survey\.photos\[0\]\.width_px: expected a whole number, found 40\.5"),
    ("photos.0.width_px", True, r"survey\.photos\[0\]\.width_px: expected a whole number, found true or false"),
    ("photos.0.focal_px", -1, r"survey\.photos\[0\]: .*focal length -1"),
    ("photos.0.exif", {}, r"survey\.photos\[0\]: unknown key 'exif'"),
    (
        "marks.0.kind",
        "dent",
        r"survey\.marks\[0\]\.kind: expected one of rust, filler, .*; found 'dent'",
    ),
    ("marks.0.fixing", "seam", r"survey\.marks\[0\]: .*fixing belongs to a patch"),
    ("marks.0.stage", "deep", r"survey\.marks\[0\]\.stage: expected one of surface, scaled, holed"),
    ("marks.0.outline.exterior_px", [[1, 2], [3, 4]], r"survey\.marks\[0\]\.outline: .*at least 3 points, found 2"),
    ("marks.0.outline.exterior_px.1", [1, 2, 3], r"survey\.marks\[0\]\.outline\.exterior_px\[1\]: expected a point"),
    (
        "marks.0.outline.exterior_px.1",
        [1, "2"],
        r"survey\.marks\[0\]\.outline\.exterior_px\[1\]\[1\]: expected a",
    ),
    ("marks.0.outline.holes_px", [[[1, 2]]], r"survey\.marks\[0\]\.outline: hole 1"),
    ("marks.0.panels", "floor", r"survey\.marks\[0\]\.panels: expected a list, found a text"),
    ("marks.0.id", "", r"survey\.marks\[0\]\.id: an id has 1 to 200"),
    ("sightings.0.at_px", [1], r"survey\.sightings\[0\]\.at_px: expected a point"),
    ("notes.0.text", None, r"survey\.notes\[0\]\.text: expected a text, found null"),
    ("notes.0.text", "x" * 20_001, r"survey\.notes\[0\]\.text: 20001 characters; at most 20000"),
    ("log", [{"id": 1}], r"survey\.log\[0\]: key 'at' is missing"),
    ("removed_photos", [{"file": "x"}], r"survey\.removed_photos\[0\]: key 'sha256' is missing"),
]

READER_ONLY = [  # a schema cannot say these
    ("template", "no-such-body", r"survey\.template: no body template 'no-such-body'; there are "),
    ("template", {"id": "x"}, r"survey\.template: "),
    ("rules", {"id": "x"}, r"survey\.rules: "),
    ("photos.0.file", "none.jpg", r"survey\.photos\[0\]\.file: 'none\.jpg' is not there"),
    ("photos.0.file", "NUL.jpg", r"survey\.photos\[0\]\.file: 'NUL\.jpg' is not a plain file name"),
    ("photos.0.file", "..", r"survey\.photos\[0\]\.file: '\.\.' is not a plain file name"),
    ("photos.0.file", "a\u202eb.jpg", r"survey\.photos\[0\]\.file: .* is not a plain file name"),
    ("photos.0.sha256", "0" * 64, r"survey\.photos\[0\]\.sha256: the file 'left sill\.png' is not the photo"),
    ("photos.0.width_px", 30, r"survey\.photos\[0\]: says 30 x 30 px, the file 'left sill\.png' has 40 x 30 px"),
    ("photos.1.file", "left sill.png", r"survey\.photos\[1\]: the same picture as survey\.photos\[0\]; keep one"),
    ("photos.1.id", "photo-1", r"survey: photo id given twice: photo-1"),
    ("photos.1.id", "a\u202eb", r"survey\.photos\[1\]\.id: an id has 1 to 200 printable"),
    ("marks.0.photo", "photo-9", r"survey: .* names photo 'photo-9', which is not there"),
    ("marks.0.panels", ["roof"], r"survey\.marks\[0\]\.panels: template 'one-floor' has no panel 'roof'"),
    (
        "sightings.0.datum",
        "nowhere",
        r"survey\.sightings\[0\]\.datum: template 'one-floor' has no datum",
    ),
    ("notes.0.zone", "boot", r"survey\.notes\[0\]\.zone: template 'one-floor' has no zone 'boot'"),
    ("photos", [], r"survey: .* names photo 'b'"),
]


@pytest.mark.parametrize(("path", "value", "told"), BOTH + READER_ONLY)
def test_refused_with_the_path_and_nothing_written(tmp_path: Path, path: str, value: object, told: str) -> None:
    folder = write(tmp_path, with_change(path, value))
    with pytest.raises(InterchangeError, match=told):
        import_folder(folder, tmp_path / "made")
    assert [p.name for p in tmp_path.iterdir()] == ["in"]


@pytest.mark.parametrize(("path", "value", "told"), BOTH)
def test_the_schema_refuses_it_too(path: str, value: object, told: str) -> None:
    assert not VALIDATOR.is_valid(with_change(path, value)), told


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("4.5", "NaN", r"survey\.sightings\[0\]\.at_px\[1\]: expected a finite number"),
        ("4.5", "1e999", r"survey\.sightings\[0\]\.at_px\[1\]: expected a finite number, found inf"),
        ('"kind":', '"kind": "rust", "kind":', r"survey\.marks\[0\]: key 'kind' is given twice"),
        ("magnet", "\\ud83d", r"survey\.notes\[0\]\.text: holds half a character"),
        ('"magnet falls off"', "[" * 100_000 + "]" * 100_000, "nested deeper than 32"),
        ('"magnet falls off"', "[" * 40 + "]" * 40, r"survey\.notes\[0\].*: nested deeper than 32"),
        ("}]}", "}]", "survey: not JSON at line 1"),
    ],
)
def test_text_that_is_not_strict_json(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = json.dumps(by_hand())
    assert text.count(old) >= 1
    folder = write(tmp_path, text[::-1].replace(old[::-1], new[::-1], 1)[::-1])
    with pytest.raises(InterchangeError, match=told):
        read_folder(folder)


def test_a_file_nobody_names_is_told(tmp_path: Path) -> None:
    folder = write(tmp_path, by_hand())
    (folder / "photos" / ".DS_Store").write_bytes(b"x")
    (folder / "photos" / "Thumbs.db").write_bytes(b"x")
    read_folder(folder)
    (folder / "photos" / "forgotten.jpg").write_bytes(picture(5))
    with pytest.raises(InterchangeError, match=r"does not name 'forgotten\.jpg', which lies in 'photos'"):
        read_folder(folder)


def test_links_are_not_followed(tmp_path: Path) -> None:
    folder = write(tmp_path, by_hand())
    outside = tmp_path / "outside.png"
    outside.write_bytes(picture(6))
    (folder / "photos" / "left sill.png").unlink()
    (folder / "photos" / "left sill.png").symlink_to(outside)
    with pytest.raises(InterchangeError, match=r"photos\[0\]\.file: 'left sill\.png' is a link, which is not followed"):
        read_folder(folder)


@pytest.mark.parametrize(("data", "told"), [(b"", "empty"), (b"GIF89a", "b.jpg"), (picture(2, "JPEG")[:500], "b.jpg")])
def test_a_photo_that_is_none_or_cut_off(tmp_path: Path, data: bytes, told: str) -> None:
    folder = write(tmp_path, by_hand())
    (folder / "photos" / "b.jpg").write_bytes(data)
    with pytest.raises(InterchangeError, match=rf"survey\.photos\[1\]\.file: .*{told}"):
        read_folder(folder)


def test_sizes_are_limited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, by_hand())
    monkeypatch.setattr(interchange_files, "MAX_PHOTO_BYTES", 100)
    with pytest.raises(InterchangeError, match=r"'left sill\.png' has \d+ bytes; at most 100 are taken"):
        read_folder(folder)
    monkeypatch.setattr(interchange_files, "MAX_DOCUMENT_BYTES", 100)
    with pytest.raises(InterchangeError, match=r"'survey\.json' has \d+ bytes; at most 100 are taken"):
        read_folder(folder)


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda p: None, "'in' is not there; give the folder that holds survey.json"),
        (lambda p: p.write_text("x"), "'in' is a file; give the folder"),
        (lambda p: p.mkdir(), "folder 'in' holds no survey.json"),
    ],
)
def test_no_folder(tmp_path: Path, make: Any, told: str) -> None:
    make(tmp_path / "in")
    with pytest.raises(InterchangeError, match=told.replace(".", r"\.")):
        import_folder(tmp_path / "in", tmp_path / "made")


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda log: log.pop(2), r"survey\.log: the log has change 4"),
        (lambda log: log[2]["entries"].pop(), r"survey\.log: .* is not as the log says"),
        (
            lambda log: log[1]["entries"][0]["after"]["document"].update(extra=1),
            r"survey\.log: photo 'photo-1': unknown key",
        ),
        (lambda log: log[1].update(action="start"), r"survey\.log: the log has change 2 \(start\)"),
        (lambda log: log[1].update(action="erase"), r"survey\.log: "),
        (lambda log: log[1].update(reverses=77), r"survey\.log: .*takes back change 77"),
        (lambda log: log[1]["entries"][0].update(kind="blobs"), r"survey\.log: .*'blobs', which has no log"),
    ],
)
def test_a_log_that_contradicts_itself(tmp_path: Path, spoil: Any, told: str) -> None:
    folder = export_folder(full_file(tmp_path).path, tmp_path / "in")
    document = json.loads((folder / "survey.json").read_text("utf-8"))
    spoil(document["log"])
    (folder / "survey.json").write_text(json.dumps(document), "utf-8")
    with pytest.raises(InterchangeError, match=told):
        import_folder(folder, tmp_path / "made")
    assert not (tmp_path / "made.corromap").exists()
