"""What a survey file holds besides photos, marks, sightings and notes: a row for each kind.

One place says how each is called, where it stands in `corromap.survey.Survey`,
and how it is written and read, so that file, log, folder and digest agree.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, TypeVar

import numpy as np

from corromap.by_hand import HandFinding, HandKind, SettledView, Settlement, ShellCheck, ShellKind
from corromap.control import MeasuredLength, PhotoTie, ScaleSighting
from corromap.errors import InterchangeError, InvalidValueError
from corromap.frames import (
    DatumId,
    FloatArray,
    HandFindingId,
    LengthId,
    MarkId,
    PanelId,
    PhotoId,
    ScaleId,
    SettlementId,
    ShellCheckId,
    TieId,
)
from corromap.io.document_fields import Document, Fields, checked_sha256, found, number

__all__ = ["KINDS", "Kind", "earlier_document", "parse_earlier", "photos_of"]

_Value = TypeVar("_Value")


@dataclass(frozen=True, slots=True)
class Kind:
    """How things of one kind are called, written and read.

    Parameters
    ----------
    name : str
        In the log.
    key : str
        Of the list in the survey document, and of the field of `Survey`.
    title : str
        In words, for the log.
    write : callable
        Value to document.
    read : callable
        (document, path to it) to value; raises `InterchangeError`.
    """

    name: str
    key: str
    title: str
    write: Callable[[Any], Document]
    read: Callable[[object, str], Any]


def _made(where: str, make: Callable[[], _Value]) -> _Value:
    try:
        return make()
    except InvalidValueError as error:
        raise InterchangeError(f"{where}: {error}") from error


def points(given: Fields, key: str) -> FloatArray:
    """Take a list of points [x, y]."""
    where = f"{given.where}.{key}"
    rows = []
    for i, value in enumerate(given.items(key)):
        if not isinstance(value, list) or len(value) != 2:
            raise InterchangeError(f"{where}[{i}]: expected a point [x, y], found {found(value)}")
        rows.append([number(value[0], f"{where}[{i}][0]"), number(value[1], f"{where}[{i}][1]")])
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _point(given: Fields, key: str) -> FloatArray:
    value = given.take(key)
    where = f"{given.where}.{key}"
    if not isinstance(value, list) or len(value) != 2:
        raise InterchangeError(f"{where}: expected a point [x, y], found {found(value)}")
    return np.array([number(value[0], f"{where}[0]"), number(value[1], f"{where}[1]")])


def _truth_or_none(given: Fields, key: str) -> bool | None:
    value = given.take(key) if given.has(key) else None
    given.drop(key)
    if value is not None and not isinstance(value, bool):
        raise InterchangeError(f"{given.where}.{key}: expected true or false, found {found(value)}")
    return value


def _photo_or_none(given: Fields) -> PhotoId | None:
    photo = given.id_or_none("photo")
    return PhotoId(photo) if photo else None


def _who(given: Fields) -> tuple[str, str, str]:
    return given.text("note", ""), given.text("author", ""), given.text("at", "")


def _plain(value: Any) -> Document:  # noqa: ANN401  # a frozen dataclass of ours
    document = asdict(value)
    return {key: item.tolist() if isinstance(item, np.ndarray) else _word(item) for key, item in document.items()}


def _word(item: object) -> object:
    return str(item) if isinstance(item, HandKind | ShellKind | SettledView) else item


def _hand_finding_document(finding: HandFinding) -> Document:
    names = ("id", "kind", "panel", "thickness_mm", "photo", "note", "author", "at")
    return {name: _word(getattr(finding, name)) for name in names} | {"at_mm": finding.at_mm.tolist()}


def _read_hand_finding(value: object, where: str) -> HandFinding:
    given = Fields(value, where)
    ids = HandFindingId(given.id("id")), given.choice("kind", HandKind), PanelId(given.id("panel"))
    at, thickness, photo = _point(given, "at_mm"), given.number_or_none("thickness_mm"), _photo_or_none(given)
    who = _who(given)
    given.done()
    return _made(where, lambda: HandFinding(*ids, at, thickness, photo, *who))


def _read_shell_check(value: object, where: str) -> ShellCheck:
    given = Fields(value, where)
    ids = ShellCheckId(given.id("id")), given.choice("kind", ShellKind), given.text("place", longest=60)
    lengths = given.number_or_none("ground_mm"), given.number_or_none("raised_mm")
    seen, photo, who = _truth_or_none(given, "found"), _photo_or_none(given), _who(given)
    given.done()
    return _made(where, lambda: ShellCheck(*ids, *lengths, seen, photo, *who))


def _read_settlement(value: object, where: str) -> Settlement:
    given = Fields(value, where)
    ids = SettlementId(given.id("id")), MarkId(given.id("mark")), PhotoId(given.id("photo"))
    view, who = given.choice("view", SettledView), _who(given)
    given.done()
    return Settlement(*ids, view, *who)


def _tie_document(tie: PhotoTie) -> Document:
    names = ("id", "known", "new", "panel", "sigma_px", "author", "at")
    points_px = {"known_px": tie.known_px.tolist(), "new_px": tie.new_px.tolist()}
    return {name: getattr(tie, name) for name in names} | points_px


def _read_tie(value: object, where: str) -> PhotoTie:
    given = Fields(value, where)
    ids = TieId(given.id("id")), PhotoId(given.id("known")), PhotoId(given.id("new"))
    panel = given.id_or_none("panel")
    known, new, sigma = points(given, "known_px"), points(given, "new_px"), given.number("sigma_px")
    who = given.text("author", ""), given.text("at", "")
    given.done()
    return _made(where, lambda: PhotoTie(*ids, PanelId(panel) if panel else None, known, new, sigma, *who))


def _read_length(value: object, where: str) -> MeasuredLength:
    given = Fields(value, where)
    ids = LengthId(given.id("id")), DatumId(given.id("first")), DatumId(given.id("second"))
    sizes = given.number("length_mm"), given.number("sigma_mm", 2.0)
    note = given.text("note", "")
    given.done()
    return _made(where, lambda: MeasuredLength(*ids, *sizes, note))


def _scale_document(scale: ScaleSighting) -> Document:
    names = ("id", "photo", "panel", "sigma_mm", "note")
    return {name: getattr(scale, name) for name in names} | {
        "at_px": scale.at_px.tolist(),
        "at_mm": scale.at_mm.tolist(),
    }


def _read_scale(value: object, where: str) -> ScaleSighting:
    given = Fields(value, where)
    ids = ScaleId(given.id("id")), PhotoId(given.id("photo")), PanelId(given.id("panel"))
    at_px, at_mm, sigma = points(given, "at_px"), points(given, "at_mm"), given.number("sigma_mm", 0.3)
    note = given.text("note", "")
    given.done()
    return _made(where, lambda: ScaleSighting(*ids, at_px, at_mm, sigma, note))


KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("hand_finding", "hand_findings", "finding by hand", _hand_finding_document, _read_hand_finding),
        Kind("shell_check", "shell_checks", "shell check", _plain, _read_shell_check),
        Kind("settlement", "settlements", "answer to a disagreement", _plain, _read_settlement),
        Kind("tie", "ties", "tie between photos", _tie_document, _read_tie),
        Kind("length", "lengths", "measured length", _plain, _read_length),
        Kind("scale", "scales", "scale in a photo", _scale_document, _read_scale),
    )
}
"""By name, in the order in which they are written."""


def photos_of(value: object) -> tuple[PhotoId, ...]:
    """Photos without which a thing makes no sense.

    Parameters
    ----------
    value : object
        Of one of `KINDS`.

    Returns
    -------
    tuple of PhotoId
        A finding's photo only illustrates it and does not count.
    """
    if isinstance(value, PhotoTie):
        return value.known, value.new
    return (value.photo,) if isinstance(value, Settlement | ScaleSighting) else ()


def earlier_document(sha256: str) -> Document:
    """Which sealed record a survey follows, as a document."""
    return {"sha256": sha256}


def parse_earlier(value: object, where: str) -> str:
    """Read which sealed record a survey follows.

    Raises
    ------
    InterchangeError
        With the path to the fault.
    """
    given = Fields(value, where)
    sha256 = given.text("sha256", "")
    given.done()
    return checked_sha256(sha256, f"{where}.sha256") if sha256 else ""
