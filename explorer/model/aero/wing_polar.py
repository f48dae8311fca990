"""The rear wing by a table of incidence against coefficients: a polar, for a wing that turns as a whole.

Incidence is the wing's angle to the floor, leading edge down positive, so that more incidence means more
downforce.  Nose-up pitch takes incidence away: the pitch slope is the slope of the polar.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, given_table, quantity
from explorer.graph.tables import LookupTable

wing_polar = given_table(
    ("along incidence [rad]", "drag_coefficient [1]", "downforce_coefficient [1]"),
    "Coefficients of the wing on its area against incidence, leading edge down positive.",
)
wing_incidence_closed = given(
    "rad",
    "Incidence of the wing at zero pitch when closed, leading edge down positive.",
    usual="0 to 60 deg",
    lever="1 deg",
)
wing_incidence_open = given(
    "rad",
    "Incidence of the wing at zero pitch when open, leading edge down positive.",
    usual="-10 to 25 deg",
    lever="1 deg",
)
wing_polar_drag_offset = given(
    "1", "What the polar's drag coefficient is off by, the same at every incidence.", default=0.0
)
wing_polar_downforce_offset = given(
    "1", "What the polar's downforce coefficient is off by, the same at every incidence.", default=0.0
)


@quantity("rad", source="linear in the flap travel")
def wing_incidence(flap_opening: Array, wing_incidence_closed: Array, wing_incidence_open: Array) -> Array:
    """Incidence of the wing at zero pitch and this flap opening, leading edge down positive."""
    return wing_incidence_closed + flap_opening * (wing_incidence_open - wing_incidence_closed)


@quantity("1", source="the builder's polar, straight between its rows", fails="incidence outside the polar")
def wing_drag_coefficient(
    wing_polar: LookupTable, wing_incidence: Array, wing_polar_drag_offset: Array
) -> Array:
    """Drag coefficient of the wing at this flap opening."""
    return wing_polar.at("drag_coefficient", wing_polar.locate(wing_incidence)) + wing_polar_drag_offset


@quantity("1", source="the builder's polar, straight between its rows", fails="incidence outside the polar")
def wing_downforce_coefficient(
    wing_polar: LookupTable, wing_incidence: Array, wing_polar_downforce_offset: Array
) -> Array:
    """Downforce coefficient of the wing at zero pitch and this flap opening."""
    return (
        wing_polar.at("downforce_coefficient", wing_polar.locate(wing_incidence))
        + wing_polar_downforce_offset
    )


@quantity("1/rad", source="slope of the builder's polar", fails="incidence outside the polar")
def wing_pitch_slope(wing_polar: LookupTable, wing_incidence: Array) -> Array:
    """Downforce coefficient the wing loses per radian of nose-up pitch: the polar's slope at this incidence.

    Taken between the two rows around the incidence and used for all pitch angles: choose rows a few degrees
    apart.
    """
    place = wing_polar.locate(wing_incidence)
    _, (slope,) = wing_polar.tangent("downforce_coefficient", place)
    return np.where(place.outside, np.nan, slope)
