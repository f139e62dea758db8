"""The language a report is written in: words by gettext, numbers and lengths as it writes them."""

from __future__ import annotations

import gettext as stdlib_gettext
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from string import Formatter
from types import MappingProxyType

from markupsafe import Markup, escape

from corromap.errors import InvalidValueError
from corromap.messages import Message, Sentence, capitalised
from corromap.settings import Settings

__all__ = ["LANGUAGES", "Language", "current", "language_named", "language_of", "number", "speaking", "tr", "trn"]

FOLDER = Path(__file__).parents[1] / "locale"
DOMAIN = "corromap"
THIN_SPACE = "\u202f"


@dataclass(frozen=True, slots=True)
class Language:
    """A language and the unit lengths are printed in.

    Parameters
    ----------
    code : str
        ISO 639-1.
    name : str
        In itself.
    decimal : str
        Between units and tenths.
    unit : str
        ``mm`` or ``in``.
    """

    code: str
    name: str
    decimal: str
    unit: str = "mm"


LANGUAGES: Mapping[str, Language] = MappingProxyType(
    {"en": Language("en", "English", "."), "de": Language("de", "Deutsch", ",")}
)
_current: ContextVar[Language] = ContextVar("language", default=LANGUAGES["en"])


def language_named(code: str, unit: str = "mm") -> Language:
    """Find a language.

    Parameters
    ----------
    code : str
        As in `LANGUAGES`.
    unit : str
        ``mm`` or ``in``.

    Returns
    -------
    Language
        The language.

    Raises
    ------
    InvalidValueError
        If there is none of that code; lists those there are.
    """
    if code not in LANGUAGES:
        known = ", ".join(f"{key} ({language.name})" for key, language in LANGUAGES.items())
        raise InvalidValueError(f"language {code!r:.20} is not known; choose one of {known}")
    return replace(LANGUAGES[code], unit=unit)


def language_of(settings: Settings, code: str = "") -> Language:
    """Find the language a survey's report is written in.

    Parameters
    ----------
    settings : Settings
        Of the survey; a language of it that this version does not have is
        written in English.
    code : str
        Another language asked for; empty for the survey's own.

    Returns
    -------
    Language
        With the survey's unit of length.

    Raises
    ------
    InvalidValueError
        If the one asked for is not there.
    """
    own = settings.language if settings.language in LANGUAGES else "en"
    return language_named(code or own, settings.length_unit)


def current() -> Language:
    """Return the language in use.

    Returns
    -------
    Language
        English unless inside `speaking`.
    """
    return _current.get()


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Write in a language; other threads and tasks keep theirs.

    Parameters
    ----------
    language : Language
        The language.

    Yields
    ------
    None
        Until the block ends.
    """
    token = _current.set(language)
    try:
        yield
    finally:
        _current.reset(token)


@lru_cache(maxsize=8)
def _catalogue(code: str) -> stdlib_gettext.NullTranslations:
    return stdlib_gettext.translation(DOMAIN, FOLDER, [code], fallback=code == "en")


def number(value: float, spec: str = "g") -> str:
    """Write a number as the language does.

    Parameters
    ----------
    value : float
        The number.
    spec : str
        As for `format`; a comma in it asks for groups of three.

    Returns
    -------
    str
        With the language's decimal sign; thin spaces between groups.
    """
    written = format(value, spec).replace(",", THIN_SPACE)
    return written.replace(".", current().decimal)


class _Writer(Formatter):
    """Formats values as the language does."""

    def format_field(self, value: object, format_spec: str) -> str:
        if isinstance(value, float) or (isinstance(value, int) and format_spec):
            return number(value, format_spec or "g")
        if isinstance(value, Message):
            return format(tr(value), format_spec)
        return str(format(value, format_spec))


_WRITER = _Writer()


def tr(text: str, /, **values: object) -> str:
    """Say a text of the program's own in the language in use.

    Parameters
    ----------
    text : str
        A literal with ``{names}``, or a `Message`. What the catalogue does
        not know stays as it is.
    **values : object
        What stands for the names; messages among them are said in the
        language, other strings stay as somebody wrote them.

    Returns
    -------
    str
        The text; markup if a value is markup, everything else escaped then.
    """
    if isinstance(text, Markup) or not text:
        return text
    template, held = (text.template, text.values) if isinstance(text, Message) else (text, values)
    said = _filled(_catalogue(current().code).gettext(template), held)
    return capitalised(said) if isinstance(text, Sentence) else said


def trn(one: str, several: str, count: int, /, **values: object) -> str:
    """Say a text that depends on a number.

    Parameters
    ----------
    one, several : str
        English for one and for other numbers; ``{count}`` stands for it.
    count : int
        The number.
    **values : object
        What stands for other names.

    Returns
    -------
    str
        As `tr`.
    """
    return _filled(_catalogue(current().code).ngettext(one, several, count), {"count": count, **values})


def _filled(template: str, values: Mapping[str, object]) -> str:
    if not values:
        return template
    if any(isinstance(value, Markup) for value in values.values()):
        said = {name: tr(value) if isinstance(value, Message) else value for name, value in values.items()}
        return Markup(escape(template)).format(**said)  # noqa: S704  # the template is the program's own, escaped
    return _WRITER.vformat(template, (), values)
