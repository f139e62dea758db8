"""The app in the browser: the only part that knows Streamlit.

`ROUTES` and `SCRIPT` are what ``app.py`` hands to Streamlit, `main` serves it
with the settings in ``.streamlit/config.toml``, and `launch` is the command
line's way in.
"""

from __future__ import annotations

from corromap.ui.serving import ROUTES, SCRIPT, launch, main

__all__ = ["ROUTES", "SCRIPT", "launch", "main"]
