"""Every text the program prints of itself, with where it stands."""

from __future__ import annotations

import io
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from jinja2.ext import babel_extract

from corromap.assessment import ADVICE, ALWAYS, CAUTIONS, OutcomeKind
from corromap.assessment.measure_names import Unit
from corromap.assessment.outcome import Doubt
from corromap.by_hand import HandKind, ShellKind
from corromap.evidence.viewpoints import Stance
from corromap.evidence.wording import GROUND_RULES
from corromap.evidence.words import REGIONS
from corromap.io.rules import default_rules
from corromap.io.templates import list_templates, load_template
from corromap.measures.rusting import RUSTING_NOTE
from corromap.report.pdf import words_of
from corromap.report.typeset import FOLDER
from corromap.survey import MarkKind, PatchFixing, RustStage
from corromap.template import Part, Role, SeenFrom, Side

__all__ = ["collect"]

ROOT = Path(__file__).parents[2]
PYTHON = {"tr": None, "trn": (1, 2), "message": None, "to_say": None}
ENUMS: tuple[type[StrEnum], ...] = (
    Unit,
    OutcomeKind,
    Doubt,
    RustStage,
    PatchFixing,
    MarkKind,
    Stance,
    HandKind,
    ShellKind,
    Part,
)


def collect() -> Catalog:
    """Collect all texts.

    Returns
    -------
    babel.messages.catalog.Catalog
        Without translations; each text with the files it stands in.
    """
    catalogue = Catalog(project="corromap", charset="utf-8")
    for place, text in sorted(_all(), key=lambda entry: entry[0]):
        catalogue.add(text, locations=[(place, 0)])
    return catalogue


def _all() -> Iterator[tuple[str, str | tuple[str, ...]]]:
    yield from _python()
    yield from _pages()
    for path in sorted((FOLDER / "typst").glob("*.typ")):
        yield from ((f"corromap/report/typst/{path.name}", text) for text in words_of(path.name))
    for kinds in ENUMS:
        yield from (("the values of " + kinds.__name__, kind.value) for kind in kinds)
    yield from _rules()
    yield from _guidance()
    yield from _groups()
    yield from _bodies()


def _python() -> Iterator[tuple[str, str | tuple[str, ...]]]:
    for path in sorted((ROOT / "corromap").rglob("*.py")):
        if "ui" in path.relative_to(ROOT / "corromap").parts:
            continue
        found = extract("python", io.BytesIO(path.read_bytes()), PYTHON)
        for _line, text, _comments, _context in found:
            if text and text != "{count}":
                yield str(path.relative_to(ROOT)), text


def _pages() -> Iterator[tuple[str, str | tuple[str, ...]]]:
    options = {"trim_blocks": "true", "lstrip_blocks": "true"}
    for path in sorted((FOLDER / "templates").glob("*.j2")):
        for _line, _function, text, _comments in babel_extract(io.BytesIO(path.read_bytes()), ["w"], [], options):
            first = text[0] if isinstance(text, tuple) else text
            if first:
                yield f"corromap/report/templates/{path.name}", first


def _rules() -> Iterator[tuple[str, str]]:
    rules = default_rules()
    yield "corromap/assessment/rules.toml", rules.name
    for rule in rules.rules:
        for text in (rule.title, rule.sentence, rule.source, rule.family):
            yield "corromap/assessment/rules.toml", text


def _guidance() -> Iterator[tuple[str, str]]:
    place = "corromap/assessment/guidance.py"
    yield from ((place, text) for text in ALWAYS)
    yield from ((place, text) for texts in ADVICE.values() for text in texts)
    for caution in CAUTIONS:
        yield from ((place, text) for text in (caution.title, caution.text, caution.source))
    yield from (("corromap/evidence/wording.py", text) for text in GROUND_RULES)
    for region in REGIONS:
        yield "corromap/evidence/words.py", region
    for what in ("too dark to judge", "too bright to judge", "too blurred to judge"):
        yield "corromap/evidence/quality.py", what
    for side in SeenFrom:
        yield "corromap/registration/fit_checks.py", side.value if side in {"below", "above"} else f"the {side.value}"
    for word in ("fifth", "sixth"):
        yield "corromap/registration/fit_checks.py", word
    yield "corromap/measures/rusting.py", RUSTING_NOTE


def _bodies() -> Iterator[tuple[str, str]]:
    for body, _name in list_templates():
        template, place = load_template(body), f"body_templates/{body}.json"
        yield place, template.name
        yield place, template.description
        for panel in template.panels:
            yield place, panel.name
            yield from ((place, zone.name) for zone in panel.zones)
            yield from ((place, mounting.name) for mounting in panel.mountings)
            for datum in panel.datum_points:
                yield place, datum.name.removeprefix(f"{panel.name}: ")
        for section in template.sections:
            yield place, section.name
            yield from ((place, wall.name) for wall in section.walls)
            yield from ((place, cell.name) for cell in section.cells)


def _groups() -> Iterator[tuple[str, str]]:
    """Names of the groups of zones, made as measuring makes them."""
    place = "corromap/measures/measuring.py"
    yield place, "Whole underside"
    yield "corromap/assessment/outcome.py", "whole underside"
    yield from ((place, f"{side.capitalize()} side") for side in Side)
    yield from ((place, f"{role.capitalize()} zones") for role in Role)
    yield from ((place, part.capitalize()) for part in Part)
