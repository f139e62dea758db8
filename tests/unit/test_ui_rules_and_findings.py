"""Rules, findings by hand and what would change the outcome on the outcome page, without a browser."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from corromap.by_hand import HandKind, ShellKind
from corromap.frames import PhotoId
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules, parse_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Mark, MarkKind, PhotoOutline, RustStage, Sighting
from corromap.ui.map_point import MapPoint, on_panel
from corromap.ui.serving import SCRIPT
from corromap.ui.surveys import key_of

TEMPLATE = load_template("two-seat-open")


@pytest.fixture
def placed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurveyFile:
    """A survey with one photo placed on the left floor, a patch and a hole on it."""
    monkeypatch.setenv("CORROMAP_SURVEYS", str(tmp_path))
    monkeypatch.delenv("CORROMAP_OPEN", raising=False)
    file = SurveyFile.create(tmp_path / "blue.corromap", TEMPLATE, default_rules(), author="one")
    photo: PhotoId = file.add_photo(encode_jpeg(np.full((900, 1200, 3), 60, dtype=np.uint8)), "floor.jpg", "seller")
    panel = next(p for p in TEMPLATE.panels if p.id == "floor-left")
    for datum, (u, v) in TEMPLATE.datum_positions(panel.id).items():
        file.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]))
    ring = np.array([[310, 400], [420, 400], [420, 480], [310, 480]], dtype=float)
    file.put_mark(Mark("patch-1", photo, MarkKind.PATCH, PhotoOutline(ring)))  # type: ignore[arg-type]
    hole = PhotoOutline(ring + np.array([0.0, 120.0]))
    file.put_mark(Mark("rust-1", photo, MarkKind.RUST, hole, stage=RustStage.HOLED))  # type: ignore[arg-type]
    return file


def _open(file: SurveyFile) -> AppTest:
    at = AppTest.from_file(str(SCRIPT), default_timeout=60)
    at.query_params.update({"survey": key_of(file.path), "page": "outcome"})
    return at.run()


def _html(at: AppTest) -> str:
    return " ".join(str(getattr(block.proto, "body", "")) for block in at.get("html"))


def _by_key(elements, key: str):
    return next(one for one in elements if one.key == key)


def test_a_changed_limit_shows_at_once_what_it_changes(placed: SurveyFile) -> None:
    at = _open(placed)
    assert not at.exception
    _by_key(at.number_input, "limit_patch-share-of-zone").set_value(100.0).run()
    assert not at.exception
    html = _html(at)
    assert "Outcome: <b>repair</b>, was stop." in html
    assert "1 result changed" in html
    assert placed.load().rules.rules != default_rules().rules
    _by_key(at.selectbox, "hand_zone").set_value("floor-left-middle").run()
    assert "was stop" in _html(at)  # still there: nothing was changed since
    _by_key(at.button, "hand_add").click().run()
    assert "was stop" not in _html(at)


def test_rules_show_what_they_read_now(placed: SurveyFile) -> None:
    html = _html(_open(placed))
    assert "now 1, whole underside: cannot tell: too little was seen well enough" in html
    assert "Closed sections" in html
    assert "cannot tell: nobody looked" in html


def test_the_set_is_renamed_and_its_default_comes_back(placed: SurveyFile) -> None:
    at = _open(placed)
    _by_key(at.text_input, "rules_name").set_value("Our house").run()
    _by_key(at.number_input, "limit_patches-in-all").set_value(3.0).run()
    rules = placed.load().rules
    assert (rules.name, rules.version) == ("Our house", 2)
    _by_key(at.button, "rules_default").click().run()
    assert placed.load().rules == default_rules()


def test_a_finding_by_hand_is_placed_signed_and_read_by_the_rules(placed: SurveyFile) -> None:
    at = _open(placed)
    _by_key(at.selectbox, "hand_zone").set_value("sill-left-outer-rear").run()
    _by_key(at.radio, "hand_kind").set_value(HandKind.PROBE.value).run()
    _by_key(at.button, "hand_add").click().run()
    assert not at.exception
    (finding,) = placed.load().survey.hand_findings
    assert (finding.kind, finding.panel) == (HandKind.PROBE, "sill-left-outer")
    assert finding.at.endswith("Z")
    html = _html(at)
    assert "a probe goes through" in html
    assert "Left outer sill, rear: holes marked or found by a probe: 1." in html
    _by_key(at.button, f"hand_gone_{finding.id}").click().run()
    assert placed.load().survey.hand_findings == ()


def test_a_gauge_needs_a_thickness(placed: SurveyFile) -> None:
    at = _open(placed)
    _by_key(at.selectbox, "hand_zone").set_value("floor-left-middle").run()
    _by_key(at.radio, "hand_kind").set_value(HandKind.GAUGE.value).run()
    assert _by_key(at.button, "hand_add").disabled
    _by_key(at.number_input, "hand_mm_0").set_value(0.5).run()
    _by_key(at.button, "hand_add").click().run()
    assert placed.load().survey.hand_findings[0].thickness_mm == 0.5
    assert "% lost" in _html(at)


def test_a_door_gap_that_changes_is_a_reason(placed: SurveyFile) -> None:
    at = _open(placed)
    _by_key(at.radio, "shell_kind").set_value(ShellKind.DOOR_GAP.value).run()
    assert _by_key(at.button, "shell_add").disabled
    _by_key(at.number_input, "shell_ground_door gap_0").set_value(5.0).run()
    _by_key(at.number_input, "shell_raised_door gap_0").set_value(9.5).run()
    _by_key(at.button, "shell_add").click().run()
    assert not at.exception
    (check,) = placed.load().survey.shell_checks
    assert (check.place, check.ground_mm, check.raised_mm) == ("left top", 5.0, 9.5)
    assert "it changes by 4.5 mm when the car is raised (limit 3 mm)" in _html(at)


def test_a_reason_leads_to_its_mark_on_the_photo(placed: SurveyFile) -> None:
    at = _open(placed)
    link = next(b for b in at.button if b.key and b.key.startswith("why_") and b.key.endswith("rust-1"))
    link.click().run()
    assert at.query_params["page"] == "mark"
    assert at.query_params["mark"] == "rust-1"


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ({"panel": "sill-left-outer", "u": 100, "v": 50.04}, MapPoint("sill-left-outer", 100.0, 50.0)),  # type: ignore[arg-type]
        ({"panel": "sill-left-outer", "u": -3.0, "v": 50}, MapPoint("sill-left-outer", 0.0, 50.0)),  # type: ignore[arg-type]
        ({"panel": "sill-left-outer", "u": -30, "v": 50}, None),
        ({"panel": "roof", "u": 1, "v": 1}, None),
        ({"panel": "sill-left-outer", "u": math.nan, "v": 1}, None),
        ({"panel": "sill-left-outer", "u": "1", "v": 1}, None),
        ({"panel": "sill-left-outer"}, None),
        ("sill-left-outer", None),
        (None, None),
    ],
)
def test_what_the_map_sends_is_checked(raw: object, expected: MapPoint | None) -> None:
    assert on_panel(TEMPLATE, raw) == expected


def test_a_faulty_rule_file_is_refused_with_its_line() -> None:
    from corromap.errors import RuleSetError  # noqa: PLC0415

    with pytest.raises(RuleSetError, match=r"rule file 'x.toml', line 2: rule set\.version"):
        parse_rules(b'id = "a"\nversion = 0\nname = "b"\nrule = [{}]\n', "x.toml")
