"""When a report was made: words against those of the Unicode CLDR, as Babel has them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from babel.dates import format_date

from corromap.report.language import LANGUAGES, language_named, speaking
from corromap.report.moment import moment_of, moment_words

PATTERNS = {"en": "d MMMM y", "de": "d. MMMM y"}
"""CLDR's long dates: https://cldr.unicode.org/translation/date-time/date-time-patterns, British order for English."""


@pytest.mark.parametrize("code", LANGUAGES)
@pytest.mark.parametrize("month", range(1, 13))
def test_dates_are_written_as_the_language_does(code: str, month: int) -> None:
    moment = datetime(2026, month, 3, 18, 5, tzinfo=UTC)
    with speaking(language_named(code)):
        said = moment_words(moment.isoformat(timespec="seconds"))
    assert said.startswith(format_date(moment, PATTERNS[code], locale=code) + ", 18:05")
    assert said.endswith(" UTC")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026-11-30T18:05:09+00:00", "30 November 2026, 18:05 UTC"),
        ("2026-11-30 18:05Z", "30 November 2026, 18:05 UTC"),
        ("2026-11-30 19:05+01:00", "30 November 2026, 19:05 UTC+01:00"),
        ("2026-11-30 18:05", "30 November 2026, 18:05"),
        ("2026-11-30", "30 November 2026"),
        ("today", "today"),
        ("", ""),
    ],
)
def test_nothing_is_said_that_the_text_does_not_hold(text: str, said: str) -> None:
    assert moment_words(text) == said


def test_a_moment_without_offset_is_taken_as_utc() -> None:
    assert moment_of("2026-11-30 18:05") == datetime(2026, 11, 30, 18, 5, tzinfo=UTC)
    assert moment_of("today") is None
