"""Every quantity with all inputs at their nominal values: the numbers before any statistics."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import chain
from typing import Any

import numpy as np

from explorer.errors import with_file
from explorer.graph.program import compile_program
from explorer.study.study import Study

Nominal = Mapping[str, Mapping[str, float | None]]
"""Condition -> quantity -> value with every input nominal; None where the model has no answer."""


def nominal_values(
    study: Study, wanted: Callable[[str], Iterable[str]] | None = None
) -> dict[str, dict[str, float | None]]:
    """Evaluate all quantities that can be computed in each condition, once, at the nominal inputs.

    Conditions that give the same quantities are evaluated together, as samples of one program.

    Parameters
    ----------
    wanted:
        The quantities to evaluate in a condition, where it is not all of them.

    Returns
    -------
    dict
        Condition -> quantity -> value in SI units; None where the model has no answer.  Quantities that are
        not one number (tables, intermediate pairs) are left out.
    """
    alike: dict[tuple[frozenset[str], tuple[str, ...]], list[str]] = {}
    for condition in study.conditions:
        names = wanted(condition) if wanted else computable(study, condition)
        alike.setdefault((frozenset(study.given_names(condition)), tuple(names)), []).append(condition)
    found: dict[str, dict[str, float | None]] = {}
    for (_, asked), conditions in alike.items():
        found |= _together(study, conditions, asked)
    return {condition: found[condition] for condition in study.conditions}


def _together(
    study: Study, conditions: Sequence[str], names: Sequence[str]
) -> dict[str, dict[str, float | None]]:
    """Evaluate some conditions as the samples of one program; what differs between them is an array."""
    first, count = conditions[0], len(conditions)
    scopes = [study.given_in(condition) for condition in conditions]
    supplied: dict[str, Any] = {}
    for name in scopes[0]:
        each = np.array([float(scope[name].distribution.nominal) for scope in scopes])
        supplied[name] = each if np.any(each != each[0]) else each[0]
    values = _evaluated(study, first, names, supplied)
    found: dict[str, dict[str, float | None]] = {condition: {} for condition in conditions}
    for name, value in values.items():
        several = study.graph[name].record or name in study.tables or isinstance(value, tuple)
        if several or np.shape(value) not in ((), (count,)):
            continue
        for condition, one in zip(conditions, np.broadcast_to(value, (count,)), strict=True):
            found[condition][name] = float(one) if math.isfinite(one) else None
    return found


def nominal_along(
    study: Study, condition: str, changed: Mapping[str, Any], names: Sequence[str]
) -> dict[str, Any]:
    """Evaluate quantities of the nominal car in a condition, some inputs changed.

    Parameters
    ----------
    changed:
        Input -> its values, one number or an array that all share the length of.
    names:
        The quantities; one that is no number is returned as it is.
    """
    nominal = {name: float(one.distribution.nominal) for name, one in study.given_in(condition).items()}
    return _evaluated(study, condition, names, nominal | dict(changed))


def _evaluated(
    study: Study, condition: str, names: Sequence[str], given: Mapping[str, Any]
) -> dict[str, Any]:
    program = compile_program(
        study.graph,
        [(name, condition) for name in names],
        {condition: {name: name for name in study.given_names(condition)}},
    )
    supplied = dict(study.tables) | dict(given)
    values = program.run({name: supplied[name] for name in program.leaves})
    return {name: value for (name, _), value in values.items()}


def computable(study: Study, condition: str) -> tuple[str, ...]:
    """List the quantities that the study gives enough for in a condition, leaving out unused defaults."""
    given = study.given_names(condition)
    lacking = set(chain.from_iterable(study.graph.missing(study.graph.quantities, given).values()))
    names = [name for name in study.graph.quantities if name not in lacking]
    used = study.graph.upstream([name for name in names if name not in given], given)
    overridden = study.conditions[condition].overrides
    return tuple(
        name
        for name in names
        if name in used or name in overridden or (name in study.inputs and not study.inputs[name].default)
    )


def nominal_or_error(
    study: Study, wanted: Callable[[str], Iterable[str]] | None = None
) -> dict[str, dict[str, float | None]]:
    """Evaluate as ``nominal_values`` does, with faults told as the study's."""
    with with_file(str(study.path)):
        return nominal_values(study, wanted)
