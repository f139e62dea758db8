"""The whole program in one function: from a survey to everything computed from it.

    photos -> marks + sightings -> registration -> projection -> measures -> assessment

App, command line and reports only show an `Evaluation`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap import __version__
from corromap.assessment import Assessment, RuleSet, assess
from corromap.frames import PanelId, PhotoId
from corromap.measures import Measures, measure
from corromap.projection import Projection, project
from corromap.registration import Registration, RegistrationFailure, place_photos
from corromap.survey import Survey
from corromap.template import BodyTemplate

__all__ = ["Evaluation", "evaluate"]


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
    registrations: Mapping[tuple[PhotoId, PanelId], Registration | RegistrationFailure]
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
    registrations = place_photos(survey, template)
    projection = project(survey, template, registrations)
    measures = measure(projection, registrations, survey, template)
    assessment = assess(measures, template, rules)
    return Evaluation(survey, template, rules, registrations, projection, measures, assessment)
