"""A PDF taken apart by pypdf, which has not written it, for tests."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject


@dataclass
class Tagged:
    kind: str
    alt: str
    attributes: dict[str, object]
    children: tuple[Tagged, ...]

    def all(self, kind: str) -> list[Tagged]:
        found = [self] if self.kind == kind else []
        return found + [one for child in self.children for one in child.all(kind)]


class Pdf:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.reader = PdfReader(io.BytesIO(data), strict=True)
        self.root = self.reader.root_object

    @cached_property
    def text(self) -> str:
        """As printed, places to break inside words taken out."""
        return "\n".join(page.extract_text() for page in self.reader.pages).replace("\u200b", "")

    @property
    def headings(self) -> list[str]:
        def walk(items: list[object]) -> Iterator[str]:
            for item in items:
                if isinstance(item, list):
                    yield from walk(item)
                else:
                    yield str(item["/Title"])  # type: ignore[index]

        return list(walk(self.reader.outline))  # type: ignore[arg-type]

    @cached_property
    def tags(self) -> Tagged:
        return _tagged(self.root["/StructTreeRoot"])

    def objects(self) -> Iterator[object]:
        numbers = {*self.reader.xref_objStm, *(n for table in self.reader.xref.values() for n in table)} - {0}
        for number in sorted(numbers):
            found = self.reader.get_object(IndirectObject(number, 0, self.reader))
            if found is not None:
                yield found

    def dictionaries(self) -> Iterator[DictionaryObject]:
        for found in self.objects():
            if isinstance(found, DictionaryObject):
                yield found

    def streams(self) -> Iterator[bytes]:
        for found in self.objects():
            if isinstance(found, StreamObject):
                yield bytes(found._data)

    def keys(self) -> set[str]:
        """Every dictionary key anywhere: an action or a script would show."""
        seen: set[str] = set()

        def walk(value: object) -> None:
            if isinstance(value, DictionaryObject):
                seen.update(map(str, value))
                for item in value.values():
                    walk(item)
            elif isinstance(value, ArrayObject):
                for item in value:
                    walk(item)

        for found in self.objects():
            walk(found)
        return seen


def _tagged(element: object) -> Tagged:
    node = element.get_object() if isinstance(element, IndirectObject) else element
    assert isinstance(node, DictionaryObject)
    kids = node.get("/K", [])
    kids = kids.get_object() if isinstance(kids, IndirectObject) else kids
    listed = kids if isinstance(kids, ArrayObject) else [kids]
    inner = [kid.get_object() if isinstance(kid, IndirectObject) else kid for kid in listed]
    children = tuple(_tagged(kid) for kid in inner if isinstance(kid, DictionaryObject) and "/S" in kid)
    attributes = node.get("/A", {})
    attributes = attributes.get_object() if isinstance(attributes, IndirectObject) else attributes
    many = attributes if isinstance(attributes, ArrayObject) else [attributes]
    merged = {str(key): value for part in many if isinstance(part, DictionaryObject) for key, value in part.items()}
    return Tagged(str(node.get("/S", "")), str(node.get("/Alt", "")), merged, children)
