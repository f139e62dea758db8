"""What Streamlit runs for every window and every click."""

from corromap.ui.memory import settle_memory
from corromap.ui.shell import run

settle_memory()
run()
