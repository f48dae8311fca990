"""The rear wing by a table of flap opening against coefficients, measured or computed."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, given_table, quantity
from explorer.graph.tables import LookupTable
from explorer.model.aero import wing as by_coefficients

wing_table = given_table(
    ("along flap_opening [1]", "drag_coefficient [1]", "downforce_coefficient [1]"),
    "Coefficients of the wing on its area at zero pitch, from flap opening 0 to 1.",
)
wing_pitch_slope = by_coefficients.wing_pitch_slope
wing_table_drag_offset = given(
    "1", "What the table's drag coefficient is off by, the same at every opening.", default=0.0
)
wing_table_downforce_offset = given(
    "1", "What the table's downforce coefficient is off by, the same at every opening.", default=0.0
)


@quantity(
    "1", source="the builder's table, straight between its rows", fails="flap opening outside the wing table"
)
def wing_drag_coefficient(
    wing_table: LookupTable, flap_opening: Array, wing_table_drag_offset: Array
) -> Array:
    """Drag coefficient of the wing at this flap opening."""
    return wing_table.at("drag_coefficient", wing_table.locate(flap_opening)) + wing_table_drag_offset


@quantity(
    "1", source="the builder's table, straight between its rows", fails="flap opening outside the wing table"
)
def wing_downforce_coefficient(
    wing_table: LookupTable, flap_opening: Array, wing_table_downforce_offset: Array
) -> Array:
    """Downforce coefficient of the wing at zero pitch and this flap opening."""
    return (
        wing_table.at("downforce_coefficient", wing_table.locate(flap_opening)) + wing_table_downforce_offset
    )
