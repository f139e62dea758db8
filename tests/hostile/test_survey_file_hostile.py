"""Files that are not what they should be, disks that are not, and two windows at once."""

from __future__ import annotations

import errno
import multiprocessing
import random
import re
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from corromap.errors import CorromapError, NewerSchemaError, SurveyFileError
from corromap.frames import NoteId, PhotoId
from corromap.io import survey_db, survey_editor
from corromap.io.survey_file import SurveyFile
from corromap.survey import Note
from tests.store_scene import as_plain, full_file, new_file, picture
from tests.store_writer import write_notes


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return full_file(tmp_path_factory.mktemp("good")).path.read_bytes()


@pytest.fixture
def path(good: bytes, tmp_path: Path) -> Path:
    where = tmp_path / "survey.corromap"
    where.write_bytes(good)
    return where


def edit(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as conn:
        for statement in statements:
            conn.execute(statement)
        conn.commit()


# What is opened


def test_missing(tmp_path: Path) -> None:
    with pytest.raises(SurveyFileError, match=r"^survey file 'none\.corromap' is not there$"):
        SurveyFile.open(tmp_path / "none.corromap")


def test_folder(tmp_path: Path) -> None:
    with pytest.raises(SurveyFileError, match="is not a file"):
        SurveyFile.open(tmp_path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        pytest.param(b"", r"is empty \(0 bytes\)", id="empty"),
        pytest.param(b"SQLite format 3\x00", "is cut off or not a survey file: only 16 bytes", id="16 bytes"),
        pytest.param(b"SQLi", "is cut off or not a survey file: only 4 bytes", id="4 bytes"),
        pytest.param(b"\xff\xd8\xff\xe0" + bytes(5000), "is not a survey file", id="a photo"),
        pytest.param(b"SQLite format 3\x00" + bytes(84), "is (damaged|not a survey file)", id="zeros"),
        pytest.param(b"SQLite format 3\x00" + random.Random(4).randbytes(9000), "is ", id="random"),
    ],
)
def test_not_a_survey_file(tmp_path: Path, content: bytes, told: str) -> None:
    where = tmp_path / "x.corromap"
    where.write_bytes(content)
    with pytest.raises(SurveyFileError, match=rf"^survey file 'x\.corromap' {told}"):
        SurveyFile.open(where)
    assert where.read_bytes() == content


@pytest.mark.parametrize("share", [0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.9999])
def test_truncated(good: bytes, tmp_path: Path, share: float) -> None:
    where = tmp_path / "cut.corromap"
    cut = good[: int(len(good) * share)]
    where.write_bytes(cut)
    with pytest.raises(SurveyFileError, match=r"'cut\.corromap' is (cut off|damaged or cut off)"):
        SurveyFile.open(where)
    assert where.read_bytes() == cut


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        pytest.param("PRAGMA application_id = 1", "is a database of another program", id="application"),
        pytest.param("CREATE TRIGGER t AFTER INSERT ON log BEGIN SELECT 1; END", "holds a trigger 't'", id="trigger"),
        pytest.param("CREATE VIEW v AS SELECT 1", "holds a view 'v'", id="view"),
        pytest.param("CREATE TABLE extra (x)", "holds a table 'extra'", id="table"),
        pytest.param("CREATE INDEX i ON notes (document)", "holds a index 'i'", id="index"),
        pytest.param("DROP TABLE notes", "lacks 'CREATE TABLE notes", id="table gone"),
        pytest.param("ALTER TABLE notes ADD COLUMN x TEXT", "holds a table 'notes'", id="column"),
        pytest.param("CREATE VIRTUAL TABLE f USING fts5(x)", "holds a table 'f'", id="virtual table"),
        pytest.param("PRAGMA user_version = 0", "has the unknown file version 0", id="version 0"),
        pytest.param("PRAGMA user_version = -3", "has the unknown file version -3", id="version -3"),
    ],
)
def test_things_corromap_did_not_put_there(path: Path, statement: str, told: str) -> None:
    edit(path, statement)
    before = path.read_bytes()
    with pytest.raises(SurveyFileError, match=told):
        SurveyFile.open(path)
    assert path.read_bytes() == before


def test_a_trigger_is_noticed_between_two_clicks(path: Path) -> None:
    file = SurveyFile.open(path)
    edit(path, "CREATE TRIGGER t AFTER INSERT ON notes BEGIN DELETE FROM marks; END")
    with pytest.raises(SurveyFileError, match="holds a trigger"):
        file.put_note(Note(NoteId("n7"), "x"))
    with pytest.raises(SurveyFileError, match="holds a trigger"):
        file.load()


def test_newer_version(path: Path) -> None:
    edit(path, "PRAGMA user_version = 99")
    before = path.read_bytes()
    with pytest.raises(NewerSchemaError, match=r"written by a later version of corromap .*99.*untouched"):
        SurveyFile.open(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE marks SET document = '{}' WHERE id = 'm1'", r"mark 'm1': key 'id' is missing"),
        ("UPDATE marks SET document = replace(document, '1.5', '1e999') WHERE id = 'm1'", "expected a finite number"),
        ("UPDATE marks SET document = replace(document, 'rust', 'dust') WHERE id = 'm1'", "expected one of rust"),
        ("UPDATE marks SET id = 'other' WHERE id = 'm1'", "one thing and its document another"),
        ("UPDATE marks SET photo = 'photo-2' WHERE id = 'm1'", "one thing and its document another"),
        ("UPDATE notes SET document = 'x'", "not JSON"),
        ("UPDATE documents SET document = '[]' WHERE name = 'car'", "car: expected an object"),
        ("DELETE FROM documents WHERE name = 'rules'", "lacks its rules"),
        ("DELETE FROM survey", "holds no survey"),
        ("DELETE FROM photos WHERE id = 'photo-2'", "names photo 'photo-2', which is not there"),
    ],
)
def test_rows_that_are_not_valid(path: Path, statement: str, told: str) -> None:
    edit(path, statement)
    with pytest.raises(SurveyFileError, match=rf"^survey file 'survey\.corromap'.*{told}"):
        SurveyFile.open(path).load()
    assert any(re.search(told, fault) for fault in SurveyFile.open(path).check())


