"""Findings by hand and checks of the shell as rows of printed text."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from corromap.by_hand import HandFinding, HandKind, ShellCheck
from corromap.evaluation import Evaluation
from corromap.measures.hand import zone_of
from corromap.messages import to_say
from corromap.report import figures
from corromap.report.language import tr

__all__ = ["HAND_WORDS", "HandRow", "ShellRow", "hand_rows", "shell_rows"]

HAND_WORDS: Mapping[HandKind, str] = {
    HandKind.MAGNET: to_say("magnet does not hold"),
    HandKind.TAP: to_say("sounds dull when tapped"),
    HandKind.PROBE: to_say("a probe goes through"),
    HandKind.GAUGE: to_say("thickness by a gauge"),
    HandKind.COVERED: to_say("fresh underseal over unknown metal"),
}


@dataclass(frozen=True, slots=True)
class HandRow:
    """A finding by hand.

    Parameters
    ----------
    what, place, at, value, photo, note, author, when : str
        As printed.
    """

    what: str
    place: str
    at: str
    value: str
    photo: str
    note: str
    author: str
    when: str


@dataclass(frozen=True, slots=True)
class ShellRow:
    """A check of the shell.

    Parameters
    ----------
    what, place, ground, raised, comes_to, photo, note, author, when : str
        As printed.
    """

    what: str
    place: str
    ground: str
    raised: str
    comes_to: str
    photo: str
    note: str
    author: str
    when: str


def hand_rows(evaluation: Evaluation) -> tuple[HandRow, ...]:
    """List the findings by hand.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    tuple of HandRow
        In the order they were recorded.
    """
    return tuple(_hand(evaluation, finding) for finding in evaluation.survey.hand_findings)


def shell_rows(evaluation: Evaluation) -> tuple[ShellRow, ...]:
    """List the checks of the shell.

    Parameters
    ----------
    evaluation : Evaluation
        Of a survey.

    Returns
    -------
    tuple of ShellRow
        In the order they were recorded.
    """
    return tuple(_shell(evaluation, check) for check in evaluation.survey.shell_checks)


def _hand(evaluation: Evaluation, finding: HandFinding) -> HandRow:
    template = evaluation.template
    zone = zone_of(finding.panel, finding.at_mm.tolist(), template)
    panels = {panel.id: panel.name for panel in template.panels}
    value = ""
    if finding.thickness_mm is not None:
        value = figures.length(finding.thickness_mm)
        if zone is not None:
            nominal = template.zone_by_id[zone].sheet_mm
            loss = max(0.0, 100.0 * (nominal - finding.thickness_mm) / nominal)
            value = tr(
                "{found} of {nominal}: {loss} % lost", found=value, nominal=figures.length(nominal), loss=f"{loss:.0f}"
            )
    u, v = finding.at_mm.tolist()
    return HandRow(
        what=tr(HAND_WORDS[finding.kind]),
        place=tr(template.zone_by_id[zone].name) if zone else tr(panels.get(finding.panel, str(finding.panel))),
        at=f"{u:.0f}, {v:.0f} mm",
        value=value,
        photo=_photo(evaluation, finding.photo),
        note=finding.note,
        author=finding.author,
        when=finding.at,
    )


def _photo(evaluation: Evaluation, photo: object) -> str:
    return next((found.name for found in evaluation.survey.photos if found.id == photo), "")


def _shell(evaluation: Evaluation, check: ShellCheck) -> ShellRow:
    ground, raised = check.ground_mm, check.raised_mm
    comes_to = ""
    if check.found is not None:
        comes_to = tr("yes") if check.found else tr("no")
    elif ground is not None and raised is not None:
        comes_to = tr("changes by {length}", length=figures.length(abs(raised - ground)))
    return ShellRow(
        what=tr(check.kind.value),
        place=tr(check.place),
        ground=figures.length(ground) if ground is not None else "",
        raised=figures.length(raised) if raised is not None else "",
        comes_to=comes_to,
        photo=_photo(evaluation, check.photo),
        note=check.note,
        author=check.author,
        when=check.at,
    )
