"""What is known on the day and the bench of a log: the study's inputs, given or computed, with their spread.

A fit takes mass, air density or wheelbase from the study, as they were that day: what the fit's section says
under ``known`` stands in place of what the study says of any other day.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import StudyError, unknown
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Known
from explorer.study.day_to_day import in_a_run
from explorer.study.distributions import Distribution, Exact
from explorer.study.entries import read_distribution
from explorer.study.inputs import Input, read_inputs
from explorer.study.study import Study

# Inputs of these subjects are of the day, not of the car: another day draws them anew.
OF_THE_DAY = ("air", "motion")
COMPUTED = "computed by the study's models"


@dataclass(frozen=True)
class Draws:
    """One chunk of samples: the inputs that were drawn, and what was computed; arrays of shape (samples,)."""

    drawn: Mapping[str, Array]
    computed: Mapping[str, Array]


@dataclass(frozen=True)
class DayOfLog:
    """The study as it was on the day of a log.

    Attributes
    ----------
    study:
        As it stands without this log.
    inputs:
        The study's common inputs, with those that the fit's section gives in their place.
    bench:
        What only the fit knows, as the length of an arm.
    overridden:
        Inputs that the fit's section gives.
    """

    study: Study
    inputs: Mapping[str, Input]
    bench: Mapping[str, Known]
    overridden: frozenset[str]

    def known(self, name: str, **where: float) -> Known | None:
        """Return a quantity with its standard uncertainty, or None when the study does not say.

        Parameters
        ----------
        where:
            Values of inputs at which a computed quantity is wanted, as ``flap_opening=0.0``.
        """
        if name in self.bench:
            return self.bench[name]
        total = in_a_run(name, self.study.graph)
        if name in self.inputs and total == name and name not in where:
            return known_input(self.inputs[name], self.study.graph[name].unit)
        if not self.computable([name], **where):
            return None
        values = self.draws([total], **where).computed[total]
        return summed_up(name, values, self.study.graph[name].unit)

    def required(self, name: str, **where: float) -> Known:
        """Return a quantity as ``known`` does.

        Raises
        ------
        StudyError
            When the study does not say enough.
        """
        found = self.known(name, **where)
        if found is None:
            raise StudyError(
                f"the fit needs {name}, and the study does not say it",
                key=f"known.{name}",
                allowed="a value with its unit and its spread",
                remedy=f"known = {{ {name} = {{ mean = ..., sd = ..., unit = ... }} }}",
            )
        return found

    def computable(self, names: Sequence[str], **where: float) -> bool:
        """Tell whether the study gives enough to compute some quantities."""
        graph = self.study.graph
        given = {*self.inputs, *self.study.tables, *where}
        return all(name in graph for name in names) and not graph.missing(names, given)

    def draws(self, names: Sequence[str], **where: float) -> Draws:
        """Evaluate quantities on one chunk of the study's samples, with some inputs held at a value."""
        return drawn(self.study, names, self.scope(**where))

    def scope(self, **where: float) -> dict[str, Input]:
        """Return the inputs with some of them held at a value."""
        graph = self.study.graph
        held = {name: Input(name, name, Exact(value), graph[name].unit) for name, value in where.items()}
        return {**self.inputs, **held}

    def of_the_car(self, name: str) -> bool:
        """Tell whether an input is uncertain and the same on any other day, so that its error is shared."""
        if name not in self.inputs or name in self.overridden or self.inputs[name].exact:
            return False
        return self.study.graph[name].subject not in OF_THE_DAY


def day_of_log(study: Study, given: Mapping[str, Any], bench: Mapping[str, str], key: str) -> DayOfLog:
    """Read what a fit's section says of the day of its log.

    Parameters
    ----------
    given:
        Quantity -> value as it would stand under ``[inputs]``.
    bench:
        What only this kind of fit knows, with its SI unit.
    key:
        Where it stands in the study, for messages.

    Raises
    ------
    StudyError
        For a name that neither the study nor the fit knows, and for a value that is not possible.
    """
    inputs, on_bench, overridden = dict(study.inputs), {}, set()
    for name, entry in given.items():
        place = f"{key}.{name}"
        if name in bench:
            distribution, _ = read_distribution(entry, bench[name], place, study.folder)
            source = entry.get("source", "") if isinstance(entry, Mapping) else ""
            on_bench[name] = _known(name, distribution, bench[name], str(source) or "given for the fit")
        elif name in study.graph:
            for quantity, one in read_inputs({name: entry}, study.graph, study.folder, key).items():
                source = one.source or "given for the fit"
                inputs[quantity] = replace(one, key=f"{quantity}@{key}", source=source)
                overridden.add(quantity)
        else:
            raise unknown(
                "no quantity is called {}",
                name,
                [*bench, *study.graph.quantities],
                place,
                allowed="a quantity of the study" + (f", or {', '.join(bench)}" if bench else ""),
            )
    return DayOfLog(study, inputs, on_bench, frozenset(overridden))


def drawn(study: Study, names: Sequence[str], scope: Mapping[str, Input]) -> Draws:
    """Evaluate quantities on the first samples of a study, its inputs as in a scope."""
    plan = make_plan(study, [(name, "log") for name in names], scopes={"log": scope})
    inputs = plan.random_chunk(0, CHUNK)
    found = plan.evaluate(inputs)
    return Draws(inputs, {name: found[name, "log"] for name in names})


def summed_up(name: str, values: Array, unit: str) -> Known | None:
    """Return samples as their mean and standard deviation, or None when the model has no answer at all."""
    answered = values[np.isfinite(values)]
    if not answered.size:
        return None
    return Known(name, float(answered.mean()), float(answered.std()), unit, COMPUTED)


def known_input(given: Input, unit: str) -> Known:
    """Return an input as its mean and standard deviation."""
    return _known(given.quantity, given.distribution, unit, given.source or "the study")


def _known(name: str, distribution: Distribution, unit: str, source: str) -> Known:
    if isinstance(distribution, Exact):
        return Known(name, float(distribution.nominal), 0.0, unit, source)
    spread = float(distribution.sd)
    if not np.isfinite(spread):
        # Few readings: the t distribution has no standard deviation, its middle 68 % have a width.
        low, high = distribution.quantile(np.array([0.1587, 0.8413]))
        spread = float(high - low) / 2
    return Known(name, float(distribution.mean), spread, unit, source)
