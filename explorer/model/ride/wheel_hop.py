"""Wheel hop: how fast a wheel swings between its tyre and its spring, and whether the road asks for that.

The half-car has wheels without mass.  Near the frequency at which a wheel hops on its tyre that is wrong: the
wheel swings more than the road does.  Up to half of that frequency the swing of the tyre's load is right
within a quarter, at the frequency itself it is half of what it should be: beyond half, the motion in time
gives no answer.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

axle_unsprung_mass = given(
    "kg",
    """Mass of one {axle} wheel with what goes up and down with it; needs {axle}_tyre_stiffness.

    The default leaves it out: then nothing says where the wheels hop.
    """,
    default=0.0,
    at_least=0,
    usual="0.02 to 0.8 kg",
)
#: Share of the hop frequency up to which wheels without mass are good enough: see this file's head.
SLOW_ENOUGH = 0.5

_HOP = "sqrt((k_tyre + k_spring)/m)/(2 pi): one mass between two springs, the body held still"


@quantity("Hz", source=_HOP)
def axle_wheel_hop_frequency(
    axle_unsprung_mass: Array, axle_wheel_rate: Array, axle_tyre_stiffness: Array
) -> Array:
    """Frequency at which a {axle} wheel hops on its tyre; far out of reach for a wheel without mass."""
    return _hop(axle_unsprung_mass, axle_wheel_rate, axle_tyre_stiffness)


@quantity("1", source="bumps in a second over hops in a second")
def wheel_hop_share(
    speed: Array,
    bump_height: Array,
    bump_length: Array,
    front_wheel_hop_frequency: Array,
    rear_wheel_hop_frequency: Array,
) -> Array:
    """Frequency of the bump at this speed over the lower hop frequency; 0 without a bump.

    Above 0.5 the motion in time gives no answer: the wheels' own swing, which it leaves out, decides.
    """
    hop = np.minimum(front_wheel_hop_frequency, rear_wheel_hop_frequency)
    return np.where(bump_height == 0, 0.0, speed / bump_length / hop)


def _hop(mass: Array, wheel_rate: Array, tyre_stiffness: Array) -> Array:
    # The rate at the wheel has the tyre in series: taken out again, the spring is left.
    spring = wheel_rate / np.maximum(1 - wheel_rate / tyre_stiffness, 1e-9)
    return np.sqrt((tyre_stiffness + spring) / np.maximum(mass, 1e-9)) / (2 * np.pi)
