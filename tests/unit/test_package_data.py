"""Shipped data are found in the wheel first, then in the checkout."""

import pytest

from corromap.errors import InputError
from corromap.io import package_data
from corromap.io.package_data import data_path


def test_a_checkout_s_own_folder_is_found():
    assert data_path("body_templates", "two-seat-open.json").is_file()


def test_the_wheel_comes_before_the_checkout(tmp_path, monkeypatch):
    package = tmp_path / "corromap"
    for root in (package / "_data", tmp_path):
        (root / "body_templates").mkdir(parents=True)
    monkeypatch.setattr(package_data, "_PACKAGE", package)
    assert data_path("body_templates") == package / "_data" / "body_templates"


def test_what_is_missing_is_named():
    with pytest.raises(InputError, match=r"'body_templates/none\.json' is not part of this installation"):
        data_path("body_templates", "none.json")
