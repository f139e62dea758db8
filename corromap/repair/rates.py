"""The policy of cuts and the rates of work, as data with units and sources."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from corromap.errors import RatesError
from corromap.repair.result import Range
from corromap.template import Part

__all__ = ["POLICY", "RATES", "Rate", "Rates", "Setting", "SheetRate"]

POLICY: Mapping[str, tuple[str, float, float]] = MappingProxyType(
    {
        "margin": ("mm", 0, 200),
        "snap": ("mm", 0, 200),
        "gap": ("mm", 0, 500),
        "whole_share": ("%", 1, 100),
        "flange": ("mm", 0, 100),
        "plug_pitch": ("mm", 5, 200),
        "sheet_width": ("mm", 100, 5000),
        "sheet_length": ("mm", 100, 10000),
        "cut_gap": ("mm", 0, 50),
    }
)
"""What the policy sets: unit, smallest and largest value."""

RATES: Mapping[str, tuple[str, float]] = MappingProxyType(
    {
        "labour": ("money/h", 1e7),
        "seam": ("h/m", 50),
        "plug": ("h/plug", 5),
        "piece": ("h/piece", 200),
        "whole_zone": ("h/zone", 1000),
        "clean": ("h/m2", 500),
        "protect": ("h/zone", 200),
        "shell": ("h/car", 1000),
        "consumables": ("money/m", 1e6),
        "protection": ("money/zone", 1e7),
    }
)
"""What the rates set: unit and largest value; the smallest is 0."""

ACCESS_UNIT, ACCESS_TOP = "h/side", 1000.0
SHEET_UNIT, SHEET_TOP = "money/m2", 1e7
_CURRENCY = re.compile(r"[A-Z]{3}")
_Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Setting:
    """One value of the policy.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        As `POLICY` says.
    source : str
        A published text with its place, or common practice.
    """

    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Rate:
    """One rate of work or money.

    Parameters
    ----------
    low, high : float
        In `unit`, 0 <= low <= high.
    unit : str
        As `RATES` says.
    source : str
        A published text with its place, or common practice.
    """

    low: float
    high: float
    unit: str
    source: str

    @property
    def range(self) -> Range:
        """Both ends."""
        return Range(self.low, self.high)


@dataclass(frozen=True, slots=True)
class SheetRate:
    """Price of sheet up to a thickness.

    Parameters
    ----------
    up_to_mm : float
        Thickness it holds for, and for thinner sheet with no rate of its own.
    rate : Rate
        Money a square metre.
    """

    up_to_mm: float
    rate: Rate


@dataclass(frozen=True, slots=True)
class Rates:
    """Policy and rates in force for a repair plan.

    Parameters
    ----------
    id, name : str
        As printed.
    version : int
        Raised at every change.
    currency : str
        Three capital letters.
    policy : mapping of str to Setting
        Every key of `POLICY`.
    work : mapping of str to Rate
        Every key of `RATES`.
    access : mapping of Part to Rate
        Hours to lay a part bare and to put back what was in the way, once for
        each side of the car.
    sheet : tuple of SheetRate
        Thinnest first, at least one.
    """

    id: str
    name: str
    version: int
    currency: str
    policy: Mapping[str, Setting]
    work: Mapping[str, Rate]
    access: Mapping[Part, Rate]
    sheet: tuple[SheetRate, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, object]) -> Rates:
        """Read rates from their parsed file.

        Parameters
        ----------
        document : mapping
            As in ``rates.toml``.

        Returns
        -------
        Rates
            The rates.

        Raises
        ------
        RatesError
            Naming the place, what was expected and what was found.
        """
        _check_keys(document, ("id", "name", "version", "currency", "policy", "rate", "access", "sheet"), ())
        version = document["version"]
        if not isinstance(version, int) or isinstance(version, bool) or version < 1:
            raise RatesError(f"version: expected a whole number from 1, found {version!r:.60}", ("version",))
        currency = document["currency"]
        if not isinstance(currency, str) or not _CURRENCY.fullmatch(currency):
            raise RatesError(f"currency: expected three capital letters, found {currency!r:.60}", ("currency",))
        policy, work = _table(document, "policy"), _table(document, "rate")
        access = _table(document, "access")
        _check_keys(policy, tuple(POLICY), ("policy",))
        _check_keys(work, tuple(RATES), ("rate",))
        _check_keys(access, tuple(part.value for part in Part), ("access",))
        return cls(
            _text(document["id"], ("id",)),
            _text(document["name"], ("name",)),
            version,
            currency,
            {name: _setting(policy[name], *POLICY[name], ("policy", name)) for name in POLICY},
            {name: _rate(work[name], *RATES[name], ("rate", name)) for name in RATES},
            {part: _rate(access[part.value], ACCESS_UNIT, ACCESS_TOP, ("access", part.value)) for part in Part},
            _sheet(document["sheet"]),
        )

    def to_document(self) -> dict[str, object]:
        """Write the rates as plain data.

        Returns
        -------
        dict
            What `from_document` reads back to equal rates.
        """
        return {
            "id": self.id,
            "name": self.name,
            "version": self.version,
            "currency": self.currency,
            "policy": {n: {"value": s.value, "unit": s.unit, "source": s.source} for n, s in self.policy.items()},
            "rate": {name: _plain(rate) for name, rate in self.work.items()},
            "access": {part.value: _plain(rate) for part, rate in self.access.items()},
            "sheet": [{"up_to_mm": s.up_to_mm, **_plain(s.rate)} for s in self.sheet],
        }

    def sheet_rate(self, thickness_mm: float) -> Range:
        """Price of sheet of a thickness, money a square metre.

        Parameters
        ----------
        thickness_mm : float
            Nominal.

        Returns
        -------
        Range
            Of the first rate that reaches so far; of the thickest one beyond.
        """
        found = next((s for s in self.sheet if thickness_mm <= s.up_to_mm + 1e-9), self.sheet[-1])
        return found.rate.range

    def departures_from(self, standard: Rates) -> tuple[str, ...]:
        """Say in words where these rates differ from others.

        Parameters
        ----------
        standard : Rates
            Usually the default rates.

        Returns
        -------
        tuple of str
            One sentence a difference.
        """
        said = [] if self.currency == standard.currency else [f"currency: {self.currency}, not {standard.currency}"]
        said += [
            f"{name.replace('_', ' ')}: {mine.value:g} {mine.unit} instead of {standard.policy[name].value:g}"
            for name, mine in self.policy.items()
            if mine.value != standard.policy[name].value
        ]
        rates = {**self.work, **{f"access to {part.value}": rate for part, rate in self.access.items()}}
        usual = {**standard.work, **{f"access to {part.value}": rate for part, rate in standard.access.items()}}
        said += [
            f"{name.replace('_', ' ')}: {rate.low:g} to {rate.high:g} {rate.unit} instead of "
            f"{usual[name].low:g} to {usual[name].high:g}"
            for name, rate in rates.items()
            if rate.range != usual[name].range
        ]
        if [(s.up_to_mm, s.rate.range) for s in self.sheet] != [(s.up_to_mm, s.rate.range) for s in standard.sheet]:
            said.append("prices of sheet differ")
        return tuple(said)


def _plain(rate: Rate) -> dict[str, object]:
    return {"low": rate.low, "high": rate.high, "unit": rate.unit, "source": rate.source}


def _named(path: _Path) -> str:
    words = [f"{part} {nxt}" if isinstance(nxt, int) else part for part, nxt in zip(path, (*path[1:], ""), strict=True)
             if isinstance(part, str)]  # fmt: skip
    return ".".join(words)


def _table(document: Mapping[str, object], name: str) -> Mapping[str, object]:
    found = document[name]
    if not isinstance(found, Mapping):
        raise RatesError(f"{name}: expected a table, found {found!r:.60}", (name,))
    return found


def _check_keys(table: Mapping[str, object], expected: tuple[str, ...], path: _Path) -> None:
    where = f"{_named(path)}: " if path else ""
    unknown = sorted(set(table) - set(expected))
    if unknown:
        known = ", ".join(expected)
        raise RatesError(f"{where}unknown key '{unknown[0]:.60}'; known are {known}", (*path, unknown[0]))
    missing = [name for name in expected if name not in table]
    if missing:
        raise RatesError(f"{where}'{missing[0]}' is missing", path)


def _text(value: object, path: _Path) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 2000:
        raise RatesError(f"{_named(path)}: expected text of 1 to 2000 characters, found {value!r:.60}", path)
    return value


def _number(value: object, low: float, high: float, unit: str, path: _Path) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not math.isfinite(float(str(value))) or not (low <= float(str(value)) <= high):
        raise RatesError(f"{_named(path)}: expected {low:g} to {high:g} {unit}, found {value!r:.60}", path)
    return float(str(value))


def _unit(entry: Mapping[str, object], unit: str, path: _Path) -> str:
    if entry["unit"] != unit:
        raise RatesError(f"{_named(path)}.unit: expected '{unit}', found {entry['unit']!r:.60}", (*path, "unit"))
    return unit


def _entry(value: object, keys: tuple[str, ...], path: _Path) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise RatesError(f"{_named(path)}: expected a table with {', '.join(keys)}, found {value!r:.60}", path)
    _check_keys(value, keys, path)
    return value


def _setting(value: object, unit: str, low: float, high: float, path: _Path) -> Setting:
    entry = _entry(value, ("value", "unit", "source"), path)
    return Setting(
        _number(entry["value"], low, high, unit, (*path, "value")),
        _unit(entry, unit, path),
        _text(entry["source"], (*path, "source")),
    )


def _rate(value: object, unit: str, top: float, path: _Path) -> Rate:
    return _rate_of(_entry(value, ("low", "high", "unit", "source"), path), unit, top, path)


def _rate_of(entry: Mapping[str, object], unit: str, top: float, path: _Path) -> Rate:
    low = _number(entry["low"], 0, top, unit, (*path, "low"))
    high = _number(entry["high"], 0, top, unit, (*path, "high"))
    if low > high:
        raise RatesError(f"{_named(path)}: low {low:g} is more than high {high:g}", (*path, "low"))
    return Rate(low, high, _unit(entry, unit, path), _text(entry["source"], (*path, "source")))


def _sheet(value: object) -> tuple[SheetRate, ...]:
    if not isinstance(value, list | tuple) or not value:
        raise RatesError("sheet: expected at least one thickness", ("sheet",))
    found: list[SheetRate] = []
    for number, one in enumerate(value, start=1):
        path = ("sheet", number)
        entry = _entry(one, ("up_to_mm", "low", "high", "unit", "source"), path)
        up_to = _number(entry["up_to_mm"], 0.1, 10, "mm", (*path, "up_to_mm"))
        if found and up_to <= found[-1].up_to_mm:
            raise RatesError(
                f"sheet {number}.up_to_mm: thinnest first: expected more than {found[-1].up_to_mm:g}, found {up_to:g}",
                (*path, "up_to_mm"),
            )
        found.append(SheetRate(up_to, _rate_of(entry, SHEET_UNIT, SHEET_TOP, path)))
    return tuple(found)
