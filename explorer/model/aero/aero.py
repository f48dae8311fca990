"""The air forces as the sum of four parts: rear wing, splitter, floor and body.

Each part has an area, coefficients on that area, and a place; its downforce falls in a straight line with
nose-up pitch.  What the axles feel is taken about the contact patches, so that the drag's lever counts.
Areas here are area times coefficient: times the dynamic pressure they are newtons.
"""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity

splitter_area = given(
    "m2", "Reference area of the front splitter.", at_least=0, usual="0.004 to 0.06 m2", lever="0.002 m2"
)
splitter_downforce_coefficient = given(
    "1", "Downforce coefficient of the splitter at zero pitch.", usual="0.1 to 1.2, typically 0.5"
)
splitter_pitch_slope = given(
    "1/rad",
    "Downforce coefficient the splitter loses per radian of nose-up pitch.",
    usual="0.7 to 4.0 /rad, typically 2.0",
)
splitter_drag_coefficient = given(
    "1", "Drag coefficient of the splitter.", default=0.0, at_least=0, usual="0.0 to 0.2, typically 0.05"
)
splitter_station = given(
    "m",
    "Centre of pressure of the splitter behind the front axle; ahead of it is negative.",
    usual="-250 to 60 mm",
    lever="10 mm",
)
splitter_height = given(
    "m", "Height at which the splitter's drag acts.", default=0.02, at_least=0, usual="3 to 60 mm"
)

floor_area = given(
    "m2",
    "Reference area of the floor with its diffuser.",
    at_least=0,
    usual="0.01 to 0.25 m2",
    lever="0.005 m2",
)
floor_downforce_coefficient = given(
    "1", "Downforce coefficient of the floor at zero pitch.", usual="-0.05 to 0.4, typically 0.1"
)
floor_pitch_slope = given(
    "1/rad",
    "Downforce coefficient the floor loses per radian of nose-up pitch.",
    usual="0.3 to 3.0 /rad, typically 1.0",
)
floor_drag_coefficient = given(
    "1", "Drag coefficient of the floor.", default=0.0, at_least=0, usual="0.0 to 0.1, typically 0.02"
)
floor_station = given(
    "m", "Centre of pressure of the floor: distance behind the front axle.", usual="0 to 500 mm"
)
floor_height = given(
    "m", "Height at which the floor's drag acts.", default=0.02, at_least=0, usual="3 to 60 mm"
)

body_drag_area = given(
    "m2",
    "Drag area of the car without the other parts: coefficient times area.",
    at_least=0,
    usual="0.008 to 0.045 m2, typically 0.022",
)
body_drag_height = given(
    "m",
    """Height at which the drag of the body acts.

    The default of 50 mm is a judgement: about half the height of a low body.
    """,
    default=0.05,
    at_least=0,
    usual="20 to 160 mm",
)


@quantity("m2", source="definition, in the wake of a car ahead times what is left of the dynamic pressure")
def splitter_downforce_area(
    splitter_area: Array, splitter_downforce_coefficient: Array, wake_loss_front: Array
) -> Array:
    """Downforce area of the splitter at zero pitch, away from any effect of its gap."""
    return splitter_area * splitter_downforce_coefficient * (1 - wake_loss_front)


@quantity("m2", source="definition, in the wake of a car ahead times what is left of the dynamic pressure")
def floor_downforce_area(
    floor_area: Array, floor_downforce_coefficient: Array, wake_loss_front: Array
) -> Array:
    """Downforce area of the floor at zero pitch."""
    return floor_area * floor_downforce_coefficient * (1 - wake_loss_front)


@quantity(
    "m2/rad", source="definition, in the wake of a car ahead times what is left of the dynamic pressure"
)
def splitter_downforce_area_loss(
    splitter_area: Array, splitter_pitch_slope: Array, wake_loss_front: Array
) -> Array:
    """Downforce area the splitter loses per radian of nose-up pitch."""
    return splitter_area * splitter_pitch_slope * (1 - wake_loss_front)


