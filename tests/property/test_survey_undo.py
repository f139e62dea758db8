"""Any sequence of edits, undos, redos and restarts against a model that keeps whole states."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from corromap.frames import DatumId, MarkId, NoteId, PhotoId
from corromap.io.survey_file import SurveyFile
from corromap.survey import Car, Note, Settings, Sighting
from tests.store_scene import DATUM_IDS, as_plain, marks, new_file, picture, texts

MARK_IDS = ("a", "b", "c", "d")


class Edits(RuleBasedStateMachine):
    """The model: states that can be undone, the state now, states that can be redone."""

    @initialize()
    def start(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.file = new_file(self.folder)
        self.past: list[object] = []
        self.now = self.seen()
        self.future: list[object] = []
        self.lines = 1
        self.given = 0

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            assert self.file.check() == ()
            shutil.rmtree(self.folder)

    def seen(self) -> object:
        return as_plain(self.file.load().survey)

    def changed(self) -> None:
        """Take in what an edit did: one line of the log, or nothing if it said the same again."""
        now = self.seen()
        if now != self.now:
            self.past.append(self.now)
            self.now, self.future = now, []
            self.lines += 1

    def photos(self) -> list[PhotoId]:
        return [photo.id for photo in self.file.load().survey.photos]

    @rule()
    def add_photo(self) -> None:
        self.given += 1
        photo = self.file.add_photo(picture(self.given), f"p{self.given}.png")
        assert self.photos()[-1] == photo
        self.changed()

    @precondition(lambda self: self.given and self.photos())
    @rule(data=st.data())
    def remove_photo(self, data: st.DataObject) -> None:
        photo = data.draw(st.sampled_from(self.photos()))
        self.file.remove_photo(photo)
        assert photo not in self.photos()
        self.changed()

    @precondition(lambda self: self.given and self.photos())
    @rule(data=st.data(), mark=st.sampled_from(MARK_IDS))
    def put_mark(self, data: st.DataObject, mark: str) -> None:
        drawn = data.draw(marks(mark, data.draw(st.sampled_from(self.photos()))))
        self.file.put_mark(drawn)
        found = self.file.load().survey.mark_by_id[MarkId(mark)]
        assert found.outline.same_as(drawn.outline)
        self.changed()

    @precondition(lambda self: self.given and self.photos())
    @rule(data=st.data(), added=st.sets(st.sampled_from(MARK_IDS), max_size=3))
    def replace_marks(self, data: st.DataObject, added: set[str]) -> None:
        there = [mark.id for mark in self.file.load().survey.marks]
        removed = data.draw(st.sets(st.sampled_from(there))) if there else set()
        photo = data.draw(st.sampled_from(self.photos()))
        self.file.replace_marks(removed, [data.draw(marks(mark, photo)) for mark in sorted(added)])
        left = {mark.id for mark in self.file.load().survey.marks}
        assert left == (set(there) - removed) | added
        self.changed()

    @precondition(lambda self: self.given and self.photos())
    @rule(data=st.data(), datum=st.sampled_from(DATUM_IDS), x=st.integers(0, 3))
    def put_sighting(self, data: st.DataObject, datum: str, x: int) -> None:
        self.file.put_sighting(Sighting(data.draw(st.sampled_from(self.photos())), DatumId(datum), [x, 1]))
        self.changed()

    @rule(note=st.sampled_from("xy"), text=texts)
    def put_note(self, note: str, text: str) -> None:
        self.file.put_note(Note(NoteId(note), text))
        self.changed()

    @rule(label=texts)
    def set_car(self, label: str) -> None:
        self.file.set_car(Car(label=label))
        self.changed()

    @rule(size=st.floats(0.5, 5))
    def set_settings(self, size: float) -> None:
        self.file.set_settings(Settings(size))
        self.changed()

    @rule()
    def undo(self) -> None:
        told = self.file.undo()
        assert (told is None) == (not self.past)
        if self.past:
            self.future.append(self.now)
            self.now = self.past.pop()
            self.lines += 1

    @rule()
    def redo(self) -> None:
        told = self.file.redo()
        assert (told is None) == (not self.future)
        if self.future:
            self.past.append(self.now)
            self.now = self.future.pop()
            self.lines += 1

    @rule()
    def restart(self) -> None:
        self.file = SurveyFile.open(self.file.path, author="somebody else")

    @invariant()
    def file_is_as_the_model(self) -> None:
        if hasattr(self, "file"):
            assert self.seen() == self.now
            assert self.file.revision == self.lines == len(self.file.history(10_000))
            assert (self.file.next_undo() is None) == (not self.past)
            assert (self.file.next_redo() is None) == (not self.future)


Edits.TestCase.settings = settings(max_examples=25, stateful_step_count=25, deadline=None)
TestEdits = Edits.TestCase
