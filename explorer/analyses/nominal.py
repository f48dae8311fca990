"""Every quantity with all inputs at their nominal values: the numbers before any statistics."""

from __future__ import annotations

import math
from itertools import chain

import numpy as np

from explorer.errors import SquatlineError
from explorer.graph.program import compile_program
from explorer.study.study import Study


def nominal_values(study: Study) -> dict[str, dict[str, float | None]]:
    """Evaluate all quantities that can be computed in each condition, once, at the nominal inputs.

    Returns
    -------
    dict
        Condition -> quantity -> value in SI units; None where the model has no answer.  Quantities that are
        not one number (tables, intermediate pairs) are left out.
    """
    found: dict[str, dict[str, float | None]] = {}
    for condition in study.conditions:
        given = study.given_in(condition)
        names = computable(study, condition)
        program = compile_program(
            study.graph,
            [(name, condition) for name in names],
            {condition: {name: name for name in study.given_names(condition)}},
        )
        supplied = {name: one.distribution.nominal for name, one in given.items()} | dict(study.tables)
        values = program.run({name: supplied[name] for name in program.leaves})
        found[condition] = {
            name: _number(value)
            for (name, _), value in values.items()
            if not study.graph[name].record and np.ndim(value) == 0 and name not in study.tables
        }
    return found


def computable(study: Study, condition: str) -> tuple[str, ...]:
    """List the quantities that the study gives enough for in a condition, leaving out unused defaults."""
    given = study.given_names(condition)
    lacking = set(chain.from_iterable(study.graph.missing(study.graph.quantities, given).values()))
    names = [name for name in study.graph.quantities if name not in lacking]
    used = set(study.graph.order([name for name in names if name not in given], given))
    overridden = study.conditions[condition].overrides
    return tuple(
        name
        for name in names
        if name in used or name in overridden or (name in study.inputs and not study.inputs[name].default)
    )


def _number(value: object) -> float | None:
    number = float(value)  # type: ignore[arg-type]  # a scalar of numpy or Python
    return number if math.isfinite(number) else None


def nominal_or_error(study: Study) -> dict[str, dict[str, float | None]]:
    """Evaluate as ``nominal_values`` does, with faults told as the study's."""
    try:
        return nominal_values(study)
    except SquatlineError as error:
        raise error.within(file=str(study.path)) from None
