"""What lengths taken on the car and scales in photos say of the template's size, for reports and the document."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from corromap.evaluation import Evaluation

__all__ = ["body_fit_document", "control_sentences", "scales_document"]

_DIGITS = 6


def control_sentences(evaluation: Evaluation) -> tuple[str, ...]:
    """Say what does not fit: lengths left out, a body far from the template, scales that disagree.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    tuple of str
        Sentences; empty when everything agrees or nothing was measured.
    """
    fit = evaluation.template.fit
    told = () if fit is None else fit.messages
    return (*told, *(check.sentence for check in evaluation.scales if not check.agrees))


def body_fit_document(evaluation: Evaluation) -> Mapping[str, object] | None:
    """Say how the template was stretched.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    mapping or None
        JSON values; None when no length was taken.
    """
    fit = evaluation.template.fit
    if fit is None:
        return None
    return {
        "factors": [round(float(factor), _DIGITS) for factor in fit.factors],
        "sigmas": [round(float(sigma), _DIGITS) for sigma in np.sqrt(np.diag(fit.covariance))],
        "lengths": list(fit.used),
        "left_out": list(fit.left_out),
        "messages": list(fit.messages),
    }


def scales_document(evaluation: Evaluation) -> list[Mapping[str, object]]:
    """Say what each scale in a photo makes of the template's size.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    list of mapping
        JSON values, one a scale.
    """
    return [
        {
            "id": check.scale,
            "photo": check.photo,
            "panel": check.panel,
            "ratio": None if check.ratio is None else round(check.ratio, _DIGITS),
            "sigma": None if check.sigma is None else round(check.sigma, _DIGITS),
            "agrees": check.agrees,
            "sentence": check.sentence,
        }
        for check in evaluation.scales
    ]
