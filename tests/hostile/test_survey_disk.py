"""Disks that are full or read-only, and files left in another state: told in words, nothing lost."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from corromap.errors import OutputError, SurveyFileError
from corromap.frames import NoteId
from corromap.io import survey_db
from corromap.io.interchange import export_folder
from corromap.io.survey_file import SurveyFile
from corromap.survey import Note
from tests.store_scene import as_plain, full_file, new_file, picture


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return full_file(tmp_path_factory.mktemp("good")).path.read_bytes()


@pytest.fixture
def path(good: bytes, tmp_path: Path) -> Path:
    where = tmp_path / "survey.corromap"
    where.write_bytes(good)
    return where


def test_disk_full_by_page_count(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLITE_FULL as SQLite itself raises it when no page can be added."""
    file = SurveyFile.open(path)
    before = as_plain(file.load().survey)
    plain = survey_db.connect

    def narrow(where: Path) -> sqlite3.Connection:
        conn = plain(where)
        conn.execute(f"PRAGMA max_page_count = {conn.execute('PRAGMA page_count').fetchone()[0]}")
        return conn

    monkeypatch.setattr(survey_db, "connect", narrow)
    with pytest.raises(SurveyFileError, match="the disk is full; nothing was changed"):
        file.add_photo(picture(9) + bytes(200_000), "nine.png")
    monkeypatch.undo()
    assert as_plain(file.load().survey) == before
    assert file.check() == ()


@pytest.mark.skipif(sys.platform == "win32", reason="RLIMIT_FSIZE is a POSIX limit")
def test_disk_full_by_file_size_limit(path: Path) -> None:
    """A limit of the operating system: writes fail half-way through the photo."""
    before = as_plain(SurveyFile.open(path).load().survey)
    code = (
        "import resource, signal, sys\n"
        "from pathlib import Path\n"
        "from corromap.errors import CorromapError\n"
        "from corromap.io.interchange import export_folder\n"
        "from corromap.io.survey_file import SurveyFile\n"
        "from corromap.survey import Photo\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "file = SurveyFile.open(sys.argv[1])\n"
        "size = Path(sys.argv[1]).stat().st_size\n"
        "photo = Photo('new', 'big.jpg', '0' * 64, 10, 10)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100_000, size + 100_000))\n"
        "for job in (lambda: file.put_photo(photo, bytes(3_000_000)),\n"
        "            lambda: file.save_copy(sys.argv[1] + '-copy') and resource.setrlimit(\n"
        "                resource.RLIMIT_FSIZE, (20_000, size + 100_000)),\n"
        "            lambda: export_folder(file.path, sys.argv[1] + '-out')):\n"
        "    try:\n"
        "        job(); print('done')\n"
        "    except CorromapError as error:\n"
        "        print(type(error).__name__, error)\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True, cwd=Path.cwd()
    ).stdout.splitlines()
    assert re.match("SurveyFileError .*disk (is full|gave an error).* kept|.*nothing was changed", told[0])
    assert told[1] == "done"
    assert re.match("OutputError folder 'survey.corromap-out' could not be written.*untouched", told[2])
    file = SurveyFile.open(path)
    assert as_plain(file.load().survey) == before
    assert file.check() == ()
    assert sorted(p.name for p in path.parent.iterdir()) == ["survey.corromap", "survey.corromap-copy.corromap"]


@pytest.fixture
def small_disk(tmp_path: Path) -> object:
    """A file system of 1 MB; needs the right to mount one."""
    where = tmp_path / "disk"
    where.mkdir()
    mount = shutil.which("mount")
    if (
        not mount
        or subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=1m", "none", str(where)], capture_output=True, check=False
        ).returncode
    ):
        pytest.skip("may not mount a small file system here")
    yield where
    subprocess.run(["umount", str(where)], check=True)


def test_disk_really_full(good: bytes, small_disk: Path) -> None:
    where = small_disk / "survey.corromap"
    where.write_bytes(good)
    file = SurveyFile.open(where)
    before = as_plain(file.load().survey)
    filler = small_disk / "filler"
    with filler.open("wb", buffering=0) as stream:
        while True:
            try:
                stream.write(bytes(4096))
            except OSError:  # full
                break
    with pytest.raises(SurveyFileError, match=r"(disk is full|disk gave an error|cannot be opened)"):
        file.add_photo(picture(9), "nine.png")
    with pytest.raises(SurveyFileError):
        file.save_copy(small_disk / "copy")
    with pytest.raises(SurveyFileError):
        new_file(small_disk, "new")
    with pytest.raises(OutputError, match="could not be written: No space"):
        export_folder(where, small_disk / "out")
    assert sorted(p.name for p in small_disk.iterdir()) == ["filler", "survey.corromap"]
    assert as_plain(file.load().survey) == before
    filler.unlink()
    assert file.add_photo(picture(9), "nine.png") == "photo-4"
    assert file.check() == ()


@pytest.fixture
def read_only(good: bytes, tmp_path: Path, request: pytest.FixtureRequest) -> object:
    """The survey file where it cannot be written: rights for a user, a read-only disk for root."""
    folder = tmp_path / "fixed"
    folder.mkdir()
    is_root = sys.platform != "win32" and os.getuid() == 0
    if (
        is_root
        and subprocess.run(["mount", "-t", "tmpfs", "none", folder], capture_output=True, check=False).returncode
    ):
        pytest.skip("root writes everywhere, and may not mount a disk here")
    where = folder / "survey.corromap"
    where.write_bytes(good)
    if is_root:
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    else:
        where.chmod(0o444)
        folder.chmod(0o555)
    yield where
    if is_root:
        subprocess.run(["umount", str(folder)], check=True)
    else:
        folder.chmod(0o755)


def test_read_only_file_is_read_but_not_written(good: bytes, read_only: Path, tmp_path: Path) -> None:
    file = SurveyFile.open(read_only)
    assert len(file.load().survey.photos) == 2
    assert file.check() == ()
    for job in (lambda: file.put_note(Note(NoteId("n7"), "x")), file.undo):
        with pytest.raises(
            SurveyFileError, match=r"'survey\.corromap' cannot be (written: the file or its folder is|opened)"
        ):
            job()
    with pytest.raises(SurveyFileError, match=r"'copy\.corromap' cannot be used: (Permission denied|Read-only file)"):
        file.save_copy(read_only.parent / "copy")
    with pytest.raises(SurveyFileError, match=r"'new\.corromap' cannot be used: (Permission denied|Read-only file)"):
        new_file(read_only.parent, "new")
    assert read_only.read_bytes() == good
    assert SurveyFile.open(file.save_copy(tmp_path / "elsewhere")).undo() is not None


def test_a_file_left_in_wal_mode_by_another_program_is_brought_back(path: Path) -> None:
    with closing(sqlite3.connect(path)) as conn:
        assert conn.execute("PRAGMA journal_mode = WAL").fetchone()[0] == "wal"
    file = SurveyFile.open(path)
    file.put_note(Note(NoteId("n7"), "x"))
    assert [p.name for p in path.parent.iterdir()] == ["survey.corromap"]
    assert path.read_bytes()[18:20] == b"\x01\x01"
