"""A small evaluation made by hand, number by number, for tests of the report.

Nothing in it is computed by the program, so a change of registration, measures
or rules does not move the golden files of the report.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Mapping

import numpy as np
from PIL import Image
from shapely.geometry import MultiPolygon, Point, box

from corromap.assessment import (
    Assessment,
    Doubt,
    MeasureName,
    Outcome,
    OutcomeKind,
    Rule,
    RuleResult,
    RuleSet,
    Scope,
)
from corromap.assessment.reading import Reading
from corromap.evaluation import Evaluation
from corromap.frames import (
    CameraId,
    DatumId,
    MarkId,
    MountingId,
    NoteId,
    PanelId,
    PanelOutline,
    PhotoId,
    PhotoOutline,
    ZoneId,
)
from corromap.measures import Figure, GroupMeasure, Measures, MountingDistance, ZoneMeasure
from corromap.projection import MarkFate, MovingEdges, ProjectedMark, Projection, SeenArea
from corromap.projection.edges import outline_label
from corromap.registration import FailureReason, Lens, Registration, RegistrationFailure
from corromap.report.photo_page import PhotoPage, photo_pages
from corromap.report.pictures import Pictures
from corromap.survey import MEASURED_KINDS, Car, Mark, MarkKind, Note, PatchFixing, Photo, RustStage, Sighting, Survey
from corromap.template import (
    BodyTemplate,
    DatumPoint,
    DatumShape,
    Feature,
    FeatureKind,
    Frame2D,
    Mounting,
    MountingKind,
    Panel,
    Part,
    Place,
    Role,
    SeenFrom,
    Side,
    Zone,
)

Text = Callable[[str], str]
WIDTH, HEIGHT = 400, 300


def same(text: str) -> str:
    return text


def jpeg(width: int = WIDTH, height: int = HEIGHT, grey: int = 120) -> bytes:
    ramp = np.linspace(0, 60, width)[None, :, None] + np.full((height, width, 3), grey)
    file = io.BytesIO()
    Image.fromarray(ramp.astype(np.uint8)).save(file, "JPEG", quality=80)
    return file.getvalue()


PHOTOS: Mapping[PhotoId, bytes] = {
    PhotoId("photo-1"): jpeg(),
    PhotoId("photo-2"): jpeg(HEIGHT, WIDTH, 60),
}


def _rect(panel: str, u0: float, v0: float, u1: float, v1: float) -> PanelOutline:
    return PanelOutline(PanelId(panel), [[u0, v0], [u1, v0], [u1, v1], [u0, v1]])


def _panel(
    key: str, name: str, part: Part, side: Side, span: tuple[float, float], zones: tuple[Zone, ...], **more: object
) -> Panel:
    low, high = span
    out = 1 if side is Side.LEFT else -1  # the car's left is on the map's right
    return Panel(
        id=PanelId(key),
        name=name,
        part=part,
        side=side,
        seen_from=SeenFrom.BELOW,
        outline=_rect(key, 0, 0, 1600, high - low),
        place=Place([0, out * low, 0], [1, 0, 0], [0, out, 0]),
        map_frame=Frame2D([out * low, 0], [0, -1], [out, 0]),
        zones=zones,
        **more,  # type: ignore[arg-type]
    )


def template(text: Text = same) -> BodyTemplate:
    def zone(key: str, name: str, role: Role, prominence: int, outline: PanelOutline) -> Zone:
        return Zone(ZoneId(key), text(name), role, 1.0, prominence, outline)

    def mounting(key: str, name: str, kind: MountingKind, at: tuple[float, float]) -> Mounting:
        return Mounting(MountingId(key), text(name), kind, at)

    def datum(key: str, name: str, shape: DatumShape, at: tuple[float, float]) -> DatumPoint:
        return DatumPoint(DatumId(key), text(name), text("Seen at a glance."), shape, at)

    left = _panel(
        "floor-left", text("Left floor"), Part.FLOOR, Side.LEFT, (80, 640),
        (
            zone("floor-left-front", "Left floor, front", Role.PRIMARY, 2, _rect("floor-left", 800, 0, 1600, 560)),
            zone("floor-left-rear", "Left floor, rear", Role.SECONDARY, 3, _rect("floor-left", 0, 0, 800, 560)),
        ),
        datum_points=(
            datum("d1", "Drain hole", DatumShape.ROUND_HOLE, (1400, 300)),
            datum("d2", "Rib end", DatumShape.RIB_END, (200, 120)),
            datum("d3", "Seam end", DatumShape.SEAM_END, (1500, 60)),
            datum("d4", "Plate corner", DatumShape.PLATE_CORNER, (300, 500)),
            datum("d5", "Bolt", DatumShape.BOLT, (900, 280)),
        ),
        mountings=(
            mounting("m1", "Left belt", MountingKind.BELT, (300, 470)),
            mounting("m2", "Left front pick-up", MountingKind.SUSPENSION, (1540, 280)),
        ),
        features=(
            Feature(FeatureKind.RIB, [[850, 200], [1300, 200]]),
            Feature(FeatureKind.HOLE, [[1390, 290], [1410, 290], [1410, 310], [1390, 310], [1390, 290]]),
        ),
    )  # fmt: skip
    right = _panel(
        "floor-right", text("Right floor"), Part.FLOOR, Side.RIGHT, (80, 640),
        (
            zone("floor-right-front", "Right floor, front", Role.PRIMARY, 2, _rect("floor-right", 800, 0, 1600, 560)),
            zone("floor-right-rear", "Right floor, rear", Role.CLOSING, 3, _rect("floor-right", 0, 0, 800, 560)),
        ),
    )  # fmt: skip
    sill = _panel(
        "sill-left", text("Left sill, underside"), Part.SILL, Side.LEFT, (650, 770),
        (zone("sill-left-all", "Left sill, underside", Role.PRIMARY, 1, _rect("sill-left", 0, 0, 1600, 120)),),
        mountings=(mounting("m3", "Left jacking point", MountingKind.JACKING, (1300, 60)),),
    )  # fmt: skip
    return BodyTemplate("small", text("Small body"), text("Made for tests."), 1, 0.01, (left, right, sill))


def _sentence(place: str) -> str:
    """A rule's sentence that names a place in a stranger's words: braces in them are text."""
    return f"{place.replace('{', '{{').replace('}', '}}')}: {{value}} (limit {{limit}})."


def rules(text: Text = same) -> RuleSet:
    def rule(key: str, measure: MeasureName, limit: float, outcome: OutcomeKind, sentence: str, *, house: bool) -> Rule:
        return Rule(
            id=key,
            family="too many patches" if measure is MeasureName.PATCH_COUNT else text("metal lost"),
            title=text(sentence),
            measure=measure,
            at_least=limit,
            unit=measure.unit,
            scope=Scope.ZONE,
            roles=(Role.PRIMARY,),
            outcome=outcome,
            sentence=_sentence(text("Left floor, front")),
            source=text("common practice"),
            house_rule=house,
        )

    return RuleSet(
        "trial",
        text("Trial rules"),
        3,
        (
            rule("patches", MeasureName.PATCH_COUNT, 4, OutcomeKind.STOP, "Patches in one zone", house=True),
            rule("holed", MeasureName.HOLED_COUNT, 1, OutcomeKind.REPAIR, "A hole", house=False),
            rule("rust", MeasureName.RUST_SHARE, 2, OutcomeKind.REPAIR, "Share rusted", house=True),
        ),
    )


def _ring(u: float, v: float, radius: float) -> MultiPolygon:
    return MultiPolygon([Point(u, v).buffer(radius, quad_segs=4)])


MARKS: tuple[tuple[str, MarkKind, RustStage | None, PatchFixing | None, tuple[float, float, float]], ...] = (
    ("mark-1", MarkKind.RUST, RustStage.SURFACE, None, (1100, 200, 80)),
    ("mark-2", MarkKind.RUST, RustStage.HOLED, None, (1120, 190, 9)),
    ("mark-3", MarkKind.PATCH, None, PatchFixing.SEAM, (1300, 400, 70)),
    ("mark-4", MarkKind.PATCH, None, PatchFixing.RIVETED, (1360, 430, 60)),
    ("mark-5", MarkKind.FILLER, None, None, (900, 450, 40)),
    ("mark-6", MarkKind.HIDDEN, None, None, (500, 300, 120)),
    ("mark-7", MarkKind.SOUND, None, None, (1450, 150, 60)),
)


def _to_px(u: float, v: float) -> tuple[float, float]:
    return v / 2 + 50, (1700 - u) / 6 + 10


def survey(text: Text = same) -> Survey:
    def photo(key: str, name: str, width: int, height: int, order: int) -> Photo:
        digest = hashlib.sha256(PHOTOS[PhotoId(key)]).hexdigest()
        return Photo(
            PhotoId(key),
            text(name),
            digest,
            width,
            height,
            CameraId("cam"),
            350.0,
            "2024-05-01T10:00:00",
            text("seller"),
            order,
        )

    def outline(u: float, v: float, radius: float) -> PhotoOutline:
        turns = np.linspace(0, 2 * np.pi, 12, endpoint=False)
        return PhotoOutline([_to_px(u + radius * np.cos(t), v + radius * np.sin(t)) for t in turns])

    first = PhotoId("photo-1")
    marks = tuple(
        Mark(
            MarkId(key), first, kind, outline(*at), stage, fixing, note=text("seen by torch") if key == "mark-2" else ""
        )
        for key, kind, stage, fixing, at in MARKS
    )
    lost = Mark(MarkId("mark-8"), PhotoId("photo-2"), MarkKind.RUST, PhotoOutline([[20, 20], [200, 30], [120, 200]]))
    points = {"d1": (1400, 300), "d2": (200, 120), "d3": (1500, 60), "d4": (300, 500), "d5": (900, 280)}
    car = (
        "Small two-seater",
        "TRIAL 1",
        "48 112 miles",
        "A. Owner",
        "B. Seller",
        "C. Inspector",
        "Yard 4",
        "2024-05-01",
    )
    return Survey(
        id="survey-1",
        car=Car(*map(text, car)),
        photos=(photo("photo-1", "floor.jpg", WIDTH, HEIGHT, 0), photo("photo-2", "far.jpg", HEIGHT, WIDTH, 1)),
        marks=(*marks, lost),
        sightings=tuple(Sighting(first, DatumId(key), _to_px(*at)) for key, at in points.items()),
        notes=(
            Note(
                NoteId("note-1"),
                text("Dull when tapped.\nMagnet slides off."),
                ZoneId("sill-left-all"),
                text("C. Inspector"),
                "2024-05-01T10:20:00",
            ),
        ),
    )


NOTHING = Figure(0, 0, 0, 0, 0, 0, 0, 0, 0, ())


def _figure(area: float, whole: float, marks: tuple[str, ...], pieces: int = 1, separate: int = 1) -> Figure:
    half = 0.12 * area
    return Figure(area, half / 2, area - half, area + half, area / whole, (area - half) / whole, (area + half) / whole,
                  pieces, 3.5 * area**0.5, tuple(map(MarkId, marks)), separate)  # fmt: skip


def _all_figures(whole: float) -> dict[str, object]:
    rust = _figure(20106, whole, ("mark-1", "mark-2"))
    patch = _figure(24800, whole, ("mark-3", "mark-4"), 1, 1)
    filler = _figure(5027, whole, ("mark-5",))
    kinds = dict.fromkeys(MEASURED_KINDS, NOTHING) | {
        MarkKind.RUST: rust,
        MarkKind.PATCH: patch,
        MarkKind.FILLER: filler,
    }
    stages = {
        RustStage.SURFACE: _figure(19852, whole, ("mark-1",)),
        RustStage.SCALED: NOTHING,
        RustStage.HOLED: _figure(254, whole, ("mark-2",)),
    }
    resolved = {kind: kinds[kind] for kind in (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH)}
    affected = _figure(49933, whole, ("mark-1", "mark-2", "mark-3", "mark-4", "mark-5"), 3, 3)
    return {"kinds": kinds, "stages": stages, "resolved": resolved, "affected": affected, "patch_on_patch": 1}


def _no_figures() -> dict[str, object]:
    return {
        "kinds": dict.fromkeys(MEASURED_KINDS, NOTHING),
        "stages": dict.fromkeys(RustStage, NOTHING),
        "resolved": dict.fromkeys((MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH), NOTHING),
        "affected": NOTHING,
        "patch_on_patch": 0,
    }


COVERAGE: Mapping[str, tuple[float, float, float]] = {
    "floor-left-front": (1.0, 0.0, 0.0),
    "floor-left-rear": (0.7, 0.1, 0.2),
    "floor-right-front": (0.0, 0.0, 1.0),
    "floor-right-rear": (0.0, 0.0, 1.0),
    "sill-left-all": (0.004, 0.0, 0.996),
}


def _zone_measure(zone: Zone) -> ZoneMeasure:
    found = _all_figures(zone.area_mm2) if zone.id == "floor-left-front" else _no_figures()
    return ZoneMeasure(zone.id, zone.area_mm2, **found, **_shares(COVERAGE[zone.id]))  # type: ignore[arg-type]


def _shares(three: tuple[float, float, float]) -> dict[str, float]:
    return dict(zip(("seen_share", "hidden_share", "never_seen_share"), three, strict=True))


def _group(body: BodyTemplate, text: Text) -> GroupMeasure:
    whole = sum(zone.area_mm2 for zone in body.zones)
    ids = tuple(zone.id for zone in body.zones)
    return GroupMeasure("all", text("Whole underside"), ids, whole, **_all_figures(whole), **_shares((0.38, 0.02, 0.6)))  # type: ignore[arg-type]


def _projection(drawn: Survey) -> Projection:
    left = PanelId("floor-left")
    by_id = drawn.mark_by_id
    marks = tuple(
        ProjectedMark(
            by_id[MarkId(key)],
            left,
            _ring(*at),
            0.25 if key == "mark-5" else 0.0,
            was_repaired=False,
            edges=MovingEdges(
                np.zeros((0, 2)), np.zeros((0, 2)), {outline_label(by_id[MarkId(key)]): np.zeros((0, 1))}
            ),
        )
        for key, _, _, _, at in MARKS
    )
    fates = [MarkFate(mark.id, 1.0, 0.0, 0.0, "") for mark in drawn.marks[:-1]]
    fates.append(MarkFate(MarkId("mark-8"), 0.0, 0.0, 1.0, "Photo is not placed: click datum points."))
    shown = MultiPolygon([box(240, 0, 1600, 560)])
    return Projection(marks, tuple(fates), (SeenArea(PhotoId("photo-1"), left, shown, _ring(500, 300, 120)),))


def _registrations(
    drawn: Survey, body: BodyTemplate, text: Text
) -> dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure]:
    first, second, left = PhotoId("photo-1"), PhotoId("photo-2"), PanelId("floor-left")
    points = body.panel(left).datum_points
    residual = np.array([[0.4, -0.3], [-0.4, 0.3], [0.3, 0.3], [-0.6, -0.2], [0.3, -0.1]])
    placed = Registration(
        photo=first,
        panel=left,
        lens=Lens(CameraId("cam"), [199.5, 149.5], 350.0, 0.0, 0.0, "from the photo's metadata"),
        matrix=[[0, -6, 1760], [2, 0, -100], [0, 0, 1]],
        w_min=0.1,
        datum_ids=tuple(point.id for point in points),
        datum_mm=[point.at_mm for point in points],
        sighted_px=[sighting.at_px for sighting in drawn.sightings],
        residual_px=residual,
        residual_mm=residual * 4,
        rms_px=0.54,
        rms_mm=2.15,
        sigma_px=2.0,
        hull_px=[[80, 43], [300, 240], [110, 260]],
        method="panel",
        sources=(),
        matrix_by_source={},
        warnings=(text("The points lie close together: the far end is less certain."),),
    )
    refused = RegistrationFailure(
        second, left, FailureReason.CROSSED, text("Two points are swapped: check 'Bolt'."), (DatumId("d5"),)
    )
    return {(first, left): placed, (second, left): refused}


def _assessment(in_force: RuleSet, body: BodyTemplate, text: Text) -> Assessment:
    patches, holed, rust = in_force.rules
    zone = body.zone_by_id[ZoneId("floor-left-front")]

    def result(
        rule: Rule, value: float, low: float, high: float, marks: tuple[str, ...], doubt: Doubt | None = None
    ) -> RuleResult:
        reading = Reading(zone.id, value, low, high, tuple(map(MarkId, marks)))
        return RuleResult(rule, reading, zone.name, doubt)

    results = (
        result(patches, 2, 2, 2, ("mark-3", "mark-4")),
        result(holed, 1, 1, 1, ("mark-2",)),
        result(rust, 1.9, 1.6, 2.3, ("mark-1", "mark-2"), Doubt.INTERVAL),
    )
    unseen = (ZoneId("sill-left-all"), ZoneId("floor-right-front"))
    outcome = Outcome(OutcomeKind.REPAIR, text("Repair is called for in 1 zone."), results[1:2], results[2:], unseen)
    return Assessment(in_force, results, outcome)


def evaluation(text: Text = same) -> Evaluation:
    """The whole of it; `text` is applied to every free text a stranger could write."""
    body, drawn, in_force = template(text), survey(text), rules(text)
    near = (
        MountingDistance(MountingId("m2"), MarkId("mark-4"), MarkKind.PATCH, None, 180.4),
        MountingDistance(MountingId("m2"), MarkId("mark-1"), MarkKind.RUST, RustStage.SURFACE, 367.9),
    )
    measures = Measures(tuple(_zone_measure(zone) for zone in body.zones), (_group(body, text),), near)
    return Evaluation(
        survey=drawn,
        template=body,
        rules=in_force,
        registrations=_registrations(drawn, body, text),
        projection=_projection(drawn),
        measures=measures,
        assessment=_assessment(in_force, body, text),
        program_version="0.0.0",
    )


def photo_bytes(photo: PhotoId) -> bytes:
    return PHOTOS[photo]


def photo_pages_of(scene: Evaluation) -> tuple[PhotoPage, ...]:
    with Pictures(scene.survey, photo_bytes) as pictures:
        return photo_pages(scene, pictures)()
