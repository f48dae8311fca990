"""Design variables: inputs the builder is free to choose, with their ranges, steps and spreads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from explorer.errors import StudyError, did_you_mean, unknown, with_file, with_key
from explorer.estimators.ranges import Range
from explorer.graph.arrays import Array
from explorer.graph.labels import label
from explorer.graph.units import parse, parse_spread
from explorer.results.exploration import VariableRecord
from explorer.study.builds import AS_IT_STANDS, Build, check_not_always_overridden
from explorer.study.distributions import Exact
from explorer.study.schema import DesignEntry
from explorer.study.study import Input, Study

# Finer steps than this are none.
MOST_STEPS = 10_000


@dataclass(frozen=True)
class Variable:
    """One input to choose (SI units).

    Attributes
    ----------
    name:
        The quantity.
    range:
        From where to where, and the values in it that can be had.
    given:
        The input as the program knows it: the distribution around the value chosen before.
    spread:
        What becomes of the uncertainty around a value: kept, scaled in proportion to it, or none.
    everywhere:
        Whether it takes the place of what conditions set, too.
    """

    name: str
    words: str
    range: Range
    unit: str
    display_unit: str
    given: Input
    spread: Literal["kept", "scaled", "none"] = "kept"
    everywhere: bool = False

    def at(self, value: float, drawn: Array | None) -> Array:
        """Return samples of the input when this value is chosen.

        Parameters
        ----------
        drawn:
            Samples around the value chosen before; None for an input that is exactly known.
        """
        if drawn is None:
            return np.asarray(value, float)
        before = float(self.given.distribution.nominal)
        return drawn * (value / before) if self.spread == "scaled" else drawn + (value - before)


def read_variables(study: Study, build: Build = AS_IT_STANDS) -> tuple[Variable, ...]:
    """Read the design variables of a study, around the values of one build.

    Raises
    ------
    StudyError
        When a variable is unknown, its range is empty or impossible, or no condition would use it.
    """
    with with_file(str(study.path)):
        return tuple(_variable(study, build, name, entry) for name, entry in study.entries.design.items())


def find_variable(variables: Iterable[Variable], name: str, key: str) -> Variable:
    """Return the design variable of a name.

    Raises
    ------
    StudyError
        When none is called so.
    """
    known = {variable.name: variable for variable in variables}
    if name not in known:
        raise unknown(
            "no design variable is called {}",
            name,
            known,
            key,
            otherwise=f"give its range as [design.{name}]",
        )
    return known[name]


def _variable(study: Study, build: Build, name: str, entry: DesignEntry) -> Variable:
    key = f"design.{name}"
    if name not in study.graph:
        listed = "'squatline explain --all' lists them"
        raise StudyError(
            f"no quantity is called {name!r}",
            key=key,
            found=name,
            remedy=did_you_mean(name, study.graph.quantities, listed),
        )
    check_not_always_overridden(study, name, key)
    quantity = study.graph[name]
    if quantity.table:
        raise StudyError("a table cannot be a design variable", key=key, found=name)
    with with_key(key):
        low, display = parse(entry.low, entry.unit, quantity.unit)
        high, _ = parse(entry.high, entry.unit, quantity.unit)
        step = None if entry.step is None else parse_spread(entry.step, entry.unit, quantity.unit)[0]
    _check_range(key, entry, low, high, step)
    for end in (low, high):
        if not quantity.allows(end):
            raise StudyError(
                "the range reaches beyond what is physically possible",
                key=key,
                found=f"{end:g} {quantity.unit}",
                allowed=quantity.allowed_range,
            )
    words = entry.words or label(name)
    given = chosen_input(study, build, name, (low + high) / 2, display, keep=entry.spread != "none")
    if entry.spread == "scaled" and float(given.distribution.nominal) == 0:
        raise StudyError("zero cannot be scaled", key=f"{key}.spread", allowed='"kept" or "none"')
    return Variable(name, words, Range(low, high, step), quantity.unit, display, given, entry.spread)


def _check_range(key: str, entry: DesignEntry, low: float, high: float, step: float | None) -> None:
    if low >= high:
        raise StudyError(
            "the range of a design variable is empty",
            key=key,
            found=f"low {entry.low}, high {entry.high}",
            allowed="a low end below the high end",
            remedy="swap them, or check their units",
        )
    if step is not None and not 0 < step <= high - low:
        raise StudyError(
            "no step fits into the range",
            key=f"{key}.step",
            found=entry.step,
            allowed=f"above zero, up to the width of the range, {entry.low} to {entry.high}",
        )
    if step is not None and high - low > MOST_STEPS * step:
        raise StudyError(
            "the range has too many steps",
            key=f"{key}.step",
            found=entry.step,
            allowed=f"up to {MOST_STEPS} of them",
            remedy="leave the step out where any value can be had",
        )


def chosen_input(
    study: Study, build: Build, name: str, otherwise: float, display_unit: str, *, keep: bool
) -> Input:
    """Return the input a program reads for a value that is chosen anew at every point.

    Parameters
    ----------
    otherwise:
        Value to stand in where the build gives none.
    keep:
        Whether the uncertainty of the build's own value stays around the one chosen.
    """
    before = build.overrides.get(name) or study.inputs.get(name)
    if keep and before is not None and not before.exact:
        return replace(before, key=f"{name}@design", follows=before.stream, chosen=True)
    return Input(f"{name}@design", name, Exact(otherwise), display_unit, chosen=True)


def record_of(study: Study, build: Build, variable: Variable) -> VariableRecord:
    """Describe a variable for the report, with the value it has in a build."""
    now = build.overrides.get(variable.name) or study.inputs.get(variable.name)
    return VariableRecord(
        name=variable.name,
        words=variable.words,
        low=variable.range.low,
        high=variable.range.high,
        step=variable.range.step,
        now=None if now is None else float(now.distribution.nominal),
        unit=variable.unit,
        display_unit=variable.display_unit,
        spread=variable.spread,
    )
