"""The parts of the app that need no page: names, texts, steps, stages, routes."""

from __future__ import annotations

import asyncio
import io
import json
import shutil
import socket
import subprocess
import sys
import tomllib
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from starlette.applications import Starlette

from corromap.errors import InputError, OutputError, SurveyFileError
from corromap.evaluation import KeptPhotos, StagedEvaluation, evaluate
from corromap.exports.seal import file_faults
from corromap.frames import MarkId, PanelId, PhotoId, PhotoOutline
from corromap.io.photos import encode_jpeg
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.projection import project, project_photo
from corromap.survey import Car, Mark, MarkKind, RustStage, Sighting
from corromap.ui import arrivals, hand_out, markup, photo_routes, sent, serving, state, steps, surveys, tokens
from corromap.ui.exports import EXPORT_TITLES, export_offers


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> SurveyFile:
    """Build the survey once: it is one transaction a datum point."""
    made = SurveyFile.create(
        tmp_path_factory.mktemp("built") / "car.corromap", load_template("two-seat-open"), default_rules(), Car("Blue")
    )
    template = made.load().template
    for seed, panel_id in enumerate(("floor-left", "floor-right")):
        photo = made.add_photo(encode_jpeg(np.full((900, 1200, 3), 40 + seed, dtype=np.uint8)), f"{panel_id}.jpg")
        panel = template.panel(PanelId(panel_id))
        for datum, (u, v) in template.datum_positions(panel.id).items():
            made.put_sighting(Sighting(photo, datum, np.array([v * -panel.facing, -u]) / 2.5 + [600, 700]))
        ring = np.array([[0, 400], [90, 400], [90, 480], [0, 480]]) + np.array([610 if panel.facing < 0 else 500, 0])
        made.put_mark(Mark(MarkId(f"m{seed}"), photo, MarkKind.PATCH, PhotoOutline(ring)))
    return made


@pytest.fixture
def file(built: SurveyFile, tmp_path: Path) -> SurveyFile:
    shutil.copy(built.path, tmp_path / "car.corromap")
    return SurveyFile.open(tmp_path / "car.corromap")


# Names and texts


@given(st.text(max_size=300))
def test_a_file_name_is_made_of_harmless_signs(label: str) -> None:
    name = surveys.file_name_for(label)
    assert 1 <= len(name) <= 60
    assert set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")


@pytest.mark.parametrize(
    ("label", "name"),
    [
        pytest.param("Blue saloon, lot 14", "blue-saloon-lot-14", id="plain"),
        pytest.param("Grüne Limousine", "grune-limousine", id="accents"),
        pytest.param("../../etc/passwd", "etc-passwd", id="path"),
        pytest.param("سيارة 🚗", "survey", id="nothing left"),
    ],
)
def test_file_names(label: str, name: str) -> None:
    assert surveys.file_name_for(label) == name


