"""Processes that write to a survey file, for tests that kill them or let them race."""

from __future__ import annotations

import hashlib
import random
from multiprocessing.connection import Connection

from corromap.frames import MarkId, NoteId, PhotoId, PhotoOutline
from corromap.io.survey_file import SurveyFile
from corromap.survey import Mark, MarkKind, Note, Photo

FIRST = "photo 'first.png' added"
"""Not undone: the marks lie on it."""


def write_notes(path: str, name: str, count: int) -> None:
    """Write notes as fast as the file lets us."""
    file = SurveyFile.open(path, author=name)
    for number in range(count):
        file.put_note(Note(NoteId(f"{name}-{number}"), f"note {number} of {name}"))


def write_until_killed(path: str, seed: int, told: Connection) -> None:
    """Change a survey for ever; tell each revision through a pipe once it is saved."""
    rng = random.Random(seed)
    file = SurveyFile.open(path, author=f"writer {seed}")
    number = 0
    while True:
        number += 1
        revision = _one_change(file, rng, f"{seed}-{number}")
        told.send_bytes(str(revision).encode())


def _one_change(file: SurveyFile, rng: random.Random, name: str) -> int:
    kind = rng.randrange(4)
    if kind == 0:
        data = rng.randbytes(rng.randrange(100_000, 400_000))
        photo = Photo(PhotoId("new"), f"{name}.jpg", hashlib.sha256(data).hexdigest(), 400, 300)
        file.put_photo(photo, data)
        return file.known_revision
    if kind == 1:
        return file.put_note(Note(NoteId(name), "x" * rng.randrange(5000)))
    if kind == 2 and file.next_undo() not in {None, FIRST}:
        file.undo()
        return file.known_revision
    ring = [[rng.random() * 400, rng.random() * 300] for _ in range(rng.randrange(3, 800))]
    return file.put_marks(
        [Mark(MarkId(f"{name}-{i}"), PhotoId("photo-1"), MarkKind.RUST, PhotoOutline(ring)) for i in range(3)]
    )
