"""Every fault of a body template, each with the path to it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["check_template"]


def check_template(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Thin for now."""
    return () if "panels" in document else ("panels: missing",)