def test_a_taken_name_gets_a_number(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CORROMAP_SURVEYS", str(tmp_path))
    assert surveys.free_path("Blue").name == "blue.corromap"
    (tmp_path / "blue.corromap").touch()
    (tmp_path / "blue-2.corromap").touch()
    assert surveys.free_path("Blue").name == "blue-3.corromap"


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("CORROMAP_SURVEYS", str(tmp_path / "file" / "below"))
    with pytest.raises(OutputError, match=r"cannot be made .*set CORROMAP_SURVEYS"):
        surveys.folder()


def test_two_files_of_one_name_have_different_keys(tmp_path: Path) -> None:
    assert surveys.key_of(tmp_path / "a" / "car.corromap") != surveys.key_of(tmp_path / "b" / "car.corromap")


@given(st.text(max_size=80))
def test_escaped_text_holds_no_markup(text: str) -> None:
    inner = markup.esc(text).removeprefix("<bdi>").removesuffix("</bdi>")
    assert not set("<>\"'\n\r") & set(inner)


@pytest.mark.parametrize(
    "text", ["**bold**", "[a](http://x)", "$x$", ":red[x]", "# head", "`code`", "<b>", "a\n\n# b", "1. one", "- item"]
)
def test_escaped_markdown_keeps_no_sign_unescaped(text: str) -> None:
    escaped = markup.plain_md(text)
    assert "\n" not in escaped
    plain = escaped.replace("\\", "")
    assert plain == " ".join(text.split("\n\n")) or plain == text
    for at, sign in enumerate(escaped):
        if sign in "*[]()$:#`<>_~|":
            assert escaped[at - 1] == "\\"


def test_a_table_heads_rows_and_columns() -> None:
    made = markup.table(
        ["zone <", "area"], [["sill & floor", markup.Cell("12", small="10 to 14")]], numeric=frozenset({1})
    )
    assert '<th scope="row">sill &amp; floor</th>' in made
    assert "zone &lt;" in made
    assert "<small>10 to 14</small>" in made


# Contrast: WCAG 2.2, 1.4.3 and 1.4.6, formula of relative luminance from its glossary


def _luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "panel"])
@pytest.mark.parametrize(
    ("text", "least"),
    [("ink", 7.0), ("dim", 4.5), ("link", 4.5), ("stop", 4.5), ("repair", 4.5), ("clear", 4.5), ("notshown", 4.5)],
)
def test_texts_stand_out_from_their_ground(theme: str, ground: str, text: str, least: float) -> None:
    colours = tokens.TOKENS[theme]
    assert _contrast(colours[text], colours[ground]) >= least


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), [("bar-ink", "bar"), ("bar-dim", "bar"), ("on-accent", "accent")])
def test_texts_on_colour_stand_out(theme: str, text: str, ground: str) -> None:
    assert _contrast(tokens.TOKENS[theme][text], tokens.TOKENS[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_blocks_and_streamlits_widgets_share_their_colours(theme: str) -> None:
    settings = serving.settings()
    for token, option in [("paper", "backgroundColor"), ("panel", "secondaryBackgroundColor"), ("ink", "textColor"),
                          ("accent", "primaryColor"), ("link", "linkColor")]:  # fmt: skip
        assert settings[f"theme.{theme}.{option}"] == tokens.TOKENS[theme][token]


# Serving


def test_the_app_listens_to_this_computer_only_and_tells_nobody() -> None:
    settings = serving.settings()
    assert settings["server.address"] == "127.0.0.1"
    assert settings["browser.gatherUsageStats"] is False
    assert settings["server.enableStaticServing"] is False


def test_the_settings_are_those_streamlit_run_reads() -> None:
    table = tomllib.loads((Path(__file__).parents[2] / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert table["server"]["address"] == serving.settings()["server.address"]


def test_a_missing_survey_is_told_before_anything_starts(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there: check the name"):
        serving.launch(tmp_path / "nothing.corromap")


def test_a_taken_port_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match="cannot be used"):
            serving.launch(port=taken.getsockname()[1], open_browser=False)


# Steps


def test_the_next_step_is_the_first_that_is_not_done(file: SurveyFile) -> None:
    record = file.load()
    evaluation = evaluate(record.survey, record.template, record.rules)
    found = steps.steps_of(record.survey, evaluation)
    assert [step.number for step in found] == [1, 2, 3, 4, 5, 6, 7]
    assert [step.is_done for step in found] == [True] * 6 + [False]
    assert found[2].state == "2 of 2 placed"
    assert steps.next_page(found) is steps.Page.REPORT


def test_an_empty_survey_begins_at_the_beginning(tmp_path: Path) -> None:
    made = SurveyFile.create(tmp_path / "empty.corromap", load_template("two-seat-open"), default_rules())
    record = made.load()
    found = steps.steps_of(record.survey, evaluate(record.survey, record.template, record.rules))
    assert not any(step.is_done for step in found)
    assert steps.next_page(found) is steps.Page.CAR


# Stages


def _digest(evaluation) -> object:
    return (
        [
            (z.zone, z.affected.area_mm2, z.affected.low_mm2, z.seen_share, z.hidden_share)
            for z in evaluation.measures.zones
        ],
        [(r.rule.id, r.zone, r.reading.value, r.verdict) for r in evaluation.assessment.results],
        evaluation.assessment.outcome.headline,
        [(p.mark.id, p.panel, p.area.wkb) for p in evaluation.projection.marks],
        evaluation.projection.fates,
    )


def test_stages_come_to_the_same_as_evaluating_at_once(file: SurveyFile) -> None:
    kept = KeptPhotos()
    ring = np.array([[620, 300], [700, 300], [700, 380], [620, 380]], dtype=float)
    changes = [
        lambda: None,
        lambda: file.put_mark(
            Mark(MarkId("new"), PhotoId("photo-1"), MarkKind.RUST, PhotoOutline(ring), RustStage.HOLED)
        ),
        lambda: file.put_mark(
            Mark(MarkId("new"), PhotoId("photo-1"), MarkKind.RUST, PhotoOutline(ring + 5.0), RustStage.HOLED)
        ),
        lambda: file.put_mark(Mark(MarkId("new"), PhotoId("photo-1"), MarkKind.RUST, PhotoOutline(ring + 5.0))),
        lambda: file.remove_sighting(PhotoId("photo-2"), next(iter(file.load().survey.sightings[-1:])).datum),
        file.undo,
        lambda: file.remove_photo(PhotoId("photo-1")),
    ]
    for change in changes:
        change()
        record = file.load()
        stages = StagedEvaluation(record.survey, record.template, record.rules, kept)
        assert [one.mark.id for one in stages.marks_on_map] == [one.mark.id for one in stages.projection.marks]
        assert _digest(stages.evaluation) == _digest(evaluate(record.survey, record.template, record.rules))
        at_once = project(record.survey, record.template, stages.registrations)
        assert [one.area.wkb for one in stages.projection.marks] == [one.area.wkb for one in at_once.marks]


def test_a_photo_nobody_touched_is_not_worked_out_again(file: SurveyFile, monkeypatch: pytest.MonkeyPatch) -> None:
    kept, worked = KeptPhotos(), []
    monkeypatch.setattr(
        "corromap.evaluation.project_photo",
        lambda photo, *rest: (worked.append(photo.id), project_photo(photo, *rest))[1],
    )
    record = file.load()
    assert StagedEvaluation(record.survey, record.template, record.rules, kept).projection.marks
    assert worked == ["photo-1", "photo-2"]
    file.remove_mark(MarkId("m1"))
    record = file.load()
    assert StagedEvaluation(record.survey, record.template, record.rules, kept).projection.marks
    assert worked == ["photo-1", "photo-2", "photo-2"]


# Photos in


def test_each_photo_is_taken_or_refused_by_itself(file: SurveyFile, tmp_path: Path) -> None:
    good = encode_jpeg(np.full((30, 40, 3), 200, dtype=np.uint8))

    def gone() -> bytes:
        return (tmp_path / "gone.jpg").read_bytes()

    incoming = [arrivals.Incoming(name, read) for name, read in [
        ("good.jpg", lambda: good), ("empty.jpg", lambda: b""), ("gone.jpg", gone), ("again.jpg", lambda: good),
        ("text.jpg", lambda: b"hello" * 50),
    ]]  # fmt: skip
    found = list(arrivals.take_in(file, incoming, "seller"))
    assert [(a.name, bool(a.fault), a.was_known) for a in found] == [
        ("good.jpg", False, False), ("empty.jpg", True, False), ("gone.jpg", True, False), ("again.jpg", False, True),
        ("text.jpg", True, False),
    ]  # fmt: skip
    assert [photo.source for photo in file.load().survey.photos][-1] == "seller"


@pytest.mark.parametrize(
    ("typed", "said"),
    [("", "is not a folder"), ("/no/such/place", "is not a folder"), ("{empty}", "holds no pictures")],
)
def test_a_folder_that_will_not_do_is_told(typed: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=said):
        arrivals.photos_in_folder(typed.format(empty=tmp_path))


# Routes


def _get(path: str, headers: dict[str, str] | None = None, query: str = "") -> tuple[int, dict[str, str], bytes]:
    """Ask the routes as the server does (ASGI 3), without a server."""
    app = Starlette(routes=list(serving.ROUTES))
    sent: list[dict] = []

    async def receive() -> dict:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message) -> None:
        sent.append(dict(message))

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(k.lower().encode(), v.encode()) for k, v in (headers or {}).items()],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 2),
    }  # fmt: skip
    # in a thread of its own: the browser tests' driver leaves a running loop in this one
    with ThreadPoolExecutor(1) as pool:
        pool.submit(lambda: asyncio.run(app(scope, receive, send))).result()
    found = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], found, b"".join(part.get("body", b"") for part in sent[1:])


