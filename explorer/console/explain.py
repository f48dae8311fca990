"""What a quantity is and, in a study, how large: the handbook entry as a record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.analyses.nominal import nominal_values
from explorer.analyses.standing import cars_on_points
from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import MissingInputError, UnknownQuantityError
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity, Usual
from explorer.model import SUBJECTS, modules
from explorer.study.beside import standing_of
from explorer.study.catalogue import methods_for
from explorer.study.study import Study

FAMILIES = {"element": ("element",), "point": ("point",)}


@dataclass(frozen=True)
class ListedQuantity:
    """A quantity in a list: what it is, and whether it is given or computed."""

    name: str
    unit: str
    subject: str
    summary: str
    given: bool


@dataclass(frozen=True)
class HomeMethod:
    """How a quantity is measured at home, and in how many hours."""

    method: str
    how: str
    hours: float


@dataclass(frozen=True)
class Sampled:
    """Mean, standard deviation and 90 % band of one chunk of samples."""

    mean: float
    sd: float
    low: float
    high: float


@dataclass(frozen=True)
class ValueIn:
    """A quantity in one condition of a study, in SI units.

    ``missing`` names inputs without which it cannot be computed; ``given_as`` and ``source`` are the study's.
    ``standing`` says how many cars stand on a point of their body, where some do and the value hangs on it.
    """

    condition: str
    display_unit: str
    given_as: str | None = None
    source: str | None = None
    missing: str | None = None
    nominal: float | None = None
    sampled: Sampled | None = None
    failed_share: float = 0.0
    standing: str = ""


@dataclass(frozen=True, kw_only=True)
class HandbookEntry(ListedQuantity):
    """All there is to say of a quantity; ``members`` are those of the family that it is of."""

    description: str
    source: str
    needs: Sequence[str]
    used_by: Sequence[str]
    allowed: str | None
    usual: Usual | None
    measured_by: Sequence[HomeMethod]
    lever: str | None
    default: float | None
    no_answer_means: str | None
    members: Sequence[str]
    values: Sequence[ValueIn]


def whole_graph() -> Graph:
    """Return the graph of the default models, with one member of each family under the family's own name."""
    return Graph.build(modules({}), FAMILIES)


def explain_all(study: Study | None = None) -> list[ListedQuantity]:
    """List every quantity."""
    graph = study.graph if study else whole_graph()
    entries = [_entry(quantity) for quantity in graph.quantities.values()]
    known = {entry.name for entry in entries}
    if study is None:
        for quantity in _variants():
            if quantity.name not in known:
                known.add(quantity.name)
                entries.append(_entry(quantity))
    return entries


def _variants() -> list[Quantity]:
    """Quantities that only a model other than the default one has."""
    found: list[Quantity] = []
    for subject, variants in SUBJECTS.items():
        for variant in variants:
            found.extend(Graph.build(modules({subject: variant}), FAMILIES).quantities.values())
    return found


def explained_or_found(words: str, study: Study | None = None) -> HandbookEntry | list[ListedQuantity]:
    """Explain the quantity that some words name, or list those they may mean.

    Raises
    ------
    UnknownQuantityError
        When they mean none, with the nearest known name.
    """
    from explorer.console.search import find

    try:
        return explain_quantity(words, study)
    except UnknownQuantityError as error:
        found = find(words, explain_all(study))
        if not found:
            if not (error.remedy or "").startswith("did you mean"):
                error.remedy = "'squatline explain' lists the subjects"
            raise
    return explain_quantity(found[0].name, study) if len(found) == 1 else found


def explain_quantity(name: str, study: Study | None = None) -> HandbookEntry:
    """Explain one quantity; with a study, add its values in each condition.

    Raises
    ------
    UnknownQuantityError
        With the nearest known name.
    """
    graph = study.graph if study else whole_graph()
    if study is None and name not in graph:
        graph = next((g for g in _variant_graphs() if name in g), graph)
    members = graph.of_family(name)
    name = members[0] if members else name
    quantity = graph[name]
    return HandbookEntry(
        **vars(_entry(quantity)),
        description=quantity.description,
        source=quantity.source,
        needs=quantity.needed_names,
        used_by=sorted(other.name for other in graph.quantities.values() if name in other.needed_names),
        allowed=quantity.allowed_range if quantity.is_given else None,
        usual=quantity.usual,
        measured_by=[
            HomeMethod(method, entry["how"], entry["hours"])
            for method, entry in methods_for(graph, name).items()
        ],
        lever=quantity.lever or None,
        default=quantity.default,
        no_answer_means=quantity.fails or None,
        members=members,
        values=[_value(study, name, condition) for condition in study.conditions]
        if study is not None and not quantity.record
        else (),
    )


def _variant_graphs() -> list[Graph]:
    return [
        Graph.build(modules({subject: variant}), FAMILIES)
        for subject, variants in SUBJECTS.items()
        for variant in variants
    ]


def _entry(quantity: Quantity) -> ListedQuantity:
    return ListedQuantity(quantity.name, quantity.unit, quantity.subject, quantity.summary, quantity.is_given)


def _value(study: Study, name: str, condition: str) -> ValueIn:
    """Return the nominal value, and what one chunk of samples says."""
    given, unit = study.given_in(condition).get(name), study.unit_of(name)
    value = ValueIn(condition, unit)
    if given is not None:
        value = replace(value, given_as=given.distribution.words(given.display_unit), source=given.source)
    try:
        study.graph.require([name], study.given_names(condition))
    except MissingInputError as error:
        return replace(value, missing=str(error.found))
    standing = standing_of(study.graph, name, study.given_names(condition))
    plan = make_plan(study, [(one, condition) for one in (name, standing) if one])
    found = plan.evaluate(plan.random_chunk(0, CHUNK))
    values = found[name, condition]
    answered = values[np.isfinite(values)]
    sampled = None
    if answered.size:
        low, high = np.quantile(answered, [0.05, 0.95])
        spread = float(answered.std(ddof=1)) if answered.size > 1 else 0.0
        sampled = Sampled(float(answered.mean()), spread, float(low), float(high))
    return replace(
        value,
        nominal=nominal_values(study)[condition].get(name) if given is None else given.distribution.nominal,
        sampled=sampled,
        failed_share=1 - answered.size / values.size,
        standing=cars_on_points(standing, found[standing, condition]) if standing else "",
    )
