"""Writing the interchange folder: whole or not at all, replacing only its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from corromap.errors import OutputError, SurveyFileError
from corromap.io import interchange_files
from corromap.io.interchange import export_folder, import_folder, read_folder
from corromap.io.survey_file import SurveyFile
from tests.store_scene import as_plain, full_file, new_file, picture


def test_an_earlier_export_is_replaced_and_nothing_else(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    folder = export_folder(file.path, tmp_path / "out")
    file.undo()
    export_folder(file.path, folder)
    assert as_plain(read_folder(folder).record.survey) == as_plain(file.load().survey)
    (tmp_path / "empty").mkdir()
    export_folder(file.path, tmp_path / "empty")
    other = new_file(tmp_path, "other")
    before = (folder / "survey.json").read_bytes()
    with pytest.raises(OutputError, match="holds other things than an earlier export of this survey"):
        export_folder(other.path, folder)
    (folder / "mine.txt").write_text("keep me")
    with pytest.raises(OutputError, match="folder 'out' holds other things"):
        export_folder(file.path, folder)
    assert (folder / "survey.json").read_bytes() == before
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_an_export_that_fails_leaves_the_earlier_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = full_file(tmp_path)
    folder = export_folder(file.path, tmp_path / "out")
    before = (folder / "survey.json").read_bytes()
    file.undo()

    def full(_self: object, name: str, _data: bytes) -> None:
        raise OSError(28, "No space left on device", name)

    monkeypatch.setattr(interchange_files.FolderWriter, "write", full)
    with pytest.raises(OutputError, match="could not be written: No space left on device; what stood there before"):
        export_folder(file.path, folder)
    assert (folder / "survey.json").read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out", "survey.corromap"]


def test_a_file_in_the_way(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="'out' is there already and is not a folder"):
        export_folder(file.path, tmp_path / "out")
    with pytest.raises(SurveyFileError, match="is there already"):
        import_folder(export_folder(file.path, tmp_path / "out2"), file.path)


def test_export_of_a_damaged_file_leaves_nothing(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    data = bytearray(file.path.read_bytes())
    at = data.index(picture(1)[-60:])
    data[at + 5] ^= 1
    file.path.write_bytes(data)
    with pytest.raises(SurveyFileError, match="its bytes have changed on the disk"):
        export_folder(SurveyFile(file.path, "").path, tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["survey.corromap"]


def test_progress_counts_photos(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    folder = export_folder(
        full_file(tmp_path).path, tmp_path / "out", progress=lambda done, of: seen.append((done, of))
    )
    import_folder(folder, tmp_path / "made", progress=lambda done, of: seen.append((done, of)))
    assert seen == [(1, 3), (2, 3), (3, 3)] * 2
