"""Springs, tyres and stops: how far an axle goes down under load."""

from __future__ import annotations

import numpy as np

from explorer.quantity import Array, given, quantity

static_pitch = given("rad", "Pitch of the floor at rest, nose-up positive.", default=0.0)
front_spring_rate = given("N/m", "Rate of one front spring.", above=0)
rear_spring_rate = given("N/m", "Rate of one rear spring.", above=0)
front_motion_ratio = given(
    "1", "Travel of a front spring over the travel of its wheel.", default=1.0, above=0
)
rear_motion_ratio = given("1", "Travel of a rear spring over the travel of its wheel.", default=1.0, above=0)
front_tyre_stiffness = given(
    "N/m", "Vertical stiffness of one front tyre; the default is a rigid one.", default=1e9, above=0
)
rear_tyre_stiffness = given(
    "N/m", "Vertical stiffness of one rear tyre; the default is a rigid one.", default=1e9, above=0
)
front_bump_travel = given(
    "m",
    "How far the front goes down from rest to its stop; the default is out of reach.",
    default=1.0,
    at_least=0,
)
rear_bump_travel = given(
    "m",
    "How far the rear goes down from rest to its stop; the default is out of reach.",
    default=1.0,
    at_least=0,
)
front_droop_travel = given(
    "m",
    "How far the front rises from rest to full droop; the default is out of reach.",
    default=1.0,
    at_least=0,
)
rear_droop_travel = given(
    "m",
    "How far the rear rises from rest to full droop; the default is out of reach.",
    default=1.0,
    at_least=0,
)
front_stop_rate = given("N/m", "Rate a front stop adds to one wheel once touched.", default=5e4, above=0)
rear_stop_rate = given("N/m", "Rate a rear stop adds to one wheel once touched.", default=5e4, above=0)


@quantity(
    "N/m", source="Milliken & Milliken, Race Car Vehicle Dynamics, ch. 16: wheel rate in series with the tyre"
)
def front_wheel_rate(
    front_spring_rate: Array, front_motion_ratio: Array, front_tyre_stiffness: Array
) -> Array:
    """Load per travel at one front wheel, body against ground: spring through its linkage, then tyre.

    Give it directly when it was measured at the car by adding weights.
    """
    return in_series(front_spring_rate * front_motion_ratio**2, front_tyre_stiffness)


@quantity(
    "N/m", source="Milliken & Milliken, Race Car Vehicle Dynamics, ch. 16: wheel rate in series with the tyre"
)
def rear_wheel_rate(rear_spring_rate: Array, rear_motion_ratio: Array, rear_tyre_stiffness: Array) -> Array:
    """Load per travel at one rear wheel, body against ground: spring through its linkage, then tyre.

    Give it directly when it was measured at the car by adding weights.
    """
    return in_series(rear_spring_rate * rear_motion_ratio**2, rear_tyre_stiffness)


def in_series(rate: Array, other: Array) -> Array:
    """Return the rate of two springs that carry the same load."""
    return rate / (1 + rate / other)


@quantity("N/m", source="two wheels side by side")
def front_axle_rate(front_wheel_rate: Array) -> Array:
    """Load per travel of both front wheels together."""
    return 2 * front_wheel_rate


@quantity("N/m", source="two wheels side by side")
def rear_axle_rate(rear_wheel_rate: Array) -> Array:
    """Load per travel of both rear wheels together."""
    return 2 * rear_wheel_rate


@quantity("1", source="springs side by side")
def front_stop_share(front_wheel_rate: Array, front_stop_rate: Array) -> Array:
    """Share of the front's further travel that a stop takes away once touched."""
    return front_stop_rate / (front_wheel_rate + front_stop_rate)


@quantity("1", source="springs side by side")
def rear_stop_share(rear_wheel_rate: Array, rear_stop_rate: Array) -> Array:
    """Share of the rear's further travel that a stop takes away once touched."""
    return rear_stop_rate / (rear_wheel_rate + rear_stop_rate)


def beyond_stops(free: Array, bump: Array, droop: Array) -> Array:
    """Return how far a travel reckoned without stops lies past them; 0 between them."""
    return free - np.clip(free, -droop, bump)


def within_stops(free: Array, bump: Array, droop: Array) -> bool:
    """Tell whether no sample at all reaches a stop; quick, for the usual case."""
    return bool(np.max(free) <= np.min(bump) and np.min(free) >= -np.min(droop))


def spring_load(
    travel: Array, rate: Array, bump: Array, droop: Array, stop_share: Array
) -> tuple[Array, Array]:
    """Return the load of an axle and its rate at a travel, stops beside the spring."""
    stop_rate = rate * stop_share / (1 - stop_share)
    past = beyond_stops(travel, bump, droop)
    return rate * travel + stop_rate * past, np.where(past == 0, rate, rate + stop_rate)
