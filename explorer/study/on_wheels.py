"""Limits of safety are judged on the wheels alone: no car meets one because it stands on a point of its body.

Such a limit is judged on two cars, one as it is and one whose points carry nothing on the road, and by the
less favourable of the two.  In the graph that is a quantity of its own, which takes the place of the one that
the limit names; a limit that means a car on its points to count says ``standing_counts``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from explorer.errors import StudyError
from explorer.graph.arrays import Array
from explorer.graph.graph import Graph
from explorer.graph.quantity import ON_WHEELS, Curve, Need, Quantity
from explorer.study.limits import Limit
from explorer.study.schema import StudyFile

if TYPE_CHECKING:
    from explorer.study.study import Study

#: The input that takes all load off the points.
CARRY = "points_carry"


@dataclass(frozen=True)
class LessFavourable:
    """Of a value as the car is and the one on its wheels alone, the one with less room to the ends."""

    low: float
    high: float

    def __call__(self, value: Array, alone: Curve) -> Array:
        """Take the two values apart sample by sample; without an answer on the wheels there is none."""
        other = alone(0.0)
        margin, room = (np.minimum(one - self.low, self.high - one) for one in (other, value))
        return np.where((margin < room) | np.isnan(other), other, value)


def on_the_wheels(value: Array, alone: Curve) -> Array:
    """Return the value on the wheels alone."""
    return alone(0.0)


def check_contact(entries: StudyFile) -> None:
    """Refuse points that carry where no point is named.

    Raises
    ------
    StudyError
    """
    if entries.models.get("contact") == "points" and not entries.families.get("point"):
        raise StudyError(
            "points are to carry load on the road, but the study names none",
            key="models.contact",
            found="points",
            allowed="none, or points with members of point under [families]",
            remedy='name the points under the car, such as point = ["splitter_edge"], with their station '
            "and clearance at rest",
        )


def judged_on_wheels(study: Study, standing_counts: Iterable[bool]) -> Study:
    """Return the study with each limit of safety on the quantity that it is judged by.

    Parameters
    ----------
    standing_counts:
        For each limit, whether a car that stands on a point meets it too.
    """
    quantities, limits = dict(study.graph.quantities), []
    for limit, counts in zip(study.limits, standing_counts, strict=True):
        output = limit.output
        upstream = study.graph.inputs_of(output.quantity, study.given_names(output.condition))
        if limit.safety and not counts and CARRY in upstream:
            judged = _judged(quantities, limit)
            quantities.setdefault(judged.name, judged)
            limit = replace(limit, output=replace(output, quantity=judged.name))
        limits.append(limit)
    return replace(study, graph=Graph(quantities, study.graph.families), limits=tuple(limits))


def _judged(quantities: dict[str, Quantity], limit: Limit) -> Quantity:
    """Return the quantity that a limit is judged by, under a name that no other function has."""
    base = quantities[limit.output.quantity]
    function = on_the_wheels if limit.output.is_difference else LessFavourable(limit.low, limit.high)
    name, number = base.name + ON_WHEELS, 1
    while name in quantities and quantities[name].function != function:
        number += 1
        name = f"{base.name}{ON_WHEELS}_{number}"
    return replace(
        base,
        name=name,
        description="Judged on the car as it is and on one whose points carry nothing on the road; "
        f"the less favourable counts.\n\n{base.description}".strip(),
        source="definition",
        needs=(Need((base.name,)), Need((base.name,), over=(CARRY,))),
        function=function,
    )
