"""Evidence in the app: arrivals judged, disagreements settled, what counts as seen, lists and pictures."""

from __future__ import annotations

import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from streamlit.testing.v1 import AppTest

from corromap.by_hand import SettledView
from corromap.evidence.sheet import sheet_of
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.io.opened import evaluated
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Mark, MarkKind, Sighting
from corromap.ui.arrivals import Incoming, take_in
from corromap.ui.evidence import screen_scale, whole_picture
from corromap.ui.open_survey import OpenSurvey
from corromap.ui.serving import SCRIPT
from corromap.ui.surveys import key_of


def picture(seed: int, *, dark: bool = False) -> bytes:
    """Something with edges in it, black in its left third if so wanted."""
    noise = np.random.default_rng(seed).normal(size=(90, 120, 3))
    rough = np.kron(noise, np.ones((10, 10, 1))) * 40 + 120
    rgb = np.clip(ndimage.gaussian_filter(rough, (0.7, 0.7, 0)), 30, 240).astype(np.uint8)
    if dark:
        rgb[:, :400] = 2
    return encode_jpeg(rgb)


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurveyFile:
    folder = tmp_path / "surveys"
    folder.mkdir()
    monkeypatch.setenv("CORROMAP_SURVEYS", str(folder))
    monkeypatch.delenv("CORROMAP_OPEN", raising=False)
    return SurveyFile.create(
        folder / "blue.corromap", load_template("two-seat-open"), default_rules(), Car(label="Blue car"), author="one"
    )


@pytest.fixture
def disputed(file: SurveyFile) -> SurveyFile:
    """Two photos of the left floor; the first carries a patch, the second does not."""
    panel = file.load().template.panel(PanelId("floor-left"))
    for seed, name in ((1, "first.jpg"), (2, "second.jpg")):
        photo = file.add_photo(picture(seed), name, "seller")
        for datum, (u, v) in file.load().template.datum_positions(panel.id).items():
            at = np.array([v * -panel.facing, -u]) / 2.0 + [300, 800]
            file.put_sighting(Sighting(photo, datum, at))
    ring = np.array([[320, 500], [430, 500], [430, 600], [320, 600]], dtype=float)
    file.put_mark(Mark(MarkId("patch-1"), PhotoId("photo-1"), MarkKind.PATCH, PhotoOutline(ring)))
    return file


def opened(file: SurveyFile, page: str) -> AppTest:
    at = AppTest.from_file(str(SCRIPT), default_timeout=60)
    at.query_params.update({"survey": key_of(file.path), "page": page})
    at.run()
    assert not at.exception
    return at


def markup(at: AppTest) -> str:
    return " ".join(str(getattr(block.proto, "body", "")) for block in at.get("html"))


def button(at: AppTest, key: str) -> object:
    return next(one for one in at.button if one.key == key)


def test_arrivals_are_judged_in_words_and_kept(file: SurveyFile) -> None:
    found = list(take_in(file, [Incoming("dark.jpg", lambda: picture(1, dark=True))], "seller"))
    assert found[0].remarks[0] == "Too dark to judge the left third."
    assert set(file.worked_out("quality")) == {file.load().survey.photos[0].sha256}
    page = markup(opened(file, "photos"))
    assert "Too dark to judge the left third." in page
    assert re.search(r"<th scope=\"row\">1 dark\.jpg<small>seller</small></th>.*?<div>33 %</div>", page)


def test_the_list_of_photos_to_take_is_there_before_any_photo(file: SurveyFile) -> None:
    assert "Open the list of photos to take" in markup(opened(file, "photos"))


@pytest.mark.parametrize("page", ["photos", "outcome"])
def test_what_is_missing_can_be_asked_for_where_it_is_told(disputed: SurveyFile, page: str) -> None:
    shown = markup(opened(disputed, page))
    address = re.search(r'target="_blank" data-get="requests" href="([^"]+)"', shown)
    assert address is not None
    assert "/requests?shown=1&amp;revision=" in address[1]


def test_the_map_shows_what_was_found_or_how_well(disputed: SurveyFile) -> None:
    at = opened(disputed, "outcome")
    drawn = [block.value for block in at.markdown if "cm-drawing" in block.value]
    assert not any("detail-upright" in one for one in drawn)
    next(c for c in at.button_group if c.key == "map_shows").set_value("How well it was shown").run()
    assert not at.exception
    drawn = [block.value for block in at.markdown if "cm-drawing" in block.value]
    assert sum("detail-upright" in one for one in drawn) == 1
    assert not any("outmap-" in one for one in drawn)


