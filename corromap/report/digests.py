"""SHA-256 digests that say which survey, template and rules a report stands on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass

from corromap.evaluation import Evaluation
from corromap.io import survey_codec as codec
from corromap.io.survey_kinds import KINDS, earlier_document
from corromap.io.templates import template_document
from corromap.survey import Survey

__all__ = ["Digests", "digests_of"]


@dataclass(frozen=True, slots=True)
class Digests:
    """SHA-256, 64 hex digits each.

    Parameters
    ----------
    survey : str
        Of everything recorded; photos count by their own digests.
    template : str
        Of the body template as published, before it was stretched to lengths taken on the car.
    rules : str
        Of the rule set.
    """

    survey: str
    template: str
    rules: str


def digests_of(evaluation: Evaluation) -> Digests:
    """Digest what an evaluation was computed from.

    The text digested is JSON (RFC 8259) with sorted keys, no white space and
    ASCII escapes, so that equal content gives equal digests anywhere.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    Digests
        One each.
    """
    return Digests(
        survey=_digest(_survey_document(evaluation.survey)),
        template=_digest(template_document(evaluation.template.published or evaluation.template)),
        rules=_digest(evaluation.rules.to_document()),
    )


def _survey_document(survey: Survey) -> dict[str, object]:
    return {
        "id": survey.id,
        "car": codec.car_document(survey.car),
        "settings": codec.settings_document(survey.settings),
        "photos": [codec.photo_document(photo) for photo in survey.photos],
        "marks": [codec.mark_document(mark) for mark in survey.marks],
        "sightings": [codec.sighting_document(sighting) for sighting in survey.sightings],
        "notes": [codec.note_document(note) for note in survey.notes],
        "earlier": earlier_document(survey.earlier_record),
        **{kind.key: [kind.write(value) for value in getattr(survey, kind.key)] for kind in KINDS.values()},
    }


def _digest(document: Mapping[str, object]) -> str:
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode("ascii")).hexdigest()
