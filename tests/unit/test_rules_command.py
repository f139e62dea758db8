"""The rules command: shown, copied, changed, chosen for a survey, and what changes told."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from corromap.cli import main
from corromap.io.rules import default_rules, load_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template


def run(*arguments: object) -> Result:
    return CliRunner(env={"COLUMNS": "200"}).invoke(main, ["rules", *map(str, arguments)])


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    path = tmp_path / "car.corromap"
    SurveyFile.create(path, load_template("two-seat-open"), default_rules())
    return path


def test_default_set_is_shown_with_its_sources() -> None:
    result = run()
    assert result.exit_code == 0
    assert "House rules (house), version 2: 31 rules." in result.output
    assert "common practice" in result.output
    assert "differs" not in result.output


def test_copied_changed_and_chosen(tmp_path: Path, survey: Path) -> None:
    mine = tmp_path / "mine.toml"
    assert run("--write", mine).exit_code == 0
    text = mine.read_text(encoding="utf-8").replace('name = "House rules"', 'name = "Strict rules"')
    text = text.replace('at_least = 4\nunit = "pieces"', 'at_least = 2\nunit = "pieces"')
    text = text.replace(
        'at_least = 20\nunit = "%"\nscope = "zone"\nroles = ["primary"]\noutcome = "not shown"',
        'at_least = 100\nunit = "%"\nscope = "zone"\nroles = ["primary"]\noutcome = "not shown"',
    )
    mine.write_text(text, encoding="utf-8")
    result = run(survey, "--use", mine)
    assert result.exit_code == 0, result.output
    assert "Strict rules, version 2, is in force." in result.output
    assert "Outcome: not shown, as before." in result.output
    assert SurveyFile.open(survey).load().rules == load_rules(mine)
    shown = run(survey).output
    assert (
        "differs from the default: 'Separate patches in one load-bearing zone': from 2 pieces instead of from 4"
        in shown
    )
    assert "Outcome" in run(survey, "--use", "default").output
    assert SurveyFile.open(survey).load().rules == default_rules()


def test_a_faulty_file_leaves_the_survey_alone(tmp_path: Path, survey: Path) -> None:
    mine = tmp_path / "mine.toml"
    run("--write", mine)
    lines = mine.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("unit ="))
    lines[at] = 'unit = "furlong"'
    mine.write_text("\n".join(lines), encoding="utf-8")
    result = run(survey, "--use", mine)
    assert result.exit_code == 1
    assert f"rule file 'mine.toml', line {at + 1}: rule 1" in result.output
    assert SurveyFile.open(survey).load().rules == default_rules()


def test_nothing_is_overwritten_and_use_needs_a_survey(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text("mine", encoding="utf-8")
    assert "is there already" in run("--write", mine).output
    assert mine.read_text(encoding="utf-8") == "mine"
    assert run("--use", mine).exit_code == 2
