"""The order of work: seven steps, and how far each one is."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from corromap.evaluation import Evaluation, Registrations
from corromap.frames import PhotoId
from corromap.registration import Registration
from corromap.survey import Survey

__all__ = ["TITLES", "Page", "Step", "counted", "next_page", "placed_photos", "steps_of"]


class Page(StrEnum):
    """Pages of a survey, in the order of work; the value stands in the address."""

    CAR = "car"
    PHOTOS = "photos"
    PLACE = "place"
    MARK = "mark"
    OUTCOME = "outcome"
    PLAN = "plan"
    REPORT = "report"


TITLES = {
    Page.CAR: "The car",
    Page.PHOTOS: "Photos",
    Page.PLACE: "Place",
    Page.MARK: "Mark",
    Page.OUTCOME: "Zones and outcome",
    Page.PLAN: "Repair plan",
    Page.REPORT: "Report",
}
"""As written on the buttons and headings."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work.

    Parameters
    ----------
    page : Page
        Where it is done.
    number : int
        1 to 7.
    title : str
        Plain words.
    state : str
        How far it is, in a few words; never empty.
    is_done : bool
        Whether nothing is missing here for now.
    """

    page: Page
    number: int
    title: str
    state: str
    is_done: bool


def placed_photos(registrations: Registrations) -> frozenset[PhotoId]:
    """Photos that are placed on at least one panel.

    Parameters
    ----------
    registrations : mapping
        Of the survey, by photo and panel.

    Returns
    -------
    frozenset of PhotoId
        Their ids.
    """
    return frozenset(photo for (photo, _), found in registrations.items() if isinstance(found, Registration))


def steps_of(survey: Survey, evaluation: Evaluation) -> tuple[Step, ...]:
    """Say how far each step is.

    Parameters
    ----------
    survey : Survey
        What is recorded.
    evaluation : Evaluation
        What follows from it.

    Returns
    -------
    tuple of Step
        In the order of work.
    """
    photos, marks = len(survey.photos), len(survey.measured_marks)
    placed = len(placed_photos(evaluation.registrations))
    outcome = evaluation.assessment.outcome.kind
    states = {
        Page.CAR: (survey.car.label or "not named yet", bool(survey.car.label)),
        Page.PHOTOS: (counted(photos, "photo"), photos > 0),
        Page.PLACE: (f"{placed} of {photos} placed" if photos else "no photo yet", photos > 0 and placed == photos),
        Page.MARK: (counted(marks, "mark"), marks > 0),
        Page.OUTCOME: (str(outcome) if placed else "nothing placed yet", placed > 0 and marks > 0),
        Page.PLAN: ("a lower bound" if placed else "nothing placed yet", placed > 0 and marks > 0),
        Page.REPORT: ("ready" if placed else "nothing to report yet", False),
    }
    return tuple(Step(page, number, TITLES[page], *states[page]) for number, page in enumerate(Page, start=1))


def next_page(steps: tuple[Step, ...]) -> Page:
    """Tell which step comes next.

    Parameters
    ----------
    steps : tuple of Step
        From `steps_of`.

    Returns
    -------
    Page
        The first that is not done; the report when all are.
    """
    return next((step.page for step in steps if not step.is_done), Page.REPORT)


def counted(number: int, word: str) -> str:
    """Say how many there are.

    Parameters
    ----------
    number : int
        How many.
    word : str
        Of what, singular.

    Returns
    -------
    str
        ``3 marks``, ``1 mark``, ``no mark yet``.
    """
    return f"{number} {word}{'' if number == 1 else 's'}" if number else f"no {word} yet"
