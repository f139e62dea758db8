"""The bench's findings as a Markdown page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tools.truth_bench.conditions import CONDITIONS
from tools.truth_bench.judge import Crash, FigureError, Judgement
from tools.truth_bench.page import AFTER, BEFORE

__all__ = ["page_of", "rows_of"]

Array = NDArray[np.float64]
CM2 = 100.0
LARGE_MM2 = 100.0 * CM2
"""Zones with more true affected area than this count for the area error."""

SINGLED = ("kind:rust", "kind:patch", "kind:hidden", "stage:surface", "stage:holed", "resolved:patch", "affected")

SEVERITY = ("clear", "not shown", "repair", "stop")


def _joined(judgements: Sequence[Judgement], pick: Callable[[Judgement], Array]) -> Array:
    return np.concatenate([np.empty(0), *(pick(j) for j in judgements)])


def _figures(judgements: Sequence[Judgement], keep: Callable[[FigureError], bool]) -> list[FigureError]:
    return [f for j in judgements for f in j.figures if keep(f)]


def _percentiles(values: Array, unit: str, digits: int = 1) -> str:
    if len(values) == 0:
        return "none"
    middle, high = np.percentile(values, [50, 95])
    return f"{middle:.{digits}f} / {high:.{digits}f} {unit}"


def _held(figures: Sequence[FigureError]) -> str:
    if not figures:
        return "none"
    return f"{100 * np.mean([f.holds for f in figures]):.1f} % of {len(figures)}"


def _area_error(figures: Sequence[FigureError]) -> tuple[str, str]:
    error = np.array([100 * (f.found - f.true) / f.true for f in figures])
    if len(error) == 0:
        return "none", "none"
    return (
        f"{_percentiles(np.abs(error), '%')} ({len(error)} zones)",
        f"{error.mean():+.1f} % (mean), {np.median(error):+.1f} % (median)",
    )


def _of_zone(figure: FigureError) -> bool:
    return not figure.is_group


def _large(judgements: Sequence[Judgement], *, shares: bool = False, union: bool = False) -> list[FigureError]:
    """Zones with much affected ground; as shares of them the car's size is in neither truth nor figure."""
    return [
        replace(f, true=f.true / j.scale**2 if shares else f.true, found=f.union if union else f.found)
        for j in judgements
        for f in j.figures
        if _of_zone(f) and f.figure == "affected" and f.true > LARGE_MM2
    ]


def rows_of(all_of_them: Sequence[Judgement | Crash]) -> list[tuple[str, str]]:
    """Summarise one condition.

    Parameters
    ----------
    all_of_them : sequence of Judgement or Crash
        Of its surveys.

    Returns
    -------
    list of (what, value)
        In the order of the table.
    """
    judgements = [j for j in all_of_them if isinstance(j, Judgement)]
    size, bias = _area_error(_large(judgements))
    seconds = np.array([j.seconds for j in judgements])
    rows = [
        ("surveys the program raised an exception for", str(len(all_of_them) - len(judgements))),
        (
            "surveys / photos / marks",
            f"{len(judgements)} / {sum(j.photos for j in judgements)} / {sum(j.marks for j in judgements)}",
        ),
        ("placings, refused", f"{sum(j.placings for j in judgements)}, {sum(j.refused for j in judgements)}"),
        ("marks on a photo that is not placed on their panel", f"{sum(j.lost_marks for j in judgements)}"),
        ("placing error at true edges, median / p95", _percentiles(_joined(judgements, lambda j: j.place_mm), "mm")),
        (
            "projected outline to true edge, median / p95",
            _percentiles(_joined(judgements, lambda j: j.outline_mm), "mm"),
        ),
        ("area error, zones with > 100 cm² affected, median / p95", size),
        ("… with its sign", bias),
        ("… as shares of the zones, so that the car's size cancels", _area_error(_large(judgements, shares=True))[0]),
        ("… of all outlines together (what limits are held against)", _area_error(_large(judgements, union=True))[1]),
        ("95 % intervals that hold, zone figures", _held(_figures(judgements, _of_zone))),
        ("… affected only", _held(_figures(judgements, lambda f: _of_zone(f) and f.figure == "affected"))),
        ("… group figures (sides, roles, parts, whole)", _held(_figures(judgements, lambda f: f.is_group))),
        ("… sides", _held(_figures(judgements, lambda f: f.where.startswith("side:")))),
        ("… roles", _held(_figures(judgements, lambda f: f.where.startswith("role:")))),
        (
            "… whole underside, affected",
            _held(_figures(judgements, lambda f: f.where == "all" and f.figure == "affected")),
        ),
    ]
    return rows + _count_rows(judgements) + _seen_rows(judgements) + _outcome_rows(judgements) + [
        ("time to evaluate a survey, median / p95", _percentiles(seconds, "s", 2)),
    ]  # fmt: skip


