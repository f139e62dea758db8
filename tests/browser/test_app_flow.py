"""The whole job in the browser, as each of the people it is for does it."""

from __future__ import annotations

import json
import re
import sqlite3
import zipfile

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect

from corromap.frames import MarkId, PanelId, PhotoOutline
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.templates import load_template
from corromap.survey import Car, Mark, MarkKind, Sighting
from corromap.ui.surveys import key_of
from tests.browser.canvas_driver import CanvasDriver
from tests.browser.conftest import REPOSITORY, settled

pytestmark = pytest.mark.browser

TEMPLATE = "two-seat-open"
PANEL = "floor-left"
WIDTH, HEIGHT = 4000, 3000


def panel_to_px(panel):
    """A slanting view of a panel from its own side, as a 3 x 3 matrix mm to px."""
    corners = panel.outline.exterior_mm
    low, high = corners.min(axis=0), corners.max(axis=0)
    mm = np.array([low, [high[0], low[1]], high, [low[0], high[1]]], dtype=np.float32)
    left, right = (900, 3000) if panel.facing < 0 else (3000, 900)
    px = np.array([[left, 2750], [left + 60, 250], [right - 160, 330], [right, 2600]], dtype=np.float32)
    return cv2.getPerspectiveTransform(mm, px).astype(np.float64)


def through(matrix, at):
    x, y, w = matrix @ [*at, 1.0]
    return np.array([x / w, y / w])


@pytest.fixture(scope="module")
def template():
    return load_template(TEMPLATE)


