"""Commands of registration: places through other photos, the printed board."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from corromap.cli_progress import progress_bar
from corromap.cli_tables import CLI_AUTHOR
from corromap.errors import InputError
from corromap.io.photo_links import accept_links, find_links
from corromap.io.survey_file import SurveyFile
from corromap.registration.links import Chained, ChainProposal

__all__ = ["link_file"]


def link_file(survey: Path, photos: tuple[str, ...], *, accept: bool) -> None:
    """Print proposals for photos without a place, and store them when asked.

    Parameters
    ----------
    survey : Path
        The survey file.
    photos : tuple of str
        Names of photos; empty for all.
    accept : bool
        Store what is proposed for them.

    Raises
    ------
    InputError
        If a named photo is not in the survey or has no proposal, or the file cannot be read or written.
    """
    file = SurveyFile.open(survey, author=CLI_AUTHOR)
    names = {photo.id: photo.name for photo in file.load().survey.photos}
    unknown = sorted(set(photos) - set(names.values()))
    if unknown:
        raise InputError(f"{survey} has no photo named '{unknown[0]}'; it has {', '.join(sorted(names.values()))}")
    with progress_bar() as bar:
        task = bar.add_task("photos", total=None)
        found = find_links(file, progress=lambda done, total: bar.update(task, completed=done, total=total))
    wanted = [one for one in found.proposals if not photos or names[one.photo] in photos]
    _print(wanted, found)
    if not accept:
        if wanted:
            click.echo("Nothing is stored yet. Look at them in the app (Place the photos), or give --accept.")
        return
    chosen = _with_what_they_hang_on(wanted, found)
    if not chosen:
        raise InputError("there is nothing to accept: no place is proposed for these photos")
    accept_links(file, chosen, author=CLI_AUTHOR, at=datetime.now(UTC))
    click.echo(f"accepted: {', '.join(names[one.photo] for one in chosen)}")


def _print(wanted: list[ChainProposal], found: Chained) -> None:
    for one in wanted:
        click.echo(one.sentence)
    for missing in found.not_linked:
        click.echo(missing.message)
    if not wanted and not found.not_linked:
        click.echo("Every photo of this survey has a place.")


def _with_what_they_hang_on(wanted: list[ChainProposal], found: Chained) -> list[ChainProposal]:
    """Add proposals that the wanted ones go through."""
    needed = {one.photo for one in wanted}
    for one in reversed(found.proposals):
        if one.photo in needed:
            needed |= set(one.through)
    return [one for one in found.proposals if one.photo in needed]
