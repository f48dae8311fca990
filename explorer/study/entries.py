"""From an entry of the study file to a distribution.

An entry is a number, a text with a unit, or a table of keys.  The kind follows from the keys that are there,
unless ``distribution`` names it:

=================  ===========================================================
kind               keys
=================  ===========================================================
exact              value
normal             mean + sd, or mean + plus_minus (+ coverage, default 2)
truncated normal   the same, and low or high or both
lognormal          median + factor; by name also mean + sd
uniform            low + high; by name also mean + plus_minus
curvilinear        low + high + ends_within: a uniform one whose ends are known
trapezoid          only to within that
arcsine            by name: low + high, between which it swings
triangular         low + mode + high; by name also mean + plus_minus
pert               by name: low + mode + high
student t          readings
discrete           values + weights
empirical          values, or file (+ column); smooth = true for a smooth density
tabulated          table of [value, density], or cumulative of [value, probability]
=================  ===========================================================

Every number is bare, with ``unit`` beside it, or a text with its own unit.  "6.20 ± 0.04 kg" is a mean with
its plus_minus, alone or as value or mean of a table of keys, and a value with a spread beside it is a mean.
A spread in % of a quantity that is not a pure number is a share of its mean or median.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from explorer.errors import DistributionError, SquatlineError, did_you_mean
from explorer.graph.units import dimension_matches, parse, parse_spread, resolved, split, to_si, with_spread
from explorer.study.columns import column_of
from explorer.study.distributions import Distribution, Exact, LogNormal, Normal, StudentT, TruncatedNormal
from explorer.study.distributions_between_limits import (
    ArcSine,
    CurvilinearTrapezoid,
    Pert,
    Triangular,
    Uniform,
)
from explorer.study.distributions_of_values import Discrete, Empirical, Tabulated, smoothed

# Keys that say something about an entry without shaping its distribution.
ABOUT = ("distribution", "unit", "source", "note", "varies")
_ALIASES = {
    "rectangular": "uniform",
    "log normal": "lognormal",
    "t": "student t",
    "beta": "pert",
    "arc sine": "arcsine",
}


def read_distribution(entry: object, expected_unit: str, key: str, folder: Path) -> tuple[Distribution, str]:
    """Turn an entry of the study file into a distribution.

    Parameters
    ----------
    entry:
        Number, text with a unit, or mapping of keys.
    expected_unit:
        SI unit of the quantity.
    key:
        Name of the entry, for messages.
    folder:
        Folder that a ``file`` is looked for in.

    Returns
    -------
    tuple
        The distribution in SI, and the unit the builder used.

    Raises
    ------
    DistributionError
        When the keys or the numbers do not make a distribution.
    UnitError
        When a unit is missing, unknown or of another dimension.
    """
    try:
        entry = _as_meant(entry, expected_unit)
        if not isinstance(entry, Mapping):
            value, unit = parse(entry, None, expected_unit)
            return Exact(value), unit
        reader = _Entry(entry, expected_unit, folder)
        distribution = _form(entry).build(reader)
    except SquatlineError as error:
        if isinstance(error, DistributionError) and error.found is None and isinstance(entry, Mapping):
            error.found = _written(entry)
        error.within(key=key)
        raise
    else:
        return distribution, reader.unit_used


def read_spread(entry: Mapping[str, Any], key: str, expected_unit: str, about: float) -> tuple[float, str]:
    """Read a spread about a value that stands beside a distribution: in SI, and the unit it is written in.

    Raises
    ------
    UnitError
        When it is no number, or its unit is missing, unknown or of another dimension.
    """
    reader = _Entry(entry, expected_unit, Path())
    return reader.difference(key, about), reader.unit_used


def _as_meant(entry: object, expected: str) -> object:
    """Bring "6.20 ± 0.04 kg" and a value with a spread beside it to the keys of a mean and its spread."""
    keys = dict(entry) if isinstance(entry, Mapping) else {"mean": entry}
    if "mean" not in keys and "value" in keys:
        pair = with_spread(keys["value"], expected)
        if pair or keys.keys() & {"sd", "plus_minus"}:
            keys["mean"] = keys.pop("value")
    pair = with_spread(keys.get("mean"), expected)
    if pair is None:
        return keys if isinstance(entry, Mapping) else entry
    if twice := [key for key in ("sd", "plus_minus") if key in keys]:
        raise DistributionError(
            "the spread is given twice",
            found=f"{keys['mean']!r} and {twice[0]}",
            remedy=f"leave out {twice[0]}, or ± and what follows it",
        )
    return keys | {"mean": pair[0], "plus_minus": pair[1]}


@dataclass
class _Entry:
    """Reads the numbers of one entry into SI, and remembers the unit they were written in."""

    keys: Mapping[str, Any]
    expected: str
    folder: Path
    seen: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        unit = self.keys.get("unit")
        if unit is not None:
            if not isinstance(unit, str):
                raise DistributionError("a unit is a text", found=repr(unit), allowed='unit = "mm"')
            to_si(0.0, unit, self.expected)

    @property
    def unit(self) -> str | None:
        unit: str | None = self.keys.get("unit")
        return unit and resolved(unit, self.expected)

    @property
    def unit_used(self) -> str:
        return self.unit or (self.seen[0] if self.seen else self.expected)

    def value(self, key: str) -> float:
        """Read one value."""
        return self._one(self.keys[key])

    def _one(self, raw: object) -> float:
        value, used = parse(raw, self.unit, self.expected)
        self.seen.append(used)
        return value

    def bound(self, key: str, otherwise: float) -> float:
        """Read a bound that may be left out."""
        return self.value(key) if key in self.keys else otherwise

    def values(self, key: str) -> tuple[float, ...]:
        """Read a list of values."""
        return tuple(self._one(raw) for raw in self._list(key))

    def numbers(self, key: str) -> tuple[float, ...]:
        """Read a list of bare numbers."""
        return tuple(_bare(raw, key) for raw in self._list(key))

    def rows(self, key: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Read rows of a value and a bare number, as two columns."""
        rows = self._list(key)
        if not all(isinstance(row, list | tuple) and len(row) == 2 for row in rows):
            raise DistributionError(
                f"a row of '{key}' is not a pair", allowed=f"{key} = [[1.0, 0.5], [2.0, 1.5]]"
            )
        return tuple(self._one(row[0]) for row in rows), tuple(_bare(row[1], key) for row in rows)

    def _list(self, key: str) -> list[Any]:
        raw = self.keys[key]
        if not isinstance(raw, list | tuple):
            raise DistributionError(f"'{key}' is a list", found=repr(raw), allowed=f"{key} = [1.0, 2.0, 3.0]")
        return list(raw)

    def spread(self, about: float) -> float:
        """Read the standard uncertainty: sd, or plus_minus over its coverage (JCGM 100:2008, 6.2.1)."""
        if "sd" in self.keys:
            return self.difference("sd", about)
        coverage = _bare(self.keys.get("coverage", 2), "coverage")
        if not 0 < coverage < math.inf:
            raise DistributionError("a coverage factor is above zero", allowed="coverage = 2 for about 95 %")
        return self.difference("plus_minus", about) / coverage

    def half_width(self, about: float) -> float:
        """Read plus_minus as the half width of a limited distribution (JCGM 100:2008, 4.3.7 and 4.3.9)."""
        half = self.difference("plus_minus", about)
        if half <= 0:
            raise DistributionError("a half width is above zero", allowed="plus_minus above zero")
        return half

    def difference(self, key: str, about: float) -> float:
        """Read a difference, as a number or a share of what it is about."""
        raw = self.keys[key]
        if self._is_share(raw):
            number, _ = split(raw, None, "1")
            return number / 100 * abs(about)
        difference, used = parse_spread(raw, self.unit, self.expected)
        self.seen.append(used)
        return difference

    def _is_share(self, raw: object) -> bool:
        if not (isinstance(raw, str) and raw.rstrip().endswith("%")) or dimension_matches("%", self.expected):
            return False
        if dimension_matches("K", self.expected):
            raise DistributionError(
                "a share of a temperature depends on where its zero lies",
                found=raw,
                allowed="a spread in degC, K or degF",
            )
        return True

    def listed(self) -> tuple[float, ...]:
        """Read the values of an empirical distribution, from the entry or from its file."""
        if "values" in self.keys:
            return self.values("values")
        path = self.folder / str(self.keys["file"])
        column = self.keys.get("column")
        numbers = column_of(path, None if column is None else str(column))
        return tuple(self._one(number) for number in numbers)


