"""The program killed in the middle of writing, again and again: what was told as saved is there.

SIGKILL stops a process at any instruction, with no chance to tidy up. It does
not show a power cut: what the system had taken is still written. For that the
file relies on SQLite's rollback journal with ``synchronous = EXTRA``.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import random
import signal
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from corromap.io.survey_file import SurveyFile
from tests.store_scene import as_plain, new_file, picture
from tests.store_writer import write_until_killed

KILLS = 200


def run_and_kill(
    context: multiprocessing.context.ForkServerContext, path: Path, seed: int, delay_s: float
) -> list[int]:
    """Start a writer, kill it a moment after its first change, return what it told as saved."""
    reading, writing = context.Pipe(duplex=False)
    worker = context.Process(target=write_until_killed, args=(str(path), seed, writing))
    worker.start()
    writing.close()
    told = []
    with reading:
        if not reading.poll(30):
            worker.kill()
            pytest.fail("the writer wrote nothing")
        told.append(int(reading.recv_bytes()))
        time.sleep(delay_s)
        os.kill(worker.pid, signal.SIGKILL)
        worker.join(30)
        with suppress(EOFError, ConnectionResetError):
            while reading.poll(0.5):  # what was on its way
                told.append(int(reading.recv_bytes()))
    assert worker.exitcode == -signal.SIGKILL
    return told


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is POSIX")
def test_200_kills_lose_nothing_that_was_told_as_saved(tmp_path: Path) -> None:
    file = new_file(tmp_path)
    file.add_photo(picture(1), "first.png")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.store_writer"])
    rng = random.Random(2024)
    journal = file.path.with_name(file.path.name + "-journal")
    in_mid_write = saved = 0
    for kill in range(KILLS):
        told = run_and_kill(context, file.path, kill, rng.uniform(0, 0.03))
        in_mid_write += journal.exists()
        again = SurveyFile.open(file.path)
        assert told == list(range(told[0], told[-1] + 1))
        assert again.revision in {told[-1], told[-1] + 1}, f"kill {kill}"  # saved, and killed before it could tell
        saved += len(told)
        if kill % 20 == 19:  # the file stays small enough to be looked through
            assert again.check() == ()
            assert as_plain(SurveyFile.open(again.save_copy(tmp_path / f"c{kill}")).load().survey) == as_plain(
                again.load().survey
            )
            file = new_file(tmp_path, f"next{kill}")
            file.add_photo(picture(1), "first.png")
            journal = file.path.with_name(file.path.name + "-journal")
    logging.getLogger(__name__).info("%d kills, %d left a journal, %d changes saved", KILLS, in_mid_write, saved)
    assert in_mid_write >= KILLS // 20
