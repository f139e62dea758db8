"""The whole program in one place: from a survey to everything computed from it.

    photos -> marks + sightings -> registration -> projection -> measures -> assessment

App, command line and reports only show an `Evaluation`. `evaluate` gives it
whole; `StagedEvaluation` holds the steps, each worked out when it is asked
for, so that a drawn mark is on the map before the tables are ready.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from corromap import __version__
from corromap.assessment import Assessment, RuleSet, assess
from corromap.frames import PanelId, PhotoId
from corromap.measures import Measures, measure
from corromap.projection import PhotoProjection, Projection, join_projections, project_photo
from corromap.registration import Registration, RegistrationFailure, place_photos
from corromap.survey import Mark, Settings, Survey
from corromap.template import BodyTemplate

__all__ = ["Evaluation", "KeptPhotos", "Registrations", "StagedEvaluation", "evaluate"]

Registrations = Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]
"""Where each photo sits on each panel, or why it does not."""


@dataclass(frozen=True, slots=True, eq=False)
class Evaluation:
    """Everything computed from one survey, one template and one rule set.

    Parameters
    ----------
    survey, template, rules
        What it was computed from.
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
    """

    survey: Survey
    template: BodyTemplate
    rules: RuleSet
    registrations: Registrations
    projection: Projection
    measures: Measures
    assessment: Assessment
    program_version: str = __version__


def evaluate(survey: Survey, template: BodyTemplate, rules: RuleSet) -> Evaluation:
    """Compute everything from what was recorded.

    Parameters
    ----------
    survey : Survey
        Photos, marks, sightings, settings.
    template : BodyTemplate
        The body's schematic.
    rules : RuleSet
        The limits in force.

    Returns
    -------
    Evaluation
        Never fails for a survey that is merely incomplete: what cannot be
        placed or judged is a value in the result.
    """
    return StagedEvaluation(survey, template, rules, KeptPhotos()).evaluation


@dataclass
class KeptPhotos:
    """What each photo showed last, with what it was worked out from.

    Kept by whoever evaluates one survey again and again, so that a stroke on
    one photo does not carry the marks of all the others anew.
    """

    template: BodyTemplate | None = None
    parts: dict[PhotoId, tuple[object, PhotoProjection]] = field(default_factory=dict)

    def part(self, photo: PhotoId, basis: object) -> PhotoProjection | None:
        """Return a photo's part when its basis is still the same.

        Parameters
        ----------
        photo : PhotoId
            The photo.
        basis : object
            Everything it depends on, comparable.

        Returns
        -------
        PhotoProjection or None
            None when it has to be worked out.
        """
        kept = self.parts.get(photo)
        return kept[1] if kept is not None and kept[0] == basis else None


@dataclass(frozen=True)
class StagedEvaluation:
    """One survey's evaluation, worked out as far as it is asked for.

    Parameters
    ----------
    survey, template, rules
        As for `evaluate`.
    kept : KeptPhotos
        Shared by the stages of one survey, revision after revision.
    """

    survey: Survey
    template: BodyTemplate
    rules: RuleSet
    kept: KeptPhotos

    @cached_property
    def registrations(self) -> Registrations:
        """Where each photo sits on each panel, or why it does not."""
        return place_photos(self.survey, self.template)

    @cached_property
    def projection(self) -> Projection:
        """Marks in panel millimetres, what was lost of them, what was seen."""
        if self.kept.template is not self.template:
            self.kept.template, self.kept.parts = self.template, {}
        marks: dict[PhotoId, list[Mark]] = {photo.id: [] for photo in self.survey.photos}
        for mark in self.survey.marks:
            marks[mark.photo].append(mark)
        parts: dict[PhotoId, tuple[object, PhotoProjection]] = {}
        for photo in self.survey.photos:
            places = {key: found for key, found in self.registrations.items() if key[0] == photo.id}
            basis = (photo, _marks_basis(marks[photo.id]), _places_basis(places, self.survey.settings))
            part = self.kept.part(photo.id, basis)
            if part is None:
                part = project_photo(photo, marks[photo.id], places, self.template, self.survey.settings)
            parts[photo.id] = (basis, part)
        self.kept.parts = parts
        return join_projections(part for _, part in parts.values())

    @cached_property
    def evaluation(self) -> Evaluation:
        """Everything."""
        measures = measure(self.projection, self.registrations, self.survey, self.template)
        assessment = assess(measures, self.template, self.rules)
        return Evaluation(
            self.survey, self.template, self.rules, self.registrations, self.projection, measures, assessment
        )


def _marks_basis(marks: list[Mark]) -> object:
    """Turn marks into plain comparable values: outlines compare by identity, and each reading makes new ones."""
    return tuple(
        (m.id, m.kind, m.stage, m.fixing, m.panels, m.note,
         m.outline.exterior_px.tobytes(), tuple(hole.tobytes() for hole in m.outline.holes_px))
        for m in marks
    )  # fmt: skip


def _places_basis(places: Registrations, settings: Settings) -> object:
    numbers = tuple(
        (key, found.matrix.tobytes(), found.sighted_px.tobytes(), found.datum_ids, found.w_min, repr(found.lens),
         tuple((s.label, s.covariance.tobytes()) for s in found.sources))
        for key, found in places.items()
        if isinstance(found, Registration)
    )  # fmt: skip
    return numbers, settings
