"""Going over backwards: the car as one rigid body that turns about its rear contact, nose free to rise.

Past front lift-off only weight and air decide.  With the nose raised by an angle beyond the steady pitch, the
lever of the weight shrinks as the cosine; the downforce of the parts falls with the angle and turns to lift;
drag and centre of gravity gain height.  The moment about the rear contact is then a cosine and a sine,

    wheelbase * front load at the steady pitch * cos(rise) - overturning_rate * sin(rise)

and where it is used up the nose does not come back.  What the splitter gains by its gap is lost on the way.
A bump raises the nose and a gust raises the airspeed, both faster than the springs answer.  Held to be the
same through the rise: the slopes of the parts (with the sine of the angle), the drag, the squat of the rear
springs.  What the car's own momentum adds is left out.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, given, quantity
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.numeric import first_fall

bump_pitch = given(
    "rad",
    "Nose-up angle that a bump or crest adds to the steady pitch.",
    default=0.0,
    usual="0 to 2 deg, typically 0.5",
    of_the_day=True,
)
gust = given(
    "m/s",
    "Headwind that comes on suddenly, on top of the steady one.",
    default=0.0,
    usual="0 to 5 m/s, typically 2",
    of_the_day=True,
)
body_drag_station = given(
    "m",
    """Station at which the drag of the body acts: it says how fast that drag gains height with the nose.

    The default of 0.15 m is a judgement for a wheelbase of a third of a metre.
    """,
    default=0.15,
    usual="-100 to 400 mm",
)


@quantity("Pa", source="definition: half density times airspeed squared")
def gust_pressure(air_density: Array, airspeed: Array, gust: Array) -> Array:
    """Dynamic pressure of the air in the gust."""
    return 0.5 * air_density * (airspeed + gust) ** 2


@quantity("N", source="statics; as front_axle_load, in the gust and at the pitch before it")
def gust_front_load(
    front_axle_load: Array,
    dynamic_pressure: Array,
    gust_pressure: Array,
    front_downforce_area: Array,
    front_downforce_area_loss: Array,
    pitch: Array,
    splitter_ground_force: Array,
    splitter_station: Array,
    wheelbase: Array,
) -> Array:
    """Load on both front tyres together when the gust has come and the springs have not yet answered."""
    area = front_downforce_area - front_downforce_area_loss * pitch
    load = front_axle_load + (gust_pressure - dynamic_pressure) * area
    if np.any(splitter_ground_force):
        more = gust_pressure / np.where(dynamic_pressure > 0, dynamic_pressure, np.inf) - 1
        load = load + more * splitter_ground_force * (1 - splitter_station / wheelbase)
    return load


@quantity("m3", source="statics: moments about the rear contact patches")
def drag_lever_area(
    wing_drag_area: Array,
    wing_station: Array,
    splitter_area: Array,
    splitter_drag_coefficient: Array,
    splitter_station: Array,
    floor_area: Array,
    floor_drag_coefficient: Array,
    floor_station: Array,
    body_drag_area: Array,
    body_drag_station: Array,
    wake_loss_front: Array,
    wheelbase: Array,
) -> Array:
    """Moment the drag gains per radian of nose-up rise about the rear contact, over the dynamic pressure."""
    front = (
        splitter_area * splitter_drag_coefficient * (wheelbase - splitter_station)
        + floor_area * floor_drag_coefficient * (wheelbase - floor_station)
        + body_drag_area * (wheelbase - body_drag_station)
    )
    return wing_drag_area * (wheelbase - wing_station) + front * (1 - wake_loss_front)


@quantity("N m/rad", source="statics: moments about the rear contact patches")
def overturning_rate(
    gust_pressure: Array,
    front_downforce_area_loss: Array,
    drag_lever_area: Array,
    wheelbase: Array,
    weight: Array,
    cg_height: Array,
) -> Array:
    """Moment over backwards per radian of nose-up rise: lost downforce, raised drag, raised weight."""
    by_air = gust_pressure * (wheelbase * front_downforce_area_loss + drag_lever_area)
    return by_air + weight * cg_height


@quantity(
    "rad",
    source="zero of the moment about the rear contact patches, the splitter's gain by its gap included",
    fails="pitch has diverged",
)
def blow_over_rise(
    wheelbase: Array,
    gust_front_load: Array,
    front_contact_load: Array,
    overturning_rate: Array,
    gust_pressure: Array,
    splitter_ground_effect: GroundEffect,
    front_compression: Array,
    rear_compression: Array,
) -> Array:
    """Rise of the nose above the steady pitch from which it still comes back; negative: it goes by itself.

    Points on the road do not help: those ahead are left behind by the rising nose.
    """
    moment = wheelbase * (gust_front_load + front_contact_load)
    rise = np.arctan2(moment, overturning_rate)
    if not np.any(splitter_ground_effect.gain):
        return rise
    splitter, lean = splitter_ground_effect, rear_compression - front_compression
    gap, lever = splitter.gap(front_compression, lean), wheelbase * (1 - splitter.place)

    def gained(up: Array | float) -> Array:
        area = splitter.area - splitter.loss * (lean + wheelbase * up)
        return gust_pressure * area * splitter.gained(gap + lever * up) * lever

    def left(rise: Array | float) -> Array:
        up, along = np.sin(rise), np.cos(rise)
        return moment * along - overturning_rate * up + gained(up) - gained(0.0) * along

    with_gap = first_fall(left, 0.0, np.pi / 2, steps=32).position
    return np.where((splitter.gain > 0) & (moment > 0), with_gap, rise)


@quantity("rad", source="definition", fails="pitch has diverged")
def blow_over_angle(pitch: Array, blow_over_rise: Array) -> Array:
    """Nose-up angle of the floor beyond which the car does not come back at this speed, in this gust."""
    return pitch + blow_over_rise


@quantity("rad", source="definition", fails="pitch has diverged")
def blow_over_margin(blow_over_rise: Array, bump_pitch: Array) -> Array:
    """Rise that is left on top of the bump, in the gust, before the car goes over; negative: it goes over."""
    return blow_over_rise - bump_pitch


@quantity(
    "m/s",
    source="root of blow_over_margin over speed",
    varying={"blow_over_margin": "speed"},
    capped_by="speed_cap",
)
def blow_over_speed(blow_over_margin: Curve, speed_cap: Array) -> Array:
    """Lowest speed at which the bump in the gust sends the car over; without both it is front lift-off.

    A car that diverges first counts as gone over at that speed.
    """
    return first_fall(blow_over_margin, 1.0, speed_cap, steps=16).position
