"""Small pieces of HTML the pages share. Every text from outside is escaped here."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import streamlit as st

from corromap.report.palette import Look

__all__ = ["Cell", "empty_state", "esc", "facts", "lead", "note", "plain_md", "show", "show_svg", "swatch", "table"]

_BREAKS = re.compile(r"\s*[\r\n\u2028\u2029]+\s*")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|~$<>:&])")


def esc(text: object) -> str:
    """Make a text from outside harmless inside HTML, and keep its direction to itself.

    Parameters
    ----------
    text : object
        Anything; its ``str``.

    Returns
    -------
    str
        Escaped, on one line, inside ``<bdi>`` when it is not plain ASCII.
    """
    line = html.escape(_BREAKS.sub(" ", str(text)), quote=True)
    return line if line.isascii() else f"<bdi>{line}</bdi>"


def plain_md(text: object) -> str:
    """Make a text from outside harmless where Streamlit reads Markdown.

    Parameters
    ----------
    text : object
        Anything; its ``str``.

    Returns
    -------
    str
        With every Markdown sign escaped, on one line.
    """
    return _MARKDOWN.sub(r"\\\1", _BREAKS.sub(" ", str(text)))


def show(markup: str) -> None:
    """Show HTML made by this module's helpers.

    Parameters
    ----------
    markup : str
        HTML without drawings (Streamlit strips SVG from it).
    """
    st.html(markup)


def show_svg(svg: str, *, css_class: str = "cm-drawing", before: str = "", after: str = "") -> None:
    """Show a drawing of our own making.

    Parameters
    ----------
    svg : str
        One ``<svg>`` element from `corromap.report.drawing`.
    css_class : str
        Of the block around it.
    before, after : str
        HTML above and below it, inside the block.
    """
    one_line = _BREAKS.sub(" ", f'<div class="{css_class}">{before}{svg}{after}</div>')
    st.markdown(one_line, unsafe_allow_html=True)


def lead(text: str) -> None:
    """Show the sentence under a page's title.

    Parameters
    ----------
    text : str
        Our own words.
    """
    show(f'<p class="cm-lead">{esc(text)}</p>')


def empty_state(what: str, do: str) -> None:
    """Say that something is not there yet and what to do about it.

    Parameters
    ----------
    what : str
        What is missing.
    do : str
        The next thing to do.
    """
    show(f'<div class="cm-empty"><b>{esc(what)}</b>{esc(do)}</div>')


def note(sentences: Sequence[str], tone: str = "") -> None:
    """Show one or several sentences in a block with a coloured edge.

    Parameters
    ----------
    sentences : sequence of str
        One is shown as a paragraph, several as a list.
    tone : str
        ``bad``, ``warn``, ``good`` or empty.
    """
    if not sentences:
        return
    if len(sentences) == 1:
        body = esc(sentences[0])
    else:
        body = "<ul>" + "".join(f"<li>{esc(sentence)}</li>" for sentence in sentences) + "</ul>"
    show(f'<div class="cm-note{f" is-{tone}" if tone else ""}">{body}</div>')


def facts(pairs: Iterable[tuple[str, object]]) -> str:
    """Make a list of names and values.

    Parameters
    ----------
    pairs : iterable of (str, object)
        Empty values are left out.

    Returns
    -------
    str
        HTML.
    """
    rows = "".join(f"<dt>{esc(name)}</dt><dd>{esc(value)}</dd>" for name, value in pairs if value not in ("", None))
    return f'<dl class="cm-facts">{rows}</dl>'


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a table.

    Parameters
    ----------
    text : str
        Main text.
    small : str
        Second line, smaller.
    markup : str
        HTML of our own instead of text.
    """

    text: str = ""
    small: str = ""
    markup: str = ""

    def inner(self) -> str:
        """HTML of the cell's content."""
        small = f"<small>{esc(self.small)}</small>" if self.small else ""
        return (self.markup or esc(self.text)) + small


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    numeric: frozenset[int] = frozenset(),
    caption: str = "",
) -> str:
    """Make a table; the first column heads its row.

    Parameters
    ----------
    heads : sequence of str
        Column names with units.
    rows : iterable of sequence of Cell or object
        One for each head; anything but a `Cell` is printed by its ``str``.
    numeric : frozenset of int
        Columns set to the right, in figures of one width.
    caption : str
        Under the table.

    Returns
    -------
    str
        HTML inside a block that scrolls sideways by itself.
    """

    def cell(index: int, content: object) -> str:
        inner = content.inner() if isinstance(content, Cell) else esc(content)
        if index == 0:
            return f'<th scope="row">{inner}</th>'
        # the head stands beside its value where a narrow screen turns rows into cards
        return f'<td data-head="{html.escape(heads[index])}"{_n(index in numeric)}><div>{inner}</div></td>'

    head = "".join(f"<th scope='col'{_n(i in numeric)}>{esc(name)}</th>" for i, name in enumerate(heads))
    body = "".join("<tr>" + "".join(cell(i, c) for i, c in enumerate(row)) + "</tr>" for row in rows)
    foot = f"<caption>{esc(caption)}</caption>" if caption else ""
    inner = f"{foot}<thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
    return f"<div class='cm-scroll' tabindex='0'><table class='cm'>{inner}</table></div>"


def _n(is_numeric: bool) -> str:  # noqa: FBT001  one use, above
    return " class='n'" if is_numeric else ""


def swatch(look: Look) -> str:
    """Make a small sample of how a kind is drawn, pattern and colour.

    Parameters
    ----------
    look : Look
        From `corromap.report.palette`.

    Returns
    -------
    str
        HTML; for sighted readers only, the word stands beside it.
    """
    return f'<span class="cm-swatch cm-{esc(look.pattern)}" style="--c:{esc(look.colour)}" aria-hidden="true"></span>'
