"""What a drawing shows, in words, for people who cannot see it."""

from __future__ import annotations

from corromap.evaluation import Evaluation
from corromap.messages import to_say
from corromap.report.language import tr, trn
from corromap.survey import MarkKind
from corromap.template import BodyTemplate

__all__ = ["map_description"]

MOST_ZONES = 6
KIND_NAMES = {
    MarkKind.RUST: to_say("Rust"),
    MarkKind.FILLER: to_say("Filler"),
    MarkKind.PATCH: to_say("Patch"),
}


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
    upright = tr("front at the top, the car's left on the right-hand side")
    lies = tr("front to the left, the car's left at the top") if is_turned else upright
    title = tr("Map of the underside and sills, {body}", body=tr(template.name))
    ground = tr(
        "{zones} zones on {panels} panels, seen from below, {lies}.",
        zones=len(template.zones),
        panels=len(template.panels),
        lies=lies,
    )
    if evaluation is None:
        return title, f"{ground} {tr('No photos are drawn in.')}"
    return title, " ".join([ground, _found(evaluation), _gaps(evaluation)])


def _found(evaluation: Evaluation) -> str:
    parts = []
    for kind, name in KIND_NAMES.items():
        hit = [m for m in evaluation.measures.zones if m.kinds[kind].area_mm2 > 0]
        if hit:
            hit.sort(key=lambda m: -m.kinds[kind].area_mm2)
            names = ", ".join(tr(evaluation.template.zone_by_id[m.zone].name) for m in hit[:MOST_ZONES])
            if len(hit) > MOST_ZONES:
                names = tr("{names} and {count} more", names=names, count=len(hit) - MOST_ZONES)
            parts.append(
                trn(
                    "{kind} in {count} zone: {names}.",
                    "{kind} in {count} zones: {names}.",
                    len(hit),
                    kind=tr(name),
                    names=names,
                )
            )
    return " ".join(parts) or tr("No rust, filler or patch is marked on the parts that were shown.")


def _gaps(evaluation: Evaluation) -> str:
    zones = evaluation.measures.zones
    never = sum(m.never_seen_share > 0.999 for m in zones)
    partly = sum(0.001 < m.never_seen_share <= 0.999 for m in zones)
    return tr(
        "Hatched: {never} of {zones} zones were never shown, {partly} only in part.",
        never=never,
        zones=len(zones),
        partly=partly,
    )
