"""What is told of a study before a car is drawn: what is odd, taken for granted, of a car on its points."""

from __future__ import annotations

from collections.abc import Iterator

from explorer.analyses.nominal import Nominal, nominal_or_error
from explorer.analyses.room import room_quantities
from explorer.analyses.standing import nominal_car_on_points
from explorer.analyses.taken_for_granted import clearances, taken_for_granted
from explorer.graph.words import Sentence
from explorer.study.asked_for import wanted_in
from explorer.study.study import Study


def asked_at_nominal(study: Study) -> Nominal:
    """Return the nominal values that the limits, the outputs and the cautions read: condition -> quantity."""

    def wanted(condition: str) -> list[str]:
        cautioned = room_quantities(study, condition) + clearances(study, condition)
        return [*dict.fromkeys(wanted_in(study, condition) + cautioned)]

    return nominal_or_error(study, wanted)


def odd(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield all cautions of a study with its nominal car.

    Parameters
    ----------
    nominal:
        Condition -> quantity -> value with all inputs at their nominal values.
    """
    yield from taken_for_granted(study, nominal)
    yield from nominal_car_on_points(study, nominal)