@quantity(
    "m2/rad", source="definition, in the wake of a car ahead times what is left of the dynamic pressure"
)
def floor_downforce_area_loss(floor_area: Array, floor_pitch_slope: Array, wake_loss_front: Array) -> Array:
    """Downforce area the floor loses per radian of nose-up pitch."""
    return floor_area * floor_pitch_slope * (1 - wake_loss_front)


@quantity("m2", source="sum of the parts")
def drag_area(
    wing_drag_area: Array,
    splitter_area: Array,
    splitter_drag_coefficient: Array,
    floor_area: Array,
    floor_drag_coefficient: Array,
    body_drag_area: Array,
    wake_loss_front: Array,
) -> Array:
    """Drag area of the whole car: drag over dynamic pressure."""
    front = splitter_area * splitter_drag_coefficient + floor_area * floor_drag_coefficient + body_drag_area
    return wing_drag_area + front * (1 - wake_loss_front)


@quantity("m3", source="statics: moment about the ground line")
def drag_moment_area(
    wing_drag_area: Array,
    wing_height: Array,
    splitter_area: Array,
    splitter_drag_coefficient: Array,
    splitter_height: Array,
    floor_area: Array,
    floor_drag_coefficient: Array,
    floor_height: Array,
    body_drag_area: Array,
    body_drag_height: Array,
    wake_loss_front: Array,
) -> Array:
    """Moment of the drag about the ground over the dynamic pressure; it lifts the nose."""
    front = (
        splitter_area * splitter_drag_coefficient * splitter_height
        + floor_area * floor_drag_coefficient * floor_height
        + body_drag_area * body_drag_height
    )
    return wing_drag_area * wing_height + front * (1 - wake_loss_front)


@quantity("m2", source="statics: moments about the front contact patches")
def rear_downforce_area(
    wing_downforce_area: Array,
    wing_station: Array,
    splitter_downforce_area: Array,
    splitter_station: Array,
    floor_downforce_area: Array,
    floor_station: Array,
    drag_moment_area: Array,
    wheelbase: Array,
) -> Array:
    """Rear axle load from the air at zero pitch over the dynamic pressure, the drag's lever included."""
    return (
        wing_downforce_area * wing_station
        + splitter_downforce_area * splitter_station
        + floor_downforce_area * floor_station
        + drag_moment_area
    ) / wheelbase


@quantity("m2", source="statics: vertical balance")
def front_downforce_area(
    wing_downforce_area: Array,
    splitter_downforce_area: Array,
    floor_downforce_area: Array,
    rear_downforce_area: Array,
) -> Array:
    """Front axle load from the air at zero pitch over the dynamic pressure, the drag's lever included."""
    return wing_downforce_area + splitter_downforce_area + floor_downforce_area - rear_downforce_area


@quantity("m2/rad", source="statics: moments about the front contact patches")
def rear_downforce_area_loss(
    wing_downforce_area_loss: Array,
    wing_station: Array,
    splitter_downforce_area_loss: Array,
    splitter_station: Array,
    floor_downforce_area_loss: Array,
    floor_station: Array,
    wheelbase: Array,
) -> Array:
    """Load from the air the rear axle loses per radian of nose-up pitch, over the dynamic pressure."""
    return (
        wing_downforce_area_loss * wing_station
        + splitter_downforce_area_loss * splitter_station
        + floor_downforce_area_loss * floor_station
    ) / wheelbase


@quantity("m2/rad", source="statics: vertical balance")
def front_downforce_area_loss(
    wing_downforce_area_loss: Array,
    splitter_downforce_area_loss: Array,
    floor_downforce_area_loss: Array,
    rear_downforce_area_loss: Array,
) -> Array:
    """Load from the air the front axle loses per radian of nose-up pitch, over the dynamic pressure."""
    return (
        wing_downforce_area_loss
        + splitter_downforce_area_loss
        + floor_downforce_area_loss
        - rear_downforce_area_loss
    )
