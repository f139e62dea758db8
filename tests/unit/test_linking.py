"""Links in the survey file, on the command line and in the app; the pixels are rendered."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest

from corromap.cli import main
from corromap.control import MeasuredLength
from corromap.errors import InvalidValueError
from corromap.frames import LengthId, PhotoId
from corromap.io.photo_links import accept_links, find_links, find_scale, refuse_link
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.registration import Registration, place_photos
from corromap.registration.board import BOARD_MM, black_rectangles
from corromap.survey import Sighting
from corromap.ui.open_survey import OpenSurvey
from corromap.ui.pages import place as place_page
from corromap.ui.serving import SCRIPT
from corromap.ui.surveys import key_of
from tests.rendered_row import RenderedRow, row_cameras

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@cache
def row() -> RenderedRow:
    return RenderedRow(row_cameras(3))


@cache
def jpegs() -> tuple[bytes, ...]:
    return tuple(encode_jpeg(one.image, 92) for one in row().rendered)


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurveyFile:
    """Three photos, eight clicks on the first."""
    monkeypatch.setenv("CORROMAP_SURVEYS", str(tmp_path))
    monkeypatch.delenv("CORROMAP_OPEN", raising=False)
    made = SurveyFile.create(tmp_path / "car.corromap", row().body, default_rules(), author="one")
    ids = [made.add_photo(data, f"{name}.jpg", "seller") for data, name in zip(jpegs(), "abc", strict=True)]
    for click in row().clicks(0, 8):
        made.put_sighting(Sighting(ids[0], click.datum, click.at_px))
    return made


def placed(file: SurveyFile) -> set[PhotoId]:
    record = file.load()
    return {key for (key, _), r in place_photos(record.survey, record.template).items() if isinstance(r, Registration)}


def test_found_accepted_undone_and_refused(file: SurveyFile) -> None:
    found = find_links(file)
    assert [one.photo for one in found.proposals][:1] == ["photo-2"]
    assert placed(file) == {"photo-1"}
    accept_links(file, found.proposals, author="one", at=NOW)
    ties = file.load().survey.ties
    assert len({tie.id for tie in ties}) == len(ties)
    assert all(tie.author == "one" and tie.at == "2026-03-01T09:30:00+00:00" for tie in ties)
    assert {"photo-1", "photo-2"} <= placed(file)
    file.undo()
    assert file.load().survey.ties == ()
    for one in found.proposals:
        refuse_link(file, one)
    again = find_links(file)
    assert not any({"photo-1"} & set(one.through) for one in again.proposals)


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["link", *arguments])
    return result.exit_code, result.output


def test_command_lists_and_accepts(file: SurveyFile) -> None:
    code, text = run(str(file.path))
    assert code == 0, text
    assert "Photo 'b.jpg' seems to show " in text
    assert "Nothing is stored yet." in text
    assert file.load().survey.ties == ()
    code, text = run(str(file.path), "--accept", "--photo", "b.jpg")
    assert code == 0, text
    assert "accepted: " in text
    assert "b.jpg" in text.splitlines()[-1]
    assert "photo-2" in placed(file)
    code, text = run(str(file.path), "--photo", "nobody.jpg")
    assert code == 1
    assert "has no photo named 'nobody.jpg'; it has a.jpg, b.jpg, c.jpg" in text


def _open(file: SurveyFile, page: str, **more: str) -> AppTest:
    at = AppTest.from_file(str(SCRIPT), default_timeout=120)
    at.query_params.update({"survey": key_of(file.path), "page": page, **more})
    return at.run()


def _html(at: AppTest) -> str:
    return " ".join(str(getattr(block.proto, "body", "")) for block in at.get("html"))


def _button(at: AppTest, key: str):
    return next(button for button in at.button if button.key == key)


def test_the_app_proposes_and_stores_what_the_person_accepts(file: SurveyFile) -> None:
    at = _open(file, "place", photo="photo-2")
    assert not at.exception
    assert "2 photos have no place yet." in _html(at)
    _button(at, "link_look").click().run()
    assert not at.exception
    text = _html(at)
    assert "Proposed, not accepted yet." in text
    assert "points agree to" in text
    assert file.load().survey.ties == ()
    _button(at, "link_accept").click().run()
    assert not at.exception
    assert "photo-2" in placed(file)
    text = _html(at)
    assert "Proposed, not accepted yet." not in text
    assert "Linked with" in text
    linked = file.load().survey.ties
    assert len(linked) > 1
    off = next(button for button in at.button if button.key.startswith("link_off_"))
    off.click().run()
    assert not at.exception
    assert "photo-2" not in placed(file)
    file.undo()  # one step brings every tie of the link back
    assert [tie.id for tie in file.load().survey.ties] == [tie.id for tie in linked]


def test_a_moved_click_is_shown_at_once_and_no_figure_is_taken_from_it(
    file: SurveyFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    accept_links(file, find_links(file).proposals, author="one", at=NOW)
    at = _open(file, "place", photo="photo-1")
    drawn: list[tuple[str, OpenSurvey]] = []
    real = place_page._show_photo
    monkeypatch.setattr(place_page, "_show_photo", lambda *args: (drawn.append((args[2], args[0])), real(*args)))
    before = file.load().survey.sightings[0]
    file.put_sighting(Sighting(before.photo, before.datum, before.at_px + np.array([1.0, -2.0])))
    at.run()
    assert not at.exception
    assert [words.split(" ")[0] for words, _ in drawn] == ["Adjusting", "Click"]
    assert "Adjusting the linked photos" not in _html(at)
    draft, full = (held for _, held in drawn)
    with pytest.raises(InvalidValueError, match="no figure"):
        _ = draft.evaluation
    mine = [key for key in full.registrations if key[0] == "photo-1"]
    assert mine == [key for key in draft.registrations if key[0] == "photo-1"]
    for key in mine:
        shown, end = draft.registrations[key], full.registrations[key]
        assert isinstance(shown, Registration)
        assert isinstance(end, Registration)
        assert np.nanmax(np.abs(shown.to_mm(end.hull_px)[0] - end.to_mm(end.hull_px)[0])) < 0.2
    assert full.evaluation.registrations is full.registrations


def test_a_refused_proposal_is_gone(file: SurveyFile) -> None:
    at = _open(file, "place", photo="photo-2")
    _button(at, "link_look").click().run()
    _button(at, "link_refuse").click().run()
    assert not at.exception
    assert "Proposed, not accepted yet." not in _html(at)
    assert file.load().survey.ties == ()
    assert "photo-1>photo-2" in file.worked_out("refused links")


def test_lengths_on_the_page_of_the_car(file: SurveyFile) -> None:
    body = row().body
    car = {d: panel.place.to_car(point.at_mm)[0] for d, (panel, point) in body.datum_points.items()}
    front, rear = max(car, key=lambda d: car[d][0]), min(car, key=lambda d: car[d][0])
    at = _open(file, "car")
    at.selectbox(key="length_first_0").set_value(front).run()
    at.selectbox(key="length_second_0").set_value(rear).run()
    true = float(np.linalg.norm(car[front] - car[rear]))
    at.number_input(key="length_mm_0").set_value(round(1.012 * true)).run()
    _button(at, "length_add").click().run()
    assert not at.exception
    (stored,) = file.load().survey.lengths
    assert stored.sigma_mm == 2.0
    assert "This car against the template" in _html(at)
    file.put_length(MeasuredLength(LengthId("wrong"), front, rear, 0.7 * true))
    at = _open(file, "car")
    assert "was left out" in _html(at)


def test_a_printed_board_is_found_on_a_photo(file: SurveyFile) -> None:
    scale = 4
    page = np.full((int(BOARD_MM[1] + 20) * scale, int(BOARD_MM[0] + 20) * scale, 3), 230, dtype=np.uint8)
    for x, y, w, h in black_rectangles():
        page[
            round((y + 10) * scale) : round((y + h + 10) * scale), round((x + 10) * scale) : round((x + w + 10) * scale)
        ] = 20
    photo = file.add_photo(encode_jpeg(page, 92), "board.jpg", "inspector")
    panel = row().body.panels[0].id
    found = find_scale(file, photo, panel, "board.jpg")
    assert found is not None
    assert len(found.at_px) == 24
    assert find_scale(file, PhotoId("photo-1"), panel, "a.jpg") is None
    at = _open(file, "place", photo=str(photo))
    _button(at, "scale_find").click().run()
    assert not at.exception
    assert len(file.load().survey.scales) == 1
    assert "says nothing yet" in _html(at)