@pytest.fixture
def token(file: SurveyFile):
    granted = photo_routes.grant_photos(file.photo_bytes)
    yield granted
    photo_routes.revoke_photos(granted)


def test_a_tile_comes_private_and_is_not_sent_twice(token: str) -> None:
    path = photo_routes.tile_url(token, PhotoId("photo-1")).format(z=0, x=0, y=0)
    status, headers, body = _get(path)
    assert (status, headers["content-type"], body[:2]) == (200, "image/jpeg", b"\xff\xd8")
    assert headers["cache-control"].startswith("private")
    assert _get(path, {"If-None-Match": headers["etag"]})[0] == 304


@pytest.mark.parametrize(
    ("photo", "z", "x", "y"),
    [("photo-9", 0, 0, 0), ("photo-1", 9, 0, 0), ("photo-1", 0, 5, 0), ("..%2f..%2fsecret", 0, 0, 0)],
)
def test_what_is_not_there_is_not_found(token: str, photo: str, z: int, x: int, y: int) -> None:
    assert _get(photo_routes.tile_url(token, PhotoId(photo)).format(z=z, x=x, y=y))[0] == 404


def test_without_its_token_a_photo_is_not_found(token: str) -> None:
    path = photo_routes.thumb_url(token, PhotoId("photo-1"), 320)
    assert _get(path)[0] == 200
    assert _get(path.replace(token, "0" * len(token)))[0] == 404
    photo_routes.revoke_photos(token)
    assert _get(path)[0] == 404


