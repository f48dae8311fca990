"""How the car is being run: speed over the ground, wind, slope."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

speed = given("m/s", "Speed over the ground.", at_least=0, usual="1 to 75 m/s")
headwind = given(
    "m/s",
    """Wind against the car; negative from behind.

    A tailwind faster than the car is outside the model: the air would meet it from the rear.
    """,
    default=0.0,
    usual="-10 to 10 m/s",
    of_the_day=True,
)
grade = given(
    "rad", "Slope of the track, positive uphill; meant for a few degrees.", default=0.0, usual="-5 to 5 deg"
)
flap_opening = given(
    "1", "Flap travel: 0 closed (high downforce), 1 open (low drag).", default=0.0, at_least=0, at_most=1
)
wake_loss_front = given(
    "1",
    "Share of the dynamic pressure lost at the nose in the wake of a car ahead: splitter, floor and body.",
    default=0.0,
    at_least=0,
    at_most=1,
    usual="0.05 to 0.5, typically 0.2",
)
wake_loss_rear = given(
    "1",
    "Share of the dynamic pressure lost at the wing in the wake of a car ahead.",
    default=0.0,
    at_least=0,
    at_most=1,
    usual="0.0 to 0.4, typically 0.12",
)
gravity = given(
    "m/s2", "Free fall acceleration.", default=9.80665, above=0, source="ISO 80000-3, standard value"
)
speed_cap = given(
    "m/s",
    "Highest speed that is searched; a speed not found below it counts as not reached.",
    default=90.0,
    above=1,
)


@quantity("m/s", source="definition")
def airspeed(speed: Array, headwind: Array) -> Array:
    """Speed of the air meeting the car."""
    return speed + headwind


@quantity("Pa", source="definition: half density times airspeed squared")
def dynamic_pressure(air_density: Array, airspeed: Array) -> Array:
    """Dynamic pressure of the undisturbed air meeting the car."""
    return 0.5 * air_density * airspeed**2
