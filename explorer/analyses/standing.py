"""Cars that stand on the road with a point of their body: what is said wherever figures are of such cars."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from explorer.analyses.nominal import Nominal
from explorer.analyses.sweeps import swept_values
from explorer.engine.plan import make_plan
from explorer.graph.arrays import Array
from explorer.graph.labels import label
from explorer.graph.written import chance
from explorer.study.asked_for import Sweep
from explorer.study.beside import STANDING, STANDING_AT_TOP, on_points
from explorer.study.builds import Build, place, scopes_of
from explorer.study.study import Study

SAMPLES = 4096
#: How such cars stand, and one of them.
STAND, STANDS = "stand on the road with a point of their body", "stands on the road with a point of its body"


def predicted_cars(share: float) -> str:
    """Say how many cars stand on a point."""
    return f"{chance(share)} of predicted cars {STAND}"


def cars_on_points(quantity: str, stands: Array) -> str:
    """Say the same of drawn cars, 1 where one stands on a point; nothing where none does."""
    share = float(np.mean(stands == 1))
    at_top = " at top speed" if quantity == STANDING_AT_TOP else ""
    return f"{predicted_cars(share)}{at_top}" if share > 0 else ""


def of_cars_on_points(study: Study, quantity: str, condition: str, who: str) -> str:
    """Say which figures of a condition are of cars on their points.

    Parameters
    ----------
    quantity:
        What tells that they stand on a point, at the condition's speed or at their top speed.
    who:
        The cars, and that they stand on one.
    """
    where = f"{study.conditions[condition].words}: {who}"
    if quantity == STANDING_AT_TOP:
        return (
            f"{where} at top speed, which is then that of a car that scrapes. A limit on it, or on a "
            f"difference to it, hangs on the {label('contact_friction')}"
        )
    figures = ", ".join(map(label, on_points(study, condition)))
    there = f" There these figures are of a car on its points: {figures}." if figures else ""
    return f"{where}.{there} Safety limits are judged as if no point carried anything{_except(study)}"


def _except(study: Study) -> str:
    """Name the safety limits that a car on its points may meet."""
    limits = [one for one in study.entries.limits if one.safety and one.standing_counts]
    names = " and ".join(f"“{one.name or one.quantity}”" for one in limits)
    return f", except {names}, with standing_counts" if names else ""


def nominal_car_on_points(study: Study, nominal: Nominal) -> Iterator[str]:
    """Yield for each condition, where the nominal car stands on a point there, what is then of such a car."""
    for condition, values in nominal.items():
        for quantity in (STANDING, STANDING_AT_TOP):
            if values.get(quantity):
                yield of_cars_on_points(study, quantity, condition, f"the nominal car {STANDS}")


def cars_on_points_along(study: Study, sweep: Sweep, samples: int) -> str:
    """Say the same of cars that stand on a point anywhere along a sweep in its only condition."""
    (condition,) = sweep.conditions
    stands = swept_values(study, replace(sweep, quantities=(STANDING,)), condition, samples)[STANDING]
    return cars_on_points(STANDING, np.max(stands == 1, axis=0))


def standing_cars(study: Study, builds: Sequence[Build]) -> Iterator[str]:
    """Yield for each build which share of its cars stands on a point, and where; nothing where none does."""
    asked = [(name, where) for name, where in study.outputs if name in (STANDING, STANDING_AT_TOP)]
    if not asked:
        return
    wanted = [(name, place(build.name, where)) for build in builds for name, where in asked]
    plan = make_plan(study, wanted, scopes=scopes_of(study, builds))
    found = plan.evaluate(plan.random_chunk(0, SAMPLES))
    for build in builds:
        shares = [
            f"{chance(share)} {'at top speed ' if name == STANDING_AT_TOP else ''}in {where}"
            for name, where in asked
            if (share := float(np.nanmean(found[name, place(build.name, where)]))) > 0
        ]
        if shares:
            yield (
                f"{build.words}: of its cars {', '.join(shares)} {STAND}: all but limits of safety are "
                "judged there as of a car that scrapes"
            )
