"""Registration: where a photo sits on the body.

`place_photos` is the only entry the rest of the program uses. Whatever finds
the places, one panel at a time as now or a camera solved over the whole car,
it hands out the same `Registration`.
"""

from __future__ import annotations

from corromap.frames import PanelId, PhotoId
from corromap.registration.draws import draw_matrices
from corromap.registration.lenses import prior_lens
from corromap.registration.place import place_photo
from corromap.registration.result import FailureReason, Lens, Registration, RegistrationFailure
from corromap.registration.sighted import LEAST_POINTS
from corromap.registration.suggest import next_datum
from corromap.survey import Survey
from corromap.template import BodyTemplate

__all__ = [
    "FailureReason",
    "Lens",
    "Registration",
    "RegistrationFailure",
    "draw_matrices",
    "next_datum",
    "place_photo",
    "place_photos",
    "solve_lenses",
]


def solve_lenses(survey: Survey, template: BodyTemplate) -> dict[PhotoId, Lens]:
    """Lens of every photo (from EXIF alone for now).

    Parameters
    ----------
    survey : Survey
        Photos and sightings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict of PhotoId to Lens
        One for each photo of the survey.
    """
    return {photo.id: prior_lens(photo) for photo in survey.photos}


def place_photos(
    survey: Survey, template: BodyTemplate
) -> dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure]:
    """Place every photo on every panel it has sightings on.

    Parameters
    ----------
    survey : Survey
        Photos, sightings and settings.
    template : BodyTemplate
        Panels and datum points.

    Returns
    -------
    dict
        By photo and panel, in the order of the survey and the template. A
        panel is tried when one of its own datum points was clicked, or four
        points in all of those on its folds.
    """
    lenses = solve_lenses(survey, template)
    placed: dict[tuple[PhotoId, PanelId], Registration | RegistrationFailure] = {}
    for photo in survey.photos:
        sightings = [s for s in survey.sightings if s.photo == photo.id]
        clicked = {s.datum for s in sightings}
        for panel in template.panels if clicked else ():
            own = clicked & {datum.id for datum in panel.datum_points}
            if not own and len(clicked & set(template.datum_positions(panel.id))) < LEAST_POINTS:
                continue
            lens = lenses[photo.id]
            placed[photo.id, panel.id] = place_photo(photo, panel, sightings, lens, survey.settings, template)
    return placed
