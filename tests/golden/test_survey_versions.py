"""Files of every earlier version open, and hold what they held.

``survey_v<n>.sql`` builds a file of schema version n; ``survey_v<n>.json`` is what it held, as the program of that
time exported it. Both are frozen: they stand for files that people have.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from corromap.errors import SurveyFileError
from corromap.io import migrations
from corromap.io.foreign import open_foreign
from corromap.io.interchange import export_folder, import_folder
from corromap.io.migrations import CURRENT_VERSION, SCHEMAS, STEPS
from corromap.io.survey_file import SurveyFile
from corromap.survey import Note
from tests.store_scene import as_plain

GOLDEN = Path(__file__).parent
VERSIONS = range(1, CURRENT_VERSION + 1)


def build(version: int, path: Path) -> Path:
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA page_size = 16384")
        conn.executescript((GOLDEN / f"survey_v{version}.sql").read_text("utf-8"))
    return path


@pytest.fixture(params=VERSIONS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return build(request.param, tmp_path / f"survey_v{request.param}.corromap")


def test_every_version_has_its_schema_its_step_and_its_golden_file() -> None:
    assert sorted(SCHEMAS) == list(VERSIONS)
    assert sorted(STEPS) == list(VERSIONS)[:-1]
    for version in VERSIONS:
        statements = [
            line.rstrip(";")
            for line in (GOLDEN / f"survey_v{version}.sql").read_text("utf-8").splitlines()
            if line.startswith("CREATE ")
        ]
        assert sorted(statements) == sorted(SCHEMAS[version])


def test_it_opens_and_is_sound(old: Path) -> None:
    file = SurveyFile.open(old, author="today")
    assert file.check() == ()
    assert file.undo() == "photo 'gone.png' removed"
    assert file.put_note(Note("n2", "written today")) == file.known_revision
    assert file.check() == ()


LATER_LISTS = ("hand_findings", "shell_checks", "settlements", "ties", "lengths", "scales")


def as_written_today(exported: dict[str, Any]) -> dict[str, Any]:
    """Add what later versions say where an earlier one was silent."""
    unsaid = {name: [] for name in LATER_LISTS} | {"rates": {}, "earlier": {"sha256": ""}}
    settings = {
        "smallest_hole_mm": 5.0, "picture_mm_per_px": 1.0, "patch_gap_mm": 2.0,
        "paper": "A4", "length_unit": "mm", "language": "en", "currency": "EUR",
        "pixels_across": 2.0,
    }  # fmt: skip
    return unsaid | exported | {"version": 2, "settings": settings | exported["settings"]}


def test_it_holds_what_it_held(old: Path, tmp_path: Path) -> None:
    expected = json.loads((GOLDEN / f"{old.stem}.json").read_text("utf-8"))
    folder = export_folder(SurveyFile.open(old).path, tmp_path / "out")
    assert json.loads((folder / "survey.json").read_text("utf-8")) == as_written_today(expected)
    file = import_folder(folder, tmp_path / "again")
    assert as_plain(file.load().survey) == as_plain(SurveyFile.open(old).load().survey)


def test_a_few_values_read_by_eye(old: Path) -> None:
    survey = SurveyFile.open(old).load().survey
    assert survey.photos[0].name == "\U0001f697 \U0001f469\u200d\U0001f527 e\u0301 \u00e9.png"
    assert survey.photos[1].name.startswith("sill.")
    assert [(m.id, m.photo, m.kind.value) for m in survey.marks] == [
        ("m1", "photo-1", "rust"),
        ("m2", "photo-2", "patch"),
        ("m4", "photo-2", "rust"),
        ("m5", "photo-2", "sound"),
    ]
    assert survey.marks[0].outline.exterior_px.tolist() == [[1.5, 2.25], [10.1, 1 / 3], [5e-324, 7.0]]
    assert (survey.sightings[0].datum, survey.sightings[0].at_px.tolist()) == ("drain", [3.25, 0.0])
    assert survey.settings.outline_sigma_px == 2.5


def test_what_version_2_brought_read_by_eye(tmp_path: Path) -> None:
    record = SurveyFile.open(build(2, tmp_path / "v2.corromap")).load()
    survey = record.survey
    assert [(f.kind.value, f.at_mm.tolist(), f.thickness_mm) for f in survey.hand_findings] == [
        ("gauge", [1 / 3, 5e-324], 0.55),
        ("magnet", [10.0, 20.0], None),
    ]
    assert [(c.kind.value, c.place, c.ground_mm, c.raised_mm, c.found) for c in survey.shell_checks] == [
        ("door gap", "left top", 4.5, 6.0, None),
        ("door binds", "right", None, None, True),
    ]
    assert [(w.mark, w.photo, w.view.value) for w in survey.settlements] == [("m1", "photo-2", "cannot tell")]
    assert survey.ties[0].new_px.tolist() == survey.ties[0].known_px.tolist()[::-1]
    assert (survey.lengths[0].length_mm, survey.lengths[0].sigma_mm) == (901.5, 1.5)
    assert survey.scales[0].at_mm.tolist() == [[0.0, 0.0], [100.0, 0.0]]
    assert (survey.settings.paper, survey.settings.length_unit, survey.settings.currency) == ("Letter", "in", "GBP")
    assert (record.rates.name, record.rates.currency) == ("Mine", "GBP")
    assert survey.earlier_record == "ab" * 32


def test_a_stranger_may_have_it_too(old: Path, tmp_path: Path) -> None:
    before = old.read_bytes()
    mine = open_foreign(old, tmp_path / "mine")
    assert mine.check() == ()
    assert old.read_bytes() == before


# The way from one version to the next, tried with a version that does not exist yet

NEXT = CURRENT_VERSION + 1
EXTRA = "CREATE TABLE extra (id TEXT PRIMARY KEY) STRICT"


def with_next_version(monkeypatch: pytest.MonkeyPatch, *statements: str) -> None:
    def step(conn: sqlite3.Connection) -> None:
        for statement in statements:
            conn.execute(statement)

    monkeypatch.setattr(migrations, "SCHEMAS", {**SCHEMAS, NEXT: (*SCHEMAS[CURRENT_VERSION], EXTRA)})
    monkeypatch.setattr(migrations, "STEPS", {**STEPS, CURRENT_VERSION: step})
    monkeypatch.setattr(migrations, "CURRENT_VERSION", NEXT)


def version_of(path: Path) -> int:
    with closing(sqlite3.connect(path)) as conn:
        return int(conn.execute("PRAGMA user_version").fetchone()[0])


def test_an_older_file_is_brought_up_when_it_is_opened(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = as_plain(SurveyFile.open(old).load().survey)
    with_next_version(monkeypatch, EXTRA)
    file = SurveyFile.open(old)
    assert version_of(old) == NEXT
    assert as_plain(file.load().survey) == before
    assert file.check() == ()


def test_a_strangers_older_file_is_brought_up_in_a_copy(
    old: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with_next_version(monkeypatch, EXTRA)
    before = old.read_bytes()
    mine = open_foreign(old, tmp_path / "mine")
    assert old.read_bytes() == before
    assert version_of(mine.path) == NEXT
    assert mine.check() == ()


@pytest.mark.parametrize(
    ("statements", "told"),
    [
        pytest.param([], "cannot be brought to file version .*lacks 'CREATE TABLE extra", id="step forgot the table"),
        pytest.param([EXTRA, "CREATE TABLE more (x)"], "holds a table 'more'", id="step made too much"),
        pytest.param([EXTRA, "DELETE FROM nowhere"], "no such table: nowhere", id="step fails"),
    ],
)
def test_a_step_that_goes_wrong_leaves_the_file_as_it_was(
    old: Path, monkeypatch: pytest.MonkeyPatch, statements: list[str], told: str
) -> None:
    before = old.read_bytes()
    with_next_version(monkeypatch, *statements)
    with pytest.raises(SurveyFileError, match=told):
        SurveyFile.open(old)
    monkeypatch.undo()
    assert old.read_bytes() == before
    assert SurveyFile.open(old).check() == ()
