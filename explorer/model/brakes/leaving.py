"""Off the strip: how far a car may end that got out of hand, and how far to the side.  Bounds, no more.

Three ways are reckoned, each from the speed at which the car gets out of hand: it slides on its tyres or its
body; it goes over, flies and slides on; it rolls on, as in the run-out.  The air is left out of the first
two: it shortens the slide, and the flight of a car that tumbles.  A car that sails may fly farther.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

slide_friction = given(
    "1",
    """Friction of a car that slides on its side, its roof or locked tyres over the ground beside the strip.

    0.2 on wet grass to 0.6 on dry asphalt; the lower, the safer the distance (judgement).
    """,
    above=0,
    usual="0.15 to 0.7, typically 0.35",
)
departure_angle = given(
    "rad",
    """Largest angle to the strip at which a car that gets out of hand may go on.

    The default of 30 degrees is a judgement; where the strip bends, count the bend in.
    """,
    default=float(np.deg2rad(30)),
    at_least=0,
    at_most=float(np.pi / 2),
)
launch_angle = given(
    "rad",
    """Angle to the ground at which a car that goes over takes off.

    The default of 20 degrees is a judgement: few cars turn so much of their speed upwards.
    """,
    default=float(np.deg2rad(20)),
    at_least=0,
    at_most=float(np.pi / 2),
)


@quantity("m", source="energy: v^2/(2 mu g); a bound, the air left out")
def slide_distance(speed: Array, slide_friction: Array, gravity: Array) -> Array:
    """How far a car slides that lost its grip at this speed, on the ground beside the strip."""
    return speed**2 / (2 * slide_friction * gravity)


@quantity(
    "m", source="ballistics: v^2 sin(2 angle)/g, then a slide from what is left; a bound, the air left out"
)
def flight_distance(speed: Array, launch_angle: Array, slide_friction: Array, gravity: Array) -> Array:
    """How far a car gets that takes off at this speed, flies like a stone and slides on where it lands.

    Landing takes the speed downwards and none of that along the ground.
    """
    along = speed * np.cos(launch_angle)
    return speed**2 * np.sin(2 * launch_angle) / gravity + along**2 / (2 * slide_friction * gravity)


@quantity("m", source="geometry; a bound: see slide_distance, flight_distance and run_out_distance")
def side_distance(
    departure_angle: Array, slide_distance: Array, flight_distance: Array, run_out_distance: Array
) -> Array:
    """How far beside the strip a car may end that leaves it at this speed, sliding, flying or rolling.

    The farthest of the three, at the largest angle it may leave at.  Nobody and nothing that matters stands
    nearer to the strip than this without a barrier that holds the car.
    """
    farthest = np.maximum(np.maximum(slide_distance, flight_distance), run_out_distance)
    return np.sin(departure_angle) * farthest
