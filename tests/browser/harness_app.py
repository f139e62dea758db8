"""Serves `harness_script.py` with the photo routes, as ``app.py`` serves the app."""

from pathlib import Path

from streamlit import App

from corromap.ui.photo_routes import photo_routes

app = App(Path(__file__).with_name("harness_script.py"), routes=photo_routes())