def _bare(raw: object, key: str) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not math.isfinite(raw):
        raise DistributionError(
            f"'{key}' takes plain numbers", found=repr(raw), allowed="a number without a unit"
        )
    return float(raw)


def _normal(entry: _Entry) -> Distribution:
    mean = entry.value("mean")
    return Normal(mean, entry.spread(mean))


def _truncated(entry: _Entry) -> Distribution:
    mean = entry.value("mean")
    low, high = entry.bound("low", -math.inf), entry.bound("high", math.inf)
    return TruncatedNormal(mean, entry.spread(mean), low, high)


def _lognormal(entry: _Entry) -> Distribution:
    if "median" in entry.keys:
        return LogNormal.from_median_factor(entry.value("median"), _bare(entry.keys["factor"], "factor"))
    mean = entry.value("mean")
    return LogNormal.from_mean_sd(mean, entry.spread(mean))


def _uniform(entry: _Entry) -> Distribution:
    if "mean" in entry.keys:
        middle = entry.value("mean")
        half = entry.half_width(middle)
        return Uniform(middle - half, middle + half)
    return Uniform(entry.value("low"), entry.value("high"))


def _trapezoid(entry: _Entry) -> Distribution:
    low, high = entry.value("low"), entry.value("high")
    return CurvilinearTrapezoid(low, high, entry.difference("ends_within", (low + high) / 2))


