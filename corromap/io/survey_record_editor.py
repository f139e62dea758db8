"""Edits of what stands beside photos and marks: findings by hand, ties, lengths, scales, rates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress

from corromap.by_hand import HandFinding, Settlement, ShellCheck
from corromap.control import MeasuredLength, PhotoTie, ScaleSighting
from corromap.errors import InterchangeError
from corromap.frames import HandFindingId, LengthId, ScaleId, SettlementId, ShellCheckId, TieId
from corromap.io import survey_edits as edits
from corromap.io import survey_kinds
from corromap.io.document_fields import Document
from corromap.io.json_text import canonical, parse
from corromap.io.survey_db import reading, writing
from corromap.io.survey_editor import SurveyEditor

__all__ = ["RecordEditor"]

_Value = HandFinding | ShellCheck | Settlement | PhotoTie | MeasuredLength | ScaleSighting


class RecordEditor(SurveyEditor):
    """A survey file with every edit; see `SurveyFile` and `SurveyEditor`.

    Each ``put_`` adds a thing or changes the one with its id, each ``remove_``
    takes one out; both return the new revision and raise `SurveyFileError` or
    `StaleSurveyError` when nothing could be saved.
    """

    def put_hand_finding(self, finding: HandFinding, *, expected_revision: int | None = None) -> int:
        """Add or change a finding by hand. Returns the new revision."""
        return self._put("hand_finding", [finding], expected_revision)

    def remove_hand_finding(self, finding: HandFindingId, *, expected_revision: int | None = None) -> int:
        """Take a finding by hand out. Returns the new revision."""
        return self._remove("hand_finding", [finding], expected_revision)

    def put_shell_check(self, check: ShellCheck, *, expected_revision: int | None = None) -> int:
        """Add or change a shell check. Returns the new revision."""
        return self._put("shell_check", [check], expected_revision)

    def remove_shell_check(self, check: ShellCheckId, *, expected_revision: int | None = None) -> int:
        """Take a shell check out. Returns the new revision."""
        return self._remove("shell_check", [check], expected_revision)

    def put_settlement(self, settlement: Settlement, *, expected_revision: int | None = None) -> int:
        """Record or change a person's word on a disagreement. Returns the new revision."""
        return self._put("settlement", [settlement], expected_revision)

    def remove_settlement(self, settlement: SettlementId, *, expected_revision: int | None = None) -> int:
        """Take a person's word on a disagreement back. Returns the new revision."""
        return self._remove("settlement", [settlement], expected_revision)

    def put_tie(self, tie: PhotoTie, *, expected_revision: int | None = None) -> int:
        """Accept a tie between two photos. Returns the new revision."""
        return self._put("tie", [tie], expected_revision)

    def put_ties(self, ties: Iterable[PhotoTie], *, expected_revision: int | None = None) -> int:
        """Accept several ties as one change. Returns the new revision."""
        return self._put("tie", list(ties), expected_revision)

    def remove_ties(self, ties: Iterable[TieId], *, expected_revision: int | None = None) -> int:
        """Take several ties out as one change. Returns the new revision."""
        return self._remove("tie", list(ties), expected_revision)

    def put_length(self, length: MeasuredLength, *, expected_revision: int | None = None) -> int:
        """Add or change a length measured on the car. Returns the new revision."""
        return self._put("length", [length], expected_revision)

    def remove_length(self, length: LengthId, *, expected_revision: int | None = None) -> int:
        """Take a measured length out. Returns the new revision."""
        return self._remove("length", [length], expected_revision)

    def put_scale(self, scale: ScaleSighting, *, expected_revision: int | None = None) -> int:
        """Add or change a scale seen in a photo. Returns the new revision."""
        return self._put("scale", [scale], expected_revision)

    def remove_scale(self, scale: ScaleId, *, expected_revision: int | None = None) -> int:
        """Take a scale out. Returns the new revision."""
        return self._remove("scale", [scale], expected_revision)

    def set_rates(self, rates: Mapping[str, object], *, expected_revision: int | None = None) -> int:
        """Change the repair plan's rates; an empty mapping goes back to the usual ones. Returns the new revision."""
        from corromap.io.rates import rates_from  # noqa: PLC0415  # most edits go without

        rates_from(rates)  # refuses what is no set of rates
        return self._set("rates", dict(rates), "rates of the repair plan changed", expected_revision)

    def set_earlier_record(self, sha256: str, *, expected_revision: int | None = None) -> int:
        """Say which sealed record of an earlier state this survey follows. Returns the new revision."""
        document: Document = survey_kinds.earlier_document(sha256)
        return self._set("earlier", document, "earlier sealed record named", expected_revision)

    def worked_out(self, name: str) -> dict[str, object]:
        """Read what was kept by `keep_worked_out`.

        Parameters
        ----------
        name : str
            What it is, for example ``quality``.

        Returns
        -------
        dict of str to object
            Documents by thing; whoever reads them checks them. What cannot be
            parsed is left out: it can be worked out again.
        """
        with reading(self.path) as conn:
            stored = conn.execute("SELECT thing, document FROM worked_out WHERE name = ?", (name,)).fetchall()
        found: dict[str, object] = {}
        for thing, document in stored:
            with suppress(InterchangeError):
                found[thing] = parse(document, f"worked out, {name}")
        return found

    def keep_worked_out(self, name: str, documents: Mapping[str, Document]) -> None:
        """Keep what was worked out from photo bytes, so that it need not be worked out again.

        It is not part of the survey: not logged, not undone, not exported.

        Parameters
        ----------
        name : str
            What it is.
        documents : mapping of str to dict
            By thing, for example a photo's SHA-256.

        Raises
        ------
        SurveyFileError
            If it could not be saved.
        """
        with writing(self.path) as conn:
            conn.executemany(
                "INSERT OR REPLACE INTO worked_out VALUES (?, ?, ?)",
                [(name, thing, canonical(document)) for thing, document in documents.items()],
            )

    def _put(self, name: str, values: Sequence[_Value], expected: int | None) -> int:
        kind = survey_kinds.KINDS[name]
        latest = {value.id: value for value in values}
        label = f"{kind.title} recorded" if len(latest) == 1 else f"{len(latest)} x {kind.title} recorded"
        return self._change(
            label,
            lambda conn: edits.placed_in_order(
                [edits.entry(conn, name, thing, kind.write(value)) for thing, value in latest.items()]
            ),
            expected,
        )

    def _remove(self, name: str, things: Sequence[str], expected: int | None) -> int:
        title = survey_kinds.KINDS[name].title
        label = f"{title} removed" if len(things) == 1 else f"{len(things)} x {title} removed"
        return self._change(label, lambda conn: [edits.removal(conn, name, thing) for thing in things], expected)