def test_only_a_few_sizes_of_small_pictures_are_made(token: str) -> None:
    path = photo_routes.thumb_url(token, PhotoId("photo-1"), 320)
    assert _get(path.replace("thumb-320", "thumb-321"))[0] == 404


def test_old_tokens_go_first(file: SurveyFile) -> None:
    first = photo_routes.grant_photos(file.photo_bytes)
    later = [photo_routes.grant_photos(file.photo_bytes) for _ in range(200)]
    assert not photo_routes.is_granted(first)
    assert photo_routes.is_granted(later[-1])
    for each in later:
        photo_routes.revoke_photos(each)


def test_what_is_kept_stays_within_its_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo_routes, "_ANSWERS_BYTES", 1000)
    kept = photo_routes._Kept()
    for number in range(50):
        kept.keep_answer(("t", str(number)), b"x" * 90)
        assert kept.answer_bytes <= 1000
        assert kept.answer_bytes == sum(map(len, kept.answers.values()))
    assert kept.answer(("t", "49")) is not None
    assert kept.answer(("t", "0")) is None


def test_a_hand_out_has_neither_scripts_nor_this_origin() -> None:
    hand_out.grant_hand_outs("tok", {"report": hand_out.HandOut("böse\r\n.html", "text/html", lambda: b"<p>")})
    status, headers, body = _get(hand_out.hand_out_url("tok", "report"))
    assert (status, body) == (200, b"<p>")
    assert headers["content-security-policy"].startswith("sandbox; default-src 'none'")
    assert headers["content-disposition"] == "attachment; filename*=UTF-8''b%C3%B6se%0D%0A.html"
    assert _get(hand_out.hand_out_url("tok", "report"), query="shown=1")[1]["content-disposition"].startswith("inline")
    assert _get(hand_out.hand_out_url("other", "report"))[0] == 404
    assert _get(hand_out.hand_out_url("tok", "else"))[0] == 404


