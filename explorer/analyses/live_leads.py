"""What drives each limit and what to measure first, from few cars, limit after limit, as one watches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

from explorer.analyses.measurement_value import first_to_measure
from explorer.analyses.sensitivity import keys_upstream, known_from_few_readings
from explorer.analyses.two_levels import sure_cars
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.replay import replay_margins, replay_samples
from explorer.errors import SampleError
from explorer.estimators.given_data import first_order_given_data
from explorer.estimators.measuring import Worth
from explorer.estimators.sensitivity import LEADING_SHARE, Estimate
from explorer.estimators.sobol_parts import places_among
from explorer.graph.arrays import Array
from explorer.study.study import Study

# A share of spread is off by some hundredths with so many.
CARS = 8000
MOST_NAMED = 3


@dataclass(frozen=True)
class Lead:
    """What is known of one limit.

    Attributes
    ----------
    limit:
        Its name.
    drivers:
        Keys of the inputs that alone answer for most of its margin's spread, with their share.
    weighed:
        Whether ``measure`` is known already.
    measure, label:
        What to measure first and its words, which follow "measure the"; None where nothing saves anything
        that shows.
    """

    limit: str
    drivers: tuple[tuple[str, Estimate], ...]
    weighed: bool = False
    measure: Worth | None = None
    label: str = ""


def live_leads(study: Study, *, execution: Execution | None = None) -> Iterator[Lead]:
    """Find what drives each limit, then what to measure first for each.

    Parameters
    ----------
    execution:
        On which workers: two are at work at once.

    Raises
    ------
    StudyError
        When a measurement of the study cannot be used.
    """
    drivers, worths = (execution or Execution()).in_order(partial(_half, study), 2)
    yield from drivers.values()
    for name, lead in worths.items():
        yield replace(lead, drivers=drivers[name].drivers)


def _half(study: Study, number: int) -> dict[str, Lead]:
    return (_drivers, _worths)[number](study)


def _cars(study: Study) -> tuple[dict[str, Array], dict[str, Array]]:
    """Return the inputs that are uncertain, and the margins, of few cars."""
    outcome = run_montecarlo(replace(study, outputs=()), samples=CARS, keep=True)
    samples = replay_samples(study, outcome, CARS)
    uncertain = {one.key for one in study.all_inputs() if not one.exact}
    return {k: values for k, values in samples.items() if k in uncertain}, replay_margins(study, samples)


def _drivers(study: Study) -> dict[str, Lead]:
    inputs, margins = _cars(study)
    few, found = known_from_few_readings(study), {}
    for limit in study.limits:
        keys, margin = keys_upstream(study, limit) & inputs.keys(), margins[limit.name]
        margin = places_among(margin, margin) if keys & few else margin
        try:
            shares = first_order_given_data({key: inputs[key] for key in sorted(keys)}, margin)
        except SampleError:  # hardly a car has an answer: nothing is said of what drives it
            shares = {}
        leading = [(key, one) for key, one in shares.items() if one.value >= LEADING_SHARE]
        found[limit.name] = Lead(limit.name, tuple(leading[:MOST_NAMED]))
    return found


def _worths(study: Study) -> dict[str, Lead]:
    ways, (inputs, margins) = ways_to_measure(study), _cars(study)
    labels = {one.name: one.label for one in ways.measurements}
    return {
        name: Lead(name, (), True, worth, "" if worth is None else labels[worth.measurement])
        for name, worth in first_to_measure(study, inputs, margins, ways, sure_cars(study, few=True))
    }