@pytest.fixture(scope="module")
def picture(template):
    """A 12-megapixel photo of the panel with its datum points drawn on it, noise and all."""
    panel = template.panel(PanelId(PANEL))
    matrix = panel_to_px(panel)
    rng = np.random.default_rng(5)
    small = rng.normal(95, 14, (HEIGHT // 4, WIDTH // 4)).astype(np.float32)
    image = cv2.cvtColor(np.clip(cv2.resize(small, (WIDTH, HEIGHT)), 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)
    for at in template.datum_positions(panel.id).values():
        cv2.circle(image, tuple(int(v) for v in through(matrix, at)), 16, (20, 20, 20), -1)
    return cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()


@pytest.fixture(scope="module")
def surveys(tmp_path_factory):
    return tmp_path_factory.mktemp("surveys")


@pytest.fixture(scope="module")
def url(streamlit_server, surveys):
    return streamlit_server(REPOSITORY / "app.py", {"CORROMAP_SURVEYS": str(surveys)}).url


class AppCanvas(CanvasDriver):
    """The canvas on a page of the app."""

    def __init__(self, page):
        self.page = page
        page.wait_for_selector(".cm-root[data-view][data-map-view]", timeout=60_000)
        self.root = page.locator(".cm-root")
        self.photo = page.locator(".cm-photo")
        self.map = page.locator(".cm-map")
        self.photo.evaluate("e => window.scrollTo(0, 0) || e.scrollIntoView({block: 'end'})")
        self.settle(600)


def ready(page, title):
    expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible(timeout=60_000)
    settled(page)


def step(page, number, title):
    page.locator(".st-key-cm_steps button").nth(number - 1).click()
    ready(page, title)


def survey_of(surveys, stem):
    return SurveyFile.open(surveys / f"{stem}.corromap").load().survey


def wait_until(page, what, timeout=15_000):
    waited = 0
    while not what():
        if waited > timeout:
            raise AssertionError("the survey file did not become as expected")
        page.wait_for_timeout(100)
        waited += 100


def start_survey(page, name):
    ready(page, "Surveys")
    page.get_by_label("Name of the car").fill(name)
    page.get_by_label("Name of the car").press("Tab")
    page.get_by_label("Body template").click()
    page.get_by_role("option", name=load_template(TEMPLATE).name).click()
    settled(page)
    page.get_by_role("button", name="Start the survey").click()
    ready(page, "The car")


def add_photos(page, *files):
    page.locator('[data-testid="stFileUploaderDropzoneInput"]').set_input_files(
        [{"name": name, "mimeType": "image/jpeg", "buffer": data} for name, data in files]
    )


def place_by_clicks(page, template, count):
    """Click whatever point the page suggests, where the photo shows it."""
    panel = template.panel(PanelId(PANEL))
    matrix = panel_to_px(panel)
    positions = {template.datum_points[d][1].name: at for d, at in template.datum_positions(panel.id).items()}
    canvas = AppCanvas(page)
    done = set()
    for _ in range(count):
        title = page.locator(".cm-sketch h4")
        expect(title).not_to_have_text("", timeout=15_000)
        page.wait_for_function(
            "done => !done.includes(document.querySelector('.cm-sketch h4')?.textContent)", arg=sorted(done)
        )
        name = title.inner_text()
        done.add(name)
        canvas.click(through(matrix, positions[name]))
        settled(page)
        canvas.settle(350)
    return canvas


def choose_panel(page, template):
    page.get_by_label("Panel seen on this photo").click()
    page.get_by_role("option", name=re.compile(f"^{template.panel(PanelId(PANEL)).name}:")).click()
    settled(page)


def test_the_whole_job_from_an_empty_folder_to_a_report(open_page, url, surveys, template, picture, tmp_path):
    page = open_page(url)
    start_survey(page, "Grey hatch, lot 9")
    page.get_by_label("Seller").fill("An invented seller")
    page.get_by_label("Seller").press("Tab")
    settled(page)
    expect(page.locator(".cm-saved")).to_contain_text("Saved")
    step(page, 2, "Photos")
    add_photos(page, ("floor.jpg", picture), ("broken.jpg", picture[:5000]))
    expect(page.get_by_text("1 of 2 photos added.")).to_be_visible(timeout=60_000)
    expect(page.get_by_text("Not added: broken.jpg")).to_be_visible()
    step(page, 3, "Place the photos")
    choose_panel(page, template)
    place_by_clicks(page, template, 5)
    expect(page.get_by_text(re.compile(r"placed by 5 points, residual \d+\.\d px or \d+\.\d mm"))).to_be_visible()
    step(page, 4, "Mark what the photos show")
    canvas = AppCanvas(page)
    canvas.button("patch").click()
    matrix = panel_to_px(template.panel(PanelId(PANEL)))
    corners_mm = [(500, 120), (620, 120), (620, 220), (500, 220)]
    canvas.outline([through(matrix, at) for at in corners_mm])
    wait_until(page, lambda: len(survey_of(surveys, "grey-hatch-lot-9").marks) == 1)
    expect(page.get_by_text("1 mark on this photo")).to_be_visible()
    step(page, 5, "Zones and outcome")
    expect(page.locator(".cm-outcome")).to_be_visible()
    zones = page.locator("table.cm").filter(has=page.locator("th", has_text="coverage")).filter(has_text="1 patch")
    # drawn: 120 by 100 mm of the panel, so 120 cm2; the outline was clicked in screen pixels of 6 photo pixels
    affected = zones.first.locator("tbody tr").first.locator("td").first.inner_text()
    area, low, high = (float(number) for number in re.findall(r"\d+(?:\.\d+)?", affected)[:3])
    assert area == pytest.approx(120, rel=0.03)
    assert low < 120 < high
    step(page, 6, "Repair plan")
    step(page, 7, "Report")
    with page.expect_download() as saved:
        page.locator('a[data-get="report"]').click()
    report = tmp_path / "report.html"
    saved.value.save_as(report)
    text = report.read_text(encoding="utf-8")
    assert "Grey hatch, lot 9" in text
    assert "An invented seller" in text
    with page.expect_download() as saved:
        page.locator('a[data-get="folder"]').click()
    saved.value.save_as(tmp_path / "folder.zip")
    with zipfile.ZipFile(tmp_path / "folder.zip") as packed:
        document = json.loads(packed.read("survey.json"))
        photos = [name for name in packed.namelist() if name.startswith("photos/")]
        assert [packed.read(name) for name in photos] == [picture]
        assert document
    with page.expect_download() as saved:
        page.locator('a[data-get="copy"]').click()
    saved.value.save_as(tmp_path / "copy.corromap")
    assert len(SurveyFile.open(tmp_path / "copy.corromap").load().survey.marks) == 1


@pytest.fixture
def ready_survey(surveys, template, picture, request):
    """A survey with one placed and marked photo, made without the browser."""
    stem = re.sub(r"[^a-z0-9]+", "-", request.node.name.lower()).strip("-")
    file = SurveyFile.create(
        surveys / f"{stem}.corromap", template, default_rules(), Car(label="Blue saloon"), author="maker"
    )
    photo = file.add_photo(picture, "floor.jpg", "inspector")
    panel = template.panel(PanelId(PANEL))
    matrix = panel_to_px(panel)
    for datum, at in list(template.datum_positions(panel.id).items())[:8]:
        file.put_sighting(Sighting(photo, datum, through(matrix, at)))
    ring = np.array([through(matrix, at) for at in [(500, 120), (620, 120), (620, 220), (500, 220)]])
    file.put_mark(Mark(MarkId("patch-1"), photo, MarkKind.PATCH, PhotoOutline(ring)))
    return file


def address(url, file, page, photo=None):
    return f"{url}/?survey={key_of(file.path)}&page={page}" + (f"&photo={photo}" if photo else "")


def test_a_reload_comes_back_to_the_same_place_with_nothing_lost(open_page, url, ready_survey):
    page = open_page(address(url, ready_survey, "mark", "photo-1"))
    ready(page, "Mark what the photos show")
    canvas = AppCanvas(page)
    canvas.button("filler").click()
    canvas.outline([(1500, 1500), (1700, 1500), (1700, 1700)])
    wait_until(page, lambda: len(ready_survey.load().survey.marks) == 2)
    page.reload()
    ready(page, "Mark what the photos show")
    expect(page.get_by_text("2 marks on this photo")).to_be_visible()
    assert [mark.kind for mark in ready_survey.load().survey.marks] == [MarkKind.PATCH, MarkKind.FILLER]


def test_undo_in_the_bar_names_what_it_takes_back(open_page, url, ready_survey):
    page = open_page(address(url, ready_survey, "mark"))
    ready(page, "Mark what the photos show")
    undo = page.locator(".st-key-bar_undo button").first
    expect(undo).to_contain_text("patch")
    undo.click()
    expect(page.get_by_text("0 marks on this photo")).to_be_visible()
    page.locator(".st-key-bar_redo button").first.click()
    expect(page.get_by_text("1 mark on this photo")).to_be_visible()


def test_two_windows_lose_nothing(open_page, url, ready_survey):
    first = open_page(address(url, ready_survey, "car"))
    second = open_page(address(url, ready_survey, "car"))
    for page in (first, second):
        ready(page, "The car")
    first.get_by_label("Seller").fill("seller from the first window")
    first.get_by_label("Seller").press("Tab")
    wait_until(first, lambda: ready_survey.load().survey.car.seller != "")
    second.get_by_label("Owner").fill("owner from the second window")
    second.get_by_label("Owner").press("Tab")
    expect(second.get_by_text("Nothing was overwritten")).to_be_visible()
    expect(second.get_by_label("Seller")).to_have_value("seller from the first window")
    assert ready_survey.load().survey.car.owner == ""
    second.get_by_role("button", name="Make my change now").click()
    wait_until(second, lambda: ready_survey.load().survey.car.owner != "")
    car = ready_survey.load().survey.car
    assert (car.seller, car.owner) == ("seller from the first window", "owner from the second window")


@pytest.mark.parametrize("where", ["car", "photos", "place", "mark", "outcome", "report"])
@pytest.mark.parametrize("width", [1440, 390])
def test_no_page_is_wider_than_the_window_or_asks_the_net(open_page, url, ready_survey, where, width):
    asked = []
    page = open_page("about:blank", width=width, height=844)
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address(url, ready_survey, where))
    page.wait_for_selector(".st-key-cm_bar", timeout=60_000)
    settled(page)
    page.wait_for_timeout(800)
    main = page.locator('[data-testid="stMain"]')
    assert main.evaluate("e => e.scrollWidth - e.clientWidth") <= 0
    outside = [a for a in asked if not a.startswith((url, url.replace("http", "ws", 1), "data:", "blob:"))]
    assert outside == []


def test_a_phone_can_place_and_mark(open_page, url, surveys, template, picture):
    page = open_page(url, width=390, height=844, has_touch=True, is_mobile=True)
    start_survey(page, "Phone car")
    step(page, 2, "Photos")
    add_photos(page, ("floor.jpg", picture))
    expect(page.get_by_text("1 of 1 photos added.")).to_be_visible(timeout=60_000)
    step(page, 3, "Place the photos")
    choose_panel(page, template)
    page.locator(".cm-photo").scroll_into_view_if_needed()
    place_by_clicks(page, template, 4)
    expect(page.get_by_text(re.compile("placed by 4 points"))).to_be_visible()
    expect(page.get_by_text("a fifth is the check")).to_be_visible()


def test_left_right_and_below_stand_on_every_map(open_page, url, ready_survey):
    for where in ("car", "outcome"):
        page = open_page(address(url, ready_survey, where))
        drawing = page.locator(".cm-drawing svg").first
        for words in ("LEFT", "RIGHT", "SEEN FROM BELOW"):
            expect(drawing.get_by_text(words, exact=True)).to_be_visible(timeout=60_000)
    page = open_page(address(url, ready_survey, "mark"))
    canvas = AppCanvas(page)
    assert canvas.map.is_visible()
    for words in ("LEFT", "RIGHT", "Seen from below"):
        expect(page.locator(".cm-root").get_by_text(words, exact=True)).to_be_visible()


def test_a_photo_needs_the_sessions_token(open_page, url, ready_survey):
    page = open_page(address(url, ready_survey, "photos"))
    picture = page.locator("img.cm-picture")
    expect(picture).to_be_visible(timeout=60_000)
    source = picture.get_attribute("src")
    assert page.request.get(url + source).status == 200
    answer = page.request.get(url + source)
    assert answer.headers["cache-control"].startswith("private")
    assert page.request.get(url + source, headers={"If-None-Match": answer.headers["etag"]}).status == 304
    token = source.split("/")[3]
    assert page.request.get(url + source.replace(token, "x" * len(token))).status == 404
    assert page.request.get(url + source.replace("photo-1", "photo-2")).status == 404


def test_a_first_look_at_a_large_photo_moves_less_than_a_megabyte(open_page, url, surveys, template):
    """24 megapixels with detail everywhere; the whole JPEG is several MB."""
    rng = np.random.default_rng(2)
    fine = cv2.GaussianBlur(rng.normal(110, 40, (4000, 6000)).astype(np.float32), (0, 0), 1.6) * 2 - 110
    large = cv2.imencode(".jpg", np.clip(fine, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()
    assert len(large) > 4_000_000
    file = SurveyFile.create(surveys / "large.corromap", template, default_rules(), Car(label="Large photo"))
    file.add_photo(large, "large.jpg")
    moved = []
    page = open_page("about:blank")
    page.on("response", lambda answer: moved.append(answer) if "/corromap/photo/" in answer.url else None)
    page.goto(address(url, file, "mark"))
    AppCanvas(page)
    page.wait_for_timeout(2500)
    sizes = [int(answer.headers.get("content-length", 0)) for answer in moved]
    assert sum("thumb" not in answer.url for answer in moved) >= 1
    assert 0 < sum(sizes) < 1_000_000


def test_a_survey_somebody_sent_is_checked_and_copied(open_page, url, surveys, ready_survey, tmp_path):
    sent = ready_survey.save_copy(tmp_path / "from-a-friend.corromap").read_bytes()
    page = open_page(url)
    ready(page, "Surveys")
    page.locator('[data-testid="stFileUploaderDropzoneInput"]').set_input_files(
        {"name": "from-a-friend.corromap", "mimeType": "application/octet-stream", "buffer": sent}
    )
    page.get_by_role("button", name=re.compile("Check and open")).click()
    ready(page, "The car")
    assert len(survey_of(surveys, "from-a-friend").marks) == 1


def test_a_hostile_survey_is_refused_with_a_sentence(open_page, url, surveys, ready_survey, tmp_path):
    path = ready_survey.save_copy(tmp_path / "hostile.corromap")
    with sqlite3.connect(path) as conn:
        conn.execute("CREATE TRIGGER t AFTER INSERT ON marks BEGIN DELETE FROM photos; END")
    conn.close()
    page = open_page(url)
    ready(page, "Surveys")
    page.locator('[data-testid="stFileUploaderDropzoneInput"]').set_input_files(
        {"name": "hostile.corromap", "mimeType": "application/octet-stream", "buffer": path.read_bytes()}
    )
    page.get_by_role("button", name=re.compile("Check and open")).click()
    expect(page.get_by_text("was not opened")).to_be_visible(timeout=30_000)
    assert not (surveys / "hostile.corromap").exists()


def test_markup_in_names_stays_text(open_page, url, surveys, template, picture):
    file = SurveyFile.create(
        surveys / "markup.corromap",
        template,
        default_rules(),
        Car(label="<img src=x onerror=alert(1)> **bold** \u202eabc"),
    )
    file.add_photo(picture, "a](http://evil.example) <script>alert(2)</script>.jpg")
    alerts = []
    for where in ("car", "photos", "mark", "report"):
        page = open_page("about:blank")
        page.on("dialog", lambda dialog: (alerts.append(dialog.message), dialog.dismiss()))
        page.goto(address(url, file, where))
        page.wait_for_selector(".st-key-cm_bar", timeout=60_000)
        settled(page)
        expect(page.locator(".cm-carname b")).to_contain_text("<img src=x onerror=alert(1)> **bold**")
        assert page.locator(".cm-carname img, a[href*='evil.example']").count() == 0
    assert alerts == []


def test_the_demo_opens_with_its_outcome_and_can_be_gone_on_with(open_page, url, surveys):
    page = open_page(url)
    ready(page, "Surveys")
    page.get_by_role("button", name="Open the demo").click()
    ready(page, "Zones and outcome")
    expect(page.locator(".cm-outcome .head")).not_to_have_text("")
    step(page, 3, "Place the photos")
    expect(page.get_by_text(re.compile(r"placed by \d+ points"))).not_to_have_count(0)
    step(page, 4, "Mark what the photos show")
    stem = next(file.stem for file in surveys.glob("demo*"))
    before = len(survey_of(surveys, stem).marks)
    assert before > 0
    canvas = AppCanvas(page)
    canvas.button("hidden").click()
    canvas.outline([(300, 300), (420, 300), (420, 420)])
    wait_until(page, lambda: len(survey_of(surveys, stem).marks) == before + 1)


@pytest.mark.parametrize("where", ["car", "photos", "place", "mark", "outcome", "report"])
def test_every_control_has_a_name(open_page, url, ready_survey, where):
    """WCAG 2.2, 4.1.2: names as assistive technology computes them."""
    page = open_page(address(url, ready_survey, where))
    page.wait_for_selector(".st-key-cm_bar", timeout=60_000)
    settled(page)
    page.wait_for_timeout(2500)
    for role in ("button", "textbox", "combobox", "checkbox", "switch", "spinbutton", "link"):
        everything = page.get_by_role(role)
        named = page.get_by_role(role, name=re.compile(r"\S"))
        expect(named).to_have_count(everything.count())
    pictures = page.locator("img:not([alt])").count()
    assert pictures == 0


def test_every_tile_is_painted_however_late_it_comes(open_page, url, ready_survey):
    page = open_page("about:blank")
    held = []
    page.route(re.compile(r"/\d+/\d+/\d+\.jpg"), lambda route: held.append(route))  # noqa: PLW0108  # no builtin
    page.goto(address(url, ready_survey, "mark", "photo-1"))
    canvas = AppCanvas(page)
    wait_until(page, lambda: len(held) >= 4, timeout=30_000)
    settled(page)  # frames without any tile went by; from here on only tiles change what is seen
    while held:  # one after the other, each in a frame of its own
        held.pop().continue_()
        page.wait_for_timeout(300)
    pane = page.locator(".cm-photo").first
    late = shot(pane)
    canvas.button("closer").click()
    page.wait_for_timeout(800)
    while held:
        held.pop().continue_()
        page.wait_for_timeout(300)
    canvas.button("whole").click()
    page.wait_for_timeout(1500)
    drawn_anew = shot(pane)
    assert np.ptp(drawn_anew) > 30  # photo and ground
    difference = np.abs(late - drawn_anew)[1:]  # the page's head may lie over the first row
    assert difference.max() < 25  # a tile that is missing leaves ground of 30 for a photo of 95


def shot(locator):
    """Brightness of a view in blocks, so that a shift by a pixel and the frame round it do not count."""
    picture = cv2.imdecode(np.frombuffer(locator.screenshot(), np.uint8), cv2.IMREAD_GRAYSCALE)
    return cv2.resize(picture[8:-8, 8:-8], (16, 12), interpolation=cv2.INTER_AREA).astype(float)
