"""Colours of the app's own blocks, for the light and the dark theme.

Streamlit's widgets take theirs from ``.streamlit/config.toml``; these are the
same tones for what the app draws itself. Contrast of each text colour on its
ground is tested to be at least 4.5:1 (WCAG 2.2, 1.4.3), of body text at least 7:1
(1.4.6), so that it can be read in sunlight.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

__all__ = ["TOKENS", "style_sheet"]

_LIGHT = {
    "paper": "#FBF9F4", "panel": "#F1EEE6", "sheet": "#FBF9F4", "ink": "#1E2328", "dim": "#565B61",
    "line": "#D3CCBE", "line-strong": "#8C867A", "steel": "#5B6067", "accent": "#8A3B12", "link": "#7A3410",
    "bar": "#262C32", "bar-ink": "#F6F2E9", "bar-dim": "#B9BDC1", "bar-line": "#5C646C", "focus": "#1F5FA8",
    "on-accent": "#FFFFFF",
    "stop": "#A3261B", "repair": "#8A4B00", "clear": "#2B6A4B", "notshown": "#4A5560",
}  # fmt: skip
_DARK = {
    "paper": "#15181B", "panel": "#20252A", "sheet": "#FBF9F4", "ink": "#ECE7DC", "dim": "#A9AFB6",
    "line": "#3A4148", "line-strong": "#7C858E", "steel": "#9AA3AC", "accent": "#E79A5E", "link": "#F0B183",
    "bar": "#0B0D0F", "bar-ink": "#F6F2E9", "bar-dim": "#A9AFB6", "bar-line": "#454C54", "focus": "#7DB7F5",
    "on-accent": "#15181B",
    "stop": "#FF9A8A", "repair": "#F2B866", "clear": "#8FD0AE", "notshown": "#B4BEC8",
}  # fmt: skip

TOKENS: Mapping[str, Mapping[str, str]] = {"light": _LIGHT, "dark": _DARK}
"""Colour by name, for each theme."""


@lru_cache(maxsize=4)
def style_sheet(theme: str) -> str:
    """Make the style sheet for one theme.

    Parameters
    ----------
    theme : str
        ``light`` or ``dark``; anything else counts as light.

    Returns
    -------
    str
        CSS text with the theme's colours in front.
    """
    colours = TOKENS.get(theme, _LIGHT)
    names = "".join(f"--cm-{name}:{value};" for name, value in colours.items())
    rules = Path(__file__).with_name("app.css").read_text(encoding="utf-8")
    return f":root{{{names}}}\n{rules}"
