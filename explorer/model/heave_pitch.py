"""Heave and pitch in time: the car on springs, dampers and stops over a bump, a crest or through a gust."""

from __future__ import annotations

from explorer.quantity import Array, given, quantity

pitch_gyration_share = given(
    "1",
    """Radius of gyration in pitch over the wheelbase.

    The default is a judgement: 0.5 would be all of the mass near the axles of a car balanced in the middle.
    """,
    default=0.45,
    above=0,
)


@quantity("kg m2", source="definition: mass times the radius of gyration squared")
def pitch_inertia(mass: Array, pitch_gyration_share: Array, wheelbase: Array) -> Array:
    """Moment of inertia of the car in pitch, about its centre of gravity.

    Give it directly when it was measured by swinging the car.
    """
    return mass * (pitch_gyration_share * wheelbase) ** 2
