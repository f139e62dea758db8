"""The report as a PDF, read back by pypdf."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from corromap.errors import InvalidValueError, OutputError, PhotoError
from corromap.frames import PhotoId
from corromap.report.pdf import report_pdf
from corromap.report.typeset import settable
from corromap.report.view import Length
from corromap.report.writing import write_report
from tests import report_scene
from tests.pdf_reading import Pdf

MADE = "2024-05-02T12:00:00+00:00"
MM = 72 / 25.4


def make(**chosen: object) -> bytes:
    return report_pdf(report_scene.evaluation(), report_scene.photo_bytes, made_at=MADE, **chosen)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def data() -> bytes:
    return make()


@pytest.fixture(scope="module")
def pdf(data: bytes) -> Pdf:
    return Pdf(data)


def test_has_title_language_and_tags(pdf: Pdf) -> None:
    assert pdf.reader.metadata is not None
    assert pdf.reader.metadata.title == "Underside report: Small two-seater"
    assert pdf.root["/Lang"] == "en"
    assert pdf.root["/MarkInfo"]["/Marked"].value is True


def test_headings_are_bookmarks_in_the_order_a_reader_needs(pdf: Pdf) -> None:
    wanted = [
        "Outcome: repair", "What was not shown", "What to ask for", "Map", "Zones", "Too many patches?", "Structure",
        "Near mountings", "How well each place was shown", "Whole picture", "Findings", "Repair plan", "Photos",
        "Marks and notes", "Method, and how sure it is", "Cautions",
    ]  # fmt: skip
    assert [heading for heading in pdf.headings if heading in wanted] == wanted


def test_reading_order_is_that_of_the_headings(pdf: Pdf) -> None:
    kinds = [kind for kind in ("/H1", "/H2", "/H3") if pdf.tags.all(kind)]
    assert kinds == ["/H1", "/H2", "/H3"]
    text = pdf.text
    places = [text.index(words) for words in ("Why", "never seen", "Most", "Zones with something") if words in text]
    assert places == sorted(places)


def test_tables_have_header_cells(pdf: Pdf) -> None:
    tables = pdf.tags.all("/Table")
    assert len(tables) >= 6
    for table in tables:
        heads = table.all("/TH")
        assert heads, "a table without header cells"
        assert all(head.attributes.get("/Scope") in {"/Column", "/Both"} for head in heads)
        assert table.all("/TD")


def test_every_figure_says_what_it_shows(pdf: Pdf) -> None:
    figures = pdf.tags.all("/Figure")
    assert len(figures) >= 1 + 2 + 1 + 6  # map, photos, whole picture, findings
    assert all(len(figure.alt) > 10 for figure in figures)
    assert any("5 zones on 3 panels, seen from below" in figure.alt for figure in figures)
    assert any("Photo floor.jpg" in figure.alt for figure in figures)


def test_fonts_are_inside(pdf: Pdf) -> None:
    descriptors = [one for one in pdf.dictionaries() if one.get("/Type") == "/FontDescriptor"]
    assert {str(one["/FontName"]).split("+")[-1] for one in descriptors} >= {"NotoSans-Regular", "NotoSans-Bold"}
    assert all("/FontFile2" in one or "/FontFile3" in one for one in descriptors)


def test_claims_no_standard_that_nobody_has_checked(pdf: Pdf) -> None:
    metadata = pdf.root["/Metadata"].get_data()
    assert b"pdfuaid" not in metadata
    assert b"pdfaid" not in metadata


def test_says_what_the_page_says(pdf: Pdf) -> None:
    for words in (
        "Repair is called for in 1 zone.",
        "Left floor, front: 1 (limit 1).",
        "Dull when tapped.",
        "SHA-256",
        "Never go beneath a car that rests on a jack.",
    ):
        assert words in pdf.text.replace("\n", " ").replace("  ", " "), words


@pytest.mark.parametrize(("paper", "size"), [("A4", (210, 297)), ("Letter", (215.9, 279.4))])
@pytest.mark.parametrize("length", [Length.ONE_PAGE, Length.WELDER])
def test_paper(paper: str, size: tuple[float, float], length: Length) -> None:
    pages = Pdf(make(paper=paper, length=length)).reader.pages
    for page in pages:
        assert (float(page.mediabox.width) / MM, float(page.mediabox.height) / MM) == pytest.approx(size, abs=0.1)
    if length is Length.ONE_PAGE:
        assert len(pages) == 1


def test_one_page_holds_outcome_reasons_gaps_tally_and_map() -> None:
    one = Pdf(make(length=Length.ONE_PAGE))
    text = one.text.replace("\n", " ")
    for words in (
        "Outcome: repair",
        "Left floor, front: 1 (limit 1).",
        "What was not shown",
        "Too many patches?",
        "Map",
    ):
        assert words in text, words
    assert [figure.alt[:30] for figure in one.tags.all("/Figure")] == ["Map of the underside and sills"]


def test_welders_sheet_has_findings_plan_and_cautions() -> None:
    headings = Pdf(make(length=Length.WELDER)).headings
    for words in ("Map", "Repair plan", "Findings", "Cautions"):
        assert words in headings
    assert "Photos" not in headings


def test_equal_input_gives_equal_bytes(data: bytes) -> None:
    assert make() == data


def test_nothing_of_the_photos_metadata_leaves() -> None:
    exif = Image.Exif()
    exif[0x010F], exif[0xA431] = "SECRETMAKER", "SERIAL-12345"
    exif.get_ifd(0x8825)[2] = (48.0, 8.0, 15.0)

    def photo_bytes(photo: PhotoId) -> bytes:
        file = io.BytesIO()
        with Image.open(io.BytesIO(report_scene.photo_bytes(photo))) as image:
            image.save(file, "JPEG", exif=exif, comment=b"SECRETCOMMENT")
        return file.getvalue()

    made = Pdf(report_pdf(report_scene.evaluation(), photo_bytes, made_at=MADE))
    jpegs = [stream for stream in made.streams() if stream.startswith(b"\xff\xd8")]
    assert len(jpegs) >= 2
    for stream in jpegs:
        assert not any(word in stream for word in (b"Exif", b"SECRETMAKER", b"SERIAL", b"SECRETCOMMENT"))


@pytest.mark.parametrize(
    ("chosen", "words"),
    [
        ({"paper": "A5"}, "paper 'A5' is not known; choose A4 or Letter"),
        ({"language": "xx"}, "language 'xx' is not known"),
    ],
)
def test_a_wrong_choice_is_named(chosen: dict[str, str], words: str) -> None:
    with pytest.raises(InvalidValueError, match=words):
        make(**chosen)


def _refuse(*_args: object, **_kwargs: object) -> None:
    raise OSError(28, "No space left on device")


def _busy(*_args: object, **_kwargs: object) -> None:
    raise PermissionError(13, "The process cannot access the file because it is being used by another process")


@pytest.mark.parametrize("name", ["report.pdf", "report.html"])
@pytest.mark.parametrize(
    ("call", "trouble", "words"),
    [("os.fsync", _refuse, "No space left on device"), ("pathlib.Path.replace", _busy, "used by another process")],
    ids=["disk full", "open elsewhere"],
)
def test_the_old_report_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, call: str, trouble: Callable[..., None], words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(b"the old one")
    monkeypatch.setattr(call, trouble)
    with pytest.raises(OutputError, match=f"report '{name}' could not be written: .*{words}.*untouched"):
        write_report(report_scene.evaluation(), report_scene.photo_bytes, path, length=Length.ONE_PAGE)
    assert path.read_bytes() == b"the old one"
    assert [entry.name for entry in tmp_path.iterdir()] == [name]


def test_a_folder_that_is_not_there_and_another_suffix(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"report 'report\.pdf' could not be written"):
        write_report(
            report_scene.evaluation(),
            report_scene.photo_bytes,
            tmp_path / "gone" / "report.pdf",
            length=Length.ONE_PAGE,
        )
    with pytest.raises(OutputError, match=r"report 'report\.doc': give it a name that ends in \.html or \.pdf"):
        write_report(report_scene.evaluation(), report_scene.photo_bytes, tmp_path / "report.doc")


def test_a_photo_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match=r"far\.jpg|floor\.jpg"):
        write_report(report_scene.evaluation(), lambda _photo: b"no photo", tmp_path / "report.pdf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("rust", "rust"),
        ("a \U0001f697 b", "a [U+1F697] b"),
        ("漢字", "[U+6F22][U+5B57]"),
        ("a\x00b\ud800", "a\ufffdb\ufffd"),
        ("Schweißpunkt № 5 → 3 mm² ≥", "Schweißpunkt № 5 → 3 mm² ≥"),
        ("עברית", "עברית"),
        ("العربية", "العربية"),
    ],
)
def test_what_the_fonts_lack_is_named(text: str, expected: str) -> None:
    assert settable(text) == expected


def test_long_words_may_break_and_nothing_is_lost() -> None:
    word = "W" * 10_000
    assert settable(word).replace("\u200b", "") == word
    assert max(map(len, settable(word).split("\u200b"))) <= 24
    assert settable("W" * 24) == "W" * 24


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Photo 10_right_floor_front.jpg", "Photo 10_\u200bright_\u200bfloor_\u200bfront.jpg"),
        ("seller/floor/left.jpg", "seller/\u200bfloor/\u200bleft.jpg"),
        ("3 mm/px", "3 mm/px"),
        ("Camera {which_way_it_looks}, {how_near}.", "Camera {which_way_it_looks}, {how_near}."),
    ],
)
def test_names_of_files_break_at_their_joints(text: str, expected: str) -> None:
    assert settable(text) == expected
