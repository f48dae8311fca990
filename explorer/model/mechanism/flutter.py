"""Divergence and flutter of an element on its drive: from where the air turns or swings it by itself.

Quasi-steady: force and moment follow the incidence at once, the air's damping and its mass are left out, as
in Pines' criterion for two freedoms.  The two are bending of the element between its pivots and turning on
its drive; the wing itself is held still.  A first guess, to tell safe from doubtful: real flutter may come
earlier where the pivot lies behind mid-chord (element_air_damping), and play, which has no stiffness, lets an
element buzz within it.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity

_PINES = "Pines (1958), two freedoms with quasi-steady forces and no damping (formula from memory)"
_THEODORSEN = "Theodorsen, NACA report 496, 1935, for slow oscillation (formula from memory)"
_DIVERGENCE = "stiffness = slope of the air's moment (Bisplinghoff, Aeroelasticity, ch. 8)"


@quantity("m2/rad", source="secant between closed and open")
def element_force_slope_area(
    element_area: Array,
    element_normal_coefficient_closed: Array,
    element_normal_coefficient_open: Array,
    element_design_incidence_closed: Array,
    element_design_incidence_open: Array,
) -> Array:
    """Force on the element gained per radian of incidence, over the dynamic pressure."""
    turn = element_design_incidence_closed - element_design_incidence_open
    change = element_normal_coefficient_closed - element_normal_coefficient_open
    return element_area * change / np.where(turn == 0, np.nan, turn)


@quantity("m3/rad", source="slope of the hinge moment q S c Cn (x_pivot - x_cp)")
def element_moment_slope_volume(
    element_area: Array,
    element_chord: Array,
    element_normal_coefficient: Array,
    element_normal_coefficient_closed: Array,
    element_normal_coefficient_open: Array,
    element_pressure_fraction: Array,
    element_pressure_fraction_closed: Array,
    element_pressure_fraction_open: Array,
    element_pivot_fraction: Array,
    element_design_incidence_closed: Array,
    element_design_incidence_open: Array,
) -> Array:
    """Moment of the air towards closed gained per radian of incidence, over the dynamic pressure.

    Positive where the air turns the element further by itself, against the drive.
    """
    turn = element_design_incidence_open - element_design_incidence_closed
    force = element_normal_coefficient_open - element_normal_coefficient_closed
    place = element_pressure_fraction_open - element_pressure_fraction_closed
    lever = element_pivot_fraction - element_pressure_fraction
    per_opening = force * lever - element_normal_coefficient * place
    return element_area * element_chord * per_opening / np.where(turn == 0, np.nan, turn)


@quantity("N m/rad", source="Dunkerley: drive in series with pi^2 G J / (4 L)")
def element_turning_stiffness(
    element_drive_stiffness: Array,
    element_span: Array,
    element_shear_modulus: Array,
    element_torsion_constant: Array,
) -> Array:
    """Stiffness against turning of the element, drive and twist of the span together; on the low side."""
    span = np.pi**2 * element_shear_modulus * element_torsion_constant / (4 * element_span)
    return 1 / (1 / element_drive_stiffness + 1 / span)


@quantity("m/s", source=_DIVERGENCE, capped_by="speed_cap")
def element_divergence_speed(
    element_turning_stiffness: Array,
    element_moment_slope_volume: Array,
    wake_loss_rear: Array,
    air_density: Array,
    headwind: Array,
    speed_cap: Array,
) -> Array:
    """Speed at which the air turns the element as hard as its drive holds it, and on by itself."""
    slope = element_moment_slope_volume * (1 - wake_loss_rear)
    return _speed_at(element_turning_stiffness, slope, air_density, headwind, speed_cap)


@quantity("kg m2", source="even plate about its pivot: m c^2 (1/12 + offset^2)")
def element_pivot_inertia(
    element_mass: Array, element_chord: Array, element_mass_fraction: Array, element_pivot_fraction: Array
) -> Array:
    """Moment of inertia of the element about its pivot; give it where it was swung."""
    offset = element_mass_fraction - element_pivot_fraction
    return element_mass * element_chord**2 * (1 / 12 + offset**2)


@quantity("kg m", source="static moment about the pivot")
def element_unbalance(
    element_mass: Array, element_chord: Array, element_mass_fraction: Array, element_pivot_fraction: Array
) -> Array:
    """Mass of the element times how far it lies behind the pivot: what mass balance takes away."""
    return element_mass * element_chord * (element_mass_fraction - element_pivot_fraction)


@quantity("N/m", source="first mode of a beam: pi^4 E I / (2 L^3), more with held ends")
def element_bending_stiffness(
    element_modulus: Array, element_second_moment: Array, element_span: Array, element_end_fixity: Array
) -> Array:
    """Stiffness of the element in its first bending mode, by the travel of its middle."""
    held = np.pi**4 / (2 * (1 - 0.8 * element_end_fixity))
    return held * element_modulus * element_second_moment / element_span**3


@quantity("m/s", source=_PINES, capped_by="speed_cap")
def element_flutter_speed(
    element_mass: Array,
    element_unbalance: Array,
    element_pivot_inertia: Array,
    element_bending_stiffness: Array,
    element_turning_stiffness: Array,
    element_force_slope_area: Array,
    element_moment_slope_volume: Array,
    wake_loss_rear: Array,
    air_density: Array,
    headwind: Array,
    speed_cap: Array,
) -> Array:
    """Speed at which bending and turning of the element swing together, each feeding the other.

    Not reached where the mass lies at the pivot or ahead of it and the air turns nothing by itself.
    """
    # Half sines in bending, one turn all along: their overlap is 2/pi, the bending mass a half.
    bending_mass, coupling = element_mass / 2, -2 / np.pi * element_unbalance
    force = 2 / np.pi * element_force_slope_area * (1 - wake_loss_rear)
    moment = element_moment_slope_volume * (1 - wake_loss_rear)
    # Both swing as one where b^2 = 4 a c in a s^4 + b s^2 + c; b and c are straight in the pressure.
    a = bending_mass * element_pivot_inertia - coupling**2
    b = bending_mass * element_turning_stiffness + element_pivot_inertia * element_bending_stiffness
    slope_b = coupling * force - bending_mass * moment
    middle = -(2 * b * slope_b + 4 * a * element_bending_stiffness * moment)
    last = b**2 - 4 * a * element_bending_stiffness * element_turning_stiffness
    inside = middle**2 - 4 * slope_b**2 * last
    reached = (middle > 0) & (inside >= 0)
    slope = np.where(reached, middle + np.sqrt(np.maximum(inside, 0)), 0 * middle)
    return _speed_at(2 * last, slope, air_density, headwind, speed_cap)


@quantity("N m s/rad", source=_THEODORSEN)
def element_air_damping(
    air_density: Array,
    airspeed: Array,
    wake_loss_rear: Array,
    element_chord: Array,
    element_span: Array,
    element_pivot_fraction: Array,
) -> Array:
    """Damping by the air of a turning of the element about its pivot, thin and alone in the air.

    Negative for a pivot between half and three quarters of the chord: there the air feeds the swing.
    """
    half, behind = element_chord / 2, 2 * element_pivot_fraction - 1
    speed = airspeed * np.sqrt(1 - wake_loss_rear)
    return -2 * np.pi * air_density * speed * half**3 * element_span * behind * (0.5 - behind)


@quantity("m/s", source="definition", capped_by="speed_cap")
def lowest_flutter_speed(
    element_flutter_speed: Array, element_divergence_speed: Array, speed_cap: Array
) -> Array:
    """Lowest speed at which any element flutters or diverges on its drive."""
    flutter: Array = np.min(element_flutter_speed, axis=0)
    divergence: Array = np.min(element_divergence_speed, axis=0)
    return np.minimum(np.minimum(flutter, divergence), speed_cap)


def _speed_at(stiffness: Array, slope: Array, air_density: Array, headwind: Array, speed_cap: Array) -> Array:
    """Return the speed over the ground at which dynamic pressure times a slope is a stiffness."""
    pressure = stiffness / np.maximum(slope, 1e-12 * np.abs(stiffness))
    return np.clip(np.sqrt(2 * pressure / air_density) - headwind, 0, speed_cap)
