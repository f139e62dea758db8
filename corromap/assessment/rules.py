"""Rules as data: what is read, the limit, where it applies, what it asks for."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import Enum, StrEnum
from string import Formatter
from typing import TypeVar

from corromap.assessment.measure_names import MeasureName, Scope, Unit
from corromap.errors import RuleSetError
from corromap.frames import ZoneId
from corromap.messages import message
from corromap.template import Role, Zone

__all__ = ["MeasureName", "OutcomeKind", "Rule", "RuleSet", "Scope", "Unit"]


class OutcomeKind(StrEnum):
    """What a rule or a whole survey comes to, mildest first."""

    CLEAR = "clear"
    NOT_SHOWN = "not shown"
    REPAIR = "repair"
    STOP = "stop"

    @property
    def severity(self) -> int:
        """0 for the mildest."""
        return list(OutcomeKind).index(self)


_ZONE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(-?\*)?")

SENTENCE_FIELDS = frozenset({"zone", "value", "limit", "low", "high"})


@dataclass(frozen=True, slots=True)
class Rule:
    """One limit with its source.

    Parameters
    ----------
    id : str
        Unique in the set.
    family : str
        Heading it is shown under.
    title : str
        What it is about, a few words.
    measure : MeasureName
        What it reads.
    at_least : float
        Met from this value on, in `unit`.
    unit : Unit
        Must be the measure's.
    scope : Scope
        Judged zone by zone, or over the whole underside.
    roles : tuple of Role
        Zones it applies to.
    outcome : OutcomeKind
        What it asks for when met.
    sentence : str
        Printed when met; may name ``{zone}``, ``{value}``, ``{limit}``,
        ``{low}`` and ``{high}``.
    source : str
        A published text with its section, or ``common practice``.
    house_rule : bool
        Whether the limit is the house's own: no published rule sets it.
    zones : tuple of str
        Zones it applies to among those of its roles: ids, or beginnings of
        ids followed by ``*`` (``sill-*``); empty for all. May be left out.
    """

    id: str
    family: str
    title: str
    measure: MeasureName
    at_least: float
    unit: Unit
    scope: Scope
    roles: tuple[Role, ...]
    outcome: OutcomeKind
    sentence: str
    source: str
    house_rule: bool
    zones: tuple[str, ...] = ()

    def applies_to(self, zone: Zone) -> bool:
        """Whether a zone is among those the rule applies to.

        Parameters
        ----------
        zone : Zone
            Of the body template.

        Returns
        -------
        bool
            By its role, and by its id where the rule names zones.
        """
        named = not self.zones or any(_names(pattern, zone.id) for pattern in self.zones)
        return named and zone.role in self.roles

    @classmethod
    def from_document(cls, document: Mapping[str, object], where: str) -> Rule:
        """Read one rule.

        Parameters
        ----------
        document : mapping
            As in the rule file.
        where : str
            Place in the file, for messages.

        Returns
        -------
        Rule
            The rule.

        Raises
        ------
        RuleSetError
            Naming the rule, the field, what was expected and what was found.
        """
        where = f"{where} ('{document.get('id', 'no id')}')"
        _check_fields(document, set(cls.__dataclass_fields__), where, optional=frozenset({"zones"}))
        measure = _member(MeasureName, document["measure"], f"{where}.measure")
        unit = _member(Unit, document["unit"], f"{where}.unit")
        if unit is not measure.unit:
            raise RuleSetError(f"{where}.unit: '{measure}' is given in '{measure.unit}', found '{unit}'")
        roles = document["roles"]
        if not isinstance(roles, list | tuple) or not roles:
            raise RuleSetError(f"{where}.roles: expected a list of roles, found {roles!r}")
        members = tuple(_member(Role, role, f"{where}.roles") for role in roles)
        scope = _scope(document["scope"], measure, members, where)
        return cls(
            id=_text(document["id"], f"{where}.id"),
            family=_text(document["family"], f"{where}.family"),
            title=_text(document["title"], f"{where}.title"),
            measure=measure,
            at_least=_limit(document["at_least"], unit, f"{where}.at_least"),
            unit=unit,
            scope=scope,
            roles=members,
            outcome=_asked(document["outcome"], measure, f"{where}.outcome"),
            sentence=_sentence(document["sentence"], f"{where}.sentence"),
            source=_text(document["source"], f"{where}.source"),
            house_rule=_flag(document["house_rule"], f"{where}.house_rule"),
            zones=_zones(document.get("zones", ()), scope, f"{where}.zones"),
        )


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The limits in force for a survey.

    Parameters
    ----------
    id, name : str
        As printed.
    version : int
        Raised at every change of a limit.
    rules : tuple of Rule
        At least one, with different ids.
    """

    id: str
    name: str
    version: int
    rules: tuple[Rule, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, object]) -> RuleSet:
        """Read a rule set from its parsed file.

        Parameters
        ----------
        document : mapping
            With ``id``, ``name``, ``version`` and ``rule``, a list.

        Returns
        -------
        RuleSet
            The set.

        Raises
        ------
        RuleSetError
            Naming the place and the fault.
        """
        _check_fields(document, {"id", "name", "version", "rule"}, "rule set")
        version, entries = document["version"], document["rule"]
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            raise RuleSetError(f"rule set.version: expected a whole number from 1, found {version!r}")
        if not isinstance(entries, list | tuple) or not entries:
            raise RuleSetError("rule set.rule: expected at least one rule")
        rules = []
        for number, entry in enumerate(entries, start=1):
            if not isinstance(entry, Mapping):
                raise RuleSetError(f"rule {number}: expected a table, found {entry!r:.60}")
            rules.append(Rule.from_document(entry, f"rule {number}"))
        ids = [rule.id for rule in rules]
        twice = sorted({i for i in ids if ids.count(i) > 1})
        if twice:
            raise RuleSetError(f"rule set: id '{twice[0]}' is used twice; give each rule its own")
        return cls(
            id=_text(document["id"], "rule set.id"),
            name=_text(document["name"], "rule set.name"),
            version=version,
            rules=tuple(rules),
        )

    def to_document(self) -> dict[str, object]:
        """Write the set as plain data.

        Returns
        -------
        dict
            What `from_document` reads back to an equal set.
        """
        entries = []
        for rule in self.rules:
            plain = {k: v.value if isinstance(v, Enum) else v for k, v in asdict(rule).items()}
            plain["roles"] = [role.value for role in rule.roles]
            plain.pop("zones")
            if rule.zones:
                plain["zones"] = list(rule.zones)
            entries.append(plain)
        return {"id": self.id, "name": self.name, "version": self.version, "rule": entries}

    def departures_from(self, standard: RuleSet) -> tuple[str, ...]:
        """Say in words where this set differs from another.

        Parameters
        ----------
        standard : RuleSet
            Usually the default set.

        Returns
        -------
        tuple of str
            One sentence a difference; empty if the rules are equal.
        """
        mine, theirs = {r.id: r for r in self.rules}, {r.id: r for r in standard.rules}
        said: list[str] = [
            message("'{rule}' is left out", rule=message(r.title)) for i, r in theirs.items() if i not in mine
        ]
        said += [
            message("'{rule}' is added: {limit}", rule=message(r.title), limit=_limit_text(r))
            for i, r in mine.items()
            if i not in theirs
        ]
        for rule_id in mine.keys() & theirs.keys():
            own, usual = mine[rule_id], theirs[rule_id]
            if own.at_least != usual.at_least:
                limits = {"own": _limit_text(own), "usual": _limit_text(usual)}
                said.append(message("'{rule}': {own} instead of {usual}", rule=message(own.title), **limits))
            elif own != usual:
                said.append(message("'{rule}' is worded or applied differently", rule=message(own.title)))
        return tuple(sorted(said))


