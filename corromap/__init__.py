"""corromap: rust, filler and patches on photos, to scale on a body template."""

from __future__ import annotations

__version__ = "0.1.0"
