"""Starting the app: settings, address, browser window."""

from __future__ import annotations

import os
import socket
import threading
import time
import tomllib
import webbrowser
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from streamlit import App

from corromap.errors import InputError
from corromap.io.package_data import data_path
from corromap.ui.hand_out import hand_out_routes
from corromap.ui.photo_routes import photo_routes
from corromap.ui.surveys import OPEN_AT_START

__all__ = ["DEFAULT_PORT", "ROUTES", "SCRIPT", "launch", "main", "settings"]

SCRIPT = Path(__file__).with_name("script.py")
"""What Streamlit runs for every window and every click."""

ROUTES = (*photo_routes(), *hand_out_routes())
"""What is served beside Streamlit itself."""

DEFAULT_PORT = 8501
_PORTS_TRIED = 50


def settings() -> dict[str, Any]:
    """Read the settings of ``.streamlit/config.toml`` as dotted names.

    Returns
    -------
    dict
        For example ``{"server.address": "127.0.0.1", "theme.dark.textColor": "#ECE7DC"}``.

    Raises
    ------
    InputError
        If the file is missing: the installation is not whole.
    """
    file = data_path(".streamlit", "config.toml")
    return _dotted(tomllib.loads(file.read_text(encoding="utf-8")))


def _dotted(table: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in table.items():
        name = f"{before}{key}"
        flat.update(_dotted(value, f"{name}.") if isinstance(value, Mapping) else {name: value})
    return flat


def main(app: App) -> None:
    """Serve the app until it is stopped.

    Parameters
    ----------
    app : streamlit.App
        As made in ``app.py``.
    """
    app.run(config=settings())


def launch(survey_path: str | Path | None = None, *, port: int | None = None, open_browser: bool = True) -> int:
    """Serve the app for the command line until it is stopped.

    Parameters
    ----------
    survey_path : str or Path, optional
        A survey file to show first; None shows the list of surveys.
    port : int, optional
        TCP port on this computer. None takes the first free one from
        `DEFAULT_PORT` on.
    open_browser : bool
        Whether to open a browser window once the app answers.

    Returns
    -------
    int
        0 when it was stopped by the person.

    Raises
    ------
    InputError
        If the survey file is not there or no port is free.
    """
    if survey_path is not None:
        file = Path(survey_path).expanduser().resolve()
        if not file.is_file():
            raise InputError(f"survey file '{file}' is not there: check the name, or leave it out to see the list")
        os.environ[OPEN_AT_START] = str(file)
    chosen = _free_port(port)
    values = {**settings(), "server.port": chosen, "server.headless": True}
    if open_browser:
        address = f"http://{values['server.address']}:{chosen}"
        threading.Thread(target=_open_when_ready, args=(values["server.address"], chosen, address), daemon=True).start()
    App(SCRIPT, routes=ROUTES).run(config=values)
    return 0


def _free_port(wanted: int | None) -> int:
    candidates = [wanted] if wanted is not None else range(DEFAULT_PORT, DEFAULT_PORT + _PORTS_TRIED)
    for port in candidates:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except (OSError, OverflowError):
                continue
        return port
    if wanted is not None:
        raise InputError(f"port {wanted} cannot be used (taken, or not allowed): choose another with --port")
    raise InputError(
        f"no free port between {DEFAULT_PORT} and {DEFAULT_PORT + _PORTS_TRIED - 1}: choose one with --port"
    )


def _open_when_ready(host: str, port: int, address: str) -> None:
    for _ in range(120):
        try:
            with socket.create_connection((host, port), timeout=0.5):
                webbrowser.open(address)
                return
        except OSError:
            time.sleep(0.25)
