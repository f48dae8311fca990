"""Cars and days drawn apart, on the study's own graph, where a limit asks ``sure``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from explorer.analyses.sensitivity import keys_upstream
from explorer.engine.execution import Execution
from explorer.engine.plan import CHUNK, Plan, make_plan
from explorer.engine.sampling import random_column
from explorer.errors import StudyError
from explorer.estimators.between_cars import BetweenCars, between_cars
from explorer.estimators.two_levels import (
    FEWEST,
    MOST,
    USUAL,
    OfCars,
    Sureness,
    enough_to_pass,
    how_sure,
)
from explorer.graph.arrays import Array
from explorer.study.limits import Limit, Output
from explorer.study.study import Study

# As many as a study may ask for.
_MOST_ALLOWED = (2**20, 2**14)
# Cars that are seen on two days each where it is only asked how much is of the day.
TWO_DAYS = 4096


def draw_cars(plan: Plan, chunk: int, cars: int, days: int) -> dict[str, Array]:
    """Draw one chunk of cars, each with its days one after the other: inputs of shape (cars * days,)."""
    varying = _varying(plan)
    return plan.draw(
        {
            stream: random_column(plan.seed, f"{stream} of a day", chunk, cars * days)
            if stream in varying
            else np.repeat(random_column(plan.seed, f"{stream} of a car", chunk, cars), days)
            for stream in plan.streams
        }
    )


def _varying(plan: Plan) -> frozenset[str]:
    return frozenset(given.stream for given in plan.uncertain.values() if given.varies)


@dataclass(frozen=True)
class CarsAndDays:
    """Cars that were drawn with days for each.

    Attributes
    ----------
    inputs:
        What could be learnt of each car, by key, shape (cars,) each.
    found:
        What is kept of each car, in the order of what was asked.
    days:
        Days of each car.
    """

    inputs: Mapping[str, Array]
    found: tuple[OfCars, ...]
    days: int

    def sureness(self, place: int, limit: Limit) -> Sureness:
        """Judge what was asked at a place."""
        return how_sure(self.found[place], self.days, limit.probability, limit.sure or limit.probability)


@dataclass(frozen=True)
class _Levels:
    """Draws some cars with all their days, and reduces the margin of each limit where it is asked."""

    plan: Plan
    asked: tuple[tuple[Output, Limit], ...]
    cars: int
    days: int

    @property
    def at_once(self) -> int:
        """Cars in a chunk."""
        return max(1, CHUNK // self.days)

    def part(self, chunk: int) -> tuple[dict[str, Array], tuple[OfCars, ...]]:
        """Do the cars of one chunk."""
        cars = min(self.at_once, self.cars - chunk * self.at_once)
        drawn = draw_cars(self.plan, chunk, cars, self.days)
        values = self.plan.evaluate(drawn)
        varying = _varying(self.plan)
        inputs = {
            key: drawn[key][:: self.days]
            for key, given in self.plan.uncertain.items()
            if given.stream not in varying
        }
        found = (
            OfCars.of(
                np.broadcast_to(limit.margin(output.value(values)), cars * self.days).reshape(
                    cars, self.days
                ),
                limit.probability,
            )
            for output, limit in self.asked
        )
        return inputs, tuple(found)


def cars_and_days(
    plan: Plan,
    asked: Sequence[tuple[Output, Limit]],
    cars: int,
    days: int,
    *,
    execution: Execution | None = None,
) -> CarsAndDays:
    """Draw cars with days for each, and reduce the margins of limits at the outputs of a plan."""
    execution = execution or Execution()
    levels = _Levels(plan, tuple(asked), cars, days)
    chunks = -(-cars // levels.at_once)
    parts = list(execution.in_order(levels.part, chunks, "cars and their days"))
    return CarsAndDays(
        {key: np.concatenate([inputs[key] for inputs, _ in parts]) for key in parts[0][0]},
        tuple(OfCars.joined([found[place] for _, found in parts]) for place in range(len(asked))),
        days,
    )


def sure_limits(study: Study) -> tuple[Limit, ...]:
    """Return the limits that ask ``sure``."""
    return tuple(limit for limit in study.limits if limit.sure is not None)


def sure_cars(
    study: Study,
    *,
    few: bool = False,
    execution: Execution | None = None,
) -> CarsAndDays | None:
    """Draw the cars of a study for its limits that ask ``sure``; None, and nothing drawn, where none does.

    With ``few`` no more cars and days than let each of them pass at all.
    """
    limits = sure_limits(study)
    if not limits:
        return None
    plan = make_plan(study, [pair for limit in limits for pair in limit.output.pairs])
    return cars_and_days(
        plan,
        [(limit.output, limit) for limit in limits],
        *(fewest_cars(study, limits) if few else all_cars(study)),
        execution=execution,
    )


def fewest_cars(study: Study, limits: Sequence[Limit]) -> tuple[int, int]:
    """Return the fewest cars and days with which limits that ask ``sure`` can pass, of those of a study."""
    return _enough(limits, FEWEST, all_cars(study))


def all_cars(study: Study) -> tuple[int, int]:
    """Return the cars and the days of each that a study draws: as it says, else as many as can pass."""
    asked = study.entries.study
    cars, days = _enough(sure_limits(study), USUAL, MOST)
    return asked.cars or cars, asked.days or days


def _enough(limits: Sequence[Limit], fewest: tuple[int, int], most: tuple[int, int]) -> tuple[int, int]:
    each = [enough_to_pass(limit.probability, limit.threshold, fewest, most) for limit in limits]
    cars, days = zip(fewest, *each, strict=True)
    return min(max(cars), most[0]), min(max(days), most[1])


def beyond_showing(study: Study) -> Iterator[tuple[Limit, str, int, int]]:
    """Yield the limits that cannot pass on what is drawn: too few of what, how many, how many would do."""
    cars, days = all_cars(study)
    for limit in sure_limits(study):
        enough = enough_to_pass(limit.probability, limit.threshold, (cars, days), _MOST_ALLOWED)
        for kind, drawn, needed in zip(("cars", "days"), (cars, days), enough, strict=True):
            if needed > drawn:
                yield limit, kind, drawn, needed


def sureness_of(study: Study, cars: CarsAndDays | None) -> dict[str, Sureness]:
    """Judge the limits of a study that ask ``sure``, by name, on the cars drawn for them."""
    limits = sure_limits(study) if cars is not None else ()
    return {limit.name: cars.sureness(place, limit) for place, limit in enumerate(limits) if cars is not None}


def ignorance_or_day(study: Study) -> dict[str, BetweenCars]:
    """Tell for each limit that what varies can move how much of it is between cars, by name.

    Nothing is told where a correlation ties what varies to what does not.
    """
    upstream = {limit.name: keys_upstream(study, limit) for limit in study.limits}
    varying = {one.key for one in study.all_inputs() if one.varies and not one.exact}
    limits = [limit for limit in study.limits if varying & upstream[limit.name]]
    if not limits or next(_ties(study), None):
        return {}
    plan = make_plan(study, [pair for limit in limits for pair in limit.output.pairs])
    values = plan.evaluate(draw_cars(plan, 0, TWO_DAYS, 2))
    return {
        limit.name: between_cars(np.broadcast_to(limit.margin_in(values), 2 * TWO_DAYS).reshape(-1, 2))
        for limit in limits
    }


def check_kinds_apart(study: Study) -> None:
    """Refuse, where a limit asks ``sure``, a correlation between an input of the day and one of the car.

    Raises
    ------
    StudyError
    """
    for place, day, car in _ties(study) if sure_limits(study) else ():
        raise StudyError(
            "what varies from run to run cannot go with what has one true value, where a limit asks sure",
            file=str(study.path),
            key=f"correlations[{place}]",
            found=f"{day}, which varies, and {car}",
            remedy="leave the correlation out, or say varies at both of them alike",
        )


def _ties(study: Study) -> Iterator[tuple[int, str, str]]:
    """Yield the correlations between an input of the day and one of the car: place, and both names."""
    for place, one in enumerate(study.correlations, start=1):
        day, car = sorted((one.first, one.second), key=lambda name: not study.inputs[name].varies)
        if study.inputs[day].varies and not study.inputs[car].varies:
            yield place, day, car
