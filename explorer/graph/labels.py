"""What a builder calls a quantity: its name in words, mended where nobody would say it so.

A name is chosen so that its words are the label.  Where they cannot be, the words stand here, once: for a
part of a name, or for a whole one.  A quantity of a user's own is called by its own words.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping

from explorer.graph.quantity import asked_name

# Parts of names, as whole words, in the order in which they are put.
_PARTS = (
    ("cg", "centre of gravity"),
    ("lift off", "lift-off"),
    ("blow over", "blow-over"),
    ("no load", "no-load"),
    ("run out", "run-out"),
    ("pull out", "pull-out"),
    ("fail safe", "fail-safe"),
    ("full throttle", "full-throttle"),
    ("free tyre", "free-tyre"),
    ("mid span", "mid-span"),
    ("wheel hop", "wheel-hop"),
    ("closed$", "(closed)"),
    ("open$", "(open)"),
    ("sixty degree time", "time for 60 degrees"),
    ("hole skew station", "pivot-hole skew along the car"),
    ("hole skew height", "pivot-hole skew in height"),
    ("normal coefficient", "normal-force coefficient"),
)
_WHOLE = {
    "current_binds": "held back by the current limit",
    "power_binds": "held back by power",
    "revs_bind": "held back by motor revs",
    "traction_binds": "held back by grip",
    "wheel_lift_bounds_drive": "held back by wheels that lift",
    "top_speed_is_current_limited": "top speed held by the current limit",
    "top_speed_is_power_limited": "top speed held by power",
    "top_speed_is_rev_limited": "top speed held by motor revs",
    "top_speed_is_traction_limited": "top speed held by grip",
    "has_several_attitudes": "more than one steady attitude",
    "stable_attitudes": "number of steady attitudes",
    "pulls_out": "pulls out in time",
    "points_carry": "points under the car carry load",
    "points_at_rest": "points under the car at rest, as a whole",
    "points_under_car": "points under the car, as a whole",
    "returns_to_level": "comes back level",
    "braking_distance_closed": "braking distance, flap never used",
    "speed_at_braking_point_closed": "speed at the braking point, flap never used",
    "straight_time_closed": "straight time, flap never used",
    "time_to_braking_point_closed": "time to the braking point, flap never used",
    "stands_on_a_point_at_top_speed": "stands on a point of the body at top speed",
    "stands_on_a_point": "stands on a point of the body",
    "top_speed_room": "way needed to reach top speed",
    "lowest_front_load_speed": "speed of the lowest front load",
    "wheel_lift_speed": "speed up to which the front wheels lift",
    "fence_energy": "energy left at the fence",
    "aero_balance_front": "front share of the downforce",
    "held_push": "push at held speed",
    "grade": "slope of the road",
    "grade_force": "pull of the slope",
    "runs_of_the_day": "runs in a row",
    "speed_cap": "highest speed searched",
    "pitch_cap": "pitch at which a motion is given up",
    "reserve_cap": "highest reserve counted",
    "watch_time": "time watched after bump and gust",
    "followed_time": "time followed after bump and gust",
    "air_follows_road": "share of the road's slope that the air follows",
}


@functools.cache
def label(name: str) -> str:
    """Call a quantity as a builder would, in lower case: "front lift-off speed"."""
    if name in _WHOLE:
        return _WHOLE[name]
    if (asked := asked_name(name)) != name:
        return f"{label(asked)}, judged on the wheels too"
    words = name.replace("_", " ")
    for part, said in _PARTS:
        words = re.sub(rf"\b{part}(?!\w)", said, words)
    return words


def input_label(key: str, conditions: Mapping[str, str]) -> str:
    """Call an input so, and say how the car is run where it is given for that alone.

    ``conditions`` has the words of each; a key without is a candidate's, or a condition's of that name.
    """
    quantity, _, given_for = key.partition("@")
    words = conditions.get(given_for, given_for.replace("_", " "))
    return f"{label(quantity)} ({words})" if given_for else label(quantity)


def begun(words: str) -> str:
    """Write words with a capital, as they stand at the head of a row or a chart."""
    return words[:1].upper() + words[1:]
