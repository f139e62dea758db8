"""The command that says what to ask for, and the page it can write."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from corromap.cli import main
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from tests.report_page import parse
from tests.report_scene import jpeg
from tests.unit.surveys import TEMPLATE


def run(*arguments: str) -> str:
    result = CliRunner().invoke(main, ["ask", *arguments])
    assert result.exit_code == 0, result.output
    return result.output


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    path = tmp_path / "car.corromap"
    file = SurveyFile.create(path, TEMPLATE, default_rules())
    file.add_photo(jpeg(), "floor.jpg", "seller")
    return path


def test_standard_list_of_a_body() -> None:
    text = run("--body", "small-hatchback")
    assert text.startswith("PHOTOS TO TAKE")
    assert "axle stands" in text
    assert "\n1. " in text


def test_survey_with_a_photo_that_is_not_placed_asks_for_everything(survey: Path) -> None:
    assert "\n1. " in run(str(survey))
    assert run(str(survey), "--seller").startswith("Hello,")


def test_page_to_print(tmp_path: Path) -> None:
    target = tmp_path / "list.html"
    run("--page", str(target))
    page = parse(target.read_text(encoding="utf-8"))
    assert page.faults == []
    assert page.addresses() == []
    assert len(page.all("svg")) == len([li for li in page.all("li") if li.attributes.get("class") == "ask"]) > 8
    assert "Before you start" in page.text


def test_survey_and_body_together_are_wrong_use(survey: Path) -> None:
    result = CliRunner().invoke(main, ["ask", str(survey), "--body", "small-hatchback"])
    assert result.exit_code == 2
    assert "not both" in result.output


def test_unknown_body_and_unwritable_page_are_told(tmp_path: Path) -> None:
    for arguments in (["--body", "no-such-body"], ["--page", str(tmp_path / "none" / "list.html")]):
        result = CliRunner().invoke(main, ["ask", *arguments])
        assert result.exit_code == 1
        assert result.output.startswith("corromap: ")


@pytest.mark.parametrize("more", [(), ("--hole", "2")])
def test_detail_map_is_written(survey: Path, tmp_path: Path, more: tuple[str, ...]) -> None:
    target = tmp_path / "detail.svg"
    result = CliRunner().invoke(main, ["detail", str(survey), str(target), *more])
    assert result.exit_code == 0, result.output
    text = target.read_text(encoding="utf-8")
    assert text.startswith("<?xml")
    assert f"well enough for a hole of {2 if more else 5} mm" in text


def test_a_smaller_hole_needs_a_survey() -> None:
    result = CliRunner().invoke(main, ["ask", "--hole", "2"])
    assert result.exit_code == 2
    assert "--hole says what the survey's photos must show" in result.output
