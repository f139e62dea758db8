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
    seen, *others = scene.measures.zones
    measure = dataclasses.replace(seen, seen_share=0.8, well_of_seen=0.5)
    measures = dataclasses.replace(scene.measures, zones=(measure, *others))
    outcome = dataclasses.replace(scene.assessment.outcome, unseen_zones=(measure.zone,))
    assessment = dataclasses.replace(scene.assessment, outcome=outcome)
    name = scene.template.zone_by_id[measure.zone].name
    short = dataclasses.replace(scene, assessment=assessment, measures=measures)
    assert f"{name}: 80 % shown, 40 % well enough" in printed(short)


def test_markup_in_a_zone_name_is_printed_as_text():
    scene = reached_at(evaluation(), 0)
    text = printed(reached_at(evaluation(lambda kept: f"[red]{kept}[/red]"), 1))
    assert "[red]" in text
    assert "[red]" not in printed(scene)
