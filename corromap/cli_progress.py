"""The progress bar of long work, for every command."""

from __future__ import annotations

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

__all__ = ["progress_bar"]


def progress_bar() -> Progress:
    """Make a progress bar on stderr that leaves nothing behind.

    Returns
    -------
    rich.progress.Progress
        To be used in a ``with`` statement.
    """
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=Console(stderr=True),
        transient=True,
    )
