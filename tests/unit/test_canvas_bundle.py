"""The bundle that is committed: whole, licensed, told to Streamlit, and without addresses of a machine."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest

from corromap.ui.canvas import ASSETS

REPOSITORY = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def bundle():
    return (ASSETS / "canvas.js").read_text(encoding="utf-8")


def test_bundle_is_one_module_that_exports_a_default_and_fetches_no_code(bundle):
    assert re.search(r"export\s*\{\s*\w+ as default\s*\}", bundle)
    assert not re.search(r"\bimport\s*[({\"']", bundle)
    assert "sourceMappingURL" not in bundle


def test_bundle_and_style_name_no_address_outside(bundle):
    texts = bundle + (ASSETS / "canvas.css").read_text(encoding="utf-8")
    hosts = set(re.findall(r"https?://([\w.-]+)", texts))
    # names of XML vocabularies and of licences' and manuals' pages in messages; none is fetched
    assert hosts <= {"www.w3.org", "www.opengis.net", "openlayers.org", "github.com"}


def test_every_bundled_package_has_its_licence_beside_it():
    text = (ASSETS / "THIRD-PARTY-LICENSES.md").read_text(encoding="utf-8")
    lock = json.loads((REPOSITORY / "frontend" / "package-lock.json").read_text(encoding="utf-8"))
    for name in ("ol", "rbush", "quickselect"):
        version = lock["packages"][f"node_modules/{name}"]["version"]
        assert f"## {name} {version}" in text
    assert "Redistribution and use in source and binary forms" in text, "OpenLayers is BSD-2-Clause"
    assert "MIT License" in text, "rbush"


def test_lock_file_pins_by_hash_and_names_no_registry():
    text = (REPOSITORY / "frontend" / "package-lock.json").read_text(encoding="utf-8")
    assert '"resolved"' not in text
    lock = json.loads(text)
    pinned = [entry for path, entry in lock["packages"].items() if path]
    assert pinned
    assert all(entry["integrity"].startswith("sha512-") for entry in pinned)


def test_streamlit_is_told_where_the_bundle_is():
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
    (component,) = project["tool"]["streamlit"]["component"]["components"]
    folder = REPOSITORY / "corromap" / component["asset_dir"]
    assert component["name"] == "canvas"
    assert folder == ASSETS
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert wheel["pyproject.toml"].startswith("corromap/"), "Streamlit reads the copy inside the package"


def test_sources_hold_no_word_the_trade_does_not_use():
    """One word for one thing, on the screen too (names.md)."""
    texts = (REPOSITORY / "frontend" / "src" / "texts.ts").read_text(encoding="utf-8").lower()
    for word in ("polygon", "contour", "landmark", "annotation", "vertex", "image", "label the"):
        assert not re.search(rf"[\"`][^\"`]*\b{word}\b", texts), word
