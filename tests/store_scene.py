"""A small survey to store: one panel, small real pictures, any text one can type."""

from __future__ import annotations

import hashlib
import io
from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import strategies as st
from PIL import Image

from corromap.by_hand import HandFinding, HandKind, SettledView, Settlement, ShellCheck, ShellKind
from corromap.control import MeasuredLength, PhotoTie, ScaleSighting
from corromap.frames import (
    CameraId,
    DatumId,
    HandFindingId,
    LengthId,
    MarkId,
    NoteId,
    PanelId,
    PhotoId,
    PhotoOutline,
    ScaleId,
    SettlementId,
    ShellCheckId,
    TieId,
    ZoneId,
)
from corromap.io.json_text import canonical
from corromap.io.rates import default_rates
from corromap.io.rules import default_rules
from corromap.io.survey_file import SurveyFile
from corromap.io.survey_kinds import KINDS
from corromap.survey import Car, Mark, MarkKind, Note, PatchFixing, Photo, RustStage, Settings, Sighting, Survey

DATUM_IDS = ("corner-a", "corner-b", "corner-c", "drain", "seam")

TEMPLATE = {
    "format": "corromap body template",
    "version": 1,
    "id": "one-floor",
    "name": "One floor",
    "description": "A single panel, for tests.",
    "revision": 1,
    "unit": "mm",
    "scale_sigma": 0.01,
    "panels": [
        {
            "id": "floor",
            "name": "Floor",
            "part": "floor",
            "side": "left",
            "seen_from": "below",
            "outline_mm": [[0, 0], [1000, 0], [1000, 400], [0, 400]],
            "place": {"origin_mm": [0, 100, 0], "u_axis": [1, 0, 0], "v_axis": [0, 1, 0]},
            "map": {"origin_mm": [100, 1100], "u_axis": [0, -1], "v_axis": [1, 0]},
            "zones": [
                {
                    "id": "floor-front",
                    "name": "Floor, front",
                    "role": "primary",
                    "sheet_mm": 0.9,
                    "prominence": 1,
                    "outline_mm": [[500, 0], [1000, 0], [1000, 400], [500, 400]],
                },
                {
                    "id": "floor-rear",
                    "name": "Floor, rear",
                    "role": "secondary",
                    "sheet_mm": 0.9,
                    "prominence": 2,
                    "outline_mm": [[0, 0], [500, 0], [500, 400], [0, 400]],
                },
            ],
            "datum_points": [
                {
                    "id": name,
                    "name": f"Point {name}",
                    "description": "A point for tests.",
                    "shape": "round hole",
                    "at_mm": at,
                }
                for name, at in zip(DATUM_IDS, ([50, 50], [950, 50], [950, 350], [50, 350], [500, 200]), strict=True)
            ],
            "mountings": [],
            "folds": [],
            "covers": [],
        }
    ],
}

HARD_TEXTS = (
    "<script>alert('x')</script> & \"quotes\" </svg>",
    "\u202eright to left \u05d0\u05d1\u05d2 \u0645\u0631\u062d\u0628\u0627",
    "\U0001f697 \U0001f469\u200d\U0001f527 e\u0301 \u00e9",
    "'; DROP TABLE marks; --",
    "a\x00b\ttab\nline",
)


@cache
def rules_document() -> dict[str, object]:
    return default_rules().to_document()


