"""Inputs as they stand in a study file: read into distributions, and refused where physically impossible."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from explorer.errors import Faults, SquatlineError, StudyError, UnknownQuantityError
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity
from explorer.graph.units import from_si, to_si
from explorer.graph.written import percent, with_unit
from explorer.model import SUBJECTS, variant_with
from explorer.study.day_to_day import day_of, in_a_run, says_by_how_much
from explorer.study.distributions import Distribution, Exact, Normal
from explorer.study.entries import read_distribution, read_spread
from explorer.study.usual import USUAL, is_usual, usual_entry

# What older studies ask for, and what to ask for now.
_NOW = {
    "full_throttle_front_load": "'front_axle_load' in a condition with throttle = \"full\"",
    "full_throttle_lift_off_speed": "'front_lift_off_speed' in a condition with throttle = \"full\"",
    "motor_warming": "'motor_temperature', which is the air's and the warming together",
    "battery_warming": "'battery_temperature', which is the air's and the warming together",
    "nose_station": "'car_length', which the points under the car are held against",
    "tail_station": "'car_length', which the points under the car are held against",
    "splitter_gap": "'splitter_edge_clearance', with splitter_edge among the points under [families]",
}
# A tail beyond what is possible is forgiven when rarer than this; what is drawn there is a failed sample.
FORGIVEN_TAIL = 1e-3
# What a condition sets is a choice of how the car is run, not a measured value.
CHOSEN = "set by the condition"


@dataclass(frozen=True)
class Input:
    """One quantity that the study gives: its distribution in SI units and where it comes from.

    ``key`` is its own: the quantity, or ``quantity@condition`` for an override.  ``follows`` names the input
    whose random stream it draws from, for a build that changes the value but not what scatters it.  A
    ``chosen`` value is filled in anew for every point of a design, so it is never one with an equal value.
    What ``varies`` is another one in every run; all else has one true value, which could be learnt.
    """

    key: str
    quantity: str
    distribution: Distribution
    display_unit: str
    source: str | None = None
    condition: str | None = None
    default: bool = False
    follows: str | None = None
    chosen: bool = False
    varies: bool = False

    @property
    def stream(self) -> str:
        """Name of its random stream."""
        return self.follows or self.key

    @property
    def exact(self) -> bool:
        """True when it has one value only."""
        return isinstance(self.distribution, Exact)

    @property
    def token(self) -> Any:
        """What the program tells values apart by: equal exact overrides are one value."""
        if self.exact and not self.chosen:
            return (self.quantity, float(self.distribution.nominal))
        return self.key


def known_quantity(name: str, graph: Graph, key: str) -> Quantity:
    """Return the quantity of a name.

    Raises
    ------
    StudyError
        When no chosen model has it, with the nearest name.
    """
    try:
        return graph[name]
    except UnknownQuantityError as error:
        remedy = error.remedy or ""
        if not remedy.startswith("did"):
            remedy = f"'squatline explain {name}' looks for what may be meant"
        if name in _NOW:
            remedy = f"did you mean {_NOW[name]}?"
        elif key == "inputs.throttle":
            remedy = 'say it in a condition, such as throttle = "full" under [conditions.NAME]'
        elif key == f"inputs.{name}" and len(SUBJECTS.get(name, ())) > 1:
            choices = " or ".join(f'"{one}"' for one in SUBJECTS[name])
            remedy = f"write {name} = {choices} under [models]"
        elif variant := variant_with(name):
            remedy = f"write {variant} under [models]: what is chosen there does not know it; or take it out"
        raise StudyError(
            f"no quantity is called {name!r}",
            key=key,
            allowed="a quantity of the chosen models; 'squatline explain --all' lists them",
            remedy=remedy,
        ) from None


def one_number(name: str, graph: Graph, key: str) -> Quantity:
    """Return the quantity of a name that is one number a car.

    Raises
    ------
    StudyError
        When no chosen model has it, or it is several numbers.
    """
    quantity = known_quantity(name, graph, key)
    if quantity.record:
        parts = ", ".join(part.name for part in quantity.parts)
        raise StudyError(
            "this quantity holds several values at once",
            key=key,
            found=name,
            allowed=parts or "a quantity that is one number",
            remedy="ask for one of them" if parts else f"'squatline explain {name}' shows what builds on it",
        )
    return quantity


def read_inputs(
    entries: Mapping[str, Any],
    graph: Graph,
    folder: Path,
    key: str,
    condition: str | None = None,
    faults: Faults | None = None,
) -> dict[str, Input]:
    """Read entries by quantity; one by the name of a family is that of each member that has none of its own.

    Parameters are those of ``read_input``, ``key`` being that of the section; with ``faults`` what is wrong
    is noted there and left out of what is returned.

    Raises
    ------
    StudyError
        As ``read_input`` does, for all entries at once.
    """
    found: dict[str, Input] = {}
    noting = Faults() if faults is None else faults
    for name, entry in entries.items():
        with noting.noted():
            for one in graph.of_family(name) or (name,):
                if one == name or one not in entries:
                    here = f"{key}.{name}"
                    mean = read_input(one, entry, graph, folder, here, condition)
                    found |= _with_day(mean, entry, graph, here)
    if faults is None:
        noting.tell()
    return _member_by_member(found, graph)


def _member_by_member(found: dict[str, Input], graph: Graph) -> dict[str, Input]:
    """Return members of a family one after the other, in the model's order, where their first entry stands.

    A ranking counts dimensions along the inputs: so it is the same whether members share entries or not.
    """
    order, first = {name: place for place, name in enumerate(graph.quantities)}, dict[str, int]()

    def place(name: str, here: int) -> tuple[int, int, int]:
        if (member := graph.member_of(name)) is None:
            return here, 0, 0
        return first.setdefault(member[0], here), member[1], order[name]

    places = {name: place(name, here) for here, name in enumerate(found)}
    return {name: found[name] for name in sorted(found, key=lambda name: places[name])}


def default_input(quantity: Quantity) -> Input | None:
    """Return what stands for a quantity where the study is silent; None where it may not be."""
    if quantity.default is None:
        return None
    return Input(
        quantity.name,
        quantity.name,
        Exact(quantity.default),
        quantity.unit,
        "default",
        default=True,
        varies=quantity.of_the_day,
    )


def read_input(
    name: str, entry: Any, graph: Graph, folder: Path, key: str, condition: str | None = None
) -> Input:
    """Read one input as it stands in the file.

    Parameters
    ----------
    name, entry:
        The quantity, and the number, text or table it is given as.
    folder:
        Where the files it names lie.
    key:
        Its place in the study, for messages.
    condition:
        The condition that overrides it, if one does.

    Raises
    ------
    StudyError
        When the quantity is unknown, or the value is not possible.
    """
    quantity = known_quantity(name, graph, key)
    if quantity.table:
        raise StudyError("this quantity is a table", key=key, remedy=f"name its CSV file as [tables.{name}]")
    if is_usual(entry):
        entry = usual_entry(quantity, graph, key)
    try:
        distribution, unit = read_distribution(entry, quantity.unit, key, folder)
    except SquatlineError as error:
        if isinstance(entry, str) and not any(map(str.isdigit, entry)) and quantity.usual is not None:
            ends = f'low = "{quantity.usual.low}", high = "{quantity.usual.high}"'
            error.remedy = (
                f"until it is measured write {{ {ends} }}"
                if quantity.usual.typical is None
                else f'write "{USUAL}" where it is not known: it is drawn from what is usual of such cars'
            )
        raise error.within(key=key) from None
    _check_physical(quantity, distribution, unit, key)
    source = entry.get("source") if isinstance(entry, dict) else None
    if source is None and condition is not None:
        source = CHOSEN
    if source is not None and not isinstance(source, str):
        raise StudyError("the source is text", key=f"{key}.source", found=source)
    own = f"{name}@{condition}" if condition else name
    varies = entry.get("varies", quantity.of_the_day) if isinstance(entry, dict) else quantity.of_the_day
    # What varies by so much about its mean has a mean that could be learnt: the day is an input of its own.
    if says_by_how_much(entry) and in_a_run(name, graph) == name:
        raise StudyError(
            "here an input varies from run to run or it does not",
            key=f"{key}.varies",
            found=repr(entry["varies"]),
            allowed="true for what is another one in every run, false for what could be learnt; "
            "by how much about its mean is said under [inputs]",
        )
    return Input(own, name, distribution, unit, source, condition, varies=varies is True)


def _with_day(mean: Input, entry: Any, graph: Graph, key: str) -> dict[str, Input]:
    """Return an input by its quantity, with its day where the graph has one: an entry says all of both.

    Raises
    ------
    StudyError
        When what it says of the day is no standard deviation.
    """
    name = day_of(mean.quantity)
    if in_a_run(mean.quantity, graph) == mean.quantity:
        return {mean.quantity: mean}
    day = replace(
        mean,
        key=name + mean.key.removeprefix(mean.quantity),
        quantity=name,
        distribution=Exact(0.0),
        varies=True,
    )
    if says_by_how_much(entry):
        spread, unit = _by_how_much(entry, graph[name].unit, mean.distribution.nominal, key)
        day = replace(day, distribution=Normal(0.0, spread), display_unit=unit)
    return {mean.quantity: mean, name: day}


def _by_how_much(entry: Any, expected: str, mean: float, key: str) -> tuple[float, str]:
    """Read how far an input varies about its mean, as a standard deviation and the unit it is written in."""
    try:
        spread, unit = read_spread(entry, "varies", expected, mean)
    except SquatlineError as error:
        error.remedy = "varies = true for what is another one in every run, false for what could be learnt"
        raise error.within(key=f"{key}.varies") from None
    if to_si(0.0, unit, expected) != 0:
        raise StudyError(
            "a day's distance from the mean has no zero of its own, as this unit has",
            key=f"{key}.varies",
            found=unit,
            remedy="give the whole spread as that of the day, with varies = true",
        )
    if spread <= 0:
        raise StudyError(
            "how far an input varies about its mean is above zero",
            key=f"{key}.varies",
            found=repr(entry["varies"]),
            allowed='a standard deviation, such as varies = "0.5 m/s"; true or false',
        )
    return spread, unit


def _check_physical(quantity: Quantity, distribution: Distribution, unit: str, key: str) -> None:
    if not quantity.allows(distribution.nominal):
        raise StudyError(
            "the value is outside what is physically possible",
            key=key,
            found=with_unit(f"{from_si(distribution.nominal, unit):.4g}", unit),
            allowed=quantity.allowed_range,
            remedy=f'did you mean "{distribution.nominal:g} %"?'
            if quantity.unit == unit == "1" and quantity.allows(distribution.nominal / 100)
            else "check the sign and the unit",
        )
    if isinstance(distribution, Exact):
        return
    tail = distribution.probability_outside(quantity.above, quantity.at_least, quantity.at_most)
    if tail > FORGIVEN_TAIL:
        ends = (getattr(distribution, "low", -math.inf), getattr(distribution, "high", math.inf))
        raise StudyError(
            "too much of the distribution lies outside what is physically possible",
            key=key,
            found=f"{percent(tail, 2)} of it",
            allowed=quantity.allowed_range,
            remedy="move low and high inside that"
            if any(map(math.isfinite, ends))
            else 'give a low and a high bound beside mean and sd, or distribution = "lognormal"',
        )