def _limit_text(rule: Rule) -> str:
    return message("from {limit:g} {unit}", limit=rule.at_least, unit=message(rule.unit.value))


def _check_fields(
    document: Mapping[str, object], expected: set[str], where: str, optional: frozenset[str] = frozenset()
) -> None:
    missing = sorted(expected - optional - set(document))
    if missing:
        raise RuleSetError(f"{where}: '{missing[0]}' is missing")
    unknown = sorted(set(document) - expected)
    if unknown:
        raise RuleSetError(f"{where}: unknown field '{unknown[0]}'; known are {', '.join(sorted(expected))}")


_E = TypeVar("_E", bound=StrEnum)


def _member(kind: type[_E], value: object, where: str) -> _E:
    try:
        return kind(str(value))
    except ValueError:
        known = ", ".join(f"'{item.value}'" for item in kind)
        raise RuleSetError(f"{where}: expected one of {known}; found {value!r:.60}") from None


def _text(value: object, where: str) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 2000:
        raise RuleSetError(f"{where}: expected text of 1 to 2000 characters, found {value!r:.60}")
    return value


def _flag(value: object, where: str) -> bool:
    if not isinstance(value, bool):
        raise RuleSetError(f"{where}: expected true or false, found {value!r:.60}")
    return value


def _limit(value: object, unit: Unit, where: str) -> float:
    top = 100.0 if unit is Unit.PERCENT else 1e6
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not is_number or not (0 < float(str(value)) <= top):
        raise RuleSetError(f"{where}: expected more than 0 and at most {top:g} {unit}, found {value!r:.60}")
    return float(str(value))