def test_a_hand_out_that_cannot_be_made_says_why() -> None:
    def fail() -> bytes:
        raise SurveyFileError("the disk is full")

    hand_out.grant_hand_outs("tok", {"copy": hand_out.HandOut("c", "x/y", fail)})
    assert _get(hand_out.hand_out_url("tok", "copy"))[0::2] == (409, b"Not made: the disk is full")


def handed_out(file: SurveyFile, what: str, *, originals: bool = True) -> bytes:
    held = state.OpenSurvey("key", file, file.load(), "token")
    return export_offers(held, originals=originals)[what].make()


@pytest.mark.parametrize("what", EXPORT_TITLES)
@pytest.mark.parametrize("originals", [False, True], ids=["shared", "originals"])
def test_everything_offered_can_be_made(file: SurveyFile, what: str, *, originals: bool) -> None:
    data = handed_out(file, what, originals=originals)
    starts = {"workbook": b"PK", "marked": b"PK", "folder": b"PK", "seal": b"PK", "annotations": b"{"}
    assert data.startswith(starts.get(what, b"SQLite format 3"))


def test_photos_go_out_without_metadata_unless_asked_for(file: SurveyFile) -> None:
    with zipfile.ZipFile(io.BytesIO(handed_out(file, "folder", originals=False))) as packed:
        pictures = [packed.read(name) for name in packed.namelist() if name.startswith("photos/")]
        assert json.loads(packed.read("survey.json"))["log"] == []
    for data in pictures:
        with Image.open(io.BytesIO(data)) as image:
            assert set(image.getexif()) <= {0x0112}
    assert len(pictures) == len(file.load().survey.photos)


def test_a_sealed_record_from_the_app_is_whole(file: SurveyFile, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(handed_out(file, "seal"))) as packed:
        packed.extractall(tmp_path / "out")
    (record,) = (tmp_path / "out").iterdir()
    assert file_faults(record).is_whole


def test_the_zip_holds_the_photos_untouched_when_asked_for(file: SurveyFile) -> None:
    with zipfile.ZipFile(io.BytesIO(handed_out(file, "folder"))) as packed:
        pictures = {packed.read(name) for name in packed.namelist() if name.startswith("photos/")}
    assert pictures == {file.photo_bytes(photo.id) for photo in file.load().survey.photos}


def test_the_copy_opens_as_the_same_survey(file: SurveyFile, tmp_path: Path) -> None:
    (tmp_path / "copy.corromap").write_bytes(hand_out.copy_bytes(file))
    copy = SurveyFile.open(tmp_path / "copy.corromap").load().survey
    assert [m.id for m in copy.marks] == [m.id for m in file.load().survey.marks]


# Changes that wait


