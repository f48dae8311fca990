"""The rear wing on the car: its area and place, and the forces its coefficients make of them."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

wing_area = given(
    "m2", "Reference area of the rear wing.", at_least=0, usual="0.004 to 0.15 m2", lever="0.002 m2"
)
wing_station = given(
    "m",
    "Centre of pressure of the wing: distance behind the front axle.",
    usual="-100 to 900 mm",
    lever="10 mm",
)
wing_height = given(
    "m",
    "Height of the wing's centre of pressure above the ground.",
    at_least=0,
    usual="20 to 400 mm",
    lever="10 mm",
)


@quantity("m2", source="definition, in the wake of a car ahead times what is left of the dynamic pressure")
def wing_downforce_area(wing_area: Array, wing_downforce_coefficient: Array, wake_loss_rear: Array) -> Array:
    """Downforce area of the wing at zero pitch."""
    return wing_area * wing_downforce_coefficient * (1 - wake_loss_rear)


@quantity(
    "m2/rad", source="definition, in the wake of a car ahead times what is left of the dynamic pressure"
)
def wing_downforce_area_loss(wing_area: Array, wing_pitch_slope: Array, wake_loss_rear: Array) -> Array:
    """Downforce area the wing loses per radian of nose-up pitch."""
    return wing_area * wing_pitch_slope * (1 - wake_loss_rear)


@quantity("m2", source="definition, in the wake of a car ahead times what is left of the dynamic pressure")
def wing_drag_area(wing_area: Array, wing_drag_coefficient: Array, wake_loss_rear: Array) -> Array:
    """Drag area of the rear wing."""
    return wing_area * wing_drag_coefficient * (1 - wake_loss_rear)
