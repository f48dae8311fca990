"""The rear wing from its shape alone, for a builder who has measured nothing: good for a first guess.

Thin-aerofoil and lifting-line theory know nothing of the small scale, of slots, or of what the body does to
the air ahead of the wing.  So two factors without a default stand for what theory leaves out: give them a
mean of 1 and a wide spread: 20 % for downforce, 40 % for drag unless you know better (judgement).
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

wing_span = given(
    "m", "Span of the wing between its end plates.", above=0, usual="60 to 600 mm", lever="20 mm"
)
wing_incidence = given(
    "rad",
    "Angle of the main chord line to the floor, leading edge down positive.",
    default=0.0,
    usual="-10 to 40 deg",
    lever="1 deg",
)
wing_zero_lift_angle = given(
    "rad",
    "Incidence that the camber of the section is worth; 0 for a flat one.",
    default=0.0,
    usual="0 to 8 deg, typically 3",
)
flap_chord_share = given(
    "1",
    "Chord of the moving flap over the whole chord.",
    above=0,
    at_most=0.9,
    usual="0.05 to 0.7",
    lever="0.05",
)
flap_deflection_closed = given(
    "rad",
    "Angle of the flap to the main chord line when closed, trailing edge up.",
    usual="0 to 75 deg",
    lever="2 deg",
)
flap_deflection_open = given(
    "rad",
    "Angle of the flap to the main chord line when open, trailing edge up.",
    usual="-20 to 30 deg",
    lever="2 deg",
)
flap_viscous_share = given(
    "1",
    """Share of the thin-aerofoil flap effect that is left in real air.

    The default is a judgement for plain flaps at model scale; slotted ones keep more.  Plain flaps keep about
    0.45 at a Reynolds number of 1e5 and nearly all at 4e5 (an aerofoil library, flaps turned by 10 degrees).
    """,
    default=0.7,
    above=0,
    at_most=1,
    usual="0.4 to 1.0, typically 0.7",
)
wing_span_efficiency = given(
    "1",
    "Span efficiency for induced drag; end plates raise it.",
    default=0.9,
    above=0,
    at_most=2,
    usual="0.7 to 1.3, typically 0.9",
)
wing_profile_drag_coefficient = given(
    "1",
    "Drag coefficient of the section without induced drag.",
    default=0.03,
    at_least=0,
    usual="0.015 to 0.08, typically 0.03",
)
wing_highest_downforce_coefficient = given(
    "1",
    "Downforce coefficient at which the wing stalls; it is held there (judgement).",
    default=1.8,
    above=0,
    usual="1.2 to 2.6, typically 1.8",
)
wing_downforce_factor = given(
    "1",
    "Real downforce coefficient over the one theory gives: mean 1, wide spread.",
    above=0,
    usual="0.6 to 1.2, typically 0.95",
)
wing_drag_factor = given(
    "1",
    "Real drag coefficient over the one theory gives: mean 1, wide spread.",
    above=0,
    usual="0.8 to 1.8, typically 1.1",
)


@quantity("1", source="definition: span squared over area")
def wing_aspect_ratio(wing_span: Array, wing_area: Array) -> Array:
    """Span squared over area."""
    return wing_span**2 / wing_area


@quantity("1/rad", source="Helmbold's equation for wings of low aspect ratio, section slope 2 pi")
def wing_lift_slope(wing_aspect_ratio: Array) -> Array:
    """Downforce coefficient per radian of incidence."""
    slope: Array = 2 * np.pi * wing_aspect_ratio / (2 + np.hypot(2, wing_aspect_ratio))
    return slope


@quantity("1", source="Glauert's plain flap (Houghton & Carpenter, Aerodynamics, thin-aerofoil flap)")
def flap_effectiveness(flap_chord_share: Array) -> Array:
    """Incidence a small flap deflection is worth, before viscosity takes its part."""
    return (
        2
        / np.pi
        * (np.sqrt(flap_chord_share * (1 - flap_chord_share)) + np.arcsin(np.sqrt(flap_chord_share)))
    )


@quantity("rad", source="linear in the flap travel")
def flap_deflection(flap_opening: Array, flap_deflection_closed: Array, flap_deflection_open: Array) -> Array:
    """Angle of the flap to the main chord line, trailing edge up."""
    return flap_deflection_closed + flap_opening * (flap_deflection_open - flap_deflection_closed)


@quantity("rad", source="thin-aerofoil theory: incidence, camber and flap add up")
def wing_angle(
    wing_incidence: Array,
    wing_zero_lift_angle: Array,
    flap_effectiveness: Array,
    flap_viscous_share: Array,
    flap_deflection: Array,
) -> Array:
    """Incidence that the wing is worth at zero pitch and this flap opening, camber and flap in it."""
    return wing_incidence + wing_zero_lift_angle + flap_viscous_share * flap_effectiveness * flap_deflection


@quantity("1", source="thin-aerofoil theory on a finite wing, held at the stall")
def wing_downforce_coefficient(
    wing_lift_slope: Array,
    wing_angle: Array,
    wing_highest_downforce_coefficient: Array,
    wing_downforce_factor: Array,
) -> Array:
    """Downforce coefficient of the wing at zero pitch and this flap opening."""
    lifting = np.minimum(wing_lift_slope * wing_angle, wing_highest_downforce_coefficient)
    return wing_downforce_factor * lifting


@quantity("1", source="profile drag plus induced drag, C^2 / (pi e AR)")
def wing_drag_coefficient(
    wing_downforce_coefficient: Array,
    wing_aspect_ratio: Array,
    wing_span_efficiency: Array,
    wing_profile_drag_coefficient: Array,
    wing_drag_factor: Array,
) -> Array:
    """Drag coefficient of the wing at this flap opening."""
    induced = wing_downforce_coefficient**2 / (np.pi * wing_span_efficiency * wing_aspect_ratio)
    return wing_drag_factor * (wing_profile_drag_coefficient + induced)


@quantity("1/rad", source="Helmbold's slope; none where the downforce is held at the stall")
def wing_pitch_slope(
    wing_lift_slope: Array,
    wing_angle: Array,
    wing_highest_downforce_coefficient: Array,
    wing_downforce_factor: Array,
) -> Array:
    """Downforce coefficient the wing loses per radian of nose-up pitch; none past the stall at zero pitch."""
    stalled = wing_lift_slope * wing_angle >= wing_highest_downforce_coefficient
    return np.where(stalled, 0.0, wing_downforce_factor * wing_lift_slope)
