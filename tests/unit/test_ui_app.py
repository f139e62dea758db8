"""The app's logic, page by page, without a browser."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from corromap.evaluation import evaluate
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Mark, MarkKind, RustStage, Sighting
from corromap.ui.exports import EXPORT_TITLES
from corromap.ui.serving import SCRIPT
from corromap.ui.surveys import key_of

Run = Callable[..., AppTest]


@pytest.fixture
def surveys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "surveys"
    folder.mkdir()
    monkeypatch.setenv("CORROMAP_SURVEYS", str(folder))
    monkeypatch.delenv("CORROMAP_OPEN", raising=False)
    return folder


@pytest.fixture
def file(surveys: Path) -> SurveyFile:
    return SurveyFile.create(
        surveys / "blue.corromap", load_template("two-seat-open"), default_rules(), Car(label="Blue car"), author="one"
    )


def _photo_bytes(seed: int) -> bytes:
    return encode_jpeg(np.full((900, 1200, 3), 40 * seed + 20, dtype=np.uint8))


def _place(file: SurveyFile, photo: PhotoId, panel_id: str = "floor-left") -> None:
    """Click every datum point of a panel where a straight-down camera would show it."""
    template = file.load().template
    panel = template.panel(PanelId(panel_id))
    for datum, (u, v) in template.datum_positions(panel.id).items():
        at = np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]
        file.put_sighting(Sighting(photo, datum, at))


@pytest.fixture
def placed(file: SurveyFile) -> SurveyFile:
    photo = file.add_photo(_photo_bytes(1), "floor.jpg", "seller")
    _place(file, photo)
    ring = np.array([[310, 400], [420, 400], [420, 480], [310, 480]], dtype=float)
    file.put_mark(Mark(MarkId("patch-1"), photo, MarkKind.PATCH, PhotoOutline(ring)))
    holed = PhotoOutline(ring + np.array([0.0, 120.0]))
    file.put_mark(Mark(MarkId("rust-1"), photo, MarkKind.RUST, holed, stage=RustStage.HOLED))
    return file


def _open(file: SurveyFile | None = None, page: str = "car", **more: str) -> AppTest:
    at = AppTest.from_file(str(SCRIPT), default_timeout=60)
    if file is not None:
        at.query_params.update({"survey": key_of(file.path), "page": page, **more})
    return at.run()


def _html(at: AppTest) -> str:
    return " ".join(str(getattr(block.proto, "body", "")) for block in at.get("html"))


def _button(at: AppTest, key: str):
    return next(button for button in at.button if button.key == key)


def test_an_empty_folder_says_what_to_do(surveys: Path) -> None:
    at = _open()
    assert not at.exception
    assert "No survey yet." in _html(at)


def test_a_new_survey_is_a_file_in_the_folder_and_opens(surveys: Path) -> None:
    at = _open()
    next(field for field in at.text_input if field.key == "new_label").set_value("Grüne Limousine <b>").run()
    _button(at, "new_start").click().run()
    assert not at.exception
    made = list(surveys.glob("*.corromap"))
    assert [f.name for f in made] == ["grune-limousine-b.corromap"]
    assert SurveyFile.open(made[0]).load().survey.car.label == "Grüne Limousine <b>"
    assert at.query_params["survey"] == key_of(made[0])
    assert "<b>Grüne" not in _html(at)
    assert "Grüne Limousine &lt;b&gt;" in _html(at)


@pytest.mark.parametrize("page", ["car", "photos", "place", "mark", "outcome", "report"])
def test_every_page_of_an_empty_survey_says_what_to_do_next(file: SurveyFile, page: str) -> None:
    at = _open(file, page)
    assert not at.exception
    assert any(button.key and button.key.startswith("next_") for button in at.button)


def test_an_unknown_survey_in_the_address_is_told_and_leads_back(surveys: Path) -> None:
    at = AppTest.from_file(str(SCRIPT), default_timeout=60)
    at.query_params.update({"survey": "../../etc/passwd", "page": "car"})
    at.run()
    assert not at.exception
    assert "is not in the folder (any more)" in _html(at)
    at.button[0].click().run()
    assert "No survey yet." in _html(at)


def test_a_field_is_saved_when_it_is_left_and_undo_brings_the_old_one_back(file: SurveyFile) -> None:
    at = _open(file)
    next(field for field in at.text_input if field.key == "car_seller").set_value("A. Seller").run()
    assert file.load().survey.car.seller == "A. Seller"
    _button(at, "bar_undo").click().run()
    assert file.load().survey.car.seller == ""
    assert next(field for field in at.text_input if field.key == "car_seller").value == ""
    _button(at, "bar_redo").click().run()
    assert next(field for field in at.text_input if field.key == "car_seller").value == "A. Seller"


def test_undo_says_what_it_takes_back(file: SurveyFile) -> None:
    file.set_car(Car(label="Blue car", seller="someone"))
    at = _open(file)
    assert "car details changed" in _button(at, "bar_undo").label
    assert _button(at, "bar_redo").disabled


def test_a_second_window_does_not_write_over_the_first(file: SurveyFile) -> None:
    at = _open(file)
    other = SurveyFile.open(file.path, author="two")
    other.set_car(replace(other.load().survey.car, seller="from the other window"))
    next(field for field in at.text_input if field.key == "car_owner").set_value("from this window").run()
    car = file.load().survey.car
    assert (car.seller, car.owner) == ("from the other window", "")
    assert "Nothing was overwritten" in _html(at)
    _button(at, "stale_retry").click().run()
    car = file.load().survey.car
    assert (car.seller, car.owner) == ("from the other window", "from this window")
    assert "Nothing was overwritten" not in _html(at)


def test_a_change_left_out_is_not_made(file: SurveyFile) -> None:
    at = _open(file)
    SurveyFile.open(file.path, author="two").set_car(Car(label="Renamed"))
    next(field for field in at.text_input if field.key == "car_owner").set_value("mine").run()
    _button(at, "stale_drop").click().run()
    assert file.load().survey.car == Car(label="Renamed")
    assert "stale_retry" not in {button.key for button in at.button}


def test_undo_in_a_stale_window_takes_nothing_of_the_other_back(file: SurveyFile) -> None:
    at = _open(file)
    next(field for field in at.text_input if field.key == "car_owner").set_value("mine").run()
    SurveyFile.open(file.path, author="two").set_car(Car(label="Blue car", owner="mine", seller="theirs"))
    _button(at, "bar_undo").click().run()
    assert file.load().survey.car.seller == "theirs"
    assert "another window changed the survey first" in _html(at)
    assert "stale_retry" not in {button.key for button in at.button}


def test_photos_are_taken_in_and_bad_ones_named(file: SurveyFile) -> None:
    at = _open(file, "photos")
    good, bad = _photo_bytes(1), _photo_bytes(2)[:200]
    at.file_uploader[0].set_value(
        [("a.jpg", good, "image/jpeg"), ("b.jpg", bad, "image/jpeg"), ("c.jpg", good, "image/jpeg")]
    )
    at.run()
    assert not at.exception
    assert [photo.name for photo in file.load().survey.photos] == ["a.jpg"]
    said = _html(at)
    assert "1 of 3 photos added." in said
    assert "kept once: c.jpg" in said
    assert re.search(r"Not added: b\.jpg: .*b\.jpg", said)


def test_a_folder_is_taken_in_and_a_wrong_path_is_told(file: SurveyFile, tmp_path: Path) -> None:
    at = _open(file, "photos")
    folder = tmp_path / "pictures"
    folder.mkdir()
    for seed in range(3):
        (folder / f"{seed}.jpg").write_bytes(_photo_bytes(seed))
    (folder / "notes.txt").write_text("not a picture")
    next(field for field in at.text_input if field.key == "folder_path").set_value(str(folder / "x")).run()
    _button(at, "folder_add").click().run()
    assert "is not a folder on this computer" in _html(at)
    next(field for field in at.text_input if field.key == "folder_path").set_value(str(folder)).run()
    _button(at, "folder_add").click().run()
    assert [photo.name for photo in file.load().survey.photos] == ["0.jpg", "1.jpg", "2.jpg"]


def test_photos_move_and_go_and_one_undo_brings_them_back(file: SurveyFile) -> None:
    ids = [file.add_photo(_photo_bytes(seed), f"{seed}.jpg") for seed in range(3)]
    at = _open(file, "photos", photo=str(ids[2]))
    _button(at, "photo_earlier").click().run()
    assert [photo.name for photo in file.load().survey.photos] == ["0.jpg", "2.jpg", "1.jpg"]
    _button(at, "bar_undo").click().run()
    assert [photo.name for photo in file.load().survey.photos] == ["0.jpg", "1.jpg", "2.jpg"]
    _button(at, "photo_remove").click().run()
    assert len(file.load().survey.photos) == 2
    _button(at, "bar_undo").click().run()
    assert len(file.load().survey.photos) == 3


def test_the_template_can_be_chosen_until_something_hangs_on_it(file: SurveyFile) -> None:
    at = _open(file)
    next(box for box in at.selectbox if box.key == "car_template").set_value("small-hatchback").run()
    assert file.load().template.id == "small-hatchback"
    photo = file.add_photo(_photo_bytes(1), "floor.jpg")
    _place(file, photo)
    at = _open(file)
    assert "car_template" not in {box.key for box in at.selectbox}


def test_the_outcome_gives_reasons_with_their_marks_and_sources(placed: SurveyFile) -> None:
    at = _open(placed, "outcome")
    assert not at.exception
    said = _html(at)
    assert "shown well enough to judge" in said
    assert "Source: " in said
    links = [button for button in at.button if "floor\\.jpg" in button.label]
    assert links
    links[0].click().run()
    assert at.query_params["page"] == "mark"
    assert at.query_params["photo"] == "photo-1"


def test_a_limit_is_changed_saved_and_shown_as_changed(placed: SurveyFile) -> None:
    at = _open(placed, "outcome")
    next(field for field in at.number_input if field.key == "limit_patches-in-all").set_value(1.0).run()
    rules = {rule.id: rule for rule in placed.load().rules.rules}
    assert rules["patches-in-all"].at_least == 1.0
    assert "Too much patching" in _html(at)
    assert "from 1 pieces instead of from 12 pieces" in _html(at)
    _button(at, "rules_default").click().run()
    assert placed.load().rules == default_rules()


def test_a_published_limit_cannot_be_edited(placed: SurveyFile) -> None:
    at = _open(placed, "outcome")
    published = [rule.id for rule in default_rules().rules if not rule.house_rule]
    assert published
    for rule in published:
        assert next(field for field in at.number_input if field.key == f"limit_{rule}").disabled


def test_the_report_page_offers_what_can_be_handed_on(placed: SurveyFile) -> None:
    at = _open(placed, "report")
    assert not at.exception
    own = {"report", "pdf", "one-page", "welder", "requests", "picture", "tiff"}
    assert set(re.findall(r'data-get="([\w-]+)"', _html(at))) == own | set(EXPORT_TITLES)


def test_language_paper_and_unit_of_the_report_are_kept_with_the_survey(placed: SurveyFile) -> None:
    at = _open(placed, "report")
    for key, value in (("language", "de"), ("paper", "Letter"), ("length_unit", "in")):
        at.selectbox(key=f"printed_{key}").set_value(value).run()
    settings = placed.load().survey.settings
    assert (settings.language, settings.paper, settings.length_unit) == ("de", "Letter", "in")


def test_a_survey_that_cannot_be_opened_is_listed_with_its_fault(surveys: Path) -> None:
    (surveys / "broken.corromap").write_bytes(b"not a survey" * 100)
    at = _open()
    assert not at.exception
    assert "broken.corromap" in _html(at)
    assert next(b for b in at.button if b.key and b.key.startswith("open_broken")).disabled


def test_the_file_given_on_the_command_line_opens_first(
    file: SurveyFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "elsewhere.corromap"
    file.save_copy(elsewhere)
    monkeypatch.setenv("CORROMAP_OPEN", str(elsewhere))
    at = _open()
    assert at.query_params["survey"] == key_of(elsewhere)
    assert "Blue car" in _html(at)


def test_a_note_is_written_printed_and_taken_back(placed: SurveyFile) -> None:
    at = _open(placed, "outcome")
    next(field for field in at.text_input if field.key == "note_text_0").set_value("magnet falls off <here>").run()
    _button(at, "note_add").click().run()
    assert [note.text for note in placed.load().survey.notes] == ["magnet falls off <here>"]
    assert "magnet falls off &lt;here&gt;" in _html(at)
    assert next(field for field in at.text_input if field.key == "note_text_1").value == ""
    next(b for b in at.button if b.key and b.key.startswith("note_gone_")).click().run()
    assert placed.load().survey.notes == ()


def test_error_sizes_are_changed_and_widen_the_intervals(placed: SurveyFile) -> None:
    def width() -> float:
        record = placed.load()
        whole = evaluate(record.survey, record.template, record.rules).measures.groups[0].affected
        return whole.high_mm2 - whole.low_mm2

    before = width()
    at = _open(placed, "outcome")
    next(field for field in at.number_input if field.key == "size_outline_sigma_px").set_value(6.0).run()
    assert placed.load().survey.settings.outline_sigma_px == 6.0
    assert width() > 1.5 * before


def test_a_blurred_place_is_told_apart_from_marks_and_can_be_taken_away(placed: SurveyFile) -> None:
    ring = PhotoOutline([[500, 100], [600, 100], [600, 160], [500, 160]])
    placed.put_mark(Mark(MarkId("plate"), PhotoId("photo-1"), MarkKind.BLUR, ring))
    at = _open(placed, "mark", photo="photo-1")
    assert not at.exception
    assert "1 place made unrecognisable in everything handed out" in _html(at)
    assert any("2 marks on this photo" in heading.value for heading in at.subheader)
    _button(at, "gone_plate").click().run()
    assert [mark.id for mark in placed.load().survey.marks] == ["patch-1", "rust-1"]


@pytest.mark.parametrize("page", ["outcome", "report"])
def test_other_pages_show_a_survey_with_blurred_places(placed: SurveyFile, page: str) -> None:
    ring = PhotoOutline([[500, 100], [600, 100], [600, 160], [500, 160]])
    placed.put_mark(Mark(MarkId("plate"), PhotoId("photo-1"), MarkKind.BLUR, ring))
    assert not _open(placed, page).exception
