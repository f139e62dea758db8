"""A report page taken apart by the standard library's HTML parser, for tests."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "hr", "img", "link", "input", "source", "wbr", "area", "base", "col", "embed", "track"}
URL_ATTRIBUTES = {
    "src",
    "href",
    "srcset",
    "poster",
    "action",
    "formaction",
    "data",
    "background",
    "cite",
    "ping",
    "xlink:href",
}


@dataclass
class Found:
    tag: str
    attributes: dict[str, str]
    path: tuple[str, ...]
    text: str = ""


@dataclass
class Page:
    elements: list[Found] = field(default_factory=list)
    styles: str = ""
    faults: list[str] = field(default_factory=list)

    def all(self, tag: str) -> list[Found]:
        return [found for found in self.elements if found.tag == tag]

    @property
    def text(self) -> str:
        return "\n".join(f.text for f in self.elements if not f.path)

    @property
    def ids(self) -> list[str]:
        return [f.attributes["id"] for f in self.elements if "id" in f.attributes]

    def addresses(self) -> list[tuple[str, str]]:
        """Everything that could make a browser fetch or follow: attributes and CSS url()."""
        found = [(name, value) for f in self.elements for name, value in f.attributes.items() if name in URL_ATTRIBUTES]
        css = [self.styles, *(f.attributes["style"] for f in self.elements if "style" in f.attributes)]
        spoken = {"style", "aria-label"}
        painted = [v for f in self.elements for k, v in f.attributes.items() if "url(" in v and k not in spoken]
        found += [("url()", url) for text in [*css, *painted] for url in re.findall(r"url\(([^)]*)\)", text)]
        found += [("@import", text) for text in re.findall(r"@import[^;]*", " ".join(css))]
        return found


class _Parser(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.open: list[Found] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        if len(set(names)) != len(names):
            self.page.faults.append(f"attribute twice in <{tag}>")
        found = Found(tag, {k: v or "" for k, v in attrs}, tuple(f.tag for f in self.open))
        self.page.elements.append(found)
        if tag not in VOID:
            self.open.append(found)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1].tag != tag:
            self.page.faults.append(f"</{tag}> inside {[f.tag for f in self.open[-3:]]}")
            return
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1].tag == "style":
            self.page.styles += data
            return
        for found in self.open:
            found.text += data


def parse(html: str) -> Page:
    parser = _Parser()
    parser.feed(html)
    parser.close()
    if parser.open:
        parser.page.faults.append(f"left open: {[f.tag for f in parser.open]}")
    return parser.page
