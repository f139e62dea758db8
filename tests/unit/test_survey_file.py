"""What a survey file does for the person in front of it."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from corromap.by_hand import SettledView, Settlement
from corromap.control import ScaleSighting
from corromap.errors import InvalidValueError, PhotoError, RatesError, StaleSurveyError, SurveyFileError, TemplateError
from corromap.frames import DatumId, MarkId, NoteId, PanelId, PhotoId, PhotoOutline, ScaleId, SettlementId, ZoneId
from corromap.io.migrations import APPLICATION_ID, CURRENT_VERSION
from corromap.io.rates import default_rates
from corromap.io.survey_file import SurveyFile, new_id
from corromap.survey import Car, Mark, MarkKind, Note, Settings, Sighting
from tests.store_scene import (
    HARD_TEXTS,
    TEMPLATE,
    as_plain,
    full_file,
    new_file,
    own_rates,
    picture,
    rules_document,
    triangle,
)

PHOTO = PhotoId("photo-1")


@pytest.fixture
def file(tmp_path: Path) -> SurveyFile:
    return new_file(tmp_path)


def ids(file: SurveyFile) -> list[str]:
    return [mark.id for mark in file.load().survey.marks]


def test_new_file_is_one_database_with_our_ids(file: SurveyFile) -> None:
    assert file.path.name == "survey.corromap"
    assert [path.name for path in file.path.parent.iterdir()] == ["survey.corromap"]
    with closing(sqlite3.connect(file.path)) as conn:
        for pragma, value in (
            ("application_id", APPLICATION_ID),
            ("user_version", CURRENT_VERSION),
            ("page_size", 16384),
            ("journal_mode", "delete"),
        ):
            assert conn.execute(f"PRAGMA {pragma}").fetchone()[0] == value
    assert file.path.read_bytes()[68:72] == b"CorM"


def test_new_file_holds_template_rules_and_car(tmp_path: Path) -> None:
    file = new_file(tmp_path, car=Car(label=HARD_TEXTS[1]))
    record = file.load()
    assert record.template.id == "one-floor"
    assert record.rules.to_document() == rules_document()
    assert record.survey.car.label == HARD_TEXTS[1]
    assert record.revision == file.known_revision == 1
    assert file.undo() is None


def test_create_takes_values_as_well_as_documents(tmp_path: Path) -> None:
    first = new_file(tmp_path).load()
    again = SurveyFile.create(tmp_path / "again", first.template, first.rules).load()
    assert again.template.zone_by_id.keys() == first.template.zone_by_id.keys()
    assert again.rules == first.rules


def test_create_never_overwrites(file: SurveyFile) -> None:
    before = file.path.read_bytes()
    with pytest.raises(SurveyFileError, match=r"'survey\.corromap' is there already; choose another name"):
        new_file(file.path.parent)
    assert file.path.read_bytes() == before


def test_create_refuses_a_faulty_template_and_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(TemplateError):
        SurveyFile.create(tmp_path / "x", {"id": "nothing"}, rules_document())
    assert list(tmp_path.iterdir()) == []


def test_photo_bytes_are_untouched_and_header_is_read(file: SurveyFile) -> None:
    photo_id = file.add_photo(picture(7, "JPEG"), "a b.jpg", "seller")
    photo = file.load().survey.photo_by_id[photo_id]
    assert file.photo_bytes(photo_id) == picture(7, "JPEG")
    assert (photo.id, photo.name, photo.width_px, photo.height_px, photo.source) == (
        "photo-1",
        "a b.jpg",
        40,
        30,
        "seller",
    )
    assert photo.sha256 == hashlib.sha256(picture(7, "JPEG")).hexdigest()


def test_the_same_picture_is_kept_once(file: SurveyFile) -> None:
    assert file.add_photo(picture(1), "a.png") == file.add_photo(picture(1), "b.png")
    assert file.revision == 2


def test_photo_ids_are_never_used_again(file: SurveyFile) -> None:
    file.remove_photo(file.add_photo(picture(1), "a.png"))
    assert file.add_photo(picture(2), "b.png") == "photo-2"


def test_what_is_not_a_photo_is_refused_and_nothing_changes(file: SurveyFile) -> None:
    with pytest.raises(PhotoError, match=r"note\.txt"):
        file.add_photo(b"no picture", "note.txt")
    assert file.revision == 1


def test_removing_a_photo_takes_its_marks_along_and_undo_brings_all_back(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    before = as_plain(file.load().survey)
    file.remove_photo(PhotoId("photo-2"))
    left = file.load().survey
    assert {mark.photo for mark in left.marks} == {"photo-1"}
    assert file.undo() == (
        "photo 'sill.jpg' removed with 3 marks and datum points on it and 2 ties, scales and settled disagreements"
    )
    assert as_plain(file.load().survey) == before
    assert file.photo_bytes(PhotoId("photo-2")) == picture(2, "JPEG")


def test_photos_come_in_their_order_and_reordering_is_one_step(file: SurveyFile) -> None:
    for i in range(3):
        file.add_photo(picture(i), f"{i}.png")
    photos = file.load().survey.photos
    file.update_photos([replace(p, order=9 - i) for i, p in enumerate(photos)], label="photos sorted")
    assert [p.name for p in file.load().survey.photos] == ["2.png", "1.png", "0.png"]
    assert file.undo() == "photos sorted"
    assert file.load().survey.photos == photos


def test_a_photo_cannot_be_exchanged_for_another(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    photo = file.load().survey.photos[0]
    with pytest.raises(SurveyFileError, match="cannot be exchanged; add it as a new photo"):
        file.update_photo(replace(photo, sha256="0" * 64))


def test_split_and_join_are_one_step_each(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    file.put_marks([triangle("a"), triangle("b"), triangle("c")])
    file.replace_marks([MarkId("b")], [triangle("b1"), triangle("b2")])
    file.replace_marks([MarkId("a"), MarkId("c")], [triangle("ac")])
    assert ids(file) == ["b1", "b2", "ac"]
    assert file.undo() == "2 marks joined (rust)"
    assert file.undo() == "rust mark split into 2"
    assert ids(file) == ["a", "b", "c"]
    assert file.next_redo() == "rust mark split into 2"


def test_changing_a_mark_keeps_its_place(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    file.put_marks([triangle("a"), triangle("b")])
    file.put_mark(triangle("a", kind=MarkKind.PATCH))
    assert ids(file) == ["a", "b"]
    assert file.load().survey.mark_by_id[MarkId("a")].kind is MarkKind.PATCH


def test_saying_the_same_again_is_no_change(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    assert file.put_mark(triangle("a")) == file.put_mark(triangle("a")) == 3


def test_undo_works_after_a_restart_and_by_somebody_else(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    again = SurveyFile.open(file.path, author="second person")
    assert again.undo() == "photo 'gone.png' removed"
    latest = again.history(1)[0]
    assert (latest.author, latest.action) == ("second person", "undo")
    assert latest.at.endswith("Z")


def test_a_new_change_clears_what_could_be_redone(file: SurveyFile) -> None:
    file.set_car(Car(label="one"))
    file.undo()
    assert file.next_redo() == "car details changed"
    file.set_car(Car(label="two"))
    assert file.redo() is None
    assert file.undo() == "car details changed"
    assert file.load().survey.car == Car()


def test_the_log_is_only_ever_added_to(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    before = file.history(1000)
    file.undo()
    file.put_note(Note(NoteId("n9"), "later"))
    assert file.history(1000)[-len(before) :] == before
    assert [change.id for change in file.history(1000)] == list(range(len(before) + 2, 0, -1))


def test_second_window_is_told_and_nothing_is_lost(file: SurveyFile) -> None:
    other = SurveyFile.open(file.path, author="other window")
    file.put_note(Note(NoteId("n1"), "first"), expected_revision=file.known_revision)
    with pytest.raises(StaleSurveyError, match=r"another window.*'note written' by 'tester'.*nothing was written over"):
        other.put_note(Note(NoteId("n1"), "second"), expected_revision=other.known_revision)
    assert [note.text for note in file.load().survey.notes] == ["first"]
    other.load()
    other.put_note(Note(NoteId("n1"), "second"), expected_revision=other.known_revision)
    with pytest.raises(StaleSurveyError):
        file.undo(expected_revision=file.known_revision)


@pytest.mark.parametrize("text", HARD_TEXTS)
def test_any_text_comes_back(file: SurveyFile, text: str) -> None:
    file.add_photo(picture(1), text)
    file.put_mark(triangle("a", note=text))
    file.put_note(Note(NoteId("n"), text, author=text))
    file.set_car(Car(label=text, seller=text))
    survey = file.load().survey
    assert survey.photos[0].name == survey.marks[0].note == survey.notes[0].text == survey.car.seller == text
    assert file.check() == ()


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        pytest.param(lambda f: f.put_mark(triangle("a", "photo-9")), "no photo 'photo-9'", id="mark"),
        pytest.param(
            lambda f: f.put_sighting(Sighting("photo-9", "drain", [0, 0])), "no photo 'photo-9'", id="sighting"
        ),
        pytest.param(lambda f: f.remove_mark("m"), "no mark 'm' in this survey", id="remove mark"),
        pytest.param(lambda f: f.remove_photo("photo-1"), "no photo 'photo-1'", id="remove photo"),
        pytest.param(lambda f: f.remove_note("n"), "no note 'n'", id="remove note"),
        pytest.param(lambda f: f.remove_sighting("p", "d"), "no sighting 'p/d'", id="remove sighting"),
        pytest.param(lambda f: f.photo_bytes("photo-1"), "no photo 'photo-1'", id="bytes"),
        pytest.param(lambda f: f.put_note(Note("n", "\ud800")), "half a character", id="surrogate"),
        pytest.param(lambda f: f.put_note(Note("n", "x" * 20_001)), "at most 20000", id="long text"),
        pytest.param(lambda f: f.put_note(Note("", "x")), "an id has 1 to 200", id="empty id"),
        pytest.param(lambda f: f.put_note(Note("a\u202eb", "x")), "printable", id="unprintable id"),
    ],
)
def test_bad_edits_are_told_and_change_nothing(file: SurveyFile, edit: object, told: str) -> None:
    before = as_plain(file.load().survey)
    with pytest.raises(SurveyFileError, match=f"survey file 'survey.corromap'.*{told}"):
        edit(file)
    assert as_plain(file.load().survey) == before
    assert file.revision == 1


def test_one_bad_mark_of_several_keeps_all_out(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    with pytest.raises(SurveyFileError):
        file.put_marks([triangle("a"), triangle("b", "photo-9")])
    assert ids(file) == []


def test_an_outline_of_20000_points_is_kept(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    outline = PhotoOutline([[i / 3, i * i / 7] for i in range(20_000)])
    file.put_mark(Mark(MarkId("big"), PhotoId("photo-1"), MarkKind.RUST, outline))
    assert file.load().survey.marks[0].outline.same_as(outline)
    with pytest.raises(InvalidValueError, match="20001 points"):
        PhotoOutline([[i, i * i] for i in range(20_001)])


def test_the_log_names_datum_points_and_photos_as_people_do(file: SurveyFile) -> None:
    photo, datum = file.add_photo(picture(1), "left side.png"), DatumId("drain")
    (name,) = [d["name"] for panel in TEMPLATE["panels"] for d in panel["datum_points"] if d["id"] == datum]
    assert name != datum
    file.put_sighting(Sighting(photo, datum, [1, 2]))
    assert file.next_undo() == f"datum point '{name}' placed on 'left side.png'"
    file.remove_sighting(photo, datum)
    assert file.next_undo() == f"datum point '{name}' taken off 'left side.png'"


def test_template_may_be_chosen_again_until_something_hangs_on_it(file: SurveyFile) -> None:
    other = TEMPLATE | {"id": "other-floor"}
    file.set_template(other)
    assert file.load().template.id == "other-floor"
    assert file.undo() == "template 'other-floor' chosen"
    file.add_photo(picture(1), "a.png")
    file.put_sighting(Sighting(PhotoId("photo-1"), DatumId("drain"), [1, 2]))
    told = "1 placed datum points and 0 marks, notes, findings, lengths, scales or ties belong to .one-floor."
    with pytest.raises(SurveyFileError, match=told):
        file.set_template(other)
    file.set_template(TEMPLATE | {"revision": 2})
    assert file.load().template.revision == 2


def test_a_revision_that_lacks_a_used_zone_is_refused(file: SurveyFile) -> None:
    file.put_note(Note(NoteId("n"), "thin", ZoneId("floor-rear")))
    panel = TEMPLATE["panels"][0]
    smaller = TEMPLATE | {"panels": [panel | {"zones": panel["zones"][:1]}]}
    with pytest.raises(SurveyFileError, match=r"notes\[0\]\.zone: .* has no zone 'floor-rear'"):
        file.set_template(smaller)


def test_check_names_what_the_template_does_not_have(file: SurveyFile) -> None:
    file.add_photo(picture(1), "a.png")
    file.put_mark(triangle("a", panels=(PanelId("roof"),)))
    assert file.check() == ("marks[0].panels: template 'one-floor' has no panel 'roof'",)


def test_template_is_parsed_once_while_it_stays(file: SurveyFile) -> None:
    first = file.load().template
    file.set_settings(Settings(1.5))
    assert file.load().template is first
    file.set_template(TEMPLATE | {"revision": 5})
    assert file.load().template.revision == 5


def test_a_copy_is_the_same_and_the_file_is_untouched(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    before = file.path.read_bytes()
    copy = SurveyFile.open(file.save_copy(tmp_path / "copy"))
    assert as_plain(copy.load().survey) == as_plain(file.load().survey)
    assert copy.history(1000) == file.history(1000)
    assert file.path.read_bytes() == before
    with pytest.raises(SurveyFileError, match=r"'copy\.corromap' is there already"):
        file.save_copy(tmp_path / "copy.corromap")


def test_a_copy_without_history_holds_no_removed_photo(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    copy = SurveyFile.open(file.save_copy(tmp_path / "clean", history=False))
    assert as_plain(copy.load().survey) == as_plain(file.load().survey)
    assert len(copy.history()) == 1
    gone = hashlib.sha256(picture(3)).hexdigest()
    with closing(sqlite3.connect(copy.path)) as conn:
        assert conn.execute("SELECT count(*) FROM blobs WHERE sha256 = ?", (gone,)).fetchone()[0] == 0
    with closing(sqlite3.connect(file.path)) as conn:
        assert conn.execute("SELECT count(*) FROM blobs WHERE sha256 = ?", (gone,)).fetchone()[0] == 1


def test_ids_do_not_repeat() -> None:
    assert len({new_id("mark") for _ in range(1000)}) == 1000


# What stands beside photos and marks


def test_a_photo_takes_its_ties_along_and_findings_lose_only_their_picture(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    before = as_plain(file.load().survey)
    file.remove_photo(PhotoId("photo-1"))
    left = file.load().survey
    assert (left.ties, left.scales, left.settlements) == ((), (), ())
    assert [(found.id, found.photo) for found in left.hand_findings] == [("h1", None), ("h2", None)]
    assert file.check() == ()
    file.undo()
    assert as_plain(file.load().survey) == before


def test_a_mark_takes_the_word_on_it_along(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    file.remove_mark(MarkId("m1"))
    assert file.load().survey.settlements == ()
    file.undo()
    assert [word.mark for word in file.load().survey.settlements] == ["m1"]


def test_rates_and_earlier_record_can_be_undone_to_nothing(file: SurveyFile) -> None:
    file.set_rates(own_rates())
    file.set_earlier_record("0f" * 32)
    assert (file.load().rates_document, file.load().rates.currency) == (own_rates(), "GBP")
    assert file.load().survey.earlier_record == "0f" * 32
    file.undo()
    file.undo()
    assert (file.load().rates_document, file.load().survey.earlier_record) == ({}, "")
    assert file.load().rates == default_rates()
    assert file.check() == ()
    file.redo()
    assert file.load().rates_document == own_rates()


def test_rates_that_are_none_are_refused(file: SurveyFile) -> None:
    with pytest.raises(RatesError, match="unknown key 'cost'"):
        file.set_rates({"cost": {"per_hour": [60.0, 90.0]}})
    assert file.load().rates_document == {}


@pytest.mark.parametrize(
    ("put", "told"),
    [
        pytest.param(
            lambda f: f.put_settlement(
                Settlement(SettlementId("x"), MarkId("no"), PhotoId("photo-1"), SettledView.THERE)
            ),
            "there is no mark 'no'",
            id="mark",
        ),
        pytest.param(
            lambda f: f.put_scale(
                ScaleSighting(ScaleId("x"), PhotoId("no"), PanelId("floor"), [[0, 0], [1, 1]], [[0, 0], [9, 9]])
            ),
            "there is no photo 'no'",
            id="photo",
        ),
        pytest.param(lambda f: f.set_earlier_record("short"), "expected 64 digits of 0-9 a-f", id="hash"),
    ],
)
def test_what_names_something_that_is_not_there_is_refused(
    tmp_path: Path, put: Callable[[SurveyFile], object], told: str
) -> None:
    file = full_file(tmp_path)
    before = file.revision
    with pytest.raises(SurveyFileError, match=told):
        put(file)
    assert file.revision == before


def test_worked_out_documents_are_kept_and_are_no_change(tmp_path: Path) -> None:
    file = full_file(tmp_path)
    before = file.revision
    file.keep_worked_out("quality", {"ab": {"sharp": 0.5}, "cd": {"sharp": 1.5}})
    file.keep_worked_out("quality", {"ab": {"sharp": 0.25}})
    again = SurveyFile.open(file.path)
    assert again.worked_out("quality") == {"ab": {"sharp": 0.25}, "cd": {"sharp": 1.5}}
    assert again.worked_out("other") == {}
    assert again.revision == before
    assert again.check() == ()