@pytest.mark.parametrize("view", list(SettledView))
def test_a_disagreement_is_settled(disputed: SurveyFile, view: SettledView) -> None:
    at = opened(disputed, "mark")
    next(t for t in at.toggle if t.key == "settle_on").set_value(True).run()
    page = markup(at)
    assert "1 of 1 still open" in page
    pair = next(block.value for block in at.markdown if "cm-pair" in block.value)
    assert "<b>Marked here</b> first.jpg" in pair
    assert "<b>No mark here</b> second.jpg" in pair
    assert pair.count('class="crop"') == 2
    next(t for t in at.text_input if t.key.startswith("settle_note_")).set_value("felt by hand").run()
    button(at, f"settle_{view.name.lower()}").click().run()
    assert not at.exception
    (said,) = disputed.load().survey.settlements
    assert (said.mark, said.photo, said.view, said.note) == ("patch-1", "photo-2", view, "felt by hand")
    assert said.at.endswith("Z")
    _, found = evaluated(disputed.path, "tester")
    whole = found.measures.groups[0].affected
    assert (whole.area_mm2 == 0) == (view is SettledView.NOT_THERE)
    assert (whole.low_mm2 == 0) == (view is not SettledView.THERE)
    assert "felt by hand" in markup(at)
    button(at, "settle_reopen").click().run()
    assert disputed.load().survey.settlements == ()


def test_a_mark_that_is_there_is_settled_on_every_photo(disputed: SurveyFile) -> None:
    """Of several answers the careful one holds, so no further one could change anything."""
    photo = disputed.add_photo(picture(3), "third.jpg", "seller")
    for sighting in [s for s in disputed.load().survey.sightings if s.photo == "photo-2"]:
        disputed.put_sighting(Sighting(photo, sighting.datum, sighting.at_px))
    at = opened(disputed, "mark")
    next(t for t in at.toggle if t.key == "settle_on").set_value(True).run()
    assert "2 of 2 still open" in markup(at)
    button(at, "settle_not_there").click().run()
    assert "1 of 2 still open" in markup(at)
    button(at, "settle_there").click().run()
    assert "0 of 2 still open" in markup(at)
    button(at, "settle_reopen").click().run()
    button(at, "bar_undo").click().run()
    assert len(disputed.load().survey.settlements) == 2
    disputed.undo()
    disputed.undo()
    at = opened(disputed, "mark")
    next(t for t in at.toggle if t.key == "settle_on").set_value(True).run()
    button(at, "settle_there").click().run()
    assert len(disputed.load().survey.settlements) == 1
    assert "0 of 2 still open" in markup(at)
    button(at, "settle_after").click().run()
    assert "Looked at again: it is there." in markup(at)


def test_what_counts_as_seen_can_be_changed(disputed: SurveyFile) -> None:
    before = evaluated(disputed.path, "tester")[1].measures.groups[0].well_share
    at = opened(disputed, "outcome")
    next(n for n in at.number_input if n.key == "size_smallest_hole_mm").set_value(2.0).run()
    assert not at.exception
    assert disputed.load().survey.settings.smallest_hole_mm == 2.0
    after = evaluated(disputed.path, "tester")[1].measures.groups[0].well_share
    assert after == 0.0 < before  # 2 mm per px: a hole of 2 mm spans one pixel
    assert "% well)" in markup(at)


@pytest.mark.parametrize("page", ["outcome", "report"])
def test_the_seller_is_asked_politely(disputed: SurveyFile, page: str) -> None:
    at = opened(disputed, page)
    next(t for t in at.toggle if t.key == "seller_message").set_value(True).run()
    assert not at.exception
    assert at.code[0].value.startswith("Hello,")


def test_the_whole_picture_is_shown(disputed: SurveyFile) -> None:
    disputed.set_settings(type(disputed.load().survey.settings)(picture_mm_per_px=8.0))
    at = opened(disputed, "report")
    next(t for t in at.toggle if t.key == "whole_picture").set_value(True).run()
    assert not at.exception
    assert re.search(
        r'<img class="cm-picture" src="/corromap/handout/[^"]+/screen\?shown=1&amp;revision=\d+"', markup(at)
    )


def test_the_page_shows_a_coarser_picture_and_opens_the_fine_one(disputed: SurveyFile) -> None:
    disputed.set_settings(type(disputed.load().survey.settings)(picture_mm_per_px=1.0))
    _, found = evaluated(disputed.path, "tester")
    held = OpenSurvey("blue", disputed, disputed.load(), "token")
    coarse, fine = (whole_picture(held, ".jpg", scale) for scale in (screen_scale(held), 1.0))
    sizes = [Image.open(io.BytesIO(data)).size for data in (coarse, fine)]
    expected = [
        (sheet.width_px, sheet.height_px) for sheet in (sheet_of(found.template, scale) for scale in (2.0, 1.0))
    ]
    assert sizes == expected
    assert whole_picture(held, ".jpg", screen_scale(held)) is coarse  # both are kept
    assert whole_picture(held, ".jpg", 1.0) is fine


def test_remarks_are_listed_worst_first_and_figures_in_the_photos_order(file: SurveyFile) -> None:
    given = [Incoming("fine.jpg", lambda: picture(5)), Incoming("dark.jpg", lambda: picture(6, dark=True))]
    assert len(list(take_in(file, given, "seller"))) == 2
    shown = markup(opened(file, "photos"))
    assert "Take these again if you can" in shown
    remarks = shown[shown.index("What stands out") : shown.index("too bright")]
    figures = shown[shown.index("too bright") :]
    assert 0 < remarks.index("dark.jpg") < remarks.index("fine.jpg")
    assert 0 < figures.index("fine.jpg") < figures.index("dark.jpg")
