"""OpenCV's own sample data as Debian's `opencv-doc` installs them: read in tests, never redistributed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FOLDER = Path("/usr/share/doc/opencv-doc/examples/data")


def opencv_sample(name: str) -> Path:
    """Path of a sample; without the package the test is skipped, on CI it fails."""
    path = FOLDER / name
    if path.exists():
        return path
    text = f"{path} is missing: install the Debian package opencv-doc"
    if os.environ.get("CI"):
        pytest.fail(text)
    pytest.skip(text)