def _count_rows(judgements: Sequence[Judgement]) -> list[tuple[str, str]]:
    whole = np.array([j.patches[0] for j in judgements])
    zones = np.array([p for j in judgements for p in j.patches[1:]]).reshape(-1, 2)
    stacked = np.array([j.stacked for j in judgements])
    return [
        ("patch count right, whole car", _right(whole)),
        ("patch count right, zones with patches", _right(zones)),
        ("patch on patch right, whole car", _right(stacked)),
    ]


def _right(pairs: Array) -> str:
    if len(pairs) == 0:
        return "none"
    off = pairs[:, 1] - pairs[:, 0]
    few, many = np.sum(off < 0), np.sum(off > 0)
    return f"{100 * np.mean(off == 0):.1f} % (too few {few}, too many {many}, mean {off.mean():+.2f})"


def _seen_rows(judgements: Sequence[Judgement]) -> list[tuple[str, str]]:
    everything = _joined(judgements, lambda j: j.seen_error)
    apart = _joined(judgements, lambda j: j.seen_apart)
    hidden = _joined(judgements, lambda j: j.hidden_error)
    over = f"{100 * np.mean(everything > 5):.1f} % of zones" if len(everything) else "none"
    return [
        ("coverage error, everything in the way counted, mean / p95 of its size", _points(everything)),
        ("… signed mean; zones said seen by 5 points or more too much", f"{everything.mean():+.2f} points; {over}"),
        ("… within 2 points; worst zone", f"{_share(np.abs(everything) <= 2)}; {_worst(everything)}"),
        (
            "… the same where the detail limit (a house rule) may be 3 % finer or coarser",
            f"{_share(np.abs(apart) <= 2)}; {_worst(apart)}",
        ),
        ("hidden share error, mean / p95", _points(hidden)),
        (
            "shown by a photo that is not placed there, mean of all zones",
            f"{100 * np.mean([j.unplaced_share for j in judgements]):.1f} points",
        ),
    ]


def _share(held: NDArray[np.bool_]) -> str:
    return f"{100 * np.mean(held):.1f} % of {len(held)} zones" if len(held) else "none"


def _worst(error: Array) -> str:
    return f"{error[np.argmax(np.abs(error))]:+.1f} points" if len(error) else "none"


def _points(error: Array) -> str:
    if len(error) == 0:
        return "none"
    return f"{np.abs(error).mean():.2f} / {np.percentile(np.abs(error), 95):.1f} points"


def _outcome_rows(judgements: Sequence[Judgement]) -> list[tuple[str, str]]:
    ranks = np.array([[SEVERITY.index(o) for o in j.outcome] for j in judgements])
    milder, harder = np.sum(ranks[:, 1] < ranks[:, 0]), np.sum(ranks[:, 1] > ranks[:, 0])
    return [
        (
            "outcome as by truth",
            f"{100 * np.mean(ranks[:, 0] == ranks[:, 1]):.1f} % (milder {milder}, harsher {harder})",
        )
    ]