def _arcsine(entry: _Entry) -> Distribution:
    return ArcSine(entry.value("low"), entry.value("high"))


def _triangular(entry: _Entry) -> Distribution:
    if "mean" in entry.keys:
        middle = entry.value("mean")
        half = entry.half_width(middle)
        return Triangular(middle - half, middle, middle + half)
    return Triangular(entry.value("low"), entry.value("mode"), entry.value("high"))


def _pert(entry: _Entry) -> Distribution:
    return Pert(entry.value("low"), entry.value("mode"), entry.value("high"))


def _student(entry: _Entry) -> Distribution:
    return StudentT.from_readings(entry.values("readings"))


def _discrete(entry: _Entry) -> Distribution:
    values = entry.values("values")
    return Discrete(values, entry.numbers("weights") if "weights" in entry.keys else (1.0,) * len(values))


def _empirical(entry: _Entry) -> Distribution:
    smooth = entry.keys.get("smooth", False)
    if not isinstance(smooth, bool):
        raise DistributionError("'smooth' is true or false", found=repr(smooth), allowed="smooth = true")
    values = entry.listed()
    return smoothed(values) if smooth else Empirical(values)


def _tabulated(entry: _Entry) -> Distribution:
    if "table" in entry.keys:
        return Tabulated.from_densities(*entry.rows("table"))
    return Tabulated.from_cumulative(*entry.rows("cumulative"))


@dataclass(frozen=True)
class _EntryForm:
    """One way to write a distribution: the keys it needs, those it may have, and how to build it."""

    kind: str
    needs: tuple[str, ...]
    build: Callable[[_Entry], Distribution]
    may: tuple[str, ...] = ()
    by_name_only: bool = False

    def fits(self, keys: set[str]) -> bool:
        return set(self.needs) <= keys <= {*self.needs, *self.may}

    @property
    def written(self) -> str:
        optional = f" (+ {', '.join(self.may)})" if self.may else ""
        return " + ".join(self.needs) + optional


