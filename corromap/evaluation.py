"""The whole program in one place: from a survey to everything computed from it.

    photos -> marks + sightings -> registration -> projection -> evidence -> measures -> assessment

App, command line and reports only show an `Evaluation`. `evaluate` gives it
whole; `StagedEvaluation` holds the steps, each worked out when it is asked
for, so that a drawn mark is on the map before the tables are ready.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from corromap import __version__
from corromap.assessment import Assessment, RuleSet, WhatIf, assess, what_would_change
from corromap.errors import InvalidValueError
from corromap.evidence.detail import SmallestSeen
from corromap.evidence.quality import QualityMap
from corromap.evidence.seen_well import PhotoCells, Showing, ZoneEvidence, cells_of, photo_cells, zones_from_cells
from corromap.evidence.settling import settled_views, with_withdrawn, without_doubtful
from corromap.frames import MarkId, PanelId, PhotoId
from corromap.measures import Measures, measure
from corromap.measures.doubt import reaching_down
from corromap.measures.seen_well import with_well_seen
from corromap.projection import PhotoProjection, ProjectedMark, Projection, join_projections, project_photo
from corromap.registration import Registration, RegistrationFailure, place_at_once, place_photos
from corromap.registration.body_size import fitted_template
from corromap.registration.scale_check import ScaleCheck, check_scales
from corromap.repair import Rates, RepairPlan, plan_repair
from corromap.survey import Mark, Photo, Settings, Survey
from corromap.template import BodyTemplate

__all__ = [
    "DraftEvaluation",
    "Evaluation",
    "KeptPhotos",
    "Registrations",
    "StagedEvaluation",
    "evaluate",
    "repair_plan",
    "smallest_seen",
    "what_if",
]

Registrations = Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]
"""Where each photo sits on each panel, or why it does not."""


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """Everything computed from one survey, one template and one rule set.

    Parameters
    ----------
    survey, template, rules
        What it was computed from; the template stretched to lengths taken on the car.
    registrations : mapping of (PhotoId, PanelId) to Registration or RegistrationFailure
        Where each photo sits on each panel, or why it does not.
    projection : Projection
        Marks in panel millimetres, what was lost of them, what was seen.
    measures : Measures
        Figures by zone and group.
    assessment : Assessment
        Rules and outcome.
    program_version : str
        Of the program that computed it.
    quality : mapping of PhotoId to QualityMap
        How well each photo can be judged; photos that were not examined count
        as sharp and well lit.
    evidence : tuple of ZoneEvidence
        How well each zone was shown, in the template's order.
    scales : tuple of ScaleCheck
        What scales in photos say of the template's size; they change no figure.
    """

    survey: Survey
    template: BodyTemplate
    rules: RuleSet
    registrations: Registrations
    projection: Projection
    measures: Measures
    assessment: Assessment
    program_version: str = __version__
    quality: Mapping[PhotoId, QualityMap] = field(default_factory=dict)
    evidence: tuple[ZoneEvidence, ...] = ()
    scales: tuple[ScaleCheck, ...] = ()

    @property
    def showing(self) -> Showing:
        """What the photos show and how well, for the functions of `corromap.evidence`."""
        return Showing(self.projection, self.registrations, self.quality)


def evaluate(
    survey: Survey, template: BodyTemplate, rules: RuleSet, quality: Mapping[PhotoId, QualityMap] | None = None
) -> Evaluation:
    """Compute everything from what was recorded.

    Parameters
    ----------
    survey : Survey
        Photos, marks, sightings, settings.
    template : BodyTemplate
        The body's schematic.
    rules : RuleSet
        The limits in force.
    quality : mapping of PhotoId to QualityMap, optional
        How well each photo can be judged (`corromap.io.photo_quality.quality_maps`);
        others count as sharp and well lit.

    Returns
    -------
    Evaluation
        Never fails for a survey that is merely incomplete: what cannot be
        placed or judged is a value in the result.
    """
    return StagedEvaluation(survey, template, rules, KeptPhotos(), quality or {}).evaluation


def smallest_seen(settings: Settings) -> SmallestSeen:
    """Say what has to be seen for a place to count as seen well enough.

    Parameters
    ----------
    settings : Settings
        Of the survey.

    Returns
    -------
    SmallestSeen
        The model's limits.
    """
    return SmallestSeen(size_mm=settings.smallest_hole_mm, pixels=settings.pixels_across)


@dataclass
class KeptPhotos:
    """What each photo showed last, with what it was worked out from.

    Kept by whoever evaluates one survey again and again, so that a stroke on
    one photo does not carry the marks of all the others anew.
    """

    template: BodyTemplate | None = None
    parts: dict[PhotoId, tuple[object, PhotoProjection]] = field(default_factory=dict)
    cells: dict[PhotoId, tuple[object, dict[PanelId, PhotoCells]]] = field(default_factory=dict)
    bases: dict[tuple[PhotoId, PanelId], tuple[Registration, object]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class DraftEvaluation:
    """What a photo's page shows while the photos it is linked with are adjusted: places, and no figure.

    Parameters
    ----------
    registrations : mapping
        The photo that was clicked on by its clicks as they are now, the others as they were.
    projection : Projection
        As it was.
    """

    registrations: Registrations
    projection: Projection

    @property
    def marks_on_map(self) -> tuple[ProjectedMark, ...]:
        """Marks of all photos, as they were."""
        return self.projection.marks

    @property
    def evaluation(self) -> Evaluation:
        """Nothing: no figure is taken from a draft.

        Raises
        ------
        InvalidValueError
            Always.
        """
        raise InvalidValueError("the linked photos are still being adjusted: no figure can be given yet")


@dataclass(frozen=True)
class StagedEvaluation:
    """One survey's evaluation, worked out as far as it is asked for.

    Parameters
    ----------
    survey, template, rules
        As for `evaluate`.
    kept : KeptPhotos
        Shared by the stages of one survey, revision after revision.
    quality : mapping of PhotoId to QualityMap
        As for `evaluate`.
    """

    survey: Survey
    template: BodyTemplate
    rules: RuleSet
    kept: KeptPhotos
    quality: Mapping[PhotoId, QualityMap] = field(default_factory=dict)

    @cached_property
    def body(self) -> BodyTemplate:
        """The template stretched to the lengths taken on the car; itself without any."""
        return fitted_template(self.template, self.survey.lengths)

    @cached_property
    def registrations(self) -> Registrations:
        """Where each photo sits on each panel, or why it does not."""
        return place_photos(self.survey, self.body)

    def draft(self, photo: PhotoId) -> DraftEvaluation | None:
        """Give what can be shown of a photo at once, before all linked photos are adjusted.

        Parameters
        ----------
        photo : PhotoId
            The photo on the screen.

        Returns
        -------
        DraftEvaluation or None
            None when nothing has to be waited for, or nothing is known of how it was before.
        """
        if "registrations" in self.__dict__ or self.kept.template is not self.body or not self.kept.parts:
            return None
        placed = place_at_once(self.survey, self.body, photo)
        return None if placed is None else DraftEvaluation(placed, self._joined(self.kept.parts))

    @cached_property
    def projection(self) -> Projection:
        """Marks in panel millimetres, what was lost of them, what was seen."""
        return self._joined(self._parts)

    @property
    def marks_on_map(self) -> tuple[ProjectedMark, ...]:
        """Marks of all photos, as in `projection`; there before it is known where photos agree on what covers."""
        marks = tuple(mark for _, part in self._parts.values() for mark in part.marks)
        return with_withdrawn(Projection(marks, (), ()), settled_views(self.survey)).marks

    @cached_property
    def _parts(self) -> Mapping[PhotoId, tuple[object, PhotoProjection]]:
        """Each photo's part with its basis: worked out again only where that is another."""
        if self.kept.template is not self.body:
            self.kept.template, self.kept.parts, self.kept.cells = self.body, {}, {}
        marks: dict[PhotoId, list[Mark]] = {photo.id: [] for photo in self.survey.photos}
        for mark in self.survey.marks:
            marks[mark.photo].append(mark)
        parts: dict[PhotoId, tuple[object, PhotoProjection]] = {}
        for photo in self.survey.photos:
            own = marks[photo.id]
            basis = (photo, _marks_basis(own), self._bases[photo.id])
            known = self.kept.parts.get(photo.id)
            parts[photo.id] = known if known and known[0] == basis else (basis, self._project(photo, own))
        self.kept.parts = parts
        return parts

    def _joined(self, parts: Mapping[PhotoId, tuple[object, PhotoProjection]]) -> Projection:
        return with_withdrawn(join_projections(part for _, part in parts.values()), settled_views(self.survey))

    @cached_property
    def evidence(self) -> tuple[ZoneEvidence, ...]:
        """How well each zone was shown."""
        seen = self.projection.seen  # first of all: it forgets what belongs to another template
        asked: dict[tuple[PhotoId, PanelId], PhotoCells] = {}
        kept: dict[PhotoId, tuple[object, dict[PanelId, PhotoCells]]] = {}
        for photo in self.survey.photos:
            quality = self.quality.get(photo.id)
            basis = (photo, self._bases[photo.id], quality)
            known = self.kept.cells.get(photo.id)
            cells = known[1] if known is not None and known[0] == basis else self._cells(photo.id, quality)
            kept[photo.id] = (basis, cells)
            asked |= {(photo.id, panel): found for panel, found in cells.items()}
        self.kept.cells = kept
        return zones_from_cells(self.body, seen, asked)

    def _cells(self, photo: PhotoId, quality: QualityMap | None) -> dict[PanelId, PhotoCells]:
        found, smallest = {}, smallest_seen(self.survey.settings)
        for seen in self.projection.seen:
            placed = self.registrations.get((photo, seen.panel))
            if seen.photo == photo and not seen.area.is_empty and isinstance(placed, Registration):
                grid = cells_of(self.body.panel(seen.panel))
                found[seen.panel] = photo_cells(grid, seen, placed, quality, smallest)
        return found

    @cached_property
    def _bases(self) -> Mapping[PhotoId, object]:
        """What each photo's place and the settings come to, as plain comparable values."""
        known, bases = self.kept.bases, {}
        for key, found in self.registrations.items():
            if isinstance(found, Registration):
                before = known.get(key)
                bases[key] = before if before and before[0] is found else (found, _place_basis(found))
        self.kept.bases = bases
        of: dict[PhotoId, list[object]] = {photo.id: [self.survey.settings] for photo in self.survey.photos}
        for (photo, panel), (_, basis) in bases.items():
            of[photo] += (panel, basis)
        return of

    def _project(self, photo: Photo, marks: list[Mark]) -> PhotoProjection:
        places = {key: found for key, found in self.registrations.items() if key[0] == photo.id}
        return project_photo(photo, marks, places, self.body, self.survey.settings)

    @cached_property
    def evaluation(self) -> Evaluation:
        """Everything."""
        measures = self._measured(self.projection)
        doubted = without_doubtful(self.projection, settled_views(self.survey))
        least = self._measured(doubted) if doubted is not None else None
        return Evaluation(
            survey=self.survey,
            template=self.body,
            rules=self.rules,
            registrations=self.registrations,
            projection=self.projection,
            measures=measures if least is None else reaching_down(measures, least),
            assessment=assess(measures, self.body, self.rules, least=least),
            quality=self.quality,
            evidence=self.evidence,
            scales=check_scales(self.survey, self.body, self.registrations),
        )

    def _measured(self, projection: Projection) -> Measures:
        found = measure(projection, self.registrations, self.survey, self.body)
        return with_well_seen(found, {zone.zone: zone.well_of_seen for zone in self.evidence})


