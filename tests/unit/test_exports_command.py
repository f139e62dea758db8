"""Commands that hand over, seal and verify, as a person types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from corromap.cli import main
from corromap.io.survey_file import SurveyFile
from tests.store_scene import full_file


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return full_file(tmp_path_factory.mktemp("survey")).path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def sealed(survey: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sealed")
    assert run("key", folder / "key.pem", "--no-passphrase").exit_code == 0
    done = run("seal", survey, folder / "record", "--key", folder / "key.pem", "--signer", "I. Ecrou")
    assert done.exit_code == 0, done.output
    assert "signed by 'I. Ecrou'" in done.output
    assert "It holds the photos as they were given" in done.output
    return folder


def test_a_sealed_record_verifies_and_says_what_that_does_not_show(sealed: Path) -> None:
    done = run("verify", sealed / "record")
    assert done.exit_code == 0, done.output
    assert "files: all there, none changed, none added" in done.output
    assert "signature: fits; signed as 'I. Ecrou'" in done.output
    assert "time stamp: none; nothing here shows when it was made" in done.output
    assert "None of them shows that what is recorded is true." in done.output


def test_another_key_than_expected_fails(sealed: Path) -> None:
    done = run("verify", sealed / "record", "--public-key", "ab" * 32)
    assert done.exit_code == 3
    assert "signed with another key than the one expected" in done.output


def test_a_changed_file_fails_by_name(survey: Path, tmp_path: Path) -> None:
    assert run("seal", survey, tmp_path / "record", "--shareable").exit_code == 0
    (tmp_path / "record" / "data" / "report.html").write_text("other")
    (tmp_path / "record" / "data" / "new.txt").write_text("more")
    done = run("verify", tmp_path / "record")
    assert done.exit_code == 3
    assert "changed: data/report.html" in done.output
    assert "added: data/new.txt" in done.output


def test_a_later_survey_follows_the_record(sealed: Path, tmp_path: Path) -> None:
    later = full_file(tmp_path)
    done = run("follow", later.path, sealed / "record")
    assert done.exit_code == 0, done.output
    record = SurveyFile.open(later.path).load().survey.earlier_record
    assert f"follows record {record}" in done.output
    assert f"record {record}" in run("verify", sealed / "record").output
    wrong = run("follow", later.path, "12345")
    assert wrong.exit_code == 1
    assert "expected 64 digits of 0-9 a-f" in wrong.stderr


def test_the_request_for_a_time_stamp_is_written_and_nonsense_is_not_attached(survey: Path, tmp_path: Path) -> None:
    assert run("seal", survey, tmp_path / "record").exit_code == 0
    done = run("stamp", tmp_path / "record")
    assert done.exit_code == 0
    assert (tmp_path / "record" / "timestamp.tsq").stat().st_size > 0
    (tmp_path / "answer").write_bytes(b"<html>")
    wrong = run("stamp", tmp_path / "record", tmp_path / "answer")
    assert wrong.exit_code == 1
    assert "is not an answer under RFC 3161" in wrong.stderr
    assert run("verify", tmp_path / "record").exit_code == 0  # a request is no addition


def test_only_the_parts_asked_for_are_handed_over(survey: Path, tmp_path: Path) -> None:
    done = run("handover", survey, tmp_path / "out", "--only", "tables", "--only", "map")
    assert done.exit_code == 0, done.output
    names = sorted(path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*"))
    tables = ("groups", "marks", "photos", "rules", "zones")
    assert names == ["map.gpkg", "tables.xlsx", *(f"tables/{name}.csv" for name in tables)]


def test_annotations_name_the_marked_photos_beside_them(survey: Path, tmp_path: Path) -> None:
    assert run("handover", survey, tmp_path / "out", "--only", "annotations", "--only", "photos").exit_code == 0
    items = json.loads((tmp_path / "out" / "marks.jsonld").read_text("ascii"))["items"]
    for item in items:
        assert (tmp_path / "out" / item["target"]["source"]).is_file()


def test_export_keeps_the_originals_only_when_asked(survey: Path, tmp_path: Path) -> None:
    assert run("export", survey, tmp_path / "shared").exit_code == 0
    assert run("export", survey, tmp_path / "whole", "--originals").exit_code == 0
    shared, whole = (json.loads((tmp_path / name / "survey.json").read_text("utf-8")) for name in ("shared", "whole"))
    assert (shared["log"], len(whole["log"]) > 5) == ([], True)
    for photo in shared["photos"]:
        with Image.open(tmp_path / "shared" / "photos" / photo["file"]) as image:
            assert set(image.getexif()) <= {0x0112}
    file = SurveyFile.open(survey)
    originals = {file.photo_bytes(photo.id) for photo in file.load().survey.photos}
    assert originals <= {path.read_bytes() for path in (tmp_path / "whole" / "photos").iterdir()}


@pytest.mark.parametrize("command", ["verify", "stamp"])
def test_what_is_no_record_is_told(command: str, tmp_path: Path) -> None:
    done = run(command, tmp_path)
    assert done.exit_code == 1
    assert "give the folder of a sealed record" in done.stderr