_FORMS = (
    _EntryForm("exact", ("value",), lambda entry: Exact(entry.value("value"))),
    _EntryForm("normal", ("mean", "sd"), _normal),
    _EntryForm("normal", ("mean", "plus_minus"), _normal, ("coverage",)),
    _EntryForm("truncated normal", ("mean", "sd"), _truncated, ("low", "high")),
    _EntryForm("truncated normal", ("mean", "plus_minus"), _truncated, ("coverage", "low", "high")),
    _EntryForm("lognormal", ("median", "factor"), _lognormal),
    _EntryForm("lognormal", ("mean", "sd"), _lognormal, by_name_only=True),
    _EntryForm("lognormal", ("mean", "plus_minus"), _lognormal, ("coverage",), by_name_only=True),
    _EntryForm("uniform", ("low", "high"), _uniform),
    _EntryForm("uniform", ("mean", "plus_minus"), _uniform, by_name_only=True),
    _EntryForm("curvilinear trapezoid", ("low", "high", "ends_within"), _trapezoid),
    _EntryForm("arcsine", ("low", "high"), _arcsine, by_name_only=True),
    _EntryForm("triangular", ("low", "mode", "high"), _triangular),
    _EntryForm("triangular", ("mean", "plus_minus"), _triangular, by_name_only=True),
    _EntryForm("pert", ("low", "mode", "high"), _pert, by_name_only=True),
    _EntryForm("student t", ("readings",), _student),
    _EntryForm("discrete", ("values", "weights"), _discrete),
    _EntryForm("discrete", ("values",), _discrete, by_name_only=True),
    _EntryForm("empirical", ("values",), _empirical, ("smooth",)),
    _EntryForm("empirical", ("file",), _empirical, ("column", "smooth")),
    _EntryForm("tabulated", ("table",), _tabulated),
    _EntryForm("tabulated", ("cumulative",), _tabulated),
)
KINDS = tuple(dict.fromkeys(form.kind for form in _FORMS))
KEYS = tuple(dict.fromkeys(key for form in _FORMS for key in (*form.needs, *form.may)))


# What others call a key.
_OTHER_WORDS = {
    **dict.fromkeys(("min", "minimum", "from", "lower"), "low"),
    **dict.fromkeys(("max", "maximum", "to", "upper"), "high"),
    **dict.fromkeys(("sigma", "std", "stdev", "deviation"), "sd"),
    **dict.fromkeys(("tolerance", "tol", "error", "uncertainty", "pm"), "plus_minus"),
    **dict.fromkeys(("average", "avg", "nominal"), "mean"),
    **dict.fromkeys(("likely", "typical", "best"), "mode"),
}


def _form(entry: Mapping[str, Any]) -> _EntryForm:
    """Choose the form an entry is written in."""
    keys = set(entry) - set(ABOUT)
    for name in entry:
        if name not in (*KEYS, *ABOUT):
            raise DistributionError(
                f"there is no key {str(name)!r} here",
                found=str(name),
                allowed=", ".join((*KEYS, *ABOUT)),
                remedy=did_you_mean(
                    _OTHER_WORDS.get(str(name).lower(), name),
                    (*KEYS, *ABOUT),
                    "say how well it is known by sd, by plus_minus (two sd), or by low and high",
                ),
            )
    kind = _named_kind(entry.get("distribution"))
    forms = [form for form in _FORMS if (not form.by_name_only if kind is None else form.kind == kind)]
    for form in forms:
        if form.fits(keys):
            return form
    raise DistributionError(
        "these keys do not make a distribution" if kind is None else f"these keys do not make a {kind} one",
        found=_written(entry) or "nothing",
        allowed="; ".join(form.written for form in forms),
        remedy=_repair(forms, keys),
    )


def _named_kind(name: object) -> str | None:
    if name is None:
        return None
    said = str(name).strip().lower().replace("_", " ").replace("-", " ")
    kind = _ALIASES.get(said, said)
    if kind not in KINDS:
        raise DistributionError(
            f"there is no distribution {str(name)!r}",
            found=str(name),
            allowed=", ".join(KINDS),
            remedy=did_you_mean(said, (*KINDS, *_ALIASES)),
        )
    return kind


def _repair(forms: list[_EntryForm], keys: set[str]) -> str:
    """Say the smallest change that makes the keys one of the forms."""

    def change(form: _EntryForm) -> tuple[set[str], set[str]]:
        return set(form.needs) - keys, keys - {*form.needs, *form.may}

    near = [form for form in forms if keys & {*form.needs, *form.may}]
    if not near:
        return "add value, or mean and sd, or low and high"
    missing, extra = min(
        (change(form) for form in near), key=lambda sets: (len(sets[0]) + len(sets[1]), len(sets[1]))
    )
    steps = [
        f"{verb} {', '.join(sorted(names))}"
        for verb, names in (("add", missing), ("leave out", extra))
        if names
    ]
    return " and ".join(steps)


def _written(entry: Mapping[str, Any]) -> str:
    """Repeat an entry as the builder wrote it, without what is only said about it."""
    text = ", ".join(f"{key} = {value!r}" for key, value in entry.items() if key not in ("source", "note"))
    return text if len(text) <= 200 else f"{text[:197]}..."
