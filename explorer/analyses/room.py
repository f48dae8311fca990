"""The strip and the fence, held against the ways that the car takes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from explorer.analyses.nominal import Nominal
from explorer.graph.quantity import asked_name
from explorer.graph.words import Number, Sentence, told
from explorer.study.asked_for import wanted_in
from explorer.study.study import Study

#: Inputs of which a slip leaves the car no room.
ROOM_INPUTS = frozenset({"strip_length", "fence_distance", "speed", "reaction_time", "radio_delay"})
# Ways that begin where that to the fence does.
_TO_THE_FENCE = ("run_out_distance", "fail_safe_stopping_distance")


def room_quantities(study: Study, condition: str) -> list[str]:
    """List what the cautions about room read in a condition, as far as the study gives it."""
    given = study.given_names(condition)
    asked = wanted_in(study, condition)
    names = ["fence_distance", "reaction_distance"]
    if "strip_length" in study.graph.upstream(asked, given):
        names += ["strip_length", "strip_speed"]
    return [name for name in names if name in study.graph and not study.graph.missing([name], given)]


def out_of_room(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield a caution for a fence that no driver minds, or no limit, and for a strip too short.

    Parameters
    ----------
    nominal:
        Condition -> quantity -> value with all inputs at their nominal values.
    """
    ways = [(values.get("reaction_distance"), values.get("fence_distance")) for values in nominal.values()]
    near = [(gone, fence) for gone, fence in ways if gone and fence and fence <= gone]
    if near:
        gone, room = (Number(way, unit="m", display_unit="m") for way in max(near))
        yield told(
            "fence_distance is {}, and before the brakes act the car goes up to {} (speed, reaction_time and "
            "radio_delay of the conditions): nothing the driver does stops it there; move the fence or take "
            "speed off",
            room,
            gone,
        )
    for limit in study.limits:
        name, output = asked_name(limit.output.quantity), limit.output
        fence = study.given_in(output.condition).get("fence_distance")
        if name not in _TO_THE_FENCE or output.is_difference or fence is None:
            continue
        stands = float(fence.distribution.nominal)
        if limit.high > stands and math.isfinite(limit.high):
            yield told(
                f"the limit on {name} in {output.condition} lets it be {{}}, past the fence, where "
                f"{fence.key} is {{}}: a car that meets it may end in the fence; lower at_most, or correct "
                "fence_distance",
                Number(limit.high, unit="m", display_unit=limit.display_unit),
                Number(stands, unit="m", display_unit=fence.display_unit),
            )
    known = {
        where: (study.given_in(where)["speed"], speed)
        for where, values in nominal.items()
        # Where nothing asks for the strip some know it and some do not: all are to say the same.
        if "strip_speed" in room_quantities(study, where)
        and (speed := values.get("strip_speed"))
        and "speed" in study.given_in(where)
    }
    reached = max((speed for _, speed in known.values()), default=0.0)
    slowest = min(known, key=lambda where: float(known[where][0].distribution.nominal), default="")
    if slowest and reached < (asked := float(known[slowest][0].distribution.nominal)):
        one, strip = known[slowest][0], study.given_in(slowest)["strip_length"]
        slow = Number(asked, unit="m/s", display_unit=one.display_unit)
        yield told(
            f"{strip.key} is {{}}, on which the car gets to {{}} at most, braking inside it, and {one.key} "
            "is {}, the slowest of the conditions; give the whole way from moving off to standing again, or "
            "conditions at speeds that the car has there",
            Number(float(strip.distribution.nominal), unit="m", display_unit=strip.display_unit),
            replace(slow, value=reached),
            slow,
        )
