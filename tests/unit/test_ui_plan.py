"""The page of the repair plan, without a browser."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from importlib import resources
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest

from corromap.cli import main
from corromap.errors import RatesError
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.report.repair_document import repair_schema
from corromap.survey import Car, Mark, MarkKind, RustStage, Sighting
from corromap.ui.open_survey import OpenSurvey
from corromap.ui.repair import plan_offers
from corromap.ui.serving import SCRIPT
from corromap.ui.surveys import key_of

Run = Callable[[], AppTest]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurveyFile:
    """One photo straight down on the left floor, with a hole of about 110 x 80 px at 2.5 mm a pixel."""
    folder = tmp_path / "surveys"
    folder.mkdir()
    monkeypatch.setenv("CORROMAP_SURVEYS", str(folder))
    monkeypatch.delenv("CORROMAP_OPEN", raising=False)
    template = load_template("two-seat-open")
    made = SurveyFile.create(
        folder / "blue.corromap", template, default_rules(), Car(label="Blue car <b>&"), author="one"
    )
    photo = made.add_photo(encode_jpeg(np.full((900, 1200, 3), 60, dtype=np.uint8)), "floor.jpg", "seller")
    panel = template.panel(PanelId("floor-left"))
    for datum, (u, v) in template.datum_positions(panel.id).items():
        made.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [300, 700]))
    ring = np.array([[340, 400], [380, 400], [380, 440], [340, 440]], dtype=float)
    made.put_mark(Mark(MarkId("m1"), PhotoId(photo), MarkKind.RUST, PhotoOutline(ring), stage=RustStage.HOLED))
    return made


@pytest.fixture
def run(file: SurveyFile) -> Run:
    def start() -> AppTest:
        app = AppTest.from_file(str(SCRIPT), default_timeout=60)
        app.query_params["survey"] = key_of(file.path)
        app.query_params["page"] = "plan"
        return app.run()

    return start


def markup_of(app: AppTest) -> str:
    words = [str(block.value) for block in app.markdown] + [str(block.proto.body) for block in app.get("html")]
    return " ".join(words)


def test_page_shows_the_plan_and_says_what_it_is(run: Run) -> None:
    app = run()
    assert not app.exception
    shown = markup_of(app)
    assert "This plan is a lower bound" in shown
    assert "ISO 9606-1" in shown
    assert "h</dd>" in shown
    assert "<svg" in shown
    assert "Order of work" in [block.value for block in app.subheader]
    for kind in ("welder", "dxf", "svg", "plan"):
        assert f'data-get="{kind}"' in shown
    app.button(key="plan_m1").click().run()
    assert (app.query_params["page"], app.query_params["mark"]) == ("mark", "m1")


def test_changing_a_rate_is_stored_and_changes_the_plan(run: Run, file: SurveyFile) -> None:
    app = run()
    before = markup_of(app)
    app.number_input(key="rate_rate_labour_high").set_value(500.0).run()
    assert not app.exception
    stored = file.load().rates_document
    assert stored["rate"]["labour"]["high"] == 500.0
    after = markup_of(app)
    assert after != before
    assert "labour: 60 to 500 money/h instead of 60 to 110" in after
    app.number_input(key="rate_policy_margin_value").set_value(10.0).run()
    assert file.load().rates_document["policy"]["margin"]["value"] == 10.0
    assert "margin: 10 mm instead of 30" in markup_of(app)
    app.button(key="rates_usual").click().run()
    assert file.load().rates_document == {}


def test_a_rate_that_cannot_be_is_refused_in_words(run: Run, file: SurveyFile) -> None:
    app = run()
    app.number_input(key="rate_rate_labour_low").set_value(5000.0).run()
    assert "low 5000 is more than high 110" in markup_of(app)
    assert file.load().rates_document == {}
    assert app.number_input(key="rate_rate_labour_low").value == 60.0
    app.text_input(key="rate_currency").set_value("euro").run()
    assert "three capital letters" in markup_of(app)


def test_a_survey_keeps_no_rates_that_cannot_be_used(file: SurveyFile) -> None:
    with pytest.raises(RatesError, match="'name' is missing"):
        file.set_rates({"id": "x"})
    assert file.load().rates_document == {}


def test_nothing_placed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CORROMAP_SURVEYS", str(tmp_path))
    made = SurveyFile.create(tmp_path / "a.corromap", load_template("two-seat-open"), default_rules(), Car(), author="")
    app = AppTest.from_file(str(SCRIPT), default_timeout=60)
    app.query_params["survey"], app.query_params["page"] = key_of(made.path), "plan"
    app.run()
    assert not app.exception
    assert "Nothing to plan yet" in markup_of(app)


# ---- the same from the command line ----


def test_command_prints_json_that_fits_its_schema(file: SurveyFile) -> None:
    done = CliRunner().invoke(main, ["plan", str(file.path), "--json"])
    assert done.exit_code == 0, done.output
    document = json.loads(done.stdout)
    jsonschema.validate(document, repair_schema())
    (zone,) = [zone for zone in document["zones"] if zone["pieces"]]
    assert document["is_lower_bound"] is True
    assert zone["seam_mm"] + zone["lap_mm"] == pytest.approx(sum(piece["perimeter_mm"] for piece in zone["pieces"]))
    assert zone["marked_mm2"] == pytest.approx(100 * 100, rel=0.02)


def test_command_writes_drawings_and_the_sheet(file: SurveyFile, tmp_path: Path) -> None:
    places = [f"--{kind}={tmp_path / kind}" for kind in ("dxf", "svg")]
    done = CliRunner().invoke(main, ["plan", str(file.path), *places, f"--pdf={tmp_path / 'sheet.pdf'}"])
    assert done.exit_code == 0, done.output
    assert "Repair plan (a lower bound)" in done.output
    assert [path.suffix for path in (tmp_path / "dxf").iterdir()] == [".dxf"]
    assert [path.suffix for path in (tmp_path / "svg").iterdir()] == [".svg"]
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


def test_command_refuses_a_wrong_rates_file_with_its_line(file: SurveyFile, tmp_path: Path) -> None:
    rates = tmp_path / "mine.toml"
    rates.write_text('id = "x"\nname = "x"\nversion = 1\ncurrency = "eur"\n', encoding="utf-8")
    done = CliRunner().invoke(main, ["plan", str(file.path), "--rates", str(rates)])
    assert done.exit_code == 1
    assert "rates file 'mine.toml'" in done.stderr
    assert "Traceback" not in done.output


def test_rates_file_changes_the_plan(file: SurveyFile, tmp_path: Path) -> None:
    text = resources.files("corromap.repair").joinpath("rates.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace('currency = "EUR"', 'currency = "GBP"', 1), encoding="utf-8")
    done = CliRunner().invoke(main, ["plan", str(file.path), "--rates", str(mine)])
    assert done.exit_code == 0
    assert "GBP" in done.output
    assert "no exchange rate is applied" in done.output.replace("\n", " ")
    assert file.load().rates_document == {}
    assert CliRunner().invoke(main, ["plan", str(file.path), "--rates", str(mine), "--keep"]).exit_code == 0
    assert file.load().rates_document["currency"] == "GBP"
    assert CliRunner().invoke(main, ["plan", str(file.path), "--keep"]).exit_code == 2


def test_zip_of_drawings_is_the_same_each_time(file: SurveyFile) -> None:
    held = OpenSurvey("blue", file, file.load(), "token")
    one, two = (plan_offers(held)["dxf"].make() for _ in range(2))
    assert one == two
    with zipfile.ZipFile(io.BytesIO(one)) as packed:
        assert all(name.endswith(".dxf") for name in packed.namelist())
