"""Everything the report prints, gathered once; page and PDF only lay it out."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from corromap.assessment import ADVICE, ALWAYS, CAUTIONS, Caution, OutcomeKind
from corromap.evaluation import Evaluation, repair_plan
from corromap.evidence.seen_well import Showing
from corromap.frames import PanelId, PhotoId
from corromap.io.rates import default_rates
from corromap.io.rules import default_rules
from corromap.messages import to_say
from corromap.repair import Rates
from corromap.report import figures
from corromap.report.control_words import control_sentences
from corromap.report.describe import map_description
from corromap.report.detail_map import detail_map_svg, detail_map_words
from corromap.report.digests import digests_of
from corromap.report.disagreement_page import DisagreementRow, disagreement_rows
from corromap.report.drawing import map_svg
from corromap.report.evidence_page import ask_view, examine_all, judged_photos, requests_of, showing_of
from corromap.report.finding_cards import FindingCard, finding_cards
from corromap.report.findings import RuleRow, mark_numbers, mark_rows, mounting_rows, patch_rows, rule_row
from corromap.report.language import current, number, tr
from corromap.report.moment import moment_of, moment_words
from corromap.report.photo_page import PhotoPage, photo_pages
from corromap.report.pictures import Pictures
from corromap.report.repair_view import RepairView, repair_view
from corromap.report.structure_rows import structure_view
from corromap.report.tables import NOTHING_SEEN, ZoneRow, group_rows, zone_rows
from corromap.report.texts import evidence_line, texts_of, unplaced_line
from corromap.report.view import Fact, Length, Limit, Maps, Named, NoteRow, OutcomeView, ReportView, WholeView
from corromap.report.whole_page import whole_view
from corromap.survey import Car

__all__ = ["report_view"]

CAR_LABELS = {
    "label": to_say("Car"),
    "registration": to_say("Registration"),
    "odometer": to_say("Odometer"),
    "owner": to_say("Owner"),
    "seller": to_say("Seller"),
    "inspector": to_say("Inspector"),
    "place": to_say("Place"),
    "date": to_say("Date"),
}


def report_view(  # noqa: PLR0913  what a report is made from; all but two by keyword
    evaluation: Evaluation,
    photo_bytes: Callable[[PhotoId], bytes],
    *,
    made_at: str,
    length: Length = Length.FULL,
    rates: Rates | None = None,
    on_paper: bool = False,
) -> ReportView:
    """Gather what the report prints.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.
    photo_bytes : callable
        The original bytes of a photo.
    made_at : str
        When the report was made, ISO 8601; printed in words.
    length : Length
        How much of it; pictures that it does not print are not made.
    rates : Rates or None
        For the repair plan; None takes the usual ones.
    on_paper : bool
        Leave out the maps for screens.

    Returns
    -------
    ReportView
        Text, numbers and drawings, in the language in use.

    Raises
    ------
    PhotoError
        If a photo's bytes cannot be decoded.
    """
    examined = examine_all(evaluation, photo_bytes)
    with Pictures(evaluation.survey, photo_bytes) as pictures:
        pictured = _Pictured(evaluation, pictures, showing_of(evaluation, examined), length)
        # worked out while photos are decoded in threads
        ask = ask_view(requests_of(evaluation, examined), evaluation.template)
        maps = _maps(evaluation, length, on_paper=on_paper)
        detail = _detail(evaluation, on_paper=on_paper) if length is Length.FULL else None
        structure = structure_view(evaluation)
        repair = None if length is Length.ONE_PAGE else _repair(evaluation, rates)
        findings, finding_count = pictured.findings()
        photos = pictured.photos()
        disagreements, disagreement_count = pictured.disagreements()
        whole_picture = pictured.whole()
    zones, groups, marks = zone_rows(evaluation), group_rows(evaluation), mark_rows(evaluation)
    told = judged_photos(evaluation, examined)
    ordered = sorted(evaluation.survey.photos, key=lambda photo: photo.order)
    unseen = set(evaluation.assessment.outcome.unseen_zones)
    never = tuple(row for row in zones if row.is_load_bearing and _is_never_seen(row))
    never_others = tuple(row for row in zones if not row.is_load_bearing and _is_never_seen(row))
    scarce = tuple(row for row in zones if row.zone in unseen and not _is_never_seen(row))
    unplaced = tuple(row for row in marks if not row.is_whole)
    return ReportView(
        length=length,
        title=evaluation.survey.car.label or tr("Car without a name"),
        language=current().code,
        made_at=made_at if moment_of(made_at) else "",
        made=moment_words(made_at),
        texts=texts_of(evaluation, groups[0].found, ask, (disagreement_count, len(disagreements))),
        evidence_line=evidence_line(len(scarce) + len(never)),
        unplaced_line=unplaced_line(len(unplaced), len(marks)),
        car=_car(evaluation.survey.car),
        outcome=_outcome(evaluation),
        whole=groups[0],
        scarce=scarce,
        never=_named(evaluation, never),
        never_count=len(never),
        never_others=_named(evaluation, never_others),
        never_others_count=len(never_others),
        unplaced=unplaced,
        ask=ask,
        disagreements=disagreements,
        disagreement_count=disagreement_count,
        judged={index: told[photo.id] for index, photo in enumerate(ordered, start=1)},
        maps=maps,
        detail=detail,
        found=tuple(row for row in zones if row.found.affected.is_marked),
        quiet=tuple(row for row in zones if not row.found.affected.is_marked and not _is_never_seen(row)),
        groups=groups,
        patches=patch_rows(evaluation),
        patched=tuple(row for row in zones if row.found.patch.is_marked),
        structure=structure,
        mountings=mounting_rows(evaluation),
        repair=repair,
        whole_picture=whole_picture,
        findings=findings,
        finding_count=finding_count,
        photos=photos,
        marks=marks,
        notes=_notes(evaluation),
        settings=_settings(evaluation),
        template=_template(evaluation),
        rules=_rules(evaluation),
        departures=tuple(map(tr, evaluation.rules.departures_from(default_rules()))),
        digests=digests_of(evaluation),
        cautions=tuple(Caution(c.id, tr(c.title), tr(c.text), tr(c.source)) for c in CAUTIONS),
    )


def _maps(evaluation: Evaluation, length: Length, *, on_paper: bool) -> Maps:
    template = evaluation.template
    needs_wide = not on_paper or length is Length.ONE_PAGE
    needs_sheet = not on_paper or length is not Length.ONE_PAGE
    return Maps(
        phone="" if on_paper else map_svg(template, evaluation, width=430, prefix="mp"),
        wide=map_svg(template, evaluation, width=1180, turn=True, prefix="mw") if needs_wide else "",
        sheet=map_svg(template, evaluation, width=760, prefix="ms") if needs_sheet else "",
        alt=". ".join(map_description(template, evaluation, is_turned=False)),
    )


def _detail(evaluation: Evaluation, *, on_paper: bool) -> Maps | None:
    """How well each place was shown; None if nothing was."""
    if all(seen.area.is_empty for seen in evaluation.projection.seen):
        return None
    return Maps(
        phone="" if on_paper else detail_map_svg(evaluation, width=430),
        wide="" if on_paper else detail_map_svg(evaluation, width=1180, turn=True),
        sheet=detail_map_svg(evaluation, width=760),
        alt=detail_map_words(evaluation),
    )


def _repair(evaluation: Evaluation, rates: Rates | None) -> RepairView | None:
    usual = default_rates()
    in_force = rates or usual
    plan = repair_plan(evaluation, in_force)
    return repair_view(evaluation, plan, in_force, usual) if plan.zones else None


class _Pictured:
    """The parts that need pixels, ordered as far as a length prints them; each is waited for when called."""

    def __init__(self, evaluation: Evaluation, pictures: Pictures, showing: Showing, length: Length) -> None:
        order = [photo.id for photo in sorted(evaluation.survey.photos, key=lambda photo: photo.order)]
        self.whole: Callable[[], WholeView | None] = lambda: None
        self.findings: Callable[[], tuple[tuple[FindingCard, ...], int]] = lambda: ((), 0)
        self.disagreements: Callable[[], tuple[tuple[DisagreementRow, ...], int]] = lambda: ((), 0)
        self.photos: Callable[[], tuple[PhotoPage, ...]] = tuple
        if length is not Length.ONE_PAGE:
            self.findings = finding_cards(evaluation, pictures, order)
        if length is Length.FULL:
            self.photos = photo_pages(evaluation, pictures)
            self.disagreements = disagreement_rows(evaluation, showing, pictures)
            self.whole = whole_view(evaluation, pictures, showing)
        pictures.begin()


def _named(evaluation: Evaluation, rows: Sequence[ZoneRow]) -> tuple[Named, ...]:
    """Zones by panel: one line where all zones of a panel are among them."""
    by_panel: dict[PanelId, list[ZoneRow]] = {}
    for row in rows:
        by_panel.setdefault(evaluation.template.zone_by_id[row.zone].panel, []).append(row)
    lines = []
    for panel_id, group in by_panel.items():
        panel = evaluation.template.panel(panel_id)
        if len(group) == len(panel.zones):
            lines.append(Named(", ".join(str(row.number) for row in group), tr(panel.name)))
        else:
            lines += [Named(str(row.number), row.found.name) for row in group]
    return tuple(lines)


def _is_never_seen(row: ZoneRow) -> bool:
    return row.found.never_seen_share > 1 - NOTHING_SEEN and not row.found.affected.is_marked


def _car(car: Car) -> tuple[Fact, ...]:
    values = ((label, getattr(car, name)) for name, label in CAR_LABELS.items())
    return tuple(Fact(tr(label), value) for label, value in values if value.strip())


def _outcome(evaluation: Evaluation) -> OutcomeView:
    outcome, numbers = evaluation.assessment.outcome, mark_numbers(evaluation)
    reached = {id(result) for result in outcome.reasons}
    shown = [result for result in outcome.reasons if not result.rule.measure.is_evidence]
    by_rule: dict[str, list[RuleRow]] = {}
    for result in shown:
        by_rule.setdefault(result.rule.id, []).append(rule_row(result, numbers))
    return OutcomeView(
        word=tr(outcome.kind.value),
        style={
            OutcomeKind.CLEAR: "is-clear",
            OutcomeKind.NOT_SHOWN: "is-not-shown",
            OutcomeKind.REPAIR: "is-repair",
            OutcomeKind.STOP: "is-stop",
        }[outcome.kind],
        headline=tr(outcome.headline),
        reasons=tuple(rule_row(result, numbers) for result in shown),
        limits=tuple(Limit(rows[0], tuple(rows)) for rows in by_rule.values()),
        uncertain=tuple(rule_row(r, numbers) for r in outcome.uncertain if id(r) not in reached),
        advice=tuple(map(tr, ADVICE[outcome.kind])),
        always=tuple(map(tr, ALWAYS)),
    )


def _notes(evaluation: Evaluation) -> tuple[NoteRow, ...]:
    zones = evaluation.template.zone_by_id
    return tuple(
        NoteRow(
            text=note.text,
            zone=(tr(zones[note.zone].name) if note.zone in zones else str(note.zone))
            if note.zone
            else tr("whole car"),
            author=note.author,
            at=note.at,
        )
        for note in evaluation.survey.notes
    )


def _settings(evaluation: Evaluation) -> tuple[Fact, ...]:
    settings = evaluation.survey.settings
    return (
        Fact(tr("One clicked datum point, standard error"), f"{number(settings.click_sigma_px)} px"),
        Fact(tr("Hand that draws an outline, standard error"), f"{number(settings.outline_sigma_px)} px"),
        Fact(tr("Coarsest detail that counts as shown"), f"{number(settings.coarsest_mm_per_px)} mm/px"),
        Fact(tr("Smallest hole that must have been visible"), figures.length(settings.smallest_hole_mm)),
        Fact(tr("Pixels that must span it"), number(settings.pixels_across)),
        Fact(tr("Patches nearer than this count as one"), figures.length(settings.patch_gap_mm)),
    )


def _template(evaluation: Evaluation) -> tuple[Fact, ...]:
    template = evaluation.template
    return (
        Fact(tr("Body template"), tr(template.name)),
        Fact(tr("Id and revision"), f"{template.id}, {template.revision}"),
        Fact(tr("What it is"), tr(template.description)),
        Fact(tr("Panels and zones"), f"{len(template.panels)}, {len(template.zones)}"),
        Fact(tr("Its dimensions against a real car, standard uncertainty"), f"{number(100 * template.scale_sigma)} %"),
        *_size(evaluation),
    )


def _size(evaluation: Evaluation) -> tuple[Fact, ...]:
    """Say how the template was stretched to this car, and what does not fit; nothing when nothing was measured."""
    fit, rows = evaluation.template.fit, []
    if fit is not None:
        grown = ", ".join(f"{100 * (factor - 1):+.1f} %" for factor in fit.factors)
        rows.append(Fact(tr("Stretched to this car along, across and up"), grown))
    rows += [Fact(tr("Size of this car"), tr(sentence)) for sentence in control_sentences(evaluation)]
    return tuple(rows)


def _rules(evaluation: Evaluation) -> tuple[Fact, ...]:
    rules = evaluation.rules
    own = sum(rule.house_rule for rule in rules.rules)
    named = tr("{name} ({id}), version {version}", name=tr(rules.name), id=rules.id, version=rules.version)
    return (
        Fact(tr("Rule set"), named),
        Fact(tr("Rules"), tr("{all}, of which {own} house rules", all=len(rules.rules), own=own)),
        Fact(tr("Program"), f"corromap {evaluation.program_version}"),
    )
