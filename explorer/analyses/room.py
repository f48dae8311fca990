"""The strip and the fence, held against the ways that the car takes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from explorer.analyses.nominal import Nominal
from explorer.graph.words import Number, Sentence, told
from explorer.study.asked_for import wanted_outputs
from explorer.study.study import Study

#: Inputs of which a slip leaves the car no room.
ROOM_INPUTS = frozenset({"strip_length", "fence_distance", "speed", "reaction_time", "radio_delay"})


def room_quantities(study: Study, condition: str) -> list[str]:
    """List what the cautions about room read in a condition, as far as the study gives it."""
    given = study.given_names(condition)
    asked = [name for name, where in wanted_outputs(study) if where == condition]
    names = ["fence_distance", "reaction_distance"]
    if "strip_length" in study.graph.upstream(asked, given):
        names += ["strip_length", "strip_speed"]
    return [name for name in names if name in study.graph and not study.graph.missing([name], given)]


def out_of_room(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield a caution for a fence that no driver can mind, and for a strip too short for its conditions.

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
    known = {
        where: (study.given_in(where)["speed"], speed)
        for where, values in nominal.items()
        if (speed := values.get("strip_speed")) and "speed" in study.given_in(where)
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