def _marks_basis(marks: list[Mark]) -> object:
    """Turn marks into plain comparable values: outlines compare by identity, and each reading makes new ones."""
    return tuple(
        (m.id, m.kind, m.stage, m.fixing, m.panels, m.note,
         m.outline.exterior_px.tobytes(), tuple(hole.tobytes() for hole in m.outline.holes_px))
        for m in marks
    )  # fmt: skip


def _place_basis(found: Registration) -> object:
    sources = tuple((source.label, source.covariance.tobytes()) for source in found.sources)
    return (found.matrix.tobytes(), found.sighted_px.tobytes(), found.datum_ids, found.w_min, repr(found.lens), sources)


def repair_plan(evaluation: Evaluation, rates: Rates) -> RepairPlan:
    """Plan the repair of what a survey shows; not part of the outcome, so made when asked for.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    rates : Rates
        Policy of cuts, rates of work and money.

    Returns
    -------
    RepairPlan
        A lower bound.
    """
    return plan_repair(
        evaluation.measures,
        evaluation.projection,
        evaluation.template,
        rates,
        findings=evaluation.survey.hand_findings,
    )


def what_if(evaluation: Evaluation) -> tuple[WhatIf, ...]:
    """Find what would change the outcome; nothing is projected again.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of WhatIf
        The weightiest first; empty when no single uncertain thing would.
    """

    def without(mark: MarkId) -> Measures:
        marks = tuple(m for m in evaluation.projection.marks if m.mark.id != mark)
        projection = replace(evaluation.projection, marks=marks)
        found = measure(projection, evaluation.registrations, evaluation.survey, evaluation.template)
        return with_well_seen(found, {zone.zone: zone.well_of_seen for zone in evaluation.measures.zones})

    return what_would_change(evaluation.assessment, evaluation.measures, evaluation.template, without)
