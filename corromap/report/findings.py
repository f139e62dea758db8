"""Rules, mountings and marks as rows of printed text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap.assessment import Doubt, RuleResult, Unit, Verdict
from corromap.evaluation import Evaluation
from corromap.frames import MarkId, MountingId
from corromap.messages import to_say
from corromap.projection import MarkFate, ProjectedMark
from corromap.report import figures
from corromap.report.language import tr
from corromap.report.legend import MOUNTING_NAMES
from corromap.report.palette import look_of
from corromap.report.settled import settled_words
from corromap.survey import Mark

__all__ = [
    "MarkRow",
    "MountingRow",
    "NearMark",
    "RuleRow",
    "mark_numbers",
    "mark_rows",
    "mounting_rows",
    "patch_rows",
    "rule_row",
]

PATCH_FAMILY = "too many patches"
VERDICT_NAMES = {
    Verdict.MET: to_say("reached"),
    Verdict.NOT_MET: to_say("not reached"),
    Verdict.CANNOT_TELL: to_say("cannot tell"),
}
DOUBT_NAMES = {
    Doubt.INTERVAL: to_say("cannot tell: the interval straddles the limit"),
    Doubt.COVERAGE: to_say("cannot tell: too little was seen well enough"),
    Doubt.NOBODY_LOOKED: to_say("cannot tell: nobody looked"),
}


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One rule at the place nearest to its limit, as printed.

    Parameters
    ----------
    title, place, value, interval, limit, margin, verdict, outcome, source, sentence : str
        As printed.
    is_house_rule : bool
        Whether the limit is the house's own.
    is_reached : bool
        Whether the central value reaches the limit.
    marks : tuple of int
        Numbers of the marks behind it.
    seen_well : str
        Share of the ground it is about that was seen well enough.
    """

    title: str
    place: str
    value: str
    interval: str
    limit: str
    margin: str
    verdict: str
    outcome: str
    source: str
    sentence: str
    is_house_rule: bool
    is_reached: bool
    marks: tuple[int, ...]
    seen_well: str = ""


@dataclass(frozen=True, slots=True)
class NearMark:
    """A mark near a mounting, as printed.

    Parameters
    ----------
    number : int
        Of the mark.
    mark, distance : str
        What it is and how far away.
    """

    number: int
    mark: str
    distance: str


@dataclass(frozen=True, slots=True)
class MountingRow:
    """A mounting with the marks near it, as printed.

    Parameters
    ----------
    mounting, kind : str
        Its name and what is mounted.
    within, beyond : tuple of NearMark
        Within the prescribed distance, and near misses; nearest first.
    """

    mounting: str
    kind: str
    within: tuple[NearMark, ...]
    beyond: tuple[NearMark, ...]


@dataclass(frozen=True, slots=True)
class MarkRow:
    """One mark and what became of it, as printed.

    Parameters
    ----------
    number : int
        As on the photo pages.
    kind, fixing, photo, panels, area, placed, lost, extrapolated, message, remarks, note : str
        As printed; remarks are what was lost, the message and what lies
        outside the datum points, in one.
    is_whole : bool
        Whether all of it was placed.
    """

    number: int
    kind: str
    fixing: str
    photo: str
    panels: str
    area: str
    placed: str
    lost: str
    extrapolated: str
    message: str
    remarks: str
    note: str
    is_whole: bool


def mark_numbers(evaluation: Evaluation) -> Mapping[MarkId, int]:
    """Give each mark the number it has in the report: the order they were recorded.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    mapping of MarkId to int
        From 1.
    """
    return {mark.id: number for number, mark in enumerate(evaluation.survey.measured_marks, start=1)}


def rule_row(result: RuleResult, numbers: Mapping[MarkId, int]) -> RuleRow:
    """Print one rule at one place.

    Parameters
    ----------
    result : RuleResult
        What it came to.
    numbers : mapping of MarkId to int
        As `mark_numbers`.

    Returns
    -------
    RuleRow
        As printed.
    """
    rule, reading = result.rule, result.reading
    interval = ""
    if reading.high > reading.low:
        low, high = (figures.limit_value(end, rule.unit) for end in (reading.low, reading.high))
        interval = tr("{low} to {high}", low=low, high=high)
    left = figures.limit_distance(abs(result.margin), rule.unit)
    return RuleRow(
        title=tr(rule.title),
        place=tr(result.zone_name),
        value=figures.limit_value(reading.value, rule.unit),
        interval=interval,
        limit=tr("from {limit}", limit=figures.limit_value(rule.at_least, rule.unit)),
        margin=_margin(result, left),
        seen_well=figures.fraction(reading.seen_well),
        verdict=tr(DOUBT_NAMES[result.doubt] if result.doubt else VERDICT_NAMES[result.verdict]),
        outcome=tr(rule.outcome.value),
        source=tr(rule.source),
        sentence=tr(result.sentence),
        is_house_rule=rule.house_rule,
        is_reached=result.is_reached,
        marks=tuple(sorted(numbers[mark] for mark in result.marks if mark in numbers)),
    )