def _breakdown(judgements: Sequence[Judgement]) -> list[str]:
    """How the intervals of zone figures do, by what they rest on."""
    figures = _figures(judgements, lambda f: not f.is_group)
    cuts: list[tuple[str, Callable[[FigureError], bool]]] = [
        ("one photo", lambda f: f.photos == 1),
        ("two photos", lambda f: f.photos == 2),
        ("three to five photos", lambda f: 3 <= f.photos <= 5),
        ("six photos or more", lambda f: f.photos >= 6),
        ("no mark was meant to be there", lambda f: f.true == 0),
        ("true area up to 10 cm²", lambda f: 0 < f.true <= 10 * CM2),
        ("10 to 100 cm²", lambda f: 10 * CM2 < f.true <= LARGE_MM2),
        ("more than 100 cm²", lambda f: f.true > LARGE_MM2),
        ("all marks inside the hull of the clicks", lambda f: f.photos > 0 and f.extrapolated < 0.01),
        ("a mark up to half outside it", lambda f: f.photos > 0 and 0.01 <= f.extrapolated < 0.5),
        ("a mark more than half outside it", lambda f: f.photos > 0 and f.extrapolated >= 0.5),
        ("one photo, at least 6 clicks", lambda f: f.photos == 1 and f.fewest_clicks >= 6),
        ("one photo, 5 clicks", lambda f: f.photos == 1 and f.fewest_clicks == 5),
        ("one photo, 4 clicks", lambda f: f.photos == 1 and f.fewest_clicks == 4),
        ("lens estimated from the clicks", lambda f: f.photos > 0 and f.lens_known),
        ("lens assumed for some photo", lambda f: f.photos > 0 and not f.lens_known),
        *((f"figure {name}", partial(_is_named, name)) for name in SINGLED),
    ]  # fmt: skip
    lines = [
        "| zone figures where | held | truth above / below | mean pull | rms pull | mean error |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for name, keep in cuts:
        here = [f for f in figures if keep(f)]
        if here:
            lines.append(f"| {name} | {_held(here)} | {_sides(here)} | {_pulls(here)} | {_bias(here)} |")
    return lines


def _is_named(name: str, figure: FigureError) -> bool:
    return figure.figure == name


def _sides(figures: Sequence[FigureError]) -> str:
    above = np.mean([f.true > f.high for f in figures])
    below = np.mean([f.true < f.low for f in figures])
    return f"{100 * above:.1f} % / {100 * below:.1f} %"


def _pulls(figures: Sequence[FigureError]) -> str:
    pull = np.array([(f.found - f.true) / f.sigma for f in figures if f.sigma > 0])
    # a few gross misses would drown the rms: it is of the middle 99 in 100
    middle = pull[np.abs(pull) <= np.percentile(np.abs(pull), 99)] if len(pull) else pull
    return f"{middle.mean():+.2f} | {np.sqrt(np.mean(middle**2)):.2f}" if len(middle) else "none | none"


def _bias(figures: Sequence[FigureError]) -> str:
    true = sum(f.true for f in figures)
    return f"{100 * (sum(f.found for f in figures) - true) / true:+.1f} % of the sum" if true else "none"


def page_of(found: Mapping[str, Sequence[Judgement | Crash]], command: str, version: str) -> str:
    """Write the page.

    Parameters
    ----------
    found : mapping of str to sequence of Judgement or Crash
        By condition.
    command : str
        What made it.
    version : str
        Of the program.

    Returns
    -------
    str
        Markdown.
    """
    lines = [BEFORE.format(command=command, version=version)]
    names = list(found)
    by_name = {name: dict(rows_of(found[name])) for name in names}
    lines += ["| condition | |", "| --- | --- |"]
    lines += [f"| {name} | {CONDITIONS[name].summary} ({len(found[name])} surveys) |" for name in names]
    lines += ["", "## Figures", "", f"| | {' | '.join(names)} |", f"| --- |{' --- |' * len(names)}"]
    for what in by_name[names[0]]:
        lines.append(f"| {what} | {' | '.join(by_name[n][what] for n in names)} |")
    for name in names:
        lines += [
            "",
            f"## Intervals of zone figures by what they rest on: {name}",
            "",
            *_breakdown([j for j in found[name] if isinstance(j, Judgement)]),
        ]
        crashes = [j for j in found[name] if isinstance(j, Crash)]
        lines += ["", *(f"- seed {c.seed}: `{c.message}`" for c in crashes)] if crashes else []
    return "\n".join([*lines, "", AFTER])
