"""A stranger's survey file: what is in it is taken, what should not be in it never runs."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from corromap.errors import NewerSchemaError, SurveyFileError
from corromap.io import foreign
from corromap.io.foreign import open_foreign
from corromap.io.survey_file import SurveyFile
from tests.store_scene import as_plain, full_file, picture


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return full_file(tmp_path_factory.mktemp("good")).path.read_bytes()


@pytest.fixture
def given(good: bytes, tmp_path: Path) -> Path:
    where = tmp_path / "given" / "theirs.corromap"
    where.parent.mkdir()
    where.write_bytes(good)
    return where


def edit(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as conn:
        for statement in statements:
            conn.execute(statement)
        conn.commit()


def refused(given: Path, told: str) -> None:
    """It is refused with a sentence that names it; it is untouched, and nothing was written."""
    before = given.read_bytes()
    target = given.parent.parent
    with pytest.raises(SurveyFileError, match=rf"^survey file 'theirs\.corromap'.*{told}"):
        open_foreign(given, target / "mine")
    assert given.read_bytes() == before
    assert sorted(path.name for path in target.rglob("*")) == ["given", "theirs.corromap"]


def test_everything_is_taken_and_nothing_is_touched(given: Path, tmp_path: Path) -> None:
    theirs = SurveyFile.open(given)
    seen: list[tuple[int, int]] = []
    before = given.read_bytes()
    mine = open_foreign(given, tmp_path / "mine", author="me", progress=lambda done, of: seen.append((done, of)))
    assert as_plain(mine.load().survey) == as_plain(theirs.load().survey)
    assert mine.history(1000) == theirs.history(1000)
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert given.read_bytes() == before
    assert mine.undo() == theirs.next_undo()
    assert mine.check() == ()


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("CREATE TRIGGER t AFTER INSERT ON log BEGIN SELECT 1; END", "holds a trigger 't'"),
        (
            "CREATE VIEW photos2 AS WITH RECURSIVE c(x) AS (VALUES(1) UNION ALL SELECT x+1 FROM c) SELECT x FROM c",
            "view",
        ),
        ("CREATE TABLE extra (x DEFAULT (load_extension('x')))", "holds a table 'extra'"),
        ("CREATE INDEX i ON marks (abs(position))", "holds a index 'i'"),
        ("PRAGMA application_id = 7", "is a database of another program"),
        ("UPDATE marks SET document = '{}'", "key 'id' is missing"),
        ("UPDATE documents SET document = '{}' WHERE name = 'template'", "template"),
        ("UPDATE documents SET document = '{}' WHERE name = 'rules'", "rule"),
        ("UPDATE photos SET document = replace(document, '\"width_px\":40', '\"width_px\":4000')", "not of the size"),
        ("UPDATE blobs SET content = zeroblob(size)", "its bytes have changed"),
        (
            "UPDATE sightings SET id = 'photo-1/gone', document = replace(document, 'drain', 'gone')",
            "no datum point 'gone'",
        ),
        ("UPDATE log SET before = '{}' WHERE before IS NOT NULL", "log"),
        ("UPDATE log SET kind = 'survey' WHERE change = 2", "which has no log"),
        ("UPDATE log SET thing = 'x' WHERE change = 2", "one thing and its document another"),
        ("DELETE FROM changes WHERE id = 3", "the log has change 4"),
        ("UPDATE changes SET reverses = 99 WHERE action = 'undo'", "takes back change 99"),
        ("UPDATE changes SET reverses = 2 WHERE id = 3", "takes back change 2"),
        ("UPDATE changes SET action = 'start' WHERE id = 3", r"change 3 \(start\) after change 2"),
        ("DELETE FROM log WHERE change = 3", "is not as the log says"),
    ],
)
def test_refused(given: Path, statement: str, told: str) -> None:
    edit(given, statement)
    refused(given, told)


def test_a_recursive_view_in_the_place_of_a_table_does_not_run(given: Path) -> None:
    edit(
        given,
        "ALTER TABLE notes RENAME TO notes2",
        "CREATE VIEW notes (id, position, document) AS"
        " WITH RECURSIVE c(x) AS (VALUES(1) UNION ALL SELECT x + 1 FROM c) SELECT x, x, x FROM c",
    )
    refused(given, "holds a (table 'notes2'|view 'notes')")


def test_schema_text_forged_by_hand_is_refused(given: Path) -> None:
    with closing(sqlite3.connect(given)) as conn:
        conn.execute("PRAGMA writable_schema = ON")
        conn.execute("UPDATE sqlite_schema SET sql = replace(sql, 'NOT NULL', 'NOT  NULL') WHERE name = 'notes'")
        conn.commit()
    refused(given, "holds a table 'notes'")


def test_rows_that_do_not_follow_from_the_log_are_taken_and_told(given: Path, tmp_path: Path) -> None:
    edit(given, "UPDATE marks SET document = replace(document, '1.5', '1.75') WHERE id = 'm1'")
    theirs = SurveyFile.open(given)
    assert theirs.check() == ("mark 'm1' is not as the log left it",)
    mine = open_foreign(given, tmp_path / "mine", author="me")
    assert as_plain(mine.load().survey) == as_plain(theirs.load().survey)
    assert mine.history(1)[0].label == "a stranger's file whose log did not lead to what it holds"
    assert mine.check() == ()


def test_newer(given: Path) -> None:
    edit(given, "PRAGMA user_version = 2000")
    with pytest.raises(NewerSchemaError, match=r"theirs\.corromap' was written by a later version"):
        open_foreign(given, given.parent / "mine")


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.7, 0.999])
def test_cut_off(given: Path, good: bytes, share: float) -> None:
    given.write_bytes(good[: int(len(good) * share)])
    refused(given, "is (empty|cut off|damaged)")


def test_with_a_hot_journal_beside_it(given: Path) -> None:
    given.with_name(given.name + "-journal").write_bytes(b"\xd9\xd5\x05\xf9 \xa1c\xd7" + bytes(600))
    with pytest.raises(SurveyFileError, match="was copied while it was being written"):
        open_foreign(given, given.parent / "mine")


def test_too_many_rows(given: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(foreign, "_MAX_ROWS", 3)
    refused(given, "holds . rows of marks; at most 3 are taken")


def test_too_large(given: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(foreign, "MAX_FILE_BYTES", 1000)
    refused(given, "at most 1000 are taken")


def test_deadline(given: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(foreign, "DEADLINE_SECONDS", -1.0)
    monkeypatch.setattr(foreign, "_STEPS_BETWEEN_LOOKS", 1)
    refused(given, "took too long to read")


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        pytest.param("ATTACH ':memory:' AS other", "too many attached databases", id="attach"),
        pytest.param("DELETE FROM marks", "readonly|not authorized", id="write"),
        pytest.param("SELECT 1" + "+1" * 60, "Expression tree is too large", id="deep"),
        pytest.param(f"SELECT zeroblob({foreign.MAX_PHOTO_BYTES + 2_000_000})", "too big", id="large value"),
        pytest.param("SELECT 1 -- " + "x" * 100_000, "too large|too big", id="long statement"),
    ],
)
def test_limits_are_in_force(given: Path, statement: str, told: str) -> None:
    with foreign._guarded(given) as conn, pytest.raises((sqlite3.Error, UnicodeError), match=told):
        conn.execute(statement).fetchall()


def test_left_in_wal_mode_but_closed_is_taken(given: Path, tmp_path: Path) -> None:
    edit(given, "PRAGMA journal_mode = WAL")
    assert given.read_bytes()[18:20] == b"\x02\x02"
    mine = open_foreign(given, tmp_path / "mine")
    assert mine.path.read_bytes()[18:20] == b"\x01\x01"
    assert len(mine.load().survey.photos) == 2


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda data: data.replace(b"\x89PNG", b"\x89PNX"), id="photo header"),
        pytest.param(lambda data: data[:32768] + bytes(16384) + data[49152:], id="page of zeros"),
        pytest.param(lambda data: data[:100] + bytes(8) + data[108:], id="first page"),
        pytest.param(lambda data: data[:-16384] + bytes(range(256)) * 64, id="last page"),
    ],
)
def test_damaged(given: Path, good: bytes, change: Callable[[bytes], bytes]) -> None:
    given.write_bytes(change(good))
    refused(given, "(damaged|bytes have changed|not a survey file|lacks|not as the log)")


def test_target_is_never_overwritten(given: Path, tmp_path: Path) -> None:
    target = tmp_path / "mine.corromap"
    target.write_bytes(picture(1))
    with pytest.raises(SurveyFileError, match=r"'mine\.corromap' is there already"):
        open_foreign(given, target)
    assert target.read_bytes() == picture(1)


def test_random_damage_is_told_or_did_no_harm(given: Path, good: bytes, tmp_path: Path) -> None:
    """Twenty flipped bits in each of 80 copies: refused, or what was taken is sound in itself."""
    rng = random.Random(5)
    told = 0
    for i in range(80):
        damaged = bytearray(good)
        for _ in range(20):
            damaged[rng.randrange(100, len(damaged))] ^= 1 << rng.randrange(8)
        given.write_bytes(damaged)
        try:
            assert open_foreign(given, tmp_path / f"mine{i}").check() == ()
        except SurveyFileError:
            told += 1
            assert not (tmp_path / f"mine{i}.corromap").exists()
    assert told > 40
