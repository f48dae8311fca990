"""The rear wing by its measured or estimated coefficients, flaps closed and open."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import Usual, given, quantity

wing_drag_coefficient_closed = given(
    "1",
    "Drag coefficient of the wing on its area, flaps closed.",
    at_least=0,
    usual="0.15 to 0.60, typically 0.32",
)
wing_drag_coefficient_open = given(
    "1",
    "Drag coefficient of the wing on its area, flaps open.",
    at_least=0,
    usual="0.04 to 0.20, typically 0.09",
)
wing_downforce_coefficient_closed = given(
    "1",
    "Downforce coefficient of the wing on its area at zero pitch, flaps closed; positive down.",
    usual="0.8 to 2.3, typically 1.5",
)
wing_downforce_coefficient_open = given(
    "1",
    "Downforce coefficient of the wing on its area at zero pitch, flaps open; positive down.",
    usual="0.0 to 0.9, typically 0.35",
)
wing_pitch_slope = given(
    "1/rad",
    "Downforce coefficient the wing loses per radian of nose-up pitch.",
    usual=Usual(
        "1.5 /rad",
        "2.6 /rad",
        "4.5 /rad",
        source="Helmbold's equation for plain wings of aspect ratio 1, 2 and 6",
    ),
)


@quantity("1", source="judgement: linear in the flap travel between its two measured ends")
def wing_drag_coefficient(
    flap_opening: Array, wing_drag_coefficient_closed: Array, wing_drag_coefficient_open: Array
) -> Array:
    """Drag coefficient of the wing at this flap opening."""
    return wing_drag_coefficient_closed + flap_opening * (
        wing_drag_coefficient_open - wing_drag_coefficient_closed
    )


@quantity("1", source="judgement: linear in the flap travel between its two measured ends")
def wing_downforce_coefficient(
    flap_opening: Array, wing_downforce_coefficient_closed: Array, wing_downforce_coefficient_open: Array
) -> Array:
    """Downforce coefficient of the wing at zero pitch and this flap opening."""
    return wing_downforce_coefficient_closed + flap_opening * (
        wing_downforce_coefficient_open - wing_downforce_coefficient_closed
    )
