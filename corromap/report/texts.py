"""The report's prose, once for page and PDF."""

from __future__ import annotations

from dataclasses import dataclass

from corromap.evaluation import Evaluation
from corromap.report import figures
from corromap.report.detail_map import CELL_MM
from corromap.report.evidence_page import AskView
from corromap.report.language import current, number, tr, trn
from corromap.report.tables import FindingRow

__all__ = ["Paragraph", "Texts", "disagree_text", "evidence_line", "texts_of", "unplaced_line"]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph with a few words before it.

    Parameters
    ----------
    title, text : str
        As printed.
    """

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Texts:
    """Prose of the sections that have any.

    Parameters
    ----------
    not_shown, ask, detail, zones, patches, mountings, disagree : str
        First paragraph of each.
    method : tuple of Paragraph
        How it was done and how sure it is.
    """

    not_shown: str
    ask: str
    detail: str
    zones: str
    patches: str
    mountings: str
    disagree: str
    method: tuple[Paragraph, ...]


def texts_of(evaluation: Evaluation, whole: FindingRow, ask: AskView, disagreements: tuple[int, int]) -> Texts:
    """Write the prose.

    Parameters
    ----------
    evaluation : Evaluation
        Of the survey.
    whole : FindingRow
        The whole underside.
    ask : AskView
        What to ask for.
    disagreements : tuple of int
        Places on which photos disagree, and how many of them are drawn.

    Returns
    -------
    Texts
        In the language in use.
    """
    return Texts(
        not_shown=tr(
            "Of the {area} of sheet on the template, photos show {seen}, {well} well enough to find a hole of {size}; "
            "{hidden} is in the photos but hidden under underseal, dirt or trim; {never} was never seen. An area "
            "nobody has shown is not clean, and the inside of closed sections is in no photo.",
            area=whole.area, seen=whole.seen, well=whole.well,
            size=figures.length(evaluation.survey.settings.smallest_hole_mm),
            hidden=whole.hidden, never=whole.never_seen,
        ),
        ask=_ask(evaluation, ask),
        detail=tr(
            "Whether a hole of {size} could have been seen there, square by square of {cell}. The darker the blue, the "
            "finer the best photo of it. Blank ground is in no photo; nothing can be said of it.",
            size=figures.length(evaluation.survey.settings.smallest_hole_mm), cell=figures.length(CELL_MM),
        ),
        zones=tr(
            "Areas are of the metal, in its own plane, with the 95 % interval below and the share of the zone. "
            "Affected is rust, filler and patches together, each place once; where kinds overlap, each kind keeps its "
            "own figure, so the parts can add up to more."
        ),
        patches=tr(
            "No published rule found sets a number of patches, or a share of area, at which a car is refused. The "
            "limits here are house rules of the rule set in force, stated with their reasons, and can be changed in "
            "it. Each is shown at the place that comes nearest to it."
        ),
        mountings=tr(
            "Structure within 300 mm of a mounting counts with it in several countries' rules (Great Britain, MOT "
            "inspection manual, Appendix A section 2: within 30 cm). The distance is the shortest way over the sheet "
            "metal, folds included."
        ),
        disagree=disagree_text(*disagreements),
        method=_method(evaluation),
    )  # fmt: skip


def _ask(evaluation: Evaluation, ask: AskView) -> str:
    if not ask.rows:
        return ""
    first = trn(
        "One photo would show {closed} of what is missing.",
        "These {count} photos, most useful first, would show {closed} of what is missing.",
        len(ask.rows),
        closed=ask.closed or tr("all"),
    )
    second = tr(
        "A place counts as missing when no photo shows it sharp, lit and fine enough for a hole of {size}. Left and "
        "right are the car's own.",
        size=figures.length(evaluation.survey.settings.smallest_hole_mm),
    )
    return f"{first} {second}"


def disagree_text(count: int, drawn: int) -> str:
    """Say what the pairs of crops are.

    Parameters
    ----------
    count, drawn : int
        Places on which photos disagree; how many of them are drawn.

    Returns
    -------
    str
        Empty if there are none.
    """
    if not count:
        return ""
    lines = [
        trn(
            "{count} place is shown well by two photos and marked on only one of them.",
            "{count} places are shown well by two photos and marked on only one of them.",
            count,
        )
    ]
    if count > drawn:
        lines.append(tr("The {drawn} largest are drawn.", drawn=drawn))
    lines.append(
        tr(
            "Both crops have the same scale and lie as on the map; the dashed line is the mark carried over. Settle "
            "each: add the mark, take it away, or say what changed between the photos."
        )
    )
    return " ".join(lines)


def evidence_line(missing: int) -> str:
    """Say beside the reasons how many load-bearing zones lack evidence.

    Parameters
    ----------
    missing : int
        Zones.

    Returns
    -------
    str
        Empty for none.
    """
    if not missing:
        return ""
    return trn(
        "{count} load-bearing zone was not shown well enough, and no outcome can be better than the evidence.",
        "{count} load-bearing zones were not shown well enough, and no outcome can be better than the evidence.",
        missing,
    )


def unplaced_line(lost: int, marks: int) -> str:
    """Say how many marks did not reach the map.

    Parameters
    ----------
    lost, marks : int
        Of how many.

    Returns
    -------
    str
        Empty for none.
    """
    if not lost:
        return ""
    return tr(
        "{lost} of {marks} marks could not be carried to the map, or only in part; what is lost is missing from every "
        "figure.",
        lost=lost,
        marks=marks,
    )


def _method(evaluation: Evaluation) -> tuple[Paragraph, ...]:
    settings = evaluation.survey.settings
    return (
        Paragraph(
            tr("Placing."),
            tr(
                "In each photo a person clicks datum points: holes, corners and seams that the body template also "
                "has. From four or more on one flat panel the program finds where the photo sits on it, the lens's "
                "bend taken out. A photo with fewer, or with points that contradict each other, is not placed, and "
                "nothing on it is measured."
            ),
        ),
        Paragraph(
            tr("Measuring."),
            tr(
                "Each outline is carried to the panel in millimetres and cut at the panel's edge, at the horizon and "
                "behind parts that stand in front. Outlines of several photos are united, so no ground counts twice. "
                "Figures are of the template's flat panels: ribs, dents and curves that the template does not have "
                "are left out."
            ),
        ),
        Paragraph(
            tr("Uncertainty."),
            tr(
                "The 95 % intervals hold the error of the clicks ({click} px each, or more where the residuals show "
                "it), of the lens, of the hand that draws ({outline} px across the edge, a whole outline at a time) "
                "and of the template's dimensions ({scale} %); errors that photos share stay shared (JCGM 100:2008, "
                "law of propagation). They do not hold relief, a template of the wrong kind of body, rust that was "
                "overlooked, or dirt taken for rust.",
                click=number(settings.click_sigma_px),
                outline=number(settings.outline_sigma_px),
                scale=number(100 * evaluation.template.scale_sigma),
            ),
        ),
        Paragraph(
            tr("Coverage."),
            tr(
                "A place counts as shown where a placed photo shows it at {coarsest} mm per pixel or finer, short of "
                "the horizon and not behind another panel. It counts as hidden where each photo that shows it has it "
                "under a mark of kind hidden. Where no photo shows it, it was never seen, whatever is around it. It "
                "was shown well enough where a hole of {size} spans {pixels} pixels or more, lies in the light, is "
                "wider than the blur and is not looked at flatter than 70 degrees (two pixels are the limit of "
                "detection of Johnson, 1958, from memory; 5 mm is common practice).",
                coarsest=number(settings.coarsest_mm_per_px),
                size=figures.length(settings.smallest_hole_mm),
                pixels=number(settings.pixels_across),
            ),
        ),
        Paragraph(
            tr("A lower bound."),
            tr(
                "Photos show surfaces. Sills and rails rust from within; repair shops find more when they cut. "
                "Whatever is printed here, expect at least that much."
            ),
        ),
        *_units(),
    )


def _units() -> tuple[Paragraph, ...]:
    if current().unit == "mm":
        return ()
    text = tr("Lengths and areas are printed in inches; limits of rules stay in the unit their rule is written in.")
    return (Paragraph(tr("Units."), text),)
