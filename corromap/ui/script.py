"""What Streamlit runs for every window and every click."""

from corromap.ui.shell import run

run()
