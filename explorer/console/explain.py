"""What a quantity is and, in a study, how large: the handbook entry as data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from explorer.analyses.nominal import nominal_values
from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import MissingInputError, UnknownQuantityError
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity
from explorer.model import SUBJECTS, modules
from explorer.study.catalogue import methods_for
from explorer.study.study import Study

FAMILIES = {"element": ("element",), "point": ("point",)}


def whole_graph() -> Graph:
    """Return the graph of the default models, with one member of each family under the family's own name."""
    return Graph.build(modules({}), FAMILIES)


def explain_all(study: Study | None = None) -> list[dict[str, Any]]:
    """List every quantity: name, unit, subject, summary, and whether it is given or computed."""
    graph = study.graph if study else whole_graph()
    entries = [_entry(quantity) for quantity in graph.quantities.values()]
    known = {entry["name"] for entry in entries}
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


def explained_or_found(words: str, study: Study | None = None) -> dict[str, Any] | list[dict[str, Any]]:
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
        found = [dict(entry) for entry in find(words, explain_all(study))]
        if not found:
            if not (error.remedy or "").startswith("did you mean"):
                error.remedy = "'squatline explain' lists the subjects"
            raise
    return explain_quantity(found[0]["name"], study) if len(found) == 1 else found


def explain_quantity(name: str, study: Study | None = None) -> dict[str, Any]:
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
    used_by = sorted(other.name for other in graph.quantities.values() if name in other.needed_names)
    explanation = _entry(quantity) | {
        "description": quantity.description,
        "source": quantity.source,
        "needs": list(quantity.needed_names),
        "used_by": used_by,
        "allowed": quantity.allowed_range if quantity.is_given else None,
        "usual": asdict(quantity.usual) if quantity.usual is not None else None,
        "measured_by": [
            {"method": method, "how": entry["how"], "hours": entry["hours"]}
            for method, entry in methods_for(graph, name).items()
        ],
        "lever": quantity.lever or None,
        "default": quantity.default,
        "no_answer_means": quantity.fails or None,
        "members": members,
    }
    if study is not None and not quantity.record:
        explanation["values"] = [_value(study, name, condition) for condition in study.conditions]
    return explanation


def _variant_graphs() -> list[Graph]:
    return [
        Graph.build(modules({subject: variant}), FAMILIES)
        for subject, variants in SUBJECTS.items()
        for variant in variants
    ]


def _entry(quantity: Quantity) -> dict[str, Any]:
    return {
        "name": quantity.name,
        "unit": quantity.unit,
        "subject": quantity.subject,
        "summary": quantity.summary,
        "given": quantity.is_given,
    }


def _value(study: Study, name: str, condition: str) -> dict[str, Any]:
    """Nominal value, and the 90 % band of one chunk of samples."""
    row: dict[str, Any] = {"condition": condition, "display_unit": study.unit_of(name)}
    given = study.given_in(condition).get(name)
    if given is not None:
        row["given_as"] = given.distribution.words(given.display_unit)
        row["from"] = given.source
    try:
        study.graph.require([name], study.given_names(condition))
    except MissingInputError as error:
        return row | {"missing": str(error.found)}
    plan = make_plan(study, [(name, condition)])
    values = plan.evaluate(plan.random_chunk(0, CHUNK))[name, condition]
    answered = values[np.isfinite(values)]
    row["nominal"] = (
        nominal_values(study)[condition].get(name) if given is None else given.distribution.nominal
    )
    if answered.size:
        low, high = np.quantile(answered, [0.05, 0.95])
        spread = float(answered.std(ddof=1)) if answered.size > 1 else 0.0
        row |= {"mean": float(answered.mean()), "sd": spread, "low": float(low), "high": float(high)}
    row["failed_share"] = 1 - answered.size / values.size
    return row
