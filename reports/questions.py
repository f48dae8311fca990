"""The questions that a builder asks, and which limits answer each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from explorer.graph.quantity import asked_name
from explorer.results.records import LimitRecord, Summary

SPEED = "How fast, and is it enough?"
FLIP = "Do the front wheels stay down, or does it flip?"
SCRAPE = "Does anything scrape?"
MECHANISM = "Does the flap mechanism work?"
STOP = "Does it stop in time?"
OTHER = "Other limits"
#: Asked of every car, whether or not the study has a limit on it.
ALWAYS = (SPEED, FLIP, SCRAPE, MECHANISM)

#: Subject of the model that a limited quantity belongs to, and the question it answers.
BY_SUBJECT: Mapping[str, str] = {
    **dict.fromkeys(
        ("speed", "drive_power", "drive_electric", "gearing", "traction", "corner", "passing"), SPEED
    ),
    **dict.fromkeys(("full_throttle", "straight", "strip", "wake"), SPEED),
    **dict.fromkeys(("pitch", "equilibrium", "blow_over", "heave_pitch", "air_in_motion"), FLIP),
    **dict.fromkeys(("half_car", "suspension", "aero", "aero_map", "ground_effect"), FLIP),
    **dict.fromkeys(("car", "side_wind", "contact_points"), FLIP),
    **dict.fromkeys(("wheel_hop", "wheel_lift", "full_throttle_loads"), FLIP),
    **dict.fromkeys(("linkage", "level", "slot", "binding", "hinge", "servo", "element"), MECHANISM),
    **dict.fromkeys(
        ("flap_timed", "flap_servo", "strength", "rod", "mount", "play", "twist", "flutter"), MECHANISM
    ),
    **dict.fromkeys(("brakes_ideal", "brakes_balance", "brakes_fitted", "brakes_none", "braking"), STOP),
    **dict.fromkeys(("brakes_unlimited", "motor_brake", "motor_brake_measured", "run_out", "leaving"), STOP),
}


@dataclass(frozen=True)
class Question:
    """A question and the limits that answer it, in the order of the study."""

    words: str
    limits: tuple[LimitRecord, ...]


def questions(summary: Summary) -> tuple[Question, ...]:
    """Sort the limits under the questions; those asked of every car come even without a limit."""
    subjects = {entry.name: entry.subject for entry in summary.handbook}
    sorted_out: dict[str, list[LimitRecord]] = {words: [] for words in (*ALWAYS, STOP, OTHER)}
    for limit in summary.limits:
        quantity = asked_name(limit.quantity)
        sorted_out[_question(quantity, subjects.get(quantity, ""))].append(limit)
    return tuple(
        Question(words, tuple(limits)) for words, limits in sorted_out.items() if limits or words in ALWAYS
    )


def _question(quantity: str, subject: str) -> str:
    # Clearances are computed beside the pitch, but ask something else.
    if "clearance" in quantity:
        return SCRAPE
    return BY_SUBJECT.get(subject, OTHER)
