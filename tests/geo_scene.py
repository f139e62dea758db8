"""A small template and photos with known homographies, for tests of projection and measures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from corromap.frames import DatumId, MarkId, MountingId, PanelId, PanelOutline, PhotoId, PhotoOutline, ZoneId
from corromap.measures import Measures, measure
from corromap.projection import Projection, project
from corromap.registration import Registration, place_photos
from corromap.survey import Mark, MarkKind, PatchFixing, Photo, RustStage, Settings, Sighting, Survey
from corromap.template import (
    BodyTemplate,
    DatumPoint,
    DatumShape,
    Fold,
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

FLOOR, SILL, BEAM = PanelId("floor"), PanelId("sill"), PanelId("beam")
WIDTH, HEIGHT = 2000, 1500


def rect(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def disc(x: float, y: float, radius: float, count: int = 40) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.stack([x + radius * np.cos(angle), y + radius * np.sin(angle)], axis=1)


def zone(panel: PanelId, name: str, ring: np.ndarray, role: Role = Role.PRIMARY) -> Zone:
    return Zone(ZoneId(name), name, role, 0.9, 1, PanelOutline(panel, ring))


def panel(panel_id: PanelId, width: float, height: float, **given: object) -> Panel:
    ring = rect(0, 0, width, height)
    points = [
        DatumPoint(DatumId(f"{panel_id}-{i}"), f"point {i}", "a hole", DatumShape.ROUND_HOLE, [u, v])
        for i, (u, v) in enumerate(
            [(0.05, 0.05), (0.95, 0.08), (0.93, 0.95), (0.06, 0.92), (0.5, 0.5), (0.3, 0.8), (0.72, 0.3)]
            * np.array([width, height])
        )
    ]
    base = {
        "name": str(panel_id), "part": Part.FLOOR, "side": Side.LEFT, "seen_from": SeenFrom.BELOW,
        "place": Place([0, 0, 0], [1, 0, 0], [0, 1, 0]), "map_frame": Frame2D([0, 0], [1, 0], [0, 1]),
        "zones": (zone(panel_id, f"{panel_id}-all", ring),), "datum_points": tuple(points),
    }  # fmt: skip
    return Panel(id=panel_id, outline=PanelOutline(panel_id, ring), **{**base, **given})  # type: ignore[arg-type]


def template(scale_sigma: float = 0.0, *, covering: bool = False) -> BodyTemplate:
    """A floor of two zones, a sill folded to its v = 600 edge, a beam that may stand before the floor."""
    floor = panel(
        FLOOR, 1000, 600,
        zones=(
            zone(FLOOR, "rear", rect(0, 0, 500, 600)),
            zone(FLOOR, "front", rect(500, 0, 1000, 600), Role.SECONDARY),
        ),
        mountings=(Mounting(MountingId("spring"), "spring", MountingKind.SPRING, [250, 450]),),
        folds=(Fold(SILL, [[0, 600], [1000, 600]], [[0, 0], [1000, 0]]),),
    )  # fmt: skip
    sill = panel(
        SILL, 1000, 200, part=Part.SILL, place=Place([0, 600, 0], [1, 0, 0], [0, 0, 1]), seen_from=SeenFrom.LEFT
    )
    beam = panel(BEAM, 100, 600, part=Part.CROSSMEMBER, covers=(FLOOR,) if covering else ())
    return BodyTemplate("small", "small", "invented", 1, scale_sigma, (floor, sill, beam))


def view(mm_per_px: float = 0.6, tilt: float = 0.0, turn: float = 0.0, at: ArrayLike = (-100.0, -150.0)) -> np.ndarray:
    """Photo pixels to panel mm, seen in the panel's own sense; `tilt` makes w fall off along y."""
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c * mm_per_px, -s * mm_per_px, 0], [s * mm_per_px, c * mm_per_px, 0], [0, 0, 1]])
    matrix[2, 1] = tilt
    matrix[:2, 2] = at
    return matrix


def carry(matrix: np.ndarray, xy: np.ndarray) -> np.ndarray:
    image = np.c_[xy, np.ones(len(xy))] @ matrix.T
    return image[:, :2] / image[:, 2:]


def without_lens_error(registration: Registration) -> Registration:
    clicks = tuple(s for s in registration.sources if s.label.startswith("clicks"))
    return replace(registration, sources=clicks)


class Scene:
    """Collects photos placed by known matrices, and marks given in pixels or in mm."""

    def __init__(self, body: BodyTemplate, settings: Settings | None = None) -> None:
        self.body, self.settings = body, settings or Settings()
        self.photos: list[Photo] = []
        self.sightings: list[Sighting] = []
        self.marks: list[Mark] = []
        self.matrices: dict[tuple[str, PanelId], np.ndarray] = {}
        self.with_lens_error = True

    def photo(self, name: str, views: dict[PanelId, np.ndarray], noise: np.ndarray | None = None) -> PhotoId:
        photo_id = PhotoId(name)
        self.photos.append(Photo(photo_id, name, "0" * 64, WIDTH, HEIGHT, order=len(self.photos)))
        for panel_id, matrix in views.items():
            self.matrices[name, panel_id] = matrix
            points = self.body.panel(panel_id).datum_points
            px = carry(np.linalg.inv(matrix), np.array([p.at_mm for p in points]))
            px = px if noise is None else px + noise
            self.sightings += [Sighting(photo_id, p.id, xy) for p, xy in zip(points, px, strict=True)]
        return photo_id

    def mark(
        self,
        photo: str,
        ring: np.ndarray,
        kind: MarkKind = MarkKind.RUST,
        *,
        mm_on: PanelId | None = None,
        stage: RustStage | None = None,
        holes: tuple[np.ndarray, ...] = (),
        panels: tuple[PanelId, ...] = (),
        name: str | None = None,
    ) -> MarkId:
        if mm_on is not None:
            back = np.linalg.inv(self.matrices[photo, mm_on])
            ring, holes = carry(back, ring), tuple(carry(back, hole) for hole in holes)
        mark_id = MarkId(name or f"m{len(self.marks)}")
        fixing = PatchFixing.SEAM if kind is MarkKind.PATCH else None
        self.marks.append(Mark(mark_id, PhotoId(photo), kind, PhotoOutline(ring, holes), stage, fixing, panels))
        return mark_id

    def survey(self) -> Survey:
        return Survey(
            "s",
            photos=tuple(self.photos),
            marks=tuple(self.marks),
            sightings=tuple(self.sightings),
            settings=self.settings,
        )

    def registrations(self) -> dict:
        found = place_photos(self.survey(), self.body)
        return found if self.with_lens_error else {key: without_lens_error(r) for key, r in found.items()}

    def projection(self) -> Projection:
        return project(self.survey(), self.body, self.registrations())

    def measures(self) -> Measures:
        survey = self.survey()
        registrations = self.registrations()
        return measure(project(survey, self.body, registrations), registrations, survey, self.body)
