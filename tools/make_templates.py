"""Write the body templates from their tables of dimensions.

Run ``python tools/make_templates.py`` after changing a dimension, raise the
body's ``revision`` and commit the result; a test compares the two.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from body_parts.assembly import template_of
from body_parts.dimensions import BODIES, Body

FOLDER = Path(__file__).resolve().parent.parent / "body_templates"

_NUMBER_PAIRS = re.compile(r"\[\s+(-?[\d.e-]+(?:,\s+-?[\d.e-]+)*)\s+\]")
_RING = re.compile(r"\[\s+(\[[^\[\]]*\](?:,\s+\[[^\[\]]*\])*)\s+\]")


def text_of(body: Body) -> str:
    """Return the JSON text of a body, coordinates on one line."""
    text = json.dumps(template_of(body), indent=2, ensure_ascii=False)
    text = _NUMBER_PAIRS.sub(lambda found: "[" + re.sub(r"\s+", " ", found[1]) + "]", text)
    return _RING.sub(lambda found: "[" + re.sub(r"\s+", " ", found[1]) + "]", text) + "\n"


def main() -> None:
    """Write every template."""
    for body in BODIES:
        path = FOLDER / f"{body.id}.json"
        path.write_text(text_of(body), encoding="utf-8")
        print(f"{path.name}: written")


if __name__ == "__main__":
    main()
