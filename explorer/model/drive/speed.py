"""Resistance, what is left of the push, and the top speed with what limits it, the tyres' own speed too."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.numeric import CurveOf, first_fall

#: The car at its top speed gains none, however its condition drives it.
_STEADY = ("speed", "longitudinal_acceleration")

rolling_resistance = given(
    "1",
    "Rolling resistance coefficient of the tyres, bearings included.",
    at_least=0,
    usual="0.010 to 0.045, typically 0.022",
)
rolling_resistance_per_speed = given(
    "s/m",
    "What the rolling resistance coefficient gains per speed.",
    default=0.0,
    at_least=0,
    usual="0 to 0.0006 s/m, typically 0.0002",
)
tyre_rated_speed = given(
    "m/s",
    "Speed of the tyre's surface that its maker, or a test behind a wall, allows.",
    above=0,
    usual="10 to 120 m/s",
)


@quantity("N", source="definition: dynamic pressure times drag area")
def drag_force(dynamic_pressure: Array, drag_area: Array) -> Array:
    """Drag of the whole car."""
    return dynamic_pressure * drag_area


@quantity(
    "N",
    source="Gillespie, Fundamentals of Vehicle Dynamics, ch. 4: coefficient by speed, times load",
)
def rolling_resistance_force(
    rolling_resistance: Array,
    rolling_resistance_per_speed: Array,
    speed: Array,
    weight: Array,
    total_downforce: Array,
    contact_load: Array,
) -> Array:
    """Force of rolling resistance under weight and downforce on the tyres; none for a car that flies."""
    coefficient = rolling_resistance + rolling_resistance_per_speed * speed
    return coefficient * np.maximum(weight + total_downforce - contact_load, 0)


@quantity("N", source="statics")
def grade_force(weight: Array, grade: Array) -> Array:
    """Pull of the slope against the car."""
    return weight * np.sin(grade)


@quantity("N", source="sum of the resistances")
def resistance_force(
    drag_force: Array, rolling_resistance_force: Array, grade_force: Array, scraping_force: Array
) -> Array:
    """All that holds the car back at this speed."""
    return drag_force + rolling_resistance_force + grade_force + scraping_force


@quantity("N", source="balance along the track")
def excess_force(driving_force: Array, resistance_force: Array) -> Array:
    """Push left for acceleration at this speed at full throttle."""
    return driving_force - resistance_force


@quantity(
    "m/s",
    source="root of excess_force over speed",
    varying={"excess_force": _STEADY},
    capped_by="speed_cap",
    fails="no top speed: the car cannot move off, or its pitch diverges before it stops gaining speed",
)
def top_speed(excess_force: Curve, speed_cap: Array) -> Array:
    """Speed at which a car that accelerates from walking pace at full throttle stops gaining.

    It is that of a strip without end: top_speed_room says what it needs, strip_speed what a strip allows.
    Found as if the front wheels stayed on the ground: compare it with the front lift-off speed.
    """
    held = CurveOf(_held, (excess_force,))
    fall = first_fall(held, 0.5, speed_cap, steps=10)
    return np.where(fall.started & ~fall.broken, fall.position, np.nan)


def _held(excess_force: Curve, speed: Array) -> Array:
    """Return the push left over at a speed that is held."""
    return excess_force(speed, 0.0)


@quantity("1", source="definition", varying={"traction_binds": _STEADY})
def top_speed_is_traction_limited(traction_binds: Curve, top_speed: Array) -> Array:
    """1 where grip of the driven tyres limits the top speed, else 0; its mean says how often."""
    return traction_binds(top_speed, 0.0)


@quantity("1", source="definition", varying={"power_binds": _STEADY})
def top_speed_is_power_limited(power_binds: Curve, top_speed: Array) -> Array:
    """1 where power limits the top speed, else 0; its mean says how often."""
    return power_binds(top_speed, 0.0)


@quantity("1", source="definition", varying={"current_binds": _STEADY})
def top_speed_is_current_limited(current_binds: Curve, top_speed: Array) -> Array:
    """1 where the current limit limits the top speed, else 0; its mean says how often."""
    return current_binds(top_speed, 0.0)


@quantity("1", source="definition", varying={"revs_bind": _STEADY})
def top_speed_is_rev_limited(revs_bind: Curve, top_speed: Array) -> Array:
    """1 where the revs the battery voltage allows limit the top speed, else 0; its mean says how often."""
    return revs_bind(top_speed, 0.0)


@quantity("m/s", source="definition")
def tyre_speed_margin(tyre_rated_speed: Array, speed: Array) -> Array:
    """Speed of the tyres' surface that is left to the maker's figure while they roll."""
    return tyre_rated_speed - speed
