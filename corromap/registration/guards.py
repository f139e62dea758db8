"""Looking at the sightings before a plane is fitted to them.

Every refusal is a value with one sentence that says what to click next. All
limits here are ours.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from corromap.frames import DatumId
from corromap.messages import message
from corromap.registration.lens import Lens
from corromap.registration.result import FailureReason, RegistrationFailure
from corromap.registration.sighted import LEAST_POINTS, LINE_SHARE, Sighted, extent, line_widths, lone_point
from corromap.registration.suggest import suggestion
from corromap.survey import Settings

__all__ = ["check_sightings", "refuse"]

LINE_SIGMAS = 3.0
"""Clicks that stray from a line by less than so many click errors lie on it."""

NEAR_PHOTO_SHARE = 0.05
"""Clicks that span less of the photo's diagonal are refused."""

NEAR_PANEL_SHARE = 0.02
"""Datum points that span less of the panel's diagonal are refused."""


def check_sightings(sighted: Sighted, lens: Lens, settings: Settings) -> RegistrationFailure | None:
    """Look at the sightings before anything is fitted.

    Parameters
    ----------
    sighted : Sighted
        The sightings of one photo on one panel.
    lens : Lens
        The photo's lens.
    settings : Settings
        For the standard error of a click.

    Returns
    -------
    RegistrationFailure or None
        Duplicate, too few, too near together or on one line; None when a plane
        can be fitted.
    """
    return (
        _duplicate(sighted, settings)
        or _too_few(sighted, lens)
        or _too_near(sighted, lens)
        or _collinear(sighted, lens, settings)
    )


def refuse(
    sighted: Sighted, reason: FailureReason, text: str, suspects: tuple[DatumId, ...] = ()
) -> RegistrationFailure:
    """Make a refusal that names the photo and the panel.

    Parameters
    ----------
    sighted : Sighted
        For the names.
    reason : FailureReason
        Why.
    text : str
        The rest of the sentence, without a full stop.
    suspects : tuple of DatumId
        Sightings most likely at fault, worst first.

    Returns
    -------
    RegistrationFailure
        The refusal.
    """
    said = message(
        "Photo '{photo}' on panel '{panel}': {text}.",
        photo=sighted.photo.name,
        panel=message(sighted.panel.name),
        text=text,
    )
    return RegistrationFailure(sighted.photo.id, sighted.panel.id, reason, said, suspects)


def _duplicate(sighted: Sighted, settings: Settings) -> RegistrationFailure | None:
    for i, j in combinations(range(len(sighted.ids)), 2):
        if sighted.ids[i] == sighted.ids[j]:
            text = message("the point {point} was clicked twice; remove one of the two clicks", point=sighted.name(i))
            return refuse(sighted, FailureReason.DUPLICATE, text, (sighted.ids[i],))
        if float(np.hypot(*(sighted.clicked_px[i] - sighted.clicked_px[j]))) < settings.click_sigma_px:
            text = message(
                "the points {one} and {other} were clicked at the same place; click the one that is wrong again",
                one=sighted.name(i),
                other=sighted.name(j),
            )
            return refuse(sighted, FailureReason.DUPLICATE, text, (sighted.ids[i], sighted.ids[j]))
    return None


def _too_few(sighted: Sighted, lens: Lens) -> RegistrationFailure | None:
    count = len(sighted.ids)
    if count >= LEAST_POINTS:
        return None
    next_one = suggestion(sighted, lens)
    one = message("1 of the {needed} points needed is clicked; {next}", needed=LEAST_POINTS, next=next_one)
    several = message(
        "{count} of the {needed} points needed are clicked; {next}", count=count, needed=LEAST_POINTS, next=next_one
    )
    return refuse(sighted, FailureReason.TOO_FEW, one if count == 1 else several)


def _too_near(sighted: Sighted, lens: Lens) -> RegistrationFailure | None:
    photo, panel = sighted.photo, sighted.panel
    of_photo = extent(sighted.clicked_px) / float(np.hypot(photo.width_px, photo.height_px))
    of_panel = extent(sighted.datum_mm) / extent(panel.outline.exterior_mm)
    if of_photo >= NEAR_PHOTO_SHARE and of_panel >= NEAR_PANEL_SHARE:
        return None
    text = message(
        "the points are too near together (they span {of_photo:.0f} % of the photo and {of_panel:.0f} % of the panel); "
        "{next}",
        of_photo=100 * of_photo,
        of_panel=100 * of_panel,
        next=suggestion(sighted, lens, where=message("or use a photo taken nearer")),
    )
    return refuse(sighted, FailureReason.TOO_NEAR, text, sighted.ids)


def _collinear(sighted: Sighted, lens: Lens, settings: Settings) -> RegistrationFailure | None:
    """Find a line that all points but one lie on: two must lie off any line."""
    lone = lone_point(sighted.datum_mm)
    if lone is None:
        lone = lone_point(lens.undistort(sighted.clicked_px), LINE_SIGMAS * settings.click_sigma_px)
    if lone is None:
        return None
    across, along = line_widths(sighted.datum_mm)
    every = across < LINE_SHARE * along
    next_one = suggestion(sighted, lens, where=message("off that line"))
    text = message("all the points lie on one line, which fixes no plane; {next}", next=next_one)
    if not every:
        text = message(
            "all the points but {point} lie on one line, which fixes no plane; {next}",
            point=sighted.name(lone),
            next=next_one,
        )
    on_line = sighted.ids if every else sighted.ids[:lone] + sighted.ids[lone + 1 :]
    return refuse(sighted, FailureReason.COLLINEAR, text, on_line)