def _names(pattern: str, zone: ZoneId) -> bool:
    return zone.startswith(pattern[:-1]) if pattern.endswith("*") else zone == pattern


def _zones(value: object, scope: Scope, where: str) -> tuple[str, ...]:
    if not isinstance(value, list | tuple):
        raise RuleSetError(f"{where}: expected a list of zone ids, found {value!r:.60}")
    for pattern in value:
        if not (isinstance(pattern, str) and _ZONE.fullmatch(pattern)):
            raise RuleSetError(f"{where}: expected a zone id such as 'floor-left' or 'sill-*', found {pattern!r:.60}")
    if value and scope is not Scope.ZONE:
        raise RuleSetError(f"{where}: zones can be named only where scope is 'zone'")
    return tuple(value)


def _scope(value: object, measure: MeasureName, roles: tuple[Role, ...], where: str) -> Scope:
    scope = _member(Scope, value, f"{where}.scope")
    if scope not in measure.scopes:
        raise RuleSetError(f"{where}.scope: '{measure}' is read over the whole underside: expected 'all'")
    if scope is Scope.ALL and set(roles) != set(Role) and (len(set(roles)) > 1 or measure.scopes == {Scope.ALL}):
        expected = "all three roles" if measure.scopes == {Scope.ALL} else "one role or all three"
        raise RuleSetError(f"{where}.roles: over the whole underside, expected {expected}, found {', '.join(roles)}")
    return scope


def _asked(value: object, measure: MeasureName, where: str) -> OutcomeKind:
    outcome = _member(OutcomeKind, value, where)
    if outcome is OutcomeKind.CLEAR:
        raise RuleSetError(f"{where}: a rule cannot ask for 'clear'; that is what is left when none is met")
    if measure.is_evidence != (outcome is OutcomeKind.NOT_SHOWN):
        raise RuleSetError(
            f"{where}: 'not shown' goes with the measures "
            + ", ".join(f"'{name}'" for name in MeasureName if name.is_evidence)
            + ", and they with no other outcome"
        )
    return outcome


def _sentence(value: object, where: str) -> str:
    text = _text(value, where)
    try:
        parts = [(name, spec, conversion) for _, name, spec, conversion in Formatter().parse(text) if name is not None]
    except ValueError as error:
        raise RuleSetError(f"{where}: {error}") from error
    for name, spec, conversion in parts:
        if name not in SENTENCE_FIELDS or spec or conversion:
            known = ", ".join(f"{{{field}}}" for field in sorted(SENTENCE_FIELDS))
            raise RuleSetError(f"{where}: unknown field '{{{name}}}'; known are {known}")
    return text