def _margin(result: RuleResult, left: str) -> str:
    """Say how far the limit is: for shares of ground also how much more area would reach it."""
    if result.margin == 0:
        return tr("at the limit")
    if result.margin < 0:
        return tr("{distance} above the limit", distance=left)
    ground = result.reading.ground_mm2
    if result.rule.unit is Unit.PERCENT and ground:
        more = figures.plain_area(result.margin / 100.0 * ground)
        return tr("{distance} below the limit, {area} more would reach it", distance=left, area=more)
    if result.rule.unit is Unit.PIECES:
        return tr("{distance} more would reach the limit", distance=left)
    return tr("{distance} below the limit", distance=left)


def patch_rows(evaluation: Evaluation) -> tuple[RuleRow, ...]:
    """Show how near the survey comes to "too many patches", rule by rule.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of RuleRow
        Each rule of that family at the place nearest to its limit.
    """
    numbers = mark_numbers(evaluation)
    return tuple(rule_row(result, numbers) for result in evaluation.assessment.margins(PATCH_FAMILY))


def mounting_rows(evaluation: Evaluation) -> tuple[MountingRow, ...]:
    """List the mountings that have marks near them.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of MountingRow
        Those with the nearest mark first.
    """
    numbers, marks = mark_numbers(evaluation), evaluation.survey.mark_by_id
    mountings = {mounting.id: mounting for _, mounting in evaluation.template.mountings}
    within: dict[MountingId, list[NearMark]] = {}
    beyond: dict[MountingId, list[NearMark]] = {}
    for near in evaluation.measures.near_mountings:
        side = within if near.is_within_prescribed else beyond
        entry = NearMark(numbers[near.mark], tr(look_of(marks[near.mark]).label), figures.distance(near.distance_mm))
        side.setdefault(near.mounting, []).append(entry)
    return tuple(
        MountingRow(
            mounting=tr(mountings[mounting].name),
            kind=tr(MOUNTING_NAMES[mountings[mounting].kind]),
            within=tuple(within.get(mounting, ())),
            beyond=tuple(beyond.get(mounting, ())),
        )
        for mounting in dict.fromkeys([*within, *beyond])
    )


def mark_rows(evaluation: Evaluation) -> tuple[MarkRow, ...]:
    """List every mark, placed or not, with what was lost of it.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.

    Returns
    -------
    tuple of MarkRow
        In the order they were recorded.
    """
    placed: dict[MarkId, list[ProjectedMark]] = {mark.id: [] for mark in evaluation.survey.measured_marks}
    for projected in (*evaluation.projection.marks, *evaluation.projection.withdrawn):
        placed[projected.mark.id].append(projected)
    fates = {fate.mark: fate for fate in evaluation.projection.fates}
    return tuple(
        _mark_row(evaluation, mark, number, placed[mark.id], fates[mark.id])
        for number, mark in enumerate(evaluation.survey.measured_marks, start=1)
    )


def _mark_row(evaluation: Evaluation, mark: Mark, number: int, placed: list[ProjectedMark], fate: MarkFate) -> MarkRow:
    total = sum(p.area.area for p in placed)
    outside = sum(p.area.area * p.extrapolated_share for p in placed)
    losses = (
        (fate.lost_horizon_share, to_say("{share} beyond the horizon")),
        (fate.lost_edge_share, to_say("{share} off the panels placed")),
        (fate.lost_frame_share, to_say("{share} off the photo")),
    )
    lost = "; ".join(tr(where, share=figures.fraction(part)) for part, where in losses if part > 5e-4)
    extrapolated = figures.fraction(outside / total) if total > 0 and outside / total > 5e-4 else ""
    far = to_say("{share} of it lies outside the datum points clicked, where the fit is less certain.")
    settled = settled_words(evaluation.survey, mark.id)
    said = (settled, f"{lost}." if lost else "", tr(fate.message), tr(far, share=extrapolated) if extrapolated else "")
    return MarkRow(
        number=number,
        kind=tr(look_of(mark).label),
        fixing=tr(mark.fixing.value) if mark.fixing else "",
        photo=evaluation.survey.photo_by_id[mark.photo].name,
        panels=", ".join(dict.fromkeys(tr(evaluation.template.panel(p.panel).name) for p in placed)) or tr("none"),
        area=figures.plain_area(total) if placed else tr("not placed"),
        placed=figures.fraction(fate.placed_share),
        lost=lost,
        extrapolated=extrapolated,
        message=tr(fate.message),
        remarks=" ".join(filter(None, said)),
        note=mark.note,
        is_whole=fate.placed_share > 1 - 5e-4,
    )