def test_every_change_of_a_stale_batch_waits(file: SurveyFile, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two outlines reach Python at once while another window was first: neither is lost."""
    session: dict[str, object] = {}
    monkeypatch.setattr(state.st, "session_state", session)
    held = state.OpenSurvey("key", file, file.load(), "token")
    session["open"] = held
    SurveyFile.open(file.path, author="two").set_car(Car("Renamed"))
    ring = np.array([[620, 300], [700, 300], [700, 380]], dtype=float)
    for name in ("first", "second"):
        mark = Mark(MarkId(name), PhotoId("photo-1"), MarkKind.FILLER, PhotoOutline(ring))
        assert not state.change(held, name, lambda f, m=mark: f.put_mark(m, expected_revision=f.known_revision))
    assert [one.label for one in state.pending(held)] == ["first", "second"]
    held.refresh()
    state.retry_pending()
    assert {"first", "second"} <= set(file.load().survey.mark_by_id)
    assert state.pending(held) == ()


# Surveys somebody sent


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "surveys"
    place.mkdir()
    monkeypatch.setenv("CORROMAP_SURVEYS", str(place))
    return place


def _zip(entries: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in entries.items():
            packed.writestr(name, data)
    return target.getvalue()


@pytest.mark.parametrize("root", ["", "from a friend/", "deep/er/"])
def test_what_was_handed_out_as_a_zip_comes_back_in(file: SurveyFile, folder: Path, root: str) -> None:
    with zipfile.ZipFile(io.BytesIO(handed_out(file, "folder"))) as packed:
        entries = {root + name: packed.read(name) for name in packed.namelist()}
    taken = sent.take_sent("from a friend.zip", _zip(entries), "me")
    assert taken == folder / "from-a-friend.corromap"
    mine, theirs = file.load().survey, SurveyFile.open(taken).load().survey
    assert [(m.id, m.kind) for m in mine.marks] == [(m.id, m.kind) for m in theirs.marks]
    assert [p.sha256 for p in mine.photos] == [p.sha256 for p in theirs.photos]


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        pytest.param({}, "not a whole zip|holds 0 files named", id="empty"),
        pytest.param({"notes.txt": b"x"}, "holds 0 files named survey.json", id="no document"),
        pytest.param({"a/survey.json": b"{}", "b/survey.json": b"{}"}, "holds 2 files named", id="two documents"),
        pytest.param({"survey.json": b"not json"}, "not JSON at line 1", id="not json"),
    ],
)
def test_a_zip_that_is_no_survey_is_told_and_leaves_nothing(entries: dict, said: str, folder: Path) -> None:
    with pytest.raises(InputError, match=said):
        sent.take_sent("odd.zip", _zip(entries) if entries else b"PK\x03\x04" + b"\0" * 60, "me")
    assert list(folder.iterdir()) == []


def test_a_zip_writes_nothing_outside_its_folder(file: SurveyFile, folder: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(handed_out(file, "folder"))) as packed:
        entries = {name: packed.read(name) for name in packed.namelist()}
    before = {p for p in tmp_path.rglob("*") if "surveys" not in p.parts}
    entries |= {"../evil.txt": b"x", "photos/../../evil.txt": b"x", "/evil-corromap.txt": b"x", "photos/..": b"x"}
    sent.take_sent("evil.zip", _zip(entries), "me")
    assert {p for p in tmp_path.rglob("*") if "surveys" not in p.parts} == before
    assert not Path("/evil-corromap.txt").exists()


def test_a_zip_that_swells_is_stopped(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sent, "_MOST_BYTES", 5_000_000)
    bomb = _zip({"survey.json": b"{}", "photos/a.jpg": b"\0" * 20_000_000})
    assert len(bomb) < 100_000
    with pytest.raises(InputError, match="unpacks to more than"):
        sent.take_sent("bomb.zip", bomb, "me")
    assert list(folder.iterdir()) == []


def test_a_file_that_is_neither_is_told(folder: Path) -> None:
    with pytest.raises(InputError):
        sent.take_sent("letter.corromap", b"Dear buyer", "me")
    assert list(folder.iterdir()) == []


def test_no_collection_of_garbage_holds_an_answer_back():
    """In a process of its own: what is put out of the collector's sight stays so."""
    assert serving.settings()["runner.postScriptGC"] is False
    code = (
        "import gc, corromap.ui.shell\n"
        "from corromap.ui.memory import settle_memory\n"
        "before = len(gc.get_objects()); settle_memory(); settle_memory()\n"
        "print(before, len(gc.get_objects()), gc.get_freeze_count())"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    before, after, frozen = (int(word) for word in found.stdout.split())
    assert frozen > 0.9 * before > 50_000
    assert after < 0.1 * before
