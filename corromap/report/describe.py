"""What a drawing shows, in words, for people who cannot see it."""

from __future__ import annotations

from corromap.evaluation import Evaluation
from corromap.survey import MarkKind
from corromap.template import BodyTemplate

__all__ = ["map_description"]

MOST_ZONES = 6


def map_description(template: BodyTemplate, evaluation: Evaluation | None, *, is_turned: bool) -> tuple[str, str]:
    """Describe the map in a title and a few sentences.

    Parameters
    ----------
    template : BodyTemplate
        The body.
    evaluation : Evaluation or None
        What was found, if anything was looked at.
    is_turned : bool
        How the map lies.

    Returns
    -------
    tuple of str
        Title and description, not escaped.
    """
    lies = (
        "front to the left, the car's left at the top"
        if is_turned
        else "front at the top, the car's left on the right-hand side"
    )
    title = f"Map of the underside and sills, {template.name}"
    ground = f"{len(template.zones)} zones on {len(template.panels)} panels, seen from below, {lies}."
    if evaluation is None:
        return title, f"{ground} No photos are drawn in."
    return title, " ".join([ground, _found(evaluation), _gaps(evaluation)])


def _found(evaluation: Evaluation) -> str:
    parts = []
    for kind in (MarkKind.RUST, MarkKind.FILLER, MarkKind.PATCH):
        hit = [m for m in evaluation.measures.zones if m.kinds[kind].area_mm2 > 0]
        if hit:
            hit.sort(key=lambda m: -m.kinds[kind].area_mm2)
            names = [evaluation.template.zone_by_id[m.zone].name for m in hit[:MOST_ZONES]]
            more = f" and {len(hit) - MOST_ZONES} more" if len(hit) > MOST_ZONES else ""
            parts.append(f"{kind.value.capitalize()} in {len(hit)} zones: {', '.join(names)}{more}.")
    return " ".join(parts) or "No rust, filler or patch is marked on the parts that were shown."


def _gaps(evaluation: Evaluation) -> str:
    zones = evaluation.measures.zones
    never = sum(m.never_seen_share > 0.999 for m in zones)
    partly = sum(0.001 < m.never_seen_share <= 0.999 for m in zones)
    return f"Hatched: {never} of {len(zones)} zones were never shown, {partly} only in part."
