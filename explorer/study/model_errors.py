"""``[model_errors]``: how far a computed quantity may be from the truth although every input is right.

In the graph an error is an input of its own and a function that puts it on what the model computes; all
that builds on the quantity reads it with its error.  So it is drawn, ranked and listed as any input.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from explorer.errors import Faults, StudyError
from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.quantity import MODEL_ERRORS, Need, Quantity
from explorer.graph.units import to_si
from explorer.study.distributions import Exact
from explorer.study.inputs import Input, one_number, read_input
from explorer.study.schema import ModelErrorEntry, StudyFile

if TYPE_CHECKING:
    from explorer.study.study import Study

_EXACT = {"factor": 1.0, "offset": 0.0}
_WORDS = {
    "factor": "What the truth is over what the model computes, the inputs being right",
    "offset": "What the truth is beyond what the model computes, the inputs being right",
}


def error_name(quantity: str, kind: str) -> str:
    """Return the name of the input that is the error of a quantity: a factor or an offset."""
    return f"{quantity}_model_{kind}"


@dataclass(frozen=True)
class Corrected:
    """Puts errors on what a model computes: on the value, or on fields of the named tuple it is.

    ``errors`` holds field ("" for the value itself), kind, and whether a search may end at its cap there:
    what was not reached stays not reached.
    """

    errors: tuple[tuple[str, str, bool], ...]

    def __call__(self, computed: Any, *given: Array) -> Any:
        """Take the computed value, then each error, followed by its cap where it has one."""
        arguments = iter(given)
        for field, kind, capped in self.errors:
            value, error = getattr(computed, field) if field else computed, next(arguments)
            with_error = value * error if kind == "factor" else value + error
            if capped:
                cap = next(arguments)
                with_error = np.where(value >= cap, value, np.minimum(with_error, cap))
            computed = computed._replace(**{field: with_error}) if field else with_error
        return computed


def known_model_errors(entries: StudyFile, graph: Graph, faults: Faults) -> dict[str, ModelErrorEntry]:
    """Return the errors of quantities that the models compute; note those of others as faults."""
    known = {}
    given = {one for name in (*entries.inputs, *entries.tables) for one in graph.of_family(name) or (name,)}
    for name, entry in entries.model_errors.items():
        key = f"model_errors.{name}"
        with faults.noted():
            for one in graph.of_family(name) or (name,):
                if one_number(one, graph, key).is_given or one in given:
                    raise StudyError(
                        "this quantity is given, not computed, so no model is wrong about it",
                        key=key,
                        found=one,
                        allowed="a quantity that the chosen models compute in this study",
                        remedy="leave it out here, and give it the spread that it has under [inputs]",
                    )
                if (error := error_name(one, entry.kind)) in given:
                    raise StudyError(
                        "this error is given twice",
                        key=key,
                        found=f"inputs.{error}",
                        remedy="leave one of them out",
                    )
            known[name] = entry
    return known


def with_model_errors(graph: Graph, entries: Mapping[str, ModelErrorEntry]) -> Graph:
    """Return the graph in which the named quantities carry an error; their names are known to be good."""
    if not entries:
        return graph
    asked: dict[str, list[tuple[Quantity, str, str]]] = {}
    for name, entry in entries.items():
        for one in _members(graph, name, entries):
            owner, field = _where(graph, graph[one])
            asked.setdefault(owner, []).append((graph[one], field, entry.kind))
    quantities: dict[str, Quantity] = {}
    for name, quantity in graph.quantities.items():
        if name in asked:
            quantities.update((one.name, one) for one in _with_errors(quantity, asked[name]))
        else:
            quantities[name] = quantity
    return Graph(quantities, graph.families)


def _where(graph: Graph, quantity: Quantity) -> tuple[str, str]:
    """Return the function that computes a quantity, and the field of its tuple where it is a part of one."""
    whole = graph[quantity.needs[0].names[0]] if len(quantity.needs) == 1 else quantity
    if isinstance(quantity.function, attrgetter) and whole.record:
        return whole.name, quantity.function.__reduce__()[1][0]
    return quantity.name, ""


def _with_errors(computed: Quantity, asked: list[tuple[Quantity, str, str]]) -> list[Quantity]:
    """Return what the model computes, the errors, and the quantity that carries them."""
    bare = replace(computed, name=f"{computed.name}_by_model", capped_by=None, parts=())
    errors, needs, added = [], [Need((bare.name,))], []
    for quantity, field, kind in asked:
        name = error_name(quantity.name, kind)
        added.append(
            Quantity(
                name,
                "1" if kind == "factor" else quantity.unit,
                f"{_WORDS[kind]}: {quantity.name}.",
                above=0.0 if kind == "factor" else None,
                subject=MODEL_ERRORS,
            )
        )
        errors.append((field, kind, quantity.capped_by is not None))
        needs += [Need((one,)) for one in (name, quantity.capped_by) if one is not None]
    carrying = replace(computed, needs=tuple(needs), function=Corrected(tuple(errors)))
    return [bare, *added, carrying]


def read_model_errors(
    entries: Mapping[str, ModelErrorEntry], graph: Graph, folder: Path, faults: Faults
) -> dict[str, Input]:
    """Read errors of known quantities as the inputs that they are in the graph that carries them."""
    found: dict[str, Input] = {}
    for name, entry in entries.items():
        with faults.noted():
            for one in _members(graph, name, entries):
                error = _error(one, entry, graph, folder, f"model_errors.{name}.{entry.kind}")
                found[error.quantity] = error
    return found


def _members(graph: Graph, name: str, entries: Mapping[str, ModelErrorEntry]) -> Iterator[str]:
    """Give what a name stands for: the quantity, or each member of a family that has no error of its own."""
    yield from (one for one in graph.of_family(name) or (name,) if one == name or one not in entries)


def _error(quantity: str, entry: ModelErrorEntry, graph: Graph, folder: Path, key: str) -> Input:
    error = read_input(error_name(quantity, entry.kind), _entry(entry), graph, folder, key)
    if entry.kind == "offset" and to_si(0.0, error.display_unit, graph[quantity].unit) != 0:
        raise StudyError(
            "an offset is a difference, and this unit has a zero of its own",
            key=key,
            found=error.display_unit,
            remedy=f"write it in {graph[quantity].unit}",
        )
    return error


def _entry(entry: ModelErrorEntry) -> dict[str, Any]:
    """Return the error as an entry of an input, with the source beside it."""
    said = entry.factor if entry.kind == "factor" else entry.offset
    about = {} if entry.source is None else {"source": entry.source}
    return {**about, **(said if isinstance(said, dict) else {"value": said})}


def without_error_of(study: Study, quantity: str) -> Study:
    """Return the study with the model of a quantity taken as exact."""
    exact = {
        name: replace(given, distribution=Exact(_EXACT[kind]))
        for kind in _EXACT
        if (given := study.inputs.get(name := error_name(quantity, kind))) is not None
    }
    return replace(study, inputs={**study.inputs, **exact}) if exact else study
