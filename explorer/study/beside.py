"""What is told of the cars in a condition beside what the study asks of them there."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING

from explorer.graph.quantity import ON_WHEELS
from explorer.study.asked_for import wanted_in, wanted_outputs

if TYPE_CHECKING:
    from explorer.graph.graph import Graph
    from explorer.study.asked_for import Sweep
    from explorer.study.study import Study

#: Its mean says how many cars could keep another attitude than the one that the figures are of.
SEVERAL = "has_several_attitudes"
#: Its mean says how many cars stand on the road with a point of their body.
STANDING = "stands_on_a_point"
#: The same at the top speed, which is another than that of the condition.
STANDING_AT_TOP = "stands_on_a_point_at_top_speed"

#: Their means say how many cars lift their front wheels at full throttle, and up to which speed.
LIFTING, LIFTING_SPEED = "wheel_lift_bounds_drive", "wheel_lift_speed"
#: What the front wheels bound: how a car gains speed.
BOUNDED = {"acceleration", "run_with_flap", "run_without_flap", "strip_run", "top_speed_room"}


def told_beside(study: Study) -> tuple[tuple[str, str], ...]:
    """List the outputs that go with what is asked: several attitudes, standing on a point, lifting wheels."""
    balance = set(study.graph["stable_attitudes"].needed_names)
    told = []
    for condition in dict.fromkeys(where for _, where in wanted_outputs(study)):
        asked = wanted_in(study, condition)
        needed = study.graph.upstream(asked, study.given_names(condition))
        if not BOUNDED.isdisjoint(needed) and _is_known(study, condition, LIFTING):
            told += [(LIFTING, condition), (LIFTING_SPEED, condition)]
        if STANDING_AT_TOP in study.graph.quantities and "top_speed" in needed:
            told.append((STANDING_AT_TOP, condition))
        if balance.isdisjoint(needed) or not _is_known(study, condition, SEVERAL):
            continue
        if feels_ground(study, condition):
            told.append((SEVERAL, condition))
        if STANDING in study.graph.quantities:
            told.append((STANDING, condition))
    return tuple(told)


def swept_beside(study: Study) -> tuple[Sweep, ...]:
    """Return the sweeps, with standing on a point beside what is of a car on its points where it stands."""
    if STANDING not in study.graph.quantities:
        return study.sweeps
    return tuple(
        replace(one, quantities=tuple(dict.fromkeys((*one.quantities, STANDING))))
        if any(_feels_points(study, name, where) for name in one.quantities for where in one.conditions)
        else one
        for one in study.sweeps
    )


def on_points(study: Study, condition: str) -> tuple[str, ...]:
    """List what is asked of the cars in a condition that is of a car on its points where it stands on any.

    What is judged on the wheels alone is not of such a car; how it stands is said beside.
    """
    own = {STANDING, STANDING_AT_TOP, SEVERAL, LIFTING, LIFTING_SPEED}
    return tuple(
        name
        for name in wanted_in(study, condition)
        if name not in own and ON_WHEELS not in name and _feels_points(study, name, condition)
    )


def standing_of(graph: Graph, name: str, given: Collection[str]) -> str | None:
    """Return what tells whether a value is of a car on its points; None where it never hangs on that."""
    needed = graph.upstream([name], given)
    if STANDING not in graph or "points_under_car" not in needed:
        return None
    if "top_speed" in needed:
        return STANDING_AT_TOP
    return STANDING if _all_given(graph, STANDING, given) else None


def jumps_passed_over(study: Study, condition: str) -> bool:
    """Tell whether a run is followed as if loads changed smoothly, where an aero map may make them jump.

    Cars on points, and those with a splitter's gap, are followed in steps of their own (``loads_bend``).
    """
    asked = wanted_in(study, condition)
    smooth = study.entries.models.get("aero") == "map" and "points_carry" not in study.graph
    return smooth and not BOUNDED.isdisjoint(study.graph.upstream(asked, study.given_names(condition)))


def _feels_points(study: Study, name: str, condition: str) -> bool:
    return "points_under_car" in study.graph.upstream([name], study.given_names(condition))


def _is_known(study: Study, condition: str, quantity: str) -> bool:
    """Tell whether the condition says all that a quantity hangs on: one without a speed has no attitude."""
    return _all_given(study.graph, quantity, study.given_names(condition))


def _all_given(graph: Graph, quantity: str, given: Collection[str]) -> bool:
    return all(name in given or not graph[name].is_given for name in graph.upstream([quantity], given))


def feels_ground(study: Study, condition: str) -> bool:
    """Tell whether the gap under the car changes its downforce."""
    gain = study.given_in(condition).get("splitter_ground_gain")
    by_map = study.entries.models.get("aero") == "map"
    return by_map or (gain is not None and not (gain.exact and gain.distribution.nominal == 0))
