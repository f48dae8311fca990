"""What a study asks of its cars: limits, sweeps and outputs, of known quantities in known conditions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from explorer.errors import Faults, StudyError, unknown, with_key
from explorer.graph.units import parse
from explorer.study.inputs import known_quantity, one_number
from explorer.study.limits import Limit, Output, read_asked
from explorer.study.schema import LimitEntry, SweepEntry
from explorer.study.throttle import check_throttle, refuse_decided

if TYPE_CHECKING:
    from explorer.study.study import Study


@dataclass(frozen=True)
class Sweep:
    """Values of one input at which quantities are shown, condition by condition."""

    along: str
    display_unit: str
    values: tuple[float, ...]
    quantities: tuple[str, ...]
    conditions: tuple[str, ...]


def _known_conditions(names: list[str], study: Study, key: str) -> list[str]:
    for name in names:
        if name not in study.conditions:
            raise unknown(
                "no condition is called {}",
                name,
                study.conditions,
                key,
                otherwise="define it under [conditions]",
            )
    return names


def read_limits(study: Study, faults: Faults) -> tuple[Limit, ...]:
    """Read the limits of a study; mistakes are noted as faults."""
    found = []
    for position, entry in enumerate(study.entries.limits):
        with faults.noted():
            found.append(_limit(entry, position, study))
    return tuple(found)


def _limit(entry: LimitEntry, position: int, study: Study) -> Limit:
    key = f"limits[{position + 1}]" + (f" ({entry.name})" if entry.name else "")
    quantity = one_number(entry.quantity, study.graph, f"{key}.quantity")
    conditions = [name for name in (entry.condition, entry.minus) if name]
    for name in _known_conditions(conditions, study, f"{key}.condition"):
        check_throttle(study, quantity.name, name, f"{key}.quantity")
    output = Output(quantity.name, entry.condition, entry.minus)
    asked, unit = read_asked(entry, quantity.unit, key)
    return Limit(
        name=entry.name or f"{quantity.name} {' minus '.join(where for _, where in output.pairs)}",
        output=output,
        asked=asked,
        probability=entry.probability,
        safety=entry.safety,
        why=entry.why,
        display_unit=study.display.get(quantity.name, unit),
        sure=entry.sure,
    )


def read_sweeps(study: Study, faults: Faults) -> tuple[Sweep, ...]:
    """Read its sweeps; mistakes are noted as faults."""
    found = []
    for position, entry in enumerate(study.entries.sweeps):
        with faults.noted():
            found.append(_sweep(entry, position, study))
    return tuple(found)


def _sweep(entry: SweepEntry, position: int, study: Study) -> Sweep:
    key = f"sweeps[{position + 1}]"
    along = known_quantity(entry.along, study.graph, f"{key}.along")
    with with_key(f"{key}.from"):
        low, unit = parse(entry.start, entry.unit, along.unit)
    with with_key(f"{key}.to"):
        high, _ = parse(entry.to, entry.unit, along.unit)
    if low >= high:
        raise StudyError("the sweep runs upwards", key=key, found=f"from {entry.start} to {entry.to}")
    for name in entry.quantities:
        one_number(name, study.graph, f"{key}.quantities")
    step = (high - low) / (entry.steps - 1)
    values = tuple(low + step * i for i in range(entry.steps))
    conditions = tuple(_known_conditions(entry.conditions, study, f"{key}.conditions"))
    refuse_decided(study, along.name, conditions, f"{key}.along")
    for name in entry.quantities:
        for condition in conditions:
            check_throttle(study, name, condition, f"{key}.quantities")
    return Sweep(along.name, unit, values, tuple(entry.quantities), conditions)


def read_outputs(study: Study, faults: Faults) -> tuple[tuple[str, str], ...]:
    """Read the (quantity, condition) pairs that it asks for beyond; mistakes are noted as faults."""
    found = []
    for position, entry in enumerate(study.entries.outputs, 1):
        with faults.noted():
            conditions = _known_conditions(entry.conditions, study, f"outputs[{position}].conditions")
            for name in entry.quantities:
                one_number(name, study.graph, f"outputs[{position}].quantities")
                for condition in conditions:
                    check_throttle(study, name, condition, f"outputs[{position}].quantities")
            found += [(name, condition) for name in entry.quantities for condition in conditions]
    return tuple(found)


def check_reachable(study: Study) -> None:
    """Every asked-for quantity must be computable where it is asked for."""
    names = [limit.name for limit in study.limits]
    doubled = next((name for name in names if names.count(name) > 1), None)
    if doubled:
        raise StudyError(
            "two limits have the same name", key="limits", found=doubled, remedy="name them apart"
        )
    # What is asked for at one place is walked together: the graph above it is mostly the same.
    asked: dict[tuple[str, str | None], set[str]] = {}
    for quantity, condition in wanted_outputs(study):
        asked.setdefault((condition, None), set()).add(quantity)
    for sweep in study.sweeps:
        for condition in sweep.conditions:
            asked.setdefault((condition, sweep.along), set()).update(sweep.quantities)
    missing: dict[str, dict[str, None]] = {}
    for (condition, along), quantities in asked.items():
        given = study.given_names(condition) | ({along} if along else set())
        for name, needed_for in study.graph.missing(sorted(quantities), given).items():
            missing.setdefault(name, {}).update(dict.fromkeys(needed_for))
    study.graph.refuse(missing)


def wanted_outputs(study: Study) -> tuple[tuple[str, str], ...]:
    """Every (quantity, condition) that limits and outputs ask for, once, in the order of the file."""
    pairs = [pair for limit in study.limits for pair in limit.output.pairs]
    return tuple(dict.fromkeys([*pairs, *study.outputs]))


def wanted_in(study: Study, condition: str) -> list[str]:
    """Every quantity that limits and outputs ask for in a condition, once."""
    return [quantity for quantity, where in wanted_outputs(study) if where == condition]
