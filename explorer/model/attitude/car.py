"""The car on the scales: mass, its place, and what the axles carry at rest."""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

mass = given("kg", "Mass of the car ready to run, battery in.", above=0, usual="1.5 to 20 kg")
wheelbase = given("m", "Distance between the axles.", above=0, usual="200 to 700 mm")
cg_station = given(
    "m", "Centre of gravity: distance behind the front axle.", usual="40 to 450 mm", lever="5 mm"
)
cg_height = given(
    "m", "Centre of gravity: height above the ground.", above=0, usual="15 to 120 mm", lever="2 mm"
)
rotating_mass_factor = given(
    "1",
    """Mass the drive has to accelerate over the mass on the scales: wheels and motor spin up too.

    The default is a judgement.  From moments of inertia: 1 + (wheels' + motor's times gear ratio squared)
    / (mass times tyre radius squared).
    """,
    default=1.05,
    at_least=1,
    usual="1.02 to 1.15, typically 1.06",
)


@quantity("N", source="Newton's second law")
def weight(mass: Array, gravity: Array) -> Array:
    """Weight of the car."""
    return mass * gravity


@quantity("N", source="statics: moments about the rear contact patches")
def front_static_load(weight: Array, cg_station: Array, wheelbase: Array) -> Array:
    """Load on both front tyres together, at rest on level ground."""
    return weight * (1 - cg_station / wheelbase)


@quantity("N", source="statics: moments about the front contact patches")
def rear_static_load(weight: Array, cg_station: Array, wheelbase: Array) -> Array:
    """Load on both rear tyres together, at rest on level ground."""
    return weight * cg_station / wheelbase


@quantity(
    "N",
    source="statics: moments about the contact patches (Gillespie, Fundamentals of Vehicle Dynamics, ch. 1)",
)
def load_transfer(
    mass: Array,
    longitudinal_acceleration: Array,
    gravity: Array,
    grade: Array,
    cg_height: Array,
    wheelbase: Array,
) -> Array:
    """Load moved from the front to the rear axle by acceleration and slope, not by the air.

    The slope's small loss of total load, the cosine, is left out: under 0.5 % up to 5 degrees.
    """
    return mass * (longitudinal_acceleration + gravity * np.sin(grade)) * cg_height / wheelbase


@quantity("J", source="half the mass times speed squared")
def kinetic_energy(mass: Array, speed: Array) -> Array:
    """Energy of the moving car, rotation left out: what a barrier or a person would have to take."""
    return 0.5 * mass * speed**2
