"""Registration: where a photo sits on the body.

`place_photos` is the only entry the rest of the program uses; `place_at_once` shows a
linked photo that was clicked on while all are adjusted again. Whatever finds
the places, one panel at a time as now or a camera solved over the whole car,
it hands out the same `Registration`.
"""

from __future__ import annotations

from corromap.registration.cameras import solve_lenses
from corromap.registration.draws import draw_matrices
from corromap.registration.panel_place import place_photo
from corromap.registration.place import place_at_once, place_photos
from corromap.registration.result import FailureReason, Lens, Registration, RegistrationFailure
from corromap.registration.suggest import next_datum

__all__ = [
    "FailureReason",
    "Lens",
    "Registration",
    "RegistrationFailure",
    "draw_matrices",
    "next_datum",
    "place_at_once",
    "place_photo",
    "place_photos",
    "solve_lenses",
]