@cache
def picture(number: int, kind: str = "PNG") -> bytes:
    """Bytes of a real, small picture; another for every number."""
    pixels = np.random.default_rng(number).integers(0, 256, (30, 40, 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind)
    return stream.getvalue()


def new_file(folder: Path, name: str = "survey", *, car: Car | None = None, author: str = "tester") -> SurveyFile:
    return SurveyFile.create(folder / name, TEMPLATE, rules_document(), car, author=author)


def triangle(mark: str, photo: str = "photo-1", kind: MarkKind = MarkKind.RUST, **more: object) -> Mark:
    outline = PhotoOutline([[1.5, 2.25], [10.1, 1 / 3], [5e-324, 7.0]])
    return Mark(MarkId(mark), PhotoId(photo), kind, outline, **more)


def full_file(folder: Path, name: str = "survey") -> SurveyFile:
    """One of everything: photos, marks, sightings, notes, undone and redone changes."""
    file = new_file(folder, name, car=Car(label=HARD_TEXTS[0], owner=HARD_TEXTS[1]))
    first = file.add_photo(picture(1), f"{HARD_TEXTS[2]}.png", "seller")
    second = file.add_photo(picture(2, "JPEG"), "sill.jpg", "inspector")
    file.put_mark(triangle("m1", first, stage=RustStage.HOLED, panels=(PanelId("floor"),), note=HARD_TEXTS[4]))
    file.put_marks([triangle("m2", second, MarkKind.PATCH, fixing=PatchFixing.SEAM), triangle("m3", second)])
    file.replace_marks([MarkId("m3")], [triangle("m4", second), triangle("m5", second, MarkKind.SOUND)])
    file.put_sighting(Sighting(first, DatumId("drain"), [3.25, -0.0]))
    file.put_note(Note(NoteId("n1"), HARD_TEXTS[3], ZoneId("floor-rear"), "me", "2026-01-02"))
    later_things(file, first, second)
    file.remove_photo(second)
    file.undo()
    file.set_settings(Settings(1.25, 2.5, 1.75, 8.0, 0.5, 3.0, "Letter", "in", "de", "GBP"))
    file.undo()
    file.redo()
    third = file.add_photo(picture(3), "gone.png")
    file.remove_photo(third)
    return file


@cache
def own_rates() -> dict[str, object]:
    """Rates of somebody who works in another currency."""
    return default_rates().to_document() | {"name": "Mine", "currency": "GBP"}


def later_things(file: SurveyFile, first: PhotoId, second: PhotoId) -> None:
    """Record one of everything that version 2 of the file brought."""
    who = (HARD_TEXTS[0], HARD_TEXTS[1], "2026-01-02T03:04:05Z")
    floor = PanelId("floor")
    file.put_hand_finding(HandFinding(HandFindingId("h1"), HandKind.GAUGE, floor, [1 / 3, 5e-324], 0.55, first, *who))
    file.put_hand_finding(HandFinding(HandFindingId("h2"), HandKind.MAGNET, floor, [10, 20]))
    file.put_shell_check(ShellCheck(ShellCheckId("s1"), ShellKind.DOOR_GAP, "left top", 4.5, 6.0, None, second, *who))
    file.put_shell_check(ShellCheck(ShellCheckId("s2"), ShellKind.DOOR_BINDS, "right", None, None, True))
    file.put_settlement(Settlement(SettlementId("w1"), MarkId("m1"), second, SettledView.CANNOT_TELL, *who))
    corners = [[0.1, 0.2], [30, 1], [31, 22], [1 / 3, 21]]
    file.put_ties([PhotoTie(TieId("t1"), first, second, floor, corners, corners[::-1], 0.75, "me", "2026-01-02")])
    file.put_length(MeasuredLength(LengthId("l1"), DatumId("drain"), DatumId(DATUM_IDS[1]), 901.5, 1.5, HARD_TEXTS[2]))
    file.put_scale(ScaleSighting(ScaleId("b1"), first, floor, corners[:2], [[0, 0], [100, 0]], 0.25, HARD_TEXTS[3]))
    file.set_rates(own_rates())
    file.set_earlier_record("ab" * 32)


def same_survey(one: Survey, other: Survey) -> bool:
    """Whether two surveys hold the same, to the last bit."""
    return as_plain(one) == as_plain(other)


def all_rings(mark: Mark) -> tuple[np.ndarray, ...]:
    return (mark.outline.exterior_px, *mark.outline.holes_px)


def as_plain(survey: Survey) -> tuple[object, ...]:
    def bits(values: np.ndarray) -> tuple[object, ...]:
        return values.shape, values.tobytes()

    marks = [
        ((m.id, m.photo, m.kind, m.stage, m.fixing), (m.panels, m.note), [bits(ring) for ring in all_rings(m)])
        for m in survey.marks
    ]
    sightings = [(s.photo, s.datum, bits(s.at_px)) for s in survey.sightings]
    later = [canonical(kind.write(value)) for kind in KINDS.values() for value in getattr(survey, kind.key)]
    plain = survey.id, survey.car, survey.photos, marks, sightings, survey.notes, survey.settings
    return (*plain, later, survey.earlier_record)


# What anybody could type or draw

texts = st.one_of(st.sampled_from(HARD_TEXTS), st.text(max_size=40))
ids = st.text("abc-_/ .\u00e9\u05d0\U0001f697", min_size=1, max_size=8)
numbers = st.floats(allow_nan=False, allow_infinity=False)


@st.composite
def rings(draw: st.DrawFn) -> list[tuple[float, float]]:
    ring = draw(st.lists(st.tuples(numbers, numbers), min_size=4, max_size=9))
    closes = draw(st.integers(0, 2))  # closed not at all, once, or twice over
    return ring + [ring[0]] * closes


@st.composite
def marks(draw: st.DrawFn, mark_id: str, photo: str) -> Mark:
    kind = draw(st.sampled_from(MarkKind))
    return Mark(
        MarkId(mark_id),
        PhotoId(photo),
        kind,
        PhotoOutline(draw(rings()), tuple(draw(st.lists(rings(), max_size=2)))),
        draw(st.sampled_from([None, *RustStage])) if kind is MarkKind.RUST else None,
        draw(st.sampled_from([None, *PatchFixing])) if kind is MarkKind.PATCH else None,
        draw(st.sampled_from([(), (PanelId("floor"),)])),
        draw(texts),
    )


@st.composite
def later_kinds(draw: st.DrawFn, photo_ids: list[str], mark_ids: list[str]) -> dict[str, object]:
    """Anything of what version 2 brought."""
    photo, who = st.sampled_from(photo_ids), st.tuples(texts, texts, texts)
    maybe = st.none() | photo
    gauged = st.sampled_from(HandKind).flatmap(
        lambda kind: st.tuples(st.just(kind), st.floats(0, 50) if kind is HandKind.GAUGE else st.none())
    )
    one = st.integers(0, 1)
    some_points = st.lists(st.tuples(numbers, numbers), min_size=4, max_size=6)
    found: dict[str, object] = {
        "hand_findings": tuple(
            HandFinding(HandFindingId(f"h{i}"), kind, PanelId("floor"), draw(st.tuples(numbers, numbers)), thickness,
                        draw(maybe), *draw(who))
            for i in range(draw(one))
            for kind, thickness in [draw(gauged)]
        ),
        "shell_checks": tuple(
            ShellCheck(ShellCheckId(f"s{i}"), ShellKind.RIDE_HEIGHT, "rear left", draw(st.floats(-5000, 5000)), None,
                       None, draw(maybe), *draw(who))
            for i in range(draw(one))
        ),
        "lengths": tuple(
            MeasuredLength(LengthId(f"l{i}"), DatumId(DATUM_IDS[0]), DatumId(DATUM_IDS[1]), draw(st.floats(1, 10_000)),
                           draw(st.floats(1e-6, 1)), draw(texts))
            for i in range(draw(one))
        ),
        "scales": tuple(
            ScaleSighting(ScaleId(f"b{i}"), PhotoId(draw(photo)), PanelId("floor"), points,
                          [[0, 0], [1, 0], [2, 3], [4, 4]], draw(st.floats(1e-6, 10)), draw(texts))
            for i in range(draw(one))
            for points in [draw(some_points)[:4]]
        ),
        "earlier_record": draw(st.sampled_from(["", "0a" * 32])),
    }  # fmt: skip
    if mark_ids:
        view = draw(st.sampled_from(SettledView))
        settled = Settlement(SettlementId("w"), MarkId(draw(st.sampled_from(mark_ids))), PhotoId(draw(photo)), view)
        found["settlements"] = (settled,)
    if len(photo_ids) > 1:
        points = draw(some_points)
        ends = PhotoId(photo_ids[0]), PhotoId(photo_ids[1])
        found["ties"] = (PhotoTie(TieId("t"), *ends, None, points, points[::-1], draw(st.floats(1e-6, 100))),)
    return found


@st.composite
def surveys(draw: st.DrawFn) -> tuple[Survey, dict[str, bytes]]:
    """A survey and the bytes of its photos by SHA-256."""
    photo_ids = draw(st.lists(ids, min_size=1, max_size=3, unique=True))
    data = {hashlib.sha256(picture(i)).hexdigest(): picture(i) for i in range(len(photo_ids))}
    photos = [
        Photo(
            PhotoId(photo_id),
            draw(texts),
            sha256,
            40,
            30,
            draw(st.none() | ids.map(CameraId)),
            draw(st.none() | st.floats(1e-3, 999_999)),
            draw(st.none() | texts),
            draw(texts),
            order,
        )
        for order, (photo_id, sha256) in enumerate(zip(photo_ids, data, strict=True))
    ]
    mark_ids = draw(st.lists(ids, max_size=4, unique=True))
    pairs = st.tuples(st.sampled_from(photo_ids), st.sampled_from(DATUM_IDS))
    sighted = draw(st.lists(pairs, max_size=4, unique_by=lambda pair: f"{pair[0]}/{pair[1]}"))
    note_ids = draw(st.lists(ids, max_size=2, unique=True))
    sizes = st.floats(0, 100, exclude_min=True)
    survey = Survey(
        draw(ids),
        Car(**{name: draw(texts) for name in Car.__slots__}),
        tuple(photos),
        tuple(draw(marks(m, draw(st.sampled_from(photo_ids)))) for m in mark_ids),
        tuple(Sighting(PhotoId(p), DatumId(d), draw(st.tuples(numbers, numbers))) for p, d in sighted),
        tuple(
            Note(NoteId(n), draw(texts), draw(st.sampled_from([None, ZoneId("floor-rear")])), draw(texts), draw(texts))
            for n in note_ids
        ),
        Settings(draw(sizes), draw(sizes), draw(sizes), draw(sizes), draw(sizes), draw(sizes)),
        **draw(later_kinds(photo_ids, mark_ids)),
    )
    return survey, data
