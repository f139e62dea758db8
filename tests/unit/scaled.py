"""A body template with every length multiplied."""

from __future__ import annotations

from typing import Any

from corromap.io.templates import parse_template, template_document
from corromap.template import BodyTemplate

_LENGTHS = ("_mm",)
_KEPT = {"sheet_mm"}


def scaled_template(template: BodyTemplate, k: float) -> BodyTemplate:
    """The same body, k times as large; sheet stays as thick as it is."""
    return parse_template(_scaled(template_document(template), k))


def _scaled(thing: Any, k: float, *, is_length: bool = False) -> Any:
    if isinstance(thing, dict):
        return {
            key: _scaled(value, k, is_length=key.endswith(_LENGTHS) and key not in _KEPT)
            for key, value in thing.items()
        }
    if isinstance(thing, list):
        return [_scaled(value, k, is_length=is_length) for value in thing]
    return thing * k if is_length else thing
