"""The outcome as the command line prints it: a rule once, its places beside it."""

from __future__ import annotations

import dataclasses
import io

from rich.console import Console

from corromap.cli_outcome import ALSO, print_outcome
from tests.report_scene import evaluation


def printed(scene, **options):
    out = io.StringIO()
    print_outcome(scene, Console(file=out, width=400), **options)
    return out.getvalue()


def reached_at(scene, count):
    """The scene with its first reason met at ``count`` places more."""
    outcome = scene.assessment.outcome
    first = outcome.reasons[0]
    more = [dataclasses.replace(first, zone_name=f"Place {index}") for index in range(count)]
    changed = dataclasses.replace(outcome, reasons=(first, *more, *outcome.reasons[1:]))
    return dataclasses.replace(scene, assessment=dataclasses.replace(scene.assessment, outcome=changed))


def _measure(scene, zone):
    return next(measure for measure in scene.measures.zones if measure.zone == zone)


def test_a_rule_is_said_once_with_its_other_places_beside_it():
    scene = evaluation()
    first = scene.assessment.outcome.reasons[0]
    text = printed(reached_at(scene, ALSO + 2))
    assert text.count(first.sentence) == 1
    (also,) = [line for line in text.splitlines() if line.strip().startswith("also")]
    assert [f"Place {index} (" in also for index in range(ALSO + 2)] == [True] * ALSO + [False] * 2
    assert also.rstrip().endswith("; 2 more")


def test_every_place_is_named_when_asked_for():
    text = printed(reached_at(evaluation(), ALSO + 2), every=True)
    assert all(f"Place {index} (" in text for index in range(ALSO + 2))
    assert "more" not in next(line for line in text.splitlines() if line.strip().startswith("also"))


def test_a_zone_not_shown_well_enough_says_both_shares():
    scene = evaluation()
    zone = next(z for z in scene.assessment.outcome.unseen_zones if _measure(scene, z).seen_share > 0.01)
    measure = _measure(scene, zone)
    name = scene.template.zone_by_id[zone].name
    assert f"{name}: {100 * measure.seen_share:.0f} % shown, {100 * measure.well_share:.0f} % well enough" in printed(
        scene
    )


def test_markup_in_a_zone_name_is_printed_as_text():
    scene = reached_at(evaluation(), 0)
    text = printed(reached_at(evaluation(lambda kept: f"[red]{kept}[/red]"), 1))
    assert "[red]" in text
    assert "[red]" not in printed(scene)