def test_a_changed_photo_is_found(path: Path) -> None:
    edit(path, "UPDATE blobs SET content = CAST(substr(content, 1, size - 1) || x'00' AS BLOB)")
    file = SurveyFile.open(path)
    with pytest.raises(SurveyFileError, match="photo 'photo-1': its bytes have changed on the disk"):
        file.photo_bytes(PhotoId("photo-1"))
    assert len(file.check()) == 3


def test_a_row_changed_by_hand_is_found_by_check_and_by_undo(path: Path) -> None:
    edit(path, "UPDATE marks SET document = replace(document, '1.5', '1.6') WHERE id = 'm1'")
    file = SurveyFile.open(path)
    assert file.check() == ("mark 'm1' is not as the log left it",)
    with pytest.raises(SurveyFileError, match="mark 'm1' is not as the log says"):
        undo_everything(file)


def undo_everything(file: SurveyFile) -> None:
    while file.undo():
        pass


def test_random_damage_is_never_a_crash(good: bytes, tmp_path: Path) -> None:
    """Each copy has 20 bytes flipped; it either says so or, where no row was hit, is the same."""
    rng = random.Random(11)
    where = tmp_path / "damaged.corromap"
    where.write_bytes(good)
    whole = as_plain(SurveyFile.open(where).load().survey)
    told = 0
    for _ in range(150):
        damaged = bytearray(good)
        for _ in range(20):
            damaged[rng.randrange(100, len(damaged))] ^= 1 << rng.randrange(8)
        where.write_bytes(damaged)
        try:
            file = SurveyFile.open(where)
            faults = file.check()
            if not faults:
                assert as_plain(file.load().survey) == whole
            told += bool(faults)
        except SurveyFileError:
            told += 1
    assert told > 100


# Two at once


def test_locked_by_another_program(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(survey_db, "BUSY_SECONDS", 0.05)
    file = SurveyFile.open(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(
            SurveyFileError, match="in use by another window or program; nothing was changed, try again"
        ):
            file.put_note(Note(NoteId("n7"), "x"))
        with pytest.raises(SurveyFileError, match="in use by another window"):
            file.load()
    file.put_note(Note(NoteId("n7"), "x"))


def test_two_processes_writing_lose_nothing(tmp_path: Path) -> None:
    file = new_file(tmp_path)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.store_writer"])
    workers = [context.Process(target=write_notes, args=(str(file.path), f"w{i}", 40)) for i in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0
    notes = file.load().survey.notes
    assert {note.id for note in notes} == {f"w{i}-{n}" for i in range(3) for n in range(40)}
    assert [change.id for change in file.history(1000)] == list(range(121, 0, -1))
    assert file.check() == ()


def test_a_name_taken_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file appears between the look and the end: it stays as it is."""
    target = tmp_path / "survey.corromap"
    plain = survey_db.create_schema

    def slow(conn: sqlite3.Connection) -> None:
        plain(conn)
        target.write_bytes(b"somebody else's")

    monkeypatch.setattr(survey_db, "create_schema", slow)
    with pytest.raises(SurveyFileError, match="is there already"):
        new_file(tmp_path)
    assert target.read_bytes() == b"somebody else's"
    assert list(tmp_path.iterdir()) == [target]


def no_links(*_args: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


def test_a_disk_without_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As FAT on a memory stick: a rename does it, and still replaces nothing."""
    monkeypatch.setattr(survey_db.os, "link", no_links)
    file = full_file(tmp_path)
    assert file.check() == ()
    copy = file.save_copy(tmp_path / "copy")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["copy.corromap", "survey.corromap"]
    before = copy.read_bytes()
    with pytest.raises(SurveyFileError, match="is there already"):
        survey_db._take_name(file.path, copy)
    assert copy.read_bytes() == before


def test_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SurveyFileError, match=r"'survey\.corromap' cannot be made: its folder is not there"):
        new_file(tmp_path / "nowhere")


def test_a_photo_that_is_too_large(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = SurveyFile.open(path)
    monkeypatch.setattr(survey_editor, "MAX_PHOTO_BYTES", 100)
    with pytest.raises(SurveyFileError, match=r"photo 'nine\.png': \d+ bytes; at most 100 are taken"):
        file.add_photo(picture(9), "nine.png")


def test_windows_of_one_program_lose_nothing_either(tmp_path: Path) -> None:
    """Two browser windows are two threads of one process, which share its file locks."""
    file = new_file(tmp_path)
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write_notes, [str(file.path)] * 4, "abcd", [15] * 4))
    assert len(file.load().survey.notes) == 60
    assert file.revision == 61
    assert file.check() == ()


def test_every_error_is_ours(path: Path) -> None:
    """Nothing of SQLite's own comes out, whatever the file is."""
    for junk in (b"SQLite format 3\x00" + bytes(200), path.read_bytes()[:40_000], b"\x00" * 200):
        path.write_bytes(junk)
        for job in (SurveyFile.open, lambda p: SurveyFile(p, "x").load(), lambda p: SurveyFile(p, "x").check()):
            with pytest.raises(CorromapError):
                job(path)
