"""When a report was made, as people write it."""

from __future__ import annotations

from datetime import UTC, datetime

from corromap.messages import to_say
from corromap.report.language import tr

__all__ = ["moment_of", "moment_words"]

_MONTHS = (
    to_say("January"),
    to_say("February"),
    to_say("March"),
    to_say("April"),
    to_say("May"),
    to_say("June"),
    to_say("July"),
    to_say("August"),
    to_say("September"),
    to_say("October"),
    to_say("November"),
    to_say("December"),
)
_DATE_ONLY = len("2026-11-30")


def moment_of(text: str) -> datetime | None:
    """Read a moment.

    Parameters
    ----------
    text : str
        ISO 8601; without an offset it is taken as UTC.

    Returns
    -------
    datetime or None
        With its offset; None for any other text.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def moment_words(text: str) -> str:
    """Write a moment for people.

    Parameters
    ----------
    text : str
        ISO 8601, with or without offset and time.

    Returns
    -------
    str
        In the language in use, for example ``30 November 2026, 18:05 UTC``;
        no clock or offset is added that the text does not have, and any other
        text stays as it is.
    """
    moment = moment_of(text)
    if moment is None:
        return text
    date = tr("{day} {month} {year}", day=moment.day, month=tr(_MONTHS[moment.month - 1]), year=moment.year)
    if len(text) <= _DATE_ONLY:
        return date
    offset = datetime.fromisoformat(text).tzname()
    clock = tr("{date}, {clock}", date=date, clock=f"{moment:%H:%M}")
    return f"{clock} {offset}" if offset else clock
